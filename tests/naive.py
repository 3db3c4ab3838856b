"""Slow, obvious twins of fast functions. Nothing here is clever; that is the point."""

from __future__ import annotations

import math

import numpy as np


def dtw_table(x, y, radius=None):
    """The accumulated cost table of ``swingmatch.align.dtw``, written straight from its definition."""
    n, m = len(x), len(y)
    table = np.full((n, m), math.inf)
    for i in range(n):
        for j in range(m):
            low = high = math.inf
            if radius is not None:
                low, high = radius + max(0, n - m), radius + max(0, m - n)
            if not -low <= j - i <= high:
                continue
            before = min(
                table[i - 1, j - 1] if i and j else math.inf,
                table[i - 1, j] if i else math.inf,
                table[i, j - 1] if j else math.inf,
            )
            if i == j == 0:
                before = 0.0
            table[i, j] = before + sum((float(a) - float(b)) ** 2 for a, b in zip(x[i], y[j], strict=True))
    return table


def dtw_distance(x, y, radius=None):
    """DTW distance: the square root of the table's last cell."""
    return math.sqrt(dtw_table(x, y, radius)[-1, -1])
