"""The compiled core of the posterior: which of K signatures are in a vector, and how big.

The model is y = sum_k a_k g_k + noise of unit covariance, with a_k = 0 (probability 1 - p_k) or drawn from a normal
distribution of mean ``MEAN`` and standard deviation ``WIDE`` cut off below 0 (probability p_k): *spike and slab*. All
that is needed of y and the signatures is the Gram matrix G = g'g and h = g'y.

With all others given, the size of one signature follows a normal distribution cut off below 0, with

    precision q = G_kk + 1 / WIDE^2,   mean m = (h_k - sum_j!=k G_kj a_j + MEAN / WIDE^2) / q,

and the odds of its being there are those before, times

    Phi(m sqrt q) / Phi(MEAN / WIDE) / (WIDE sqrt q) * exp(q m^2 / 2 - MEAN^2 / (2 WIDE^2)).

A sweep takes each signature in turn, then pairs of which at most one is there, all three states at once, so that
neighbours that look alike change places. What is counted are the probabilities just before each draw, not the draws
(Rao-Blackwell), which settles sooner. Method: George and McCulloch, Journal of the American Statistical Association 88
(1993), 881-889; the conditional densities above are worked out from the model.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
F = TypeVar("F", bound=Callable[..., object])

#: Sizes before anything is seen: 1 is what a coach would mention.
MEAN, WIDE = 1.0, 0.6
#: A size worth a word, of what a coach would mention.
WORTH = 0.5


def _compiled(function: F) -> F:
    """Compiled, and kept for the next start where the package's folder can be written."""
    try:
        return numba.njit(function, cache=True, nogil=True)
    except RuntimeError:
        return numba.njit(function, nogil=True)


@_compiled
def _log_phi(z: float) -> float:
    """Logarithm of the normal distribution function; far below zero by its continued fraction's first terms."""
    if z > -30.0:
        return math.log(0.5 * math.erfc(-z / math.sqrt(2.0)))
    return -0.5 * z * z - math.log(-z * math.sqrt(2.0 * math.pi)) - 1.0 / (z * z)


@_compiled
def _draw(rng: np.random.Generator, mean: float, sd: float) -> float:
    """From the normal distribution cut off below 0: by trial, or by Robert's exponential trial far in the tail.

    Robert, Statistics and Computing 5 (1995), 121-125.
    """
    low = -mean / sd
    if low < 0.5:
        while True:
            z = rng.normal()
            if z >= low:
                return float(mean + sd * z)
    rate = 0.5 * (low + math.sqrt(low * low + 4.0))
    while True:
        z = low - math.log(1.0 - rng.random()) / rate
        if math.log(1.0 - rng.random()) <= -0.5 * (z - rate) ** 2:
            return float(mean + sd * z)


@_compiled
def _odds(h: float, g: float) -> tuple[float, float, float]:
    """Log of the factor on the odds, and mean and sd of the size, for a signature of square ``g`` and rest ``h``."""
    q = g + 1.0 / (WIDE * WIDE)
    m = (h + MEAN / (WIDE * WIDE)) / q
    sd = 1.0 / math.sqrt(q)
    log = _log_phi(m / sd) - _log_phi(MEAN / WIDE) - math.log(WIDE / sd)
    return log + 0.5 * q * m * m - 0.5 * (MEAN / WIDE) ** 2, m, sd


@_compiled
def sweep(
    gram: Array, h: Array, logit: Array, start: Array, count: int, waste: int, rng: np.random.Generator
) -> Array:
    """Gibbs sampling. Not checked: shapes and that ``gram`` is positive semidefinite.

    Parameters
    ----------
    gram : (K, K). h : (K,). logit : (K,) log odds before anything is seen. start : (K,) sizes to start from.
    count : sweeps that are counted, after ``waste`` that are not. rng : of the draws.

    Returns
    -------
    (4, K): probability that it is there; that it is there and worth a word (``WORTH``); mean of the size, 0 where it
    is not there; mean of its square.
    """
    size = len(h)
    a = start.copy()
    out = np.zeros((4, size))
    for turn in range(waste + count):
        for k in range(size):
            rest = h[k] + gram[k, k] * a[k]
            for j in range(size):
                rest -= gram[k, j] * a[j]
            log, m, sd = _odds(rest, gram[k, k])
            there = 1.0 / (1.0 + math.exp(min(-(logit[k] + log), 700.0)))
            if turn >= waste:
                whole = _log_phi(m / sd)
                # Mean of the cut-off normal distribution: m + sd * phi(m / sd) / Phi(m / sd).
                tilt = math.exp(-0.5 * (m / sd) ** 2 - 0.5 * math.log(2.0 * math.pi) - whole)
                mean = m + sd * tilt
                out[0, k] += there
                out[1, k] += there * math.exp(min(_log_phi((m - WORTH) / sd) - whole, 0.0))
                out[2, k] += there * mean
                out[3, k] += there * (sd * sd + m * mean)
            a[k] = _draw(rng, m, sd) if rng.random() < there else 0.0
        for _ in range(2 * size):
            i, j = rng.integers(0, size), rng.integers(0, size)
            if i == j or (a[i] > 0.0 and a[j] > 0.0):
                continue
            one, two = h[i], h[j]
            for k in range(size):
                if k not in (i, j):
                    one -= gram[i, k] * a[k]
                    two -= gram[j, k] * a[k]
            log_i, m_i, sd_i = _odds(one, gram[i, i])
            log_j, m_j, sd_j = _odds(two, gram[j, j])
            log_i, log_j = log_i + logit[i], log_j + logit[j]
            top = max(0.0, log_i, log_j)
            none, only_i, only_j = math.exp(-top), math.exp(log_i - top), math.exp(log_j - top)
            at = rng.random() * (none + only_i + only_j)
            a[i] = _draw(rng, m_i, sd_i) if none <= at < none + only_i else 0.0
            a[j] = _draw(rng, m_j, sd_j) if at >= none + only_i else 0.0
    return out / count
