"""Where the ball meets the strings: the line of sight to the struck ball through the plane of the racket at contact.

One camera sees a place on a plane well unless it looks along the plane; then nothing is told.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.path import RacketPath, face_normal, head_centre
from swingmatch.racket.points import TIP
from swingmatch.racket.view import View
from swingmatch.series import resample

Array = NDArray[np.float64]

#: A face that is seen under less than this, as the sine of the angle to the line of sight, tells no place (15 degrees).
_EDGE_ON = 0.26
#: A ball further off the middle than this, in halves of the head's length, was not struck by this racket.
_FARTHEST = 1.6
#: How well the place in the picture is known, in diameters of the ball: it is the end of two paths.
_BALLS = 0.5


def struck_at(
    path: RacketPath, view: View, ball: Array, sd: float, contact: float
) -> tuple[Array, Array] | None:
    """Where the ball was struck, (3,) statures on the path's axes, and (S, 3) as drawn; None where it cannot be told.

    Parameters
    ----------
    path : the racket. view : the camera. ball : (2,) pixels, where it was struck. sd : of that on each axis, pixels.
    contact : seconds.
    """
    there = resample(path.points, path.times, np.array([contact]))[0]
    place = _on_plane(there, view, ball)
    if place is None:
        return None
    drawn = resample(np.moveaxis(path.draws, 0, 1), path.times, np.array([contact]))[0]
    errors = np.random.default_rng(5).normal(0.0, sd, (len(drawn), 2))
    draws = np.full((len(drawn), 3), np.nan)
    for i, (one, off) in enumerate(zip(drawn, errors, strict=True)):
        met = _on_plane(one, view, ball + off)
        if met is not None:
            draws[i] = met
    return place, draws


def ball_sd(diameter: float) -> float:
    """Standard deviation in pixels of the place where a ball of ``diameter`` pixels was struck."""
    return _BALLS * diameter


def _on_plane(racket: Array, view: View, ball: Array) -> Array | None:
    """(3,) where the line of sight through a pixel meets the plane of a racket (5, 3)."""
    if not np.isfinite(racket).all():
        return None
    ray = sight(view, ball)
    normal, middle = face_normal(racket), head_centre(racket)
    slant = float(ray @ normal)
    if abs(slant) < _EDGE_ON:
        return None
    place = ray * float(middle @ normal) / slant
    half = float(np.linalg.norm(racket[TIP] - middle))
    return place if float(np.linalg.norm(place - middle)) <= _FARTHEST * half else None


def sight(view: View, pixel: Array) -> Array:
    """(3,) unit vector on level axes from the camera to what is seen at a pixel (2,)."""
    x, y = (np.asarray(pixel, dtype=np.float64) - view.middle) / view.focal
    ray = view.turn.T @ np.array([x, -y, -1.0])
    return np.asarray(ray / np.linalg.norm(ray))
