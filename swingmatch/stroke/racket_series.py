"""A racket's points between pictures: on a curve where the racket is known, never smoothed across contact.

A curve through pictures on both sides of contact makes the head slow down before it meets the ball (row E18 of the
check values: Knudson & Bahamonde 2001), so each side has a curve of its own, and a straight line joins them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from swingmatch.series import resample

Array = NDArray[np.float64]

#: Pictures that a cubic curve needs; fewer in a row are joined by straight lines.
_FOR_A_CURVE = 4


def between(times: Array, racket: Array, at: Array, contact: float) -> Array:
    """A racket's points at other moments.

    Parameters
    ----------
    times : (T,) seconds, rising. racket : (T, ...) NaN where unknown. at : (N,) seconds. contact : seconds; a picture
        at contact belongs to what was before.

    Returns
    -------
    (N, ...) NaN next to what is unknown and outside ``times``.
    """
    # Held ends would be a racket that was never seen.
    filmed = (at >= times[0]) & (at <= times[-1])
    out = np.where(filmed.reshape(-1, *[1] * (racket.ndim - 1)), resample(racket, times, at), np.nan)
    known = np.isfinite(racket).all(axis=tuple(range(1, racket.ndim)))
    before = times <= contact + 1e-9
    for side in (before, ~before):
        for run in _runs(known & side):
            if len(run) >= _FOR_A_CURVE:
                inside = (at >= times[run[0]]) & (at <= times[run[-1]])
                out[inside] = CubicSpline(times[run], racket[run])(at[inside])
    return out


def _runs(flags: NDArray[np.bool_]) -> list[NDArray[np.int_]]:
    """Places of the stretches of successive True."""
    places = np.flatnonzero(flags)
    return np.split(places, np.flatnonzero(np.diff(places) > 1) + 1) if len(places) else []
