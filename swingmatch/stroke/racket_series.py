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
#: What is carried on to contact is carried so far beyond, s.
_BEYOND = 0.01


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
    _to_contact(out, times, racket, at, known & before, contact)
    return out


def _to_contact(
    out: Array, times: Array, racket: Array, at: Array, before: NDArray[np.bool_], contact: float
) -> None:
    """Where the racket was seen right up to contact and not after it, carry it on to contact by a line, in place."""
    last = np.flatnonzero(before)
    frame = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    if len(last) < 2 or last[-1] - last[-2] > 1 or times[last[-1]] < contact - 1.01 * frame:
        return
    one, two = last[-2:]
    rate = (racket[two] - racket[one]) / (times[two] - times[one])
    # A little beyond, so that contact lies between two moments.
    open_ = (at > times[two]) & (at <= contact + _BEYOND) & np.isnan(out.reshape(len(at), -1)).any(axis=1)
    late = (at[open_] - times[two]).reshape(-1, *[1] * (racket.ndim - 1))
    out[open_] = racket[two] + late * rate


def _runs(flags: NDArray[np.bool_]) -> list[NDArray[np.int_]]:
    """Places of the stretches of successive True."""
    places = np.flatnonzero(flags)
    return np.split(places, np.flatnonzero(np.diff(places) > 1) + 1) if len(places) else []
