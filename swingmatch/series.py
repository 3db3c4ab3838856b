"""Small things that every time series needs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline


def resample(
    values: NDArray[np.float64], times: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Linear interpolation along the first axis, held at the ends.

    ``values`` (T, ...) at ``times`` (T,) seconds, rising, gives (N, ...) at ``at`` (N,) seconds. NaN spreads
    only to the two neighbouring intervals.
    """
    flat = values.reshape(len(times), -1)
    at = np.clip(at, times[0], times[-1])
    right = np.clip(np.searchsorted(times, at, side="right"), 1, max(len(times) - 1, 1))
    left = right - 1
    right = np.minimum(right, len(times) - 1)
    span = np.where(times[right] > times[left], times[right] - times[left], 1.0)
    w = ((at - times[left]) / span)[:, None]
    out = np.where(
        w == 0.0, flat[left], np.where(w == 1.0, flat[right], (1 - w) * flat[left] + w * flat[right])
    )
    return out.reshape(len(at), *values.shape[1:])


def dense(
    times: NDArray[np.float64], values: NDArray[np.float64], rate: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A series with at least ``rate`` samples a second: evenly spaced on a cubic spline where it has fewer.

    ``times`` (T,) seconds, rising, and ``values`` (T, ...) give (N,) and (N, ...). What is dense enough, has holes, or
    is too short for a spline comes back as it is.
    """
    if len(times) < 4 or np.median(np.diff(times)) <= 1.0 / rate or not np.isfinite(values).all():
        return times, values
    at = np.linspace(times[0], times[-1], int(np.ceil((times[-1] - times[0]) * rate)) + 1)
    return at, CubicSpline(times, values)(at)
