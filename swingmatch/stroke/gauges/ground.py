"""The base of the feet on the ground, and what is over it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]


def margin(base: Array, point: Array) -> float:
    """How far ``point`` (2,) is inside the convex hull of ``base`` (N, 2); negative outside. NaN where unknown."""
    if not (np.isfinite(base).all() and np.isfinite(point).all()):
        return float("nan")
    try:
        hull = ConvexHull(base)
    except QhullError:
        return float("nan")
    outside = hull.equations[:, :2] @ point + hull.equations[:, 2]
    if outside.max() <= 0.0:
        return -float(outside.max())
    corners = base[hull.vertices]
    return -min(_to_segment(point, a, b) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True))


def _to_segment(point: Array, a: Array, b: Array) -> float:
    along = b - a
    share = float(np.clip((point - a) @ along / (along @ along), 0.0, 1.0))
    return float(np.linalg.norm(point - a - share * along))


def base_margin(movement: Movement, points: Array, time: float) -> float:
    """How far ``points`` (T, 3), seen from above, are inside the base of both heels and toes at ``time``, statures."""
    feet = np.stack([movement.joint(f"{s}_{p}") for s in ("left", "right") for p in ("heel", "toe")], axis=1)
    return margin(movement.at_time(time, feet)[:, [0, 2]], movement.at_time(time, points)[[0, 2]])
