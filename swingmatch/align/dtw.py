"""Multivariate (dependent) dynamic time warping: a thin layer over dtaidistance, with only what is used here.

For series x (N, D) and y (M, D), with c(i, j) = sum_d (x[i, d] - y[j, d])^2,

    A(0, 0) = c(0, 0)
    A(i, j) = c(i, j) + min(A(i-1, j-1), A(i-1, j), A(i, j-1))
    distance = sqrt(A(N-1, M-1))

over the cells inside the band

    -radius - max(0, N - M)  <=  j - i  <=  radius + max(0, M - N).

So for one length it is Sakoe and Chiba's |i - j| <= radius (IEEE TASSP 26:43-49, 1978), and radius 0 gives the
Euclidean distance; for unequal lengths the band reaches ``radius`` beyond both the diagonal through the first pair and
the one through the last. ``radius=None`` means no band. Steps carry no weights.

Left out on purpose, as they were seen to give wrong results in dtaidistance 2.5.1: pruning, upper bounds
(``max_dist``) and relaxed ends (``psi``).
"""

from __future__ import annotations

import numpy as np
from dtaidistance import dtw as _dtw
from dtaidistance import dtw_ndim as _dtw_ndim
from numpy.typing import NDArray


def distance(x: NDArray[np.float64], y: NDArray[np.float64], radius: int | None = None) -> float:
    """DTW distance of ``x`` (N, D) and ``y`` (M, D), in their own unit times the square root of the path's length.

    Raises
    ------
    ValueError
        For anything that is not two finite, non-empty (N, D) and (M, D) arrays, or a negative radius.
    """
    x, y, window = _check(x, y, radius)
    return float(_dtw_ndim.distance_fast(x, y, window=window))


def path(x: NDArray[np.float64], y: NDArray[np.float64], radius: int | None = None) -> NDArray[np.intp]:
    """A cheapest path through the table of ``x`` (N, D) and ``y`` (M, D): (L, 2) pairs of indices.

    From (0, 0) to (N - 1, M - 1) in steps of one in either index or both. Errors as in :func:`distance`.
    """
    x, y, window = _check(x, y, radius)
    if x.shape[1] == 1:  # the library takes a single column only as a flat series
        return np.array(_dtw.warping_path_fast(x.ravel(), y.ravel(), window=window), dtype=np.intp)
    return np.array(_dtw.warping_path_fast(x, y, window=window, use_ndim=True), dtype=np.intp)


def _check(
    x: NDArray[np.float64], y: NDArray[np.float64], radius: int | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Both series as the library needs them (contiguous doubles), and its ``window``, which is radius + 1."""
    x = np.ascontiguousarray(x, dtype=np.float64)
    y = np.ascontiguousarray(y, dtype=np.float64)
    if x.ndim != 2 or y.ndim != 2 or x.shape[1] != y.shape[1]:
        raise ValueError(f"series have shapes {x.shape} and {y.shape}, expected (N, D) and (M, D)")
    if x.size == 0 or y.size == 0:
        raise ValueError("a series is empty")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("a series holds NaN or infinity")
    longest = max(len(x), len(y))
    if radius is None:
        return x, y, longest
    if radius < 0:
        raise ValueError(f"radius is {radius}, expected 0 or more")
    return x, y, min(int(radius) + 1, longest)
