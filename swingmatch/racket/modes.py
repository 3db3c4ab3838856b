"""Which of the poses that single frames allow belong together: several paths through them, followed side by side.

A mirror image in depth moves as smoothly as the racket itself, and where the racket is square to the line of sight the
two meet. So more than one path may be left. Each is followed by a Kalman filter of the racket's turn and its angular
velocity, whose error is small enough after a few frames to tell one pose from the other; the likeliest paths are kept
from frame to frame (a beam search over the filters' likelihoods), and a path may pass over a frame whose poses are
wrong.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.pose import Candidates
from swingmatch.racket.turning import turn, vector

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

#: What passing a frame over costs, in squared standard deviations.
_PASSED = 14.0
#: Paths kept from frame to frame, and of those that agree in their last two frames.
_KEPT, _ALIKE = 96, 8
#: Two paths are different where they are further apart than ``_APART`` radians in ``_FRAMES`` frames.
_APART, _FRAMES = 0.4, 4
#: Angular velocity before anything was seen, rad/s about each axis.
_PACE = 8.0


@dataclass(frozen=True)
class Strung:
    """A path: (M,) numbers of poses, -1 where a frame was passed over, and its cost."""

    poses: Ints
    cost: float


@dataclass(frozen=True)
class _Beam:
    """B filters: rotations (B, 3, 3), angular velocities (B, 3), covariances (B, 6, 6), costs (B,), choices (B, m).

    ``apart`` (B, B): in how many frames two of them have been apart.
    """

    turns: Array
    rate: Array
    spread: Array
    cost: Array
    choice: Ints
    apart: Ints

    def some(self, which: Ints) -> _Beam:
        return _Beam(
            self.turns[which],
            self.rate[which],
            self.spread[which],
            self.cost[which],
            self.choice[which],
            self.apart[np.ix_(which, which)],
        )


def paths(times: Array, found: Candidates, extra: Array, unrest: Array, *, most: int) -> list[Strung]:
    """Different paths through the poses, followed forward and backward in time, the likeliest of each way first.

    Parameters
    ----------
    times : (M,) seconds of the frames of ``found``. extra : (M, C) further cost of each pose.
    unrest : (M - 1,) rad/s by which the angular velocity changes on the way to the next frame.
    most : so many paths at most.
    """
    if len(times) == 0:
        return []
    back = Candidates(found.frame[::-1], found.turns[::-1], found.cost[::-1], found.spread[::-1])
    ahead = _followed(times, found, extra, unrest, most=most)
    behind = _followed(-times[::-1], back, extra[::-1], unrest[::-1], most=most)
    behind = [Strung(one.poses[::-1], one.cost) for one in behind]
    return [one for pair in itertools.zip_longest(ahead, behind) for one in pair if one is not None][:most]


def _followed(times: Array, found: Candidates, extra: Array, unrest: Array, *, most: int) -> list[Strung]:
    """The paths forward in time."""
    frames, poses = found.cost.shape
    alone = found.cost + extra
    alone = alone - found.cost.min(axis=1, keepdims=True)
    # Nothing tells a racket from itself rolled, so the first pose is one of the two that are not.
    first = np.arange(poses // 2)
    spread = np.zeros((len(first), 6, 6))
    spread[:, :3, :3] = found.spread[0, first]
    spread[:, 3:, 3:] = _PACE**2 * np.eye(3)
    none = np.zeros((len(first), len(first)), dtype=int)
    beam = _Beam(
        found.turns[0, first], np.zeros((len(first), 3)), spread, alone[0, first], first[:, None].copy(), none
    )
    for m in range(1, frames):
        beam = _kept(_seen(_ahead(beam, times[m] - times[m - 1], unrest[m - 1]), found, alone[m], m))
    return [Strung(beam.choice[b], float(beam.cost[b])) for b in _different(beam)[:most]]


def _ahead(beam: _Beam, gap: float, unrest: float) -> _Beam:
    """The filters one step on: a constant angular velocity that changes by ``unrest``."""
    move = np.eye(6)
    move[:3, 3:] = gap * np.eye(3)
    noise = np.zeros((6, 6))
    for row, column, share in ((0, 0, gap**2 / 3.0), (0, 3, gap / 2.0), (3, 0, gap / 2.0), (3, 3, 1.0)):
        noise[row : row + 3, column : column + 3] = share * unrest**2 * np.eye(3)
    return _Beam(
        turn(gap * beam.rate) @ beam.turns,
        beam.rate,
        move @ beam.spread @ move.T + noise,
        beam.cost,
        beam.choice,
        beam.apart,
    )


def _seen(beam: _Beam, found: Candidates, alone: Array, m: int) -> _Beam:
    """Every filter with every pose of frame ``m``, and without any."""
    count, poses = len(beam.cost), found.turns.shape[1]
    miss = vector(found.turns[m][None] @ np.swapaxes(beam.turns, 1, 2)[:, None])
    total = beam.spread[:, None, :3, :3] + found.spread[m][None]
    gain = np.swapaxes(np.linalg.solve(total, beam.spread[:, None, :3, :]), -1, -2)
    step = np.einsum("bcij,bcj->bci", gain, miss)
    far = np.einsum("bci,bci->bc", miss, np.linalg.solve(total, miss[..., None])[..., 0])
    # Against a filter that knows as much as one that has followed the racket for a while.
    cost = beam.cost[:, None] + far + np.linalg.slogdet(total)[1] - np.log(0.1) * 6.0 + alone[None]
    spread = beam.spread[:, None] - gain @ beam.spread[:, None, :3, :]

    def joined(old: Array, new: Array) -> Array:
        return np.concatenate([old, new.reshape(count * poses, *old.shape[1:])])

    choice = np.repeat(beam.choice, poses, axis=0)
    number = np.tile(np.arange(poses), count)
    passed = np.full(count, -1)
    parent = np.concatenate([np.arange(count), np.repeat(np.arange(count), poses)])
    return _Beam(
        joined(beam.turns, turn(step[..., :3]) @ beam.turns[:, None]),
        joined(beam.rate, beam.rate[:, None] + step[..., 3:]),
        joined(beam.spread, spread),
        joined(beam.cost + _PASSED + alone.min(), cost),
        np.column_stack([np.vstack([beam.choice, choice]), np.concatenate([passed, number])]),
        beam.apart[np.ix_(parent, parent)],
    )


def _kept(beam: _Beam) -> _Beam:
    """The likeliest, of those that end alike only the best few."""
    order = np.argsort(beam.cost, kind="stable")
    ends = beam.choice[order, -2] * 8 + beam.choice[order, -1]
    rank = np.zeros(len(order), dtype=int)
    for end in np.unique(ends):
        same = ends == end
        rank[same] = np.arange(same.sum())
    beam = beam.some(order[rank < _ALIKE][:_KEPT])
    flat = beam.turns.reshape(len(beam.cost), 9)
    # The trace of the turn between two filters tells how far they are apart.
    return replace(beam, apart=beam.apart + (flat @ flat.T < 1.0 + 2.0 * np.cos(_APART)))


def _different(beam: _Beam) -> Ints:
    """Filters by cost, one of those that have gone the same way."""
    kept: list[int] = []
    for b in np.argsort(beam.cost, kind="stable"):
        if not (beam.apart[b, kept] < _FRAMES).any():
            kept.append(int(b))
    return np.array(kept)
