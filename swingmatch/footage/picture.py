"""A cheap look at the pictures themselves, on the side of tracking: light, sharpness, camera movement, cuts.

A ``Watcher`` sees every n-th picture that passes by and keeps little of it: a thumbnail and a coarse map of how steep
its edges are. What that says about the player can be worked out when the track is known (:func:`look`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES
from swingmatch.body.track import Track
from swingmatch.clip.clip import Frame
from swingmatch.series import resample

Array = NDArray[np.float64]

#: Every so many pictures one is looked at; a look takes about a fifth of tracking one picture, so this costs 2 %.
EVERY = 10
#: Most looks that are kept; beyond it every other one is dropped and looks are taken half as often.
_MOST = 600
#: Height of a thumbnail, pixels, and rows of the map of edges.
_THUMB, _CELLS = 96, 36
#: Rows of a picture that are searched for edges; more would only cost time.
_ROWS = 180
#: Pixels over which an edge is taken to be complete.
_WHOLE = 8
#: A thumbnail this much unlike the one before (1 minus their correlation), and this many times as much as usual, is of
#: another scene. Set on generated clips: shaking and panning stay under 0.2, another camera side gives 0.5 and more.
_CUT, _CUT_OVER_USUAL = 0.35, 4.0
#: Grey levels from which a pixel is blown out, and under which it is black.
_BLOWN, _BLACK = 250, 8
#: Steps by which a shift between thumbnails is made finer.
_REFINE = 4
#: A hand that moves at least this share of its fastest is fast.
_FAST, _SLOW = 0.6, 0.15


@dataclass(frozen=True, eq=False)
class Watched:
    """What was kept of the pictures.

    Attributes
    ----------
    times : (N,) seconds on the clip's own clock. thumbs : (N, h, w) grey, uint8.
    edges : (N, 4, r, c) mean squared difference of grey levels in each cell of a grid: sideways over 1 and over
        ``_WHOLE`` pixels, then downwards.
    changes : (M, 2) seconds and how unlike the look before it a look was, 0 the same to 2.
    size : (width, height) of the pictures, pixels.
    """

    times: Array
    thumbs: NDArray[np.uint8]
    edges: NDArray[np.float32]
    changes: Array
    size: tuple[int, int]


@dataclass(frozen=True)
class Picture:
    """How the pictures are, as far as it bears on measuring. Shares are 0..1, NaN where nothing is known.

    Attributes
    ----------
    blown, black : share of the player's box that is blown out, or without any light; median over the clip.
    edge : width in pixels of the edges on the player; 1-2 is sharp. smear : how much wider they are at the hand while
        it is fast than while it is slow, pixels; motion blur.
    travel : how far the camera's view moves about over two seconds, in picture heights. shake : its quick part.
    cuts : seconds at which another scene begins, each known to within ``cut_margin`` seconds.
    """

    blown: float = float("nan")
    black: float = float("nan")
    edge: float = float("nan")
    smear: float = float("nan")
    travel: float = float("nan")
    shake: float = float("nan")
    cuts: tuple[float, ...] = ()
    cut_margin: float = 0.0


class Watcher:
    """Looks at every ``every``-th picture that passes by; memory does not grow with the clip."""

    def __init__(self, every: int = EVERY) -> None:
        self._every = max(1, every)
        self._passed = 0
        self._looks: list[tuple[float, NDArray[np.uint8], NDArray[np.float32]]] = []
        self._changes: list[tuple[float, float]] = []
        self._last: NDArray[np.uint8] | None = None
        self._size = (0, 0)

    def passing(self, frames: Iterable[Frame]) -> Iterator[Frame]:
        """The frames of one stretch as they come; some are looked at on their way."""
        self._last = None
        for frame in frames:
            if self._passed % self._every == 0:
                self.see(frame)
            self._passed += 1
            yield frame

    def see(self, frame: Frame) -> None:
        """Look at one frame, in order of time."""
        self._size = (frame.image.shape[1], frame.image.shape[0])
        grey = cv2.extractChannel(frame.image, 1)  # green holds most of the light and needs no arithmetic
        thumb = _thumb(grey)
        if self._last is not None and self._last.shape == thumb.shape:
            self._changes.append((frame.time, _unlike(self._last, thumb)))
        self._last = thumb
        self._looks.append((frame.time, thumb, _edges(grey)))
        if len(self._looks) > _MOST:
            self._looks = self._looks[::2]
            self._every *= 2

    def watched(self) -> Watched | None:
        """What was kept; None where no picture came."""
        if not self._looks:
            return None
        # Stretches may come in any order, and the same one again.
        looks = {time: (time, thumb, edges) for time, thumb, edges in self._looks}
        shape = self._looks[-1][1].shape
        times, thumbs, edges = zip(
            *(looks[time] for time in sorted(looks) if looks[time][1].shape == shape), strict=True
        )
        return Watched(
            times=np.array(times),
            thumbs=np.stack(thumbs),
            edges=np.stack(edges),
            changes=np.array(self._changes, dtype=np.float64).reshape(-1, 2),
            size=self._size,
        )


def _thumb(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    height, width = grey.shape
    size = (max(8, round(_THUMB * width / height)), _THUMB)
    if height > 4 * _THUMB:  # in two steps: averaging all of a large picture takes ten times as long
        grey = np.asarray(
            cv2.resize(grey, (2 * size[0], 2 * size[1]), interpolation=cv2.INTER_LINEAR), np.uint8
        )
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def _unlike(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> float:
    """1 minus the correlation of two thumbnails, made so coarse that a moving player hardly counts."""
    a, b = (
        cv2.resize(t, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA).astype(np.float64)
        for t in (one, other)
    )
    a, b = a - a.mean(), b - b.mean()
    norm = float(np.sqrt((a * a).sum() * (b * b).sum()))
    # Two plain pictures are alike; a plain one and another are not.
    if norm < 1e-6:
        return 0.0 if max(np.abs(a).max(), np.abs(b).max()) < 1.0 else 1.0
    return float(1.0 - (a * b).sum() / norm)


def _edges(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(4, r, c) mean squared differences; see ``Watched.edges``. Only every few rows of the picture are used."""
    height = grey.shape[0]
    step = max(1, height // _ROWS)
    if height <= 2 * _WHOLE or grey.shape[1] <= 2 * _WHOLE:
        return np.full((4, 1, 1), np.nan, np.float32)
    rows = np.ascontiguousarray(grey[: height - _WHOLE : step])
    below = [np.ascontiguousarray(grey[lag : height - _WHOLE + lag : step]) for lag in (1, _WHOLE)]
    pairs = [
        (rows[:, :-_WHOLE], rows[:, 1 : 1 - _WHOLE]),
        (rows[:, :-_WHOLE], rows[:, _WHOLE:]),
        (rows[:, :-_WHOLE], below[0][:, :-_WHOLE]),
        (rows[:, :-_WHOLE], below[1][:, :-_WHOLE]),
    ]
    return np.stack([_cells(cv2.absdiff(a, b)) for a, b in pairs])


def _cells(difference: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Mean square in each cell of a grid, by the sum over everything above and to the left."""
    height, width = difference.shape
    rows, columns = min(_CELLS, height), min(2 * _CELLS, width)
    total = cv2.integral2(difference)[1]
    y = np.linspace(0, height, rows + 1).astype(int)
    x = np.linspace(0, width, columns + 1).astype(int)
    corners = total[np.ix_(y, x)]
    sums = corners[1:, 1:] - corners[:-1, 1:] - corners[1:, :-1] + corners[:-1, :-1]
    return np.asarray(sums / np.outer(np.diff(y), np.diff(x)), np.float32)


def look(watched: Watched | None, track: Track) -> Picture:
    """What the pictures are like where the player is. Both on the clip's own clock."""
    if watched is None or len(watched.times) == 0:
        return Picture()
    at = resample(track.image, track.times, watched.times)  # (N, K, 2), NaN where unknown
    scale = np.array(watched.size) / np.array(track.size)
    boxes = [_box(points * scale) for points in at]
    blown, black = _light(watched, boxes)
    edge, smear = _sharpness(watched, boxes, at * scale, track)
    travel, shake = _movement(watched, boxes)
    gaps = np.diff(watched.times)
    return Picture(
        blown=blown,
        black=black,
        edge=edge,
        smear=smear,
        travel=travel,
        shake=shake,
        cuts=tuple(sorted({*_cuts(watched), *_leaps(track)})),
        cut_margin=float(np.median(gaps)) if len(gaps) else 0.0,
    )


def picture_at_real_speed(picture: Picture, factor: float) -> Picture:
    """The same with the times of its cuts as they were when it was filmed ``factor`` times as fast."""
    return replace(
        picture, cuts=tuple(cut / factor for cut in picture.cuts), cut_margin=picture.cut_margin / factor
    )


_Box = tuple[float, float, float, float]


def _box(points: Array, around: float = 0.0) -> _Box | None:
    """Left, top, right, bottom in pixels around known points (K, 2); None where there are none."""
    known = points[np.isfinite(points).all(axis=-1)]
    if len(known) < 1:
        return None
    (x0, y0), (x1, y1) = known.min(axis=0) - around, known.max(axis=0) + around
    return float(x0), float(y0), float(x1), float(y1)


def _part(values: NDArray[Any], box: _Box, size: tuple[int, int]) -> NDArray[Any]:
    """The part of a map (..., r, c) of a whole picture that a box of pixels covers; at least one cell, if any."""
    rows, columns = values.shape[-2:]
    x0, x1 = (int(np.floor(v * columns / size[0])) for v in (box[0], box[2]))
    y0, y1 = (int(np.floor(v * rows / size[1])) for v in (box[1], box[3]))
    return values[..., max(y0, 0) : max(y1 + 1, 0), max(x0, 0) : max(x1 + 1, 0)]


def _light(watched: Watched, boxes: list[_Box | None]) -> tuple[float, float]:
    shares = []
    for thumb, box in zip(watched.thumbs, boxes, strict=True):
        part = _part(thumb, box, watched.size) if box is not None else np.zeros(0)
        if part.size:
            shares.append([(part >= _BLOWN).mean(), (part <= _BLACK).mean()])
    if not shares:
        return float("nan"), float("nan")
    blown, black = np.median(np.array(shares), axis=0)
    return float(blown), float(black)


def _edge_width(edges: NDArray[Any]) -> float:
    """Width of edges in pixels, from mean squared differences sideways and downwards (2 or 4, r, c).

    A step of height C spread evenly over w pixels has differences C / w over one pixel, w of them: their squares add
    up to C^2 / w; over L > w pixels to C^2 (L - w / 3). The ratio of the two gives w; it is exact for straight ramps.
    """
    sums = np.asarray(edges, np.float64).reshape(len(edges), -1).sum(axis=1)
    near, far = float(sums[::2].sum()), float(sums[1::2].sum())
    if not far > 0:
        return float("nan")
    ratio = max(near / far, 1e-6)  # 1 / (w (L - w / 3)) = ratio
    inside = _WHOLE**2 / 4 - 1 / (3 * ratio)
    if inside <= 0:  # wider than the far difference reaches
        return float(1.5 * _WHOLE)
    return float(1.5 * (_WHOLE - 2 * np.sqrt(inside)))


def _sharpness(
    watched: Watched, boxes: list[_Box | None], points: Array, track: Track
) -> tuple[float, float]:
    """Edge width on the player (median), and how much wider it is at the hand while that is fast."""
    widths = [
        _edge_width(_part(edges, box, watched.size))
        for edges, box in zip(watched.edges, boxes, strict=True)
        if box is not None and _part(edges, box, watched.size).size
    ]
    known = [width for width in widths if np.isfinite(width)]
    edge = float(np.median(known)) if known else float("nan")
    fast: list[float] = []
    slow: list[float] = []
    heights = [box[3] - box[1] for box in boxes if box is not None]
    tall = float(np.median(heights)) if heights else float("nan")
    for side in SIDES:
        j = INDEX[f"{side}_wrist"]
        speeds = (
            np.linalg.norm(np.gradient(track.image[:, j], track.times, axis=0), axis=1)
            if len(track.times) > 1
            else np.zeros(len(track.times))
        )
        top = float(np.nanmax(np.nan_to_num(speeds), initial=0.0))
        if top <= 0:
            continue
        now = resample(speeds, track.times, watched.times)
        for k in np.flatnonzero(np.isfinite(now)):
            box = _box(points[k, j][None], 0.08 * tall)
            part = _part(watched.edges[k], box, watched.size) if box is not None else np.zeros(0)
            if part.size:
                # What moves is smeared along its way and sharp across it.
                width = max(_edge_width(part[:2]), _edge_width(part[2:]))
                (fast if now[k] > _FAST * top else slow if now[k] < _SLOW * top else []).append(width)
    if not np.isfinite(fast).any() or not np.isfinite(slow).any():
        return edge, float("nan")
    return edge, float(np.nanmedian(fast) - np.nanmedian(slow))


def _movement(watched: Watched, boxes: list[_Box | None]) -> tuple[float, float]:
    """How far the view moves about over two seconds, and its quick part, both in picture heights.

    90th percentiles over the clip, from the shift of each thumbnail against the one before without the player's part.
    """
    if len(watched.times) < 3:
        return float("nan"), float("nan")
    shifts = [np.zeros(2)]
    for k in range(1, len(watched.times)):
        around = np.ones(watched.thumbs.shape[1:], dtype=bool)
        for box in (boxes[k - 1], boxes[k]):
            if box is not None:
                _part(around, box, watched.size)[...] = False
        shifts.append(_shift(watched.thumbs[k - 1], watched.thumbs[k], around) / _THUMB)
    place = np.cumsum(shifts, axis=0)
    reach = max(2, int(np.searchsorted(watched.times, watched.times[0] + 2.0)))
    spans = [np.ptp(place[i : i + reach], axis=0).max() for i in range(max(1, len(place) - reach + 1))]
    quick = np.linalg.norm(np.diff(place, n=2, axis=0), axis=1)
    return float(np.percentile(spans, 90)), float(np.percentile(quick, 90))


def _shift(one: NDArray[np.uint8], other: NDArray[np.uint8], around: NDArray[np.bool_]) -> Array:
    """How far (x, y) in pixels ``other`` is moved against ``one``, told from where ``around`` holds.

    Whole pixels by phase correlation, the rest by least squares on the slopes (Lucas and Kanade 1981); no movement
    where the two have nothing in common.
    """
    a, b = one.astype(np.float64), other.astype(np.float64)
    hanning = cv2.createHanningWindow(a.shape[::-1], cv2.CV_64F)
    shift = np.zeros(2)
    # Twice: after the first time the two overlap better. The player is left in: cut out, the hole's edge would tell
    # of no movement; what surrounds the player is most of the picture.
    for _ in range(2):
        coarse, response = cv2.phaseCorrelate(a, _moved_back(b, shift), hanning)
        if response > 0.05:
            shift = shift + np.round(coarse)
    slope_y, slope_x = np.gradient(a)
    inner = around.copy()
    margin = 1 + int(np.abs(shift).max())
    inner[:margin] = inner[-margin:] = False
    inner[:, :margin] = inner[:, -margin:] = False
    slopes = np.stack([slope_x[inner], slope_y[inner]], axis=1)
    normal = slopes.T @ slopes
    if np.linalg.cond(normal) > 1e6:  # a plain wall, or stripes, tell no shift
        return np.zeros(2)
    for _ in range(_REFINE):
        back = _moved_back(b, shift)
        step = np.linalg.solve(normal, slopes.T @ (a - back)[inner])
        shift = shift + np.clip(step, -1.0, 1.0)
    return np.asarray(shift, dtype=np.float64)


def _moved_back(picture: Array, shift: Array) -> Array:
    """A picture moved back by a shift (x, y) in pixels, its border repeated."""
    matrix = np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(picture, matrix, picture.shape[::-1], flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, dtype=np.float64)


def _cuts(watched: Watched) -> list[float]:
    if len(watched.changes) == 0:
        return []
    times, unlike = watched.changes.T
    cut = (unlike > _CUT) & (unlike > _CUT_OVER_USUAL * np.median(unlike))
    return [float(time) for time in times[cut]]


def _leaps(track: Track, far: float = 1.0) -> list[float]:
    """Moments at which the whole player is suddenly ``far`` body heights elsewhere: a cut within one scene, or
    somebody else is followed."""
    seen = np.flatnonzero(np.isfinite(track.image).all(axis=(1, 2)))
    if len(seen) < 2:
        return []
    hips = track.image[seen][:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1)
    tall = float(np.median(np.ptp(track.image[seen][..., 1], axis=1)))
    near = np.diff(track.times[seen]) < 0.15
    leap = np.linalg.norm(np.diff(hips, axis=0), axis=1) > far * tall
    return [float(track.times[seen[i + 1]]) for i in np.flatnonzero(near & leap)]
