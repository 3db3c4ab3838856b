"""``RacketPath``: a racket in space over one stroke, and what follows from it.

Axes are those of the lifted body (``body.lift.Lifted``): x right and z towards the camera, level; y vertical; the
camera at the origin; lengths in statures. ``stroke.direction.camera_to_court`` turns them to the court's as it turns
the body.

The points are ``points.NAMES``: butt, throat, tip, left edge, right edge. Here the edges *are* told apart: the face
normal, ``cross(tip - butt, right edge - left edge)``, is that of the face that strikes the ball in this stroke, so at
contact it points where the head is going (for either hand, and for a backhand as for a forehand). Before and after, the
edges are those same two edges, carried on by continuity.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.points import BUTT, LEFT, RIGHT, THROAT, TIP

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RacketPath:
    """A racket over the frames of one stroke.

    Attributes
    ----------
    times : (T,) seconds, those of the lifted body.
    points : (T, 5, 3) statures; NaN where the racket is not known (``seen`` is False).
    draws : (S, T, 5, 3) rackets that the evidence allows as well, drawn at random; draw i belongs to draw i of the body
        that was given. NaN where ``points`` is. They hold both solutions where a mirror image could not be ruled out.
    seen : (T,) whether the racket's pose is known well enough to be spoken of.
    face_sd : (T,) degrees, how far the face normal is off, by its draws (root mean square). Known where the fit
        reaches, ``seen`` or not; NaN elsewhere. tip_sd : (T,) statures, the same of the tip's place.
    length : the racket's length in statures, as fitted.
    """

    times: Array
    points: Array
    draws: Array
    seen: NDArray[np.bool_]
    face_sd: Array
    tip_sd: Array
    length: float

    def __post_init__(self) -> None:
        t = len(self.times)
        if self.points.shape != (t, 5, 3):
            raise ValueError(f"points has shape {self.points.shape}, expected ({t}, 5, 3)")
        if self.draws.ndim != 4 or self.draws.shape[1:] != (t, 5, 3):
            raise ValueError(f"draws has shape {self.draws.shape}, expected (S, {t}, 5, 3)")


def unseen(times: Array, draws: int = 0) -> RacketPath:
    """A racket that was not seen in any of the frames at ``times`` (T,) seconds."""
    t = len(times)
    nothing = np.full(t, np.nan)
    return RacketPath(
        times=np.asarray(times, dtype=np.float64),
        points=np.full((t, 5, 3), np.nan),
        draws=np.full((draws, t, 5, 3), np.nan),
        seen=np.zeros(t, dtype=bool),
        face_sd=nothing,
        tip_sd=nothing,
        length=float("nan"),
    )


def _unit(vectors: Array) -> Array:
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def long_axis(points: Array) -> Array:
    """Unit vectors from butt to tip: (..., 5, 3) to (..., 3)."""
    return _unit(points[..., TIP, :] - points[..., BUTT, :])


def face_normal(points: Array) -> Array:
    """Unit normals of the striking face: (..., 5, 3) to (..., 3)."""
    along = points[..., TIP, :] - points[..., BUTT, :]
    return _unit(np.cross(along, points[..., RIGHT, :] - points[..., LEFT, :]))


def head_centre(points: Array) -> Array:
    """Middle of the string bed: (..., 5, 3) to (..., 3)."""
    return 0.5 * (points[..., LEFT, :] + points[..., RIGHT, :])


def throat(points: Array) -> Array:
    """(..., 5, 3) to (..., 3)."""
    return points[..., THROAT, :]


def velocity(times: Array, places: Array, contact: float) -> Array:
    """Velocity of a point of the racket, never smoothed across contact (row E18 of the check values).

    Each side of contact is differenced by itself: second-order differences inside, one-sided ones at the ends. A frame
    at contact belongs to what was before.

    Parameters
    ----------
    times : (T,) seconds. places : (..., T, 3), NaN where unknown. contact : seconds.

    Returns
    -------
    (..., T, 3) per second, NaN next to what is unknown and where a side has fewer than two frames.
    """
    out = np.full(places.shape, np.nan)
    before = times <= contact + 1e-9
    for side in (before, ~before):
        at = np.flatnonzero(side)
        if len(at) >= 2:
            part = slice(at[0], at[-1] + 1)
            order: Literal[1, 2] = 2 if len(at) >= 3 else 1
            out[..., part, :] = np.gradient(places[..., part, :], times[part], axis=-2, edge_order=order)
    return out


def at_contact(times: Array, values: Array, contact: float, *, window: float = 0.05) -> Array:
    """A quantity of the racket at contact, carried on from the last frames before it (E18).

    A straight line (a parabola from five frames on) through the frames of the last ``window`` seconds, at least the
    last two, is read off at contact.

    Parameters
    ----------
    times : (T,) seconds. values : (..., T, D); frames with NaN do not count. contact, window : seconds.

    Returns
    -------
    (..., D), NaN where fewer than two frames before contact are known.
    """
    flat = np.moveaxis(values, -2, 0)
    count, rest = len(times), flat.shape[1:]
    flat = flat.reshape(count, -1)
    out = np.full(flat.shape[1], np.nan)
    known = np.isfinite(flat).all(axis=1) if flat.size else np.zeros(count, dtype=bool)
    last = np.flatnonzero((times <= contact + 1e-9) & known)
    if len(last) >= 2:
        near = last[times[last] >= contact - window]
        chosen = near if len(near) >= 2 else last[-2:]
        degree = 2 if len(chosen) >= 5 else 1
        out = np.polynomial.polynomial.polyfit(times[chosen] - contact, flat[chosen], degree)[0]
    return np.asarray(out.reshape(rest))
