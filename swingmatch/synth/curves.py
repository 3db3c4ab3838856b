"""Smooth curves over time: steps, bells and curves through key values. All are C2 after smoothing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

Array = NDArray[np.float64]


def step(times: Array, start: float, end: float) -> Array:
    """Minimum-jerk step: 0 before ``start``, 1 after ``end`` (Flash & Hogan's quintic, *from memory*)."""
    s: Array = np.clip((times - start) / (end - start), 0.0, 1.0)
    return s**3 * (10.0 - 15.0 * s + 6.0 * s**2)


def arc(times: Array, start: float, end: float) -> Array:
    """Bump that is 0 outside, 1 half way, and flat (C2) at both ends."""
    s = np.clip((times - start) / (end - start), 0.0, 1.0)
    return 64.0 * s**3 * (1.0 - s) ** 3


def drive(times: Array, peak: float, before: float, after: float) -> Array:
    """Rise from 0 to 1 whose speed is a bell with its top at ``peak``.

    ``before`` and ``after`` are the bell's standard deviations in seconds on either side of the top. The speed
    is continuous with a continuous slope, so a turn made of it is C2 and reaches its top speed exactly at
    ``peak``.
    """
    u = times - peak
    half = np.where(u < 0.0, before, after)
    share = before / (before + after)
    return share + np.where(u < 0.0, share, 1.0 - share) * erf(u / (half * np.sqrt(2.0)))


def through(times: Array, keys: Sequence[tuple[float, float]], smooth: float) -> Array:
    """Curve through (time, value) keys without overshoot, then smoothed.

    A monotone cubic passes through the keys; a Gaussian of ``smooth`` seconds makes it C2. ``times`` (T,) must
    be evenly spaced. Keys may come in any order; of keys closer than 1 ms the later one in the list wins.
    """
    spacing = float(times[1] - times[0])
    kept: dict[float, float] = {}
    for at, value in keys:
        kept[round(at, 3)] = value
    # Held before the first and after the last key, so that the curve leaves and arrives level.
    first, last = min(kept), max(kept)
    kept = {first - 1.0: kept[first], **kept, last + 1.0: kept[last]}
    at_sorted = np.array(sorted(kept))
    values = np.array([kept[t] for t in at_sorted])
    margin = int(np.ceil(5.0 * smooth / spacing))
    grid = times[0] + spacing * np.arange(-margin, len(times) + margin)
    curve = PchipInterpolator(at_sorted, values)(np.clip(grid, at_sorted[0], at_sorted[-1]))
    smoothed = gaussian_filter1d(curve, smooth / spacing, mode="nearest", truncate=5.0)
    return smoothed[margin : margin + len(times)]


def smooth_vectors(vectors: Array, spacing: float, smooth: float) -> Array:
    """Gaussian smoothing along time of (T, ...) values sampled every ``spacing`` seconds."""
    return gaussian_filter1d(vectors, smooth / spacing, axis=0, mode="nearest", truncate=5.0)
