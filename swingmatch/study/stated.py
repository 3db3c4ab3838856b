"""Stated uncertainty against true error: does a stated 90 % interval hold the truth nine times out of ten?"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import K
from swingmatch.findings.quantities import Quantity

Array = NDArray[np.float64]

#: Half-width of a 90 % interval of a normal distribution, standard deviations.
HALF_WIDTH = 1.6449
#: Errors drawn to propagate an uncertainty.
DRAWS = 300


def difference(quantity: Quantity, one: Array, other: Array) -> Array:
    """``one - other``, angles to the nearest whole turn: (T,) and (T,) to (T,)."""
    gap = one - other
    return gap - 360.0 * np.round(gap / 360.0) if quantity.unit == "deg" else gap


def quantity_sd(
    quantity: Quantity, points: Array, covariance: Array, *, draws: int = DRAWS, seed: int = 0
) -> Array:
    """Standard deviation of a quantity over time from that of the keypoints, by drawing errors at random.

    Parameters
    ----------
    points : (T, K, 3) right-handed, court axes. covariance : (T, K, 3, 3) of each keypoint, unit of ``points`` squared.
    draws, seed : how many errors are drawn, and which; 300 give a standard deviation to 4 %.

    Returns
    -------
    (T,) in the quantity's unit.

    Drawn and not linear, because a quantity that is taken against the median of a length has no derivative where the
    length is constant. Keypoints count as independent of each other. A keypoint's error is one draw for all frames,
    because errors of depth last for the whole swing.
    """
    sizes, axes = np.linalg.eigh(covariance)
    # The symmetric root changes smoothly over time, as the covariance does.
    roots = (axes * np.sqrt(np.maximum(sizes, 0.0))[..., None, :]) @ np.swapaxes(axes, -1, -2)
    middle = quantity.compute(points)
    normal = np.random.default_rng(seed).normal(size=(draws, K, 3))
    off = [
        difference(quantity, quantity.compute(points + np.einsum("tkij,kj->tki", roots, z)), middle)
        for z in normal
    ]
    return np.std(off, axis=0)


def coverage(scaled: Iterable[float]) -> float:
    """Share of errors inside their 90 % interval, from errors over standard deviations; NaN where there are none."""
    sizes = np.abs(np.asarray(list(scaled), dtype=float))
    return float((sizes <= HALF_WIDTH).mean()) if sizes.size else float("nan")
