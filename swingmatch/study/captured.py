"""Recorded people's strokes, one by one: cut out of optical motion capture by plain rules of their own.

The recordings are BVH files and an ``index.csv`` in one folder, which is not part of this repository. The rules know
nothing of the analysis, so that what is compared with published studies (``outside``) does not lean on it.

- *No ball and no racket were recorded.* Contact of groundstrokes is put ``WRIST_PEAK_BEFORE_CONTACT`` (row A16 of the
  check values) after the wrist, in two-handed strokes the middle of both, is fastest; that of serves where the wrist
  is highest, as the ball is hit at full stretch (*common practice, no source*).
- *No court.* The target is where the player's forehands send the hand, to about 15 degrees.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, SIDES, middle, mirror
from swingmatch.body.smooth import low_pass
from swingmatch.errors import LibraryError
from swingmatch.library.bvh import read_keypoints
from swingmatch.stroke import kinematics as kin
from swingmatch.stroke import measures as m
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.swing import Hand

Array = NDArray[np.float64]

#: Low-pass for all positions, Hz: within what is usual for body points, more for the ends of the arms (E15).
CUTOFF = 12.0
#: A stroke: seconds kept before and after contact, share of the recording's fastest hand, least seconds between two.
BEFORE, AFTER, _SHARE, _APART = 1.2, 0.5, 0.6, 1.5
#: Wrists nearer than this at contact hold one racket, metres. In these recordings it is 0.10-0.23 or 0.44 and more.
TOGETHER = 0.35
#: The serve's highest wrist is looked for this far from its fastest moment, seconds.
_REACH = 0.2
#: A hip, knee or the other shoulder that is accelerated by more than this, m/s^2, is a marker that jumped; such a
#: stroke is left out. The hitting shoulder is thrown on purpose: up to 90 in serves of good recordings.
_JUMPED = 80.0


@dataclass(frozen=True)
class Stroke:
    """One stroke on the ball's side (ball on +Z; a left-hander mirrored, a backhand mirrored once more).

    Attributes
    ----------
    player, level : as in the index. kind : "forehand", "one-handed backhand", "two-handed backhand", "serve".
    times : (T,) seconds from contact. points : (T, K, 3) metres, X to the target, Y up, filtered.
    hitting : the arm that holds the racket alone or below the other.
    """

    player: str
    level: str
    kind: str
    times: Array
    points: Array
    hitting: Hand

    def arm(self, part: str) -> Array:
        """(T, 3) a keypoint of the hitting arm."""
        return self.points[:, INDEX[f"{self.hitting}_{part}"]]

    def at(self, values: Array, time: float = 0.0) -> float:
        """``values`` (T,) at a time from contact."""
        return float(np.interp(time, self.times, values))

    def between(self, start: float, stop: float) -> NDArray[np.intp]:
        """Indices of the samples from ``start`` to ``stop``."""
        return np.flatnonzero((self.times >= start) & (self.times <= stop))

    def peak(self, values: Array, start: float, stop: float) -> tuple[float, float]:
        """Time and height of the highest of ``values`` (T,) in a stretch."""
        part = self.between(start, stop)
        return kin.peak(self.times[part], values[part])

    def speed(self, part: str, level: bool = False) -> Array:
        """(T,) speed of a keypoint of the hitting arm, m/s; along the ground only where ``level``."""
        path = self.arm(part)
        return m.speed(path[:, [0, 2]] if level else path, self.times)

    @cached_property
    def hips(self) -> Array:
        """(T,) turn of the hip line, degrees."""
        return m.hip_turn(self.points)

    @cached_property
    def shoulders(self) -> Array:
        """(T,) turn of the shoulder line, degrees, counted so that it is nearest to that of the hips at contact."""
        turn = m.shoulder_turn(self.points)
        return turn - 360.0 * np.round((self.at(turn) - self.at(self.hips)) / 360.0)

    @cached_property
    def take_back(self) -> float:
        """End of the take-back: the hitting hand is farthest behind the hips, 0.9 to 0.08 s before contact."""
        back = (self.arm("hand") - middle(self.points, "hip"))[:, 0]
        return self.peak(-back, -0.9, -0.08)[0]

    @cached_property
    def forward_start(self) -> float:
        """Last moment before contact at which the hand moves to the target with a tenth of its later peak speed."""
        part = self.between(self.take_back - 0.1, 0.0)
        forward = np.gradient(self.arm("hand")[:, 0], self.times)[part]
        begun = kin.onset(self.times[part], forward, int(np.argmax(forward)), 0.1)
        return begun if np.isfinite(begun) else self.take_back

    def spin(self, frames: Array) -> Array:
        """(T,) angular velocity of a segment about its own long axis (y), degrees a second; positive to the left."""
        turns = Rotation.from_matrix(frames[2:]) * Rotation.from_matrix(frames[:-2]).inv()
        velocity = np.degrees(turns.as_rotvec()) / (self.times[2:] - self.times[:-2])[:, None]
        return np.pad((velocity * frames[1:-1, :, 1]).sum(axis=1), 1, mode="edge")


def strokes(folder: Path) -> list[Stroke]:
    """All strokes of all recordings in ``folder`` that have room around them and no marker that jumps.

    Raises
    ------
    LibraryError : the index or a recording is missing or damaged.
    """
    try:
        with (folder / "index.csv").open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
    except FileNotFoundError:
        raise LibraryError(f"There is no index.csv of recordings in {folder}.") from None
    if not rows or not {"file", "player", "stroke"} <= set(rows[0]):
        raise LibraryError(f"The index.csv in {folder} does not list file, player and stroke.")
    bodies = {row["file"]: _read(folder / row["file"]) for row in rows}
    out = []
    for player in sorted({row["player"] for row in rows}):
        mine = [row for row in rows if row["player"] == player]
        hand = _hand([bodies[row["file"]] for row in mine if row["stroke"] != "backhand"])
        forehands = [bodies[row["file"]] for row in mine if row["stroke"] == "forehand"]
        target = _target(forehands, hand)
        for row in mine:
            out += _cut(*bodies[row["file"]], row, hand, target)
    return out


def _read(path: Path) -> tuple[Array, Array]:
    times, points = read_keypoints(path)
    known = np.isfinite(points).all(axis=(0, 2))
    points[:, known] = low_pass(points[:, known], 1.0 / (times[1] - times[0]), CUTOFF)
    return times, points


def _wrist(points: Array, hand: Hand) -> Array:
    return points[:, INDEX[f"{hand}_wrist"]]


def _hand(bodies: Sequence[tuple[Array, Array]]) -> Hand:
    """The hand that is faster over forehands and serves."""

    def fast(side: Hand) -> float:
        return sum(float(np.percentile(m.speed(_wrist(p, side), t), 99.5)) for t, p in bodies)

    return "right" if fast("right") >= fast("left") else "left"


def _hits(times: Array, path: Array) -> list[float]:
    """Times at which a path is fastest, one a stroke."""
    speed = m.speed(path, times)
    step = times[1] - times[0]
    peaks, _ = find_peaks(speed, height=_SHARE * np.percentile(speed, 99.5), distance=round(_APART / step))
    return [kin.peak(times[k - 3 : k + 4], speed[k - 3 : k + 4])[0] for k in peaks if 3 <= k < len(times) - 3]


def _way(times: Array, path: Array, hit: float) -> Array:
    """Unit vector (x, z) along which a path goes between its fastest moment and contact."""
    ends = [[np.interp(t, times, path[:, i]) for i in (0, 2)] for t in (hit, hit + WRIST_PEAK_BEFORE_CONTACT)]
    way = np.subtract(ends[1], ends[0])
    return way / np.linalg.norm(way)


def _target(bodies: Sequence[tuple[Array, Array]], hand: Hand) -> Array:
    """Direction (x, z) in which a player's forehands send the hand."""
    ways = [_way(t, _wrist(p, hand), hit) for t, p in bodies for hit in _hits(t, _wrist(p, hand))]
    total = np.sum(ways, axis=0)
    return total / np.linalg.norm(total)


