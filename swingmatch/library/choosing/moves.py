"""How unlike two movements are, segment by segment, as far as the camera sides show them.

Tempo is taken out (``search.features`` resamples both sides of contact), and each segment counts by its median over the
stroke: a fault in one part of it hardly moves that. What a segment counts falls with how badly the camera sides of both
swings show it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.align import dtw
from swingmatch.align.features import SEGMENT_NAMES, SEGMENT_WEIGHTS, rows
from swingmatch.align.warp import BAND, MAX_BEFORE
from swingmatch.library.search.features import CONTACT_ROW, SHARES, swing_features
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: Degrees a segment that a coach would call clearly different. Own judgement.
SCALE = 15.0
#: Draws that are looked at for how well a segment is shown.
_DRAWS = 8
#: What a unit vector is scaled by in the columns of ``search.features``.
_IN_DEGREES = np.sqrt(3.0 * SHARES) * 180.0 / np.pi
#: Rows by which the warp may leave the even one: those of ``BAND`` seconds in the longest stroke.
_RADIUS = round(BAND * CONTACT_ROW / MAX_BEFORE)


@dataclass(frozen=True)
class Moves:
    """One movement: ``directions`` (T, S, 3) as in ``align.features``, ``trust`` (S,) from 0 hidden to 1 exact."""

    directions: Array
    trust: Array


def moves_of(swing: Swing) -> Moves:
    """The movement of a swing of either hand. Raises ``StrokeError`` where too little is known before contact."""
    directions = _directions(swing)
    seen = np.isfinite(directions).all(axis=(0, 2))
    sd = np.zeros(len(seen))
    if swing.draws is not None:
        drawn = [_directions(replace(swing, points=draw, draws=None)) for draw in swing.draws[:_DRAWS]]
        off = [np.square(draw - directions).sum(axis=2).mean(axis=0) for draw in drawn]
        sd = np.degrees(np.sqrt(np.nan_to_num(np.mean(off, axis=0))))
    return Moves(np.nan_to_num(directions), np.where(seen, SCALE**2 / (SCALE**2 + sd**2), 0.0))


def _directions(swing: Swing) -> Array:
    """(T, S, 3) unit directions of the body's segments, out of what the library is searched by; NaN where hidden."""
    matrix = np.asarray(swing_features(swing), dtype=np.float64)
    return (matrix / _IN_DEGREES).reshape(len(matrix), -1, 3)[:, : len(SEGMENT_NAMES)]


def segments_apart(one: Moves, other: Moves) -> tuple[Array, Array]:
    """Degrees (S,) by which two movements differ in each segment, and what each counts (S,), weights within 0..1.

    What counts for nothing is NaN.
    """
    counts = SEGMENT_WEIGHTS / SEGMENT_WEIGHTS.sum() * one.trust * other.trust
    if not counts.any():
        return np.full(len(counts), np.nan), counts
    shares = counts / counts.sum()
    mine, theirs = rows(one.directions, shares), rows(other.directions, shares)
    off = []
    for part in (slice(None, CONTACT_ROW + 1), slice(CONTACT_ROW, None)):
        path = dtw.path(mine[part], theirs[part], _RADIUS)
        at = one.directions[part][path[:, 0]], other.directions[part][path[:, 1]]
        off.append(np.linalg.norm(at[0] - at[1], axis=2))
    apart = np.degrees(np.median(np.concatenate(off), axis=0))
    return np.where(counts > 0.0, apart, np.nan), counts


def unlikeness(players: Sequence[Moves], models: Sequence[Moves], most: float) -> tuple[float, float, int]:
    """How unlike a player's movement is to a model's, how much of it can be compared, and the repeat most alike.

    The first is the root mean square over the segments of differences in ``SCALE``, none counted beyond
    ``most``; medians over all pairs of swings. The second is 0..1.
    """
    table = np.array([[_pair(mine, model, most) for model in models] for mine in players])
    size, counted = np.median(table[..., 0]), np.median(table[..., 1])
    return float(size), float(counted), int(np.argmin(np.median(table[..., 0], axis=0)))


def _pair(one: Moves, other: Moves, most: float) -> tuple[float, float]:
    apart, counts = segments_apart(one, other)
    if not counts.any():
        return float("nan"), 0.0
    sizes = np.minimum(np.nan_to_num(apart) / SCALE, most)
    return float(np.sqrt((counts * sizes**2).sum() / counts.sum())), float(counts.sum())
