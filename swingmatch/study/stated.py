"""Stated uncertainty against true error: does a stated 90 % interval hold the truth nine times out of ten?"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from swingmatch.findings.quantities import Quantity

Array = NDArray[np.float64]

#: Half-width of a 90 % interval of a normal distribution, standard deviations.
HALF_WIDTH = 1.6449


def difference(quantity: Quantity, one: Array, other: Array) -> Array:
    """``one - other``, angles to the nearest whole turn: (T,) and (T,) to (T,)."""
    gap = one - other
    return gap - 360.0 * np.round(gap / 360.0) if quantity.unit == "deg" else gap


def quantity_sd(quantity: Quantity, points: Array, draws: Array) -> Array:
    """Standard deviation of a quantity over time from bodies that are as likely as the one that was found.

    Parameters
    ----------
    points : (T, K, 3) right-handed, court axes. draws : (S, T, K, 3) likewise, see ``Swing.draws``.

    Returns
    -------
    (T,) in the quantity's unit: the root-mean-square departure of the draws from ``points``.

    Drawn and not linear, because a quantity that is taken against the median of a length has no derivative where the
    length is constant.
    """
    middle = quantity.compute(points)
    off = [difference(quantity, quantity.compute(draw), middle) for draw in draws]
    return np.sqrt(np.mean(np.square(off), axis=0))


def coverage(scaled: Iterable[float]) -> float:
    """Share of errors inside their 90 % interval, from errors over standard deviations; NaN where there are none."""
    sizes = np.abs(np.asarray(list(scaled), dtype=float))
    return float((sizes <= HALF_WIDTH).mean()) if sizes.size else float("nan")
