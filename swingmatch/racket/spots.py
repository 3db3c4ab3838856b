"""Small things that move: spots that are in one picture and in neither of its neighbours, and rows of such spots."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Picture = NDArray[np.uint8]

#: Diameter of a ball over stature: 6.54-6.86 cm (ITF rules, D2) and an adult of 1.75 m.
BALL = 0.067 / 1.75
#: Pictures are compared with those so many places before and after: near ones for a fast ball, far ones for a slow.
_LAGS = (1, 3)
#: Least change, grey levels.
_CHANGE = 12
#: Width of a spot at most, balls; its length at most, balls (a ball at 50 m/s in 1/100 s leaves 7).
_WIDE, _LONG = 2.0, 8.0


@dataclass(frozen=True)
class Spots:
    """Small changed spots of one picture.

    Attributes
    ----------
    time : seconds. places : (N, 2) pixels, x right, y down. colours : (N, 3) RGB, 0..255.
    """

    time: float
    places: Array
    colours: Array


def find_spots(times: Array, pictures: Sequence[Picture], diameter: float, shifts: Array) -> list[Spots]:
    """Spots of about a ball's size that are in one picture and in neither of its neighbours.

    Parameters
    ----------
    times : (T,) seconds. pictures : T arrays (h, w, 3) uint8 of equal size.
    diameter : of the ball, pixels. shifts : (T, 2) from ``camera_shifts``.

    Returns
    -------
    One ``Spots`` a picture, shaking of the camera taken out against the middle picture.
    """
    sigma = max(0.12 * diameter, 0.5)
    out = []
    held: dict[int, _Soft] = {}
    for i, time in enumerate(times):
        # Of a second of large pictures the blurred ones alone would take hundreds of megabytes.
        near = range(max(i - max(_LAGS), 0), min(i + max(_LAGS) + 1, len(pictures)))
        held = {j: held[j] if j in held else _softened(pictures[j], sigma) for j in near}
        found = []
        for lag in _LAGS:
            if i - lag < 0 or i + lag >= len(pictures):
                continue
            beside = [(held[j], shifts[i] - shifts[j]) for j in (i - lag, i + lag)]
            above = cv2.max(*(_moved(one.high, shift) for one, shift in beside))
            below = cv2.min(*(_moved(one.low, shift) for one, shift in beside))
            soft = held[i].soft
            red, green, blue = cv2.split(cv2.max(cv2.subtract(soft, above), cv2.subtract(below, soft)))
            found.append(_blobs(cv2.max(cv2.max(red, green), blue), soft, diameter))
        blobs = _without_doubles(np.concatenate(found) if found else np.zeros((0, 6)), 0.7 * diameter)
        steady = blobs[:, :2] + shifts[len(shifts) // 2] - shifts[i]
        out.append(Spots(float(time), steady, blobs[:, 3:]))
    return out


class _Soft(NamedTuple):
    """A picture without its noise, and the brightest and darkest of it within a pixel."""

    soft: Picture
    high: Picture
    low: Picture


def _softened(picture: Picture, sigma: float) -> _Soft:
    soft = np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), dtype=np.uint8)
    square = np.ones((3, 3), np.uint8)
    high, low = (np.asarray(way(soft, square), dtype=np.uint8) for way in (cv2.dilate, cv2.erode))
    return _Soft(soft, high, low)


def camera_shifts(pictures: Sequence[Picture]) -> Array:
    """Where the background is in each picture against the first: (T, 2) pixels.

    The median way of corners that are followed from picture to picture (Lucas and Kanade), so that the player, who
    covers a small part, has no say.
    """
    step = 2 if min(pictures[0].shape[:2]) > 400 else 1

    def grey(picture: Picture) -> Picture:
        return np.ascontiguousarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)[::step, ::step])

    out = np.zeros((len(pictures), 2))
    now = grey(pictures[0])
    for i in range(1, len(pictures)):
        out[i] = out[i - 1]
        before, now = now, grey(pictures[i])
        corners = cv2.goodFeaturesToTrack(before, 120, 0.02, 12)
        if corners is None or len(corners) < 12:
            continue
        there, good, _ = cv2.calcOpticalFlowPyrLK(before, now, corners, None, winSize=(15, 15), maxLevel=2)
        way = (there - corners)[good.ravel() == 1].reshape(-1, 2)
        if len(way) >= 12:
            out[i] += step * np.median(way, axis=0)
    return out


def _moved(picture: Picture, shift: Array) -> Picture:
    """The picture moved by whole pixels; what comes in at the edges stays as it was."""
    x, y = np.round(shift).astype(int)
    h, w = picture.shape[:2]
    if (x == 0 and y == 0) or abs(x) >= w or abs(y) >= h:
        return picture
    out = picture.copy()
    out[max(y, 0) : h + min(y, 0), max(x, 0) : w + min(x, 0)] = picture[
        max(-y, 0) : h + min(-y, 0), max(-x, 0) : w + min(-x, 0)
    ]
    return out


def _blobs(outside: Picture, picture: Picture, diameter: float) -> Array:
    """(N, 6) x, y, strength and colour of connected parts of a ball's size.

    ``outside`` (h, w): how far each pixel of ``picture`` lies outside what its neighbours in time show within a pixel
    of it. The colour is that of the pixels that changed most, where least of the background shines through.
    """
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        (outside > _CHANGE).astype(np.uint8), connectivity=8
    )
    area, longest = stats[:, cv2.CC_STAT_AREA], stats[:, 2:4].max(axis=1)
    fits = (area > 0.10 * diameter**2) & (area < _WIDE * _LONG * diameter**2) & (longest < _LONG * diameter)
    out = []
    for k in np.flatnonzero(fits[1:]) + 1:
        x, y, w, h, _ = stats[k]
        part = np.where(labels[y : y + h, x : x + w] == k, outside[y : y + h, x : x + w], 0.0)
        rows, columns = np.nonzero(part)
        weight = part[rows, columns]
        centre = np.array([weight @ columns, weight @ rows]) / weight.sum()
        spread = np.cov(np.stack([columns, rows]), aweights=weight) if len(weight) > 2 else np.zeros((2, 2))
        if 4.0 * np.sqrt(max(np.linalg.eigvalsh(spread)[0], 0.0)) < _WIDE * diameter:
            core = weight >= np.quantile(weight, 0.7)
            colour = picture[rows[core] + y, columns[core] + x].mean(axis=0)
            out.append([centre[0] + x, centre[1] + y, weight.sum(), *colour])
    return np.array(out).reshape(-1, 6)


def _without_doubles(found: Array, distance: float) -> Array:
    """Of (M, 6) blobs closer together than ``distance`` only the strongest: (N, 6)."""
    kept: list[Array] = []
    for blob in found[np.argsort(-found[:, 2])]:
        if all(np.hypot(*(blob[:2] - other[:2])) > distance for other in kept):
            kept.append(blob)
    return np.array(kept).reshape(-1, 6)


# Paths --------------------------------------------------------------------------------------------------

#: A path may miss this many pictures in a row.
_MISSED = 3
#: How far a spot may be from where its path leads: balls, and of the step since the last spot.
_GATE, _GATE_STEP = 0.6, 0.15
#: A spot further than this from its neighbours' path, balls, is another thing's.
_ODD = 0.35
#: Gains of the place and of the speed of a path that is followed (alpha-beta filter).
_ALPHA, _BETA = 0.8, 0.5
#: Slowest step of a path from one picture to the next, balls; fastest ball, statures a second (60 m/s).
_SLOWEST, FASTEST = 0.25, 34.0

_Member = tuple[int, int]  # picture, spot


@dataclass(frozen=True)
class Path:
    """Spots in a row that a ball in flight could have left: (N,) seconds, (N, 2) pixels and (N, 3) colours."""

    times: Array
    places: Array
    colours: Array

    @property
    def spots(self) -> int:
        """How many."""
        return len(self.times)

    def part(self, which: slice | NDArray[np.bool_]) -> Path:
        """Some of its spots."""
        return Path(self.times[which], self.places[which], self.colours[which])


def find_paths(spots: Sequence[Spots], diameter: float) -> list[Path]:
    """Rows of spots that keep to a smooth path, longest first; a row mostly within a longer one is left out.

    Parameters
    ----------
    spots : of successive pictures. diameter : of the ball, pixels.
    """
    times = [s.time for s in spots]
    places = [s.places[:, 0] + 1j * s.places[:, 1] for s in spots]
    rows: set[tuple[_Member, ...]] = set()
    used: set[tuple[_Member, _Member]] = set()
    for i in range(len(spots) - 2):
        for first in _seeds(times, places, i, diameter):
            if (first[0], first[1]) in used and (first[1], first[2]) in used:
                continue
            row = _followed(times, places, list(first), diameter, 1)
            row = _followed(times, places, row[::-1], diameter, -1)[::-1]
            used.update(itertools.pairwise(row))
            rows.add(tuple(row))
    kept: list[tuple[_Member, ...]] = []
    for one in sorted(rows, key=lambda r: (-len(r), r)):
        if not any(len(set(one) - set(longer)) < 2 for longer in kept):
            kept.append(one)
    return [
        _without_the_odd(
            Path(
                np.array([times[i] for i, _ in r]),
                np.array([spots[i].places[k] for i, k in r]),
                np.array([spots[i].colours[k] for i, k in r]),
            ),
            diameter,
        )
        for r in kept
    ]


def _without_the_odd(path: Path, diameter: float) -> Path:
    """The path without spots that are off the cubic through the two before and the two after them."""
    if path.spots < 7:
        return path
    t, p = path.times, path.places
    off = np.zeros(len(t))
    near = [t[:-4], t[1:-3], t[3:-1], t[4:]]
    ahead = np.zeros((len(t) - 4, 2))
    for j, place in enumerate((p[:-4], p[1:-3], p[3:-1], p[4:])):
        others = [m for m in range(4) if m != j]
        weight = np.prod([(t[2:-2] - near[m]) / (near[j] - near[m]) for m in others], axis=0)
        ahead += weight[:, None] * place
    off[2:-2] = np.linalg.norm(p[2:-2] - ahead, axis=1)
    # A spot that is off throws its neighbours' cubics off by less than itself.
    worst = off == maximum_filter1d(off, 5)
    return path.part(~(worst & (off > _ODD * diameter)))


def _seeds(times: list[float], places: list[Complex], i: int, diameter: float) -> list[tuple[_Member, ...]]:
    """Rows of three spots in pictures ``i`` to ``i + 2`` that go on evenly."""
    a, b, c = places[i : i + 3]
    if not (len(a) and len(b) and len(c)):
        return []
    step = b[None] - a[:, None]
    ratio = (times[i + 2] - times[i + 1]) / (times[i + 1] - times[i])
    moved = np.abs(step)
    off = np.abs((b[None] + ratio * step)[..., None] - c)
    gate = 2 * _GATE * diameter + _GATE_STEP * ratio * moved
    fastest = FASTEST * diameter / BALL * (times[i + 1] - times[i])
    good = (off < np.minimum(gate, 0.7 * moved)[..., None]) & (
        (moved > _SLOWEST * diameter) & (moved < fastest)
    )[..., None]
    return [((i, int(p)), (i + 1, int(q)), (i + 2, int(r))) for p, q, r in np.argwhere(good)]


def _followed(
    times: list[float], places: list[Complex], row: list[_Member], diameter: float, way: int
) -> list[_Member]:
    """The row with the spots that carry it on, forwards (``way`` 1) or backwards in time (-1)."""
    first, last = row[-3], row[-1]
    clock, place = times[last[0]], places[last[0]][last[1]]
    velocity = (place - places[first[0]][first[1]]) / (clock - times[first[0]])
    row = list(row)
    picture = last[0] + way
    while 0 <= picture < len(times) and abs(picture - row[-1][0]) <= _MISSED + 1:
        gap = times[picture] - clock
        ahead = place + velocity * gap
        if len(places[picture]):
            off = np.abs(places[picture] - ahead)
            k = int(np.argmin(off))
            if off[k] < _GATE * diameter + _GATE_STEP * abs(velocity * gap):
                wrong = places[picture][k] - ahead
                clock, place = times[picture], ahead + _ALPHA * wrong
                velocity += _BETA * wrong / gap
                row.append((picture, k))
        picture += way
    return row
