"""Other ways to the k nearest under the same banded warping, each as one would plainly use it."""

from __future__ import annotations

import aeon.distances
import numba
import numpy as np
from dtaidistance import dtw_ndim
from tslearn.metrics import cdist_dtw

SEGMENT = 8  # rows a segment of the prototype


def dtaidistance_loop(query, models, k, radius):
    """Every distance in C, one call a model."""
    distances = [dtw_ndim.distance_fast(query, model, window=radius + 1) for model in models]
    return np.argsort(distances, kind="stable")[:k]


def dtaidistance_running(query, models, k, radius):
    """As the loop, but told the k-th best so far, a little more of it: the library errs at equality."""
    best = []
    for number, model in enumerate(models):
        limit = best[-1][0] * (1 + 1e-9) if len(best) == k else 0.0
        distance = dtw_ndim.distance_fast(query, model, window=radius + 1, max_dist=limit)
        if len(best) < k or distance < best[-1][0]:
            best = sorted([*best, (distance, number)])[:k]
    return np.array([number for _, number in best])


def dtaidistance_block(query, models, k, radius):
    """One block of the library's distance matrix, query last, as its threads go over rows."""
    count = len(models)
    everything = np.concatenate([models, query[None]])
    distances = dtw_ndim.distance_matrix_fast(
        everything,
        query.shape[1],
        block=((0, count), (count, count + 1)),
        window=radius + 1,
        compact=True,
        parallel=True,
    )
    return np.argsort(distances, kind="stable")[:k]


def aeon_pairwise(query, models, k, radius):
    """aeon's compiled loop; its series are (D, T) and its window a share of the length."""
    window = (radius + 0.5) / len(query)
    flat = models.transpose(0, 2, 1)
    distances = aeon.distances.pairwise_distance(flat, query.T[None], method="dtw", window=window)
    return np.argsort(np.ravel(distances), kind="stable")[:k]


def tslearn_cdist(query, models, k, radius):
    """tslearn's matrix of distances."""
    distances = cdist_dtw(query[None], models, global_constraint="sakoe_chiba", sakoe_chiba_radius=radius)
    return np.argsort(np.ravel(distances), kind="stable")[:k]


class Prototype:
    """The reference: segment means and radii bound the distance, models in the order of it, given up early. One thread.

    Plain numba, doubles, one model at a time; everything that does not depend on the query is made beforehand.
    """

    def __init__(self, models):
        self.models = models
        self.means, self.radii = _coarse(models)

    def __call__(self, query, k, radius):
        """Numbers of the k nearest."""
        means, radii = _coarse(query[None])
        bounds = _bounds(means[0], radii[0], self.means, self.radii, len(query), radius)
        order = np.argsort(bounds, kind="stable")
        return _best_first(query, self.models, order, bounds, k, radius)


def _coarse(models):
    starts = np.arange(0, models.shape[1], SEGMENT)
    sizes = np.diff(np.append(starts, models.shape[1]))
    means = np.add.reduceat(models, starts, axis=1) / sizes[:, None]
    radii = np.empty(means.shape[:2])
    for some in np.array_split(np.arange(len(models)), max(1, len(models) // 500)):
        away = ((models[some] - np.repeat(means[some], sizes, axis=1)) ** 2).sum(axis=2)
        radii[some] = np.sqrt(np.maximum.reduceat(away, starts, axis=1))
    return means, radii


@numba.njit(fastmath={"contract", "reassoc"})
def _bounds(query, query_radii, means, radii, frames, radius):
    out = np.zeros(len(means))
    for n in range(len(means)):
        for own in range(len(query)):
            start, stop = own * SEGMENT, min(own * SEGMENT + SEGMENT, frames)
            least = np.inf
            low, high = max(0, start - radius) // SEGMENT, min(frames - 1, stop - 1 + radius) // SEGMENT
            for other in range(low, high + 1):
                gap = 0.0
                for d in range(query.shape[1]):
                    gap += (query[own, d] - means[n, other, d]) ** 2
                least = min(least, max(0.0, np.sqrt(gap) - query_radii[own] - radii[n, other]))
            out[n] += (stop - start) * least**2
    return out


@numba.njit(fastmath={"contract", "reassoc"})
def _best_first(query, models, order, bounds, k, radius):
    frames, columns = query.shape
    best, found = np.full(k, np.inf), np.full(k, -1)
    before, now = np.empty(frames + 1), np.empty(frames + 1)
    for n in order:
        if bounds[n] > best[-1]:
            break
        before[:] = np.inf
        now[:] = np.inf
        before[0] = 0.0
        dead = False
        for i in range(frames):
            left, right = max(0, i - radius), min(frames - 1, i + radius)
            now[left] = np.inf
            least = np.inf
            for j in range(left, right + 1):
                cost = 0.0
                for d in range(columns):
                    cost += (query[i, d] - models[n, j, d]) ** 2
                cost += min(before[j], before[j + 1], now[j])
                now[j + 1] = cost
                least = min(least, cost)
            before, now = now, before
            if least > best[-1]:
                dead = True
                break
        if dead or before[frames] >= best[-1]:
            continue
        place = k - 1
        while place > 0 and best[place - 1] > before[frames]:
            best[place], found[place] = best[place - 1], found[place - 1]
            place -= 1
        best[place], found[place] = before[frames], n
    return found