def _cut(times: Array, points: Array, row: dict[str, str], hand: Hand, target: Array) -> list[Stroke]:
    """The strokes of one recording."""
    path, kind = _wrist(points, hand), row["stroke"]
    if kind == "backhand":
        both = middle(points, "wrist")
        gap = np.linalg.norm(points[:, INDEX["left_wrist"]] - points[:, INDEX["right_wrist"]], axis=1)
        held = np.median([np.interp(hit, times, gap) for hit in _hits(times, both)])
        kind = "two-handed backhand" if held < TOGETHER else "one-handed backhand"
        path = both if held < TOGETHER else path
    hits = _hits(times, path)
    if hits and np.dot(np.sum([_way(times, path, hit) for hit in hits], axis=0), target) < 0.0:
        target = -target  # this recording was made from the other side
    x, z = target
    court = np.array([[x, 0.0, z], [0.0, 1.0, 0.0], [-z, 0.0, x]])
    backhand = kind.endswith("backhand")
    other = "left" if hand == "right" else "right"
    steady = [INDEX[f"{side}_{part}"] for side in SIDES for part in ("hip", "knee")] + [
        INDEX[f"{other}_shoulder"]
    ]
    step = times[1] - times[0]
    jerky = np.linalg.norm(np.diff(points[:, steady], 2, axis=0) / step**2, axis=2).max(axis=1)
    out = []
    for hit in hits:
        contact = hit + WRIST_PEAK_BEFORE_CONTACT
        if kind == "serve":
            near = np.flatnonzero(np.abs(times - hit) <= _REACH)
            contact = kin.peak(times[near], path[near, 1])[0]
        part = np.flatnonzero((times >= contact - BEFORE) & (times <= contact + AFTER))
        whole = times[0] <= contact - BEFORE and contact + AFTER <= times[-1]
        if not whole or jerky[part[1] - 1 : part[-1]].max() > _JUMPED:
            continue
        own = points[part] @ court.T
        if (hand == "left") != backhand:
            own = mirror(own)
        arm: Hand = "left" if backhand else "right"
        out.append(Stroke(row["player"], row.get("level", ""), kind, times[part] - contact, own, arm))
    return out
