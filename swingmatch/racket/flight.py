"""How the picture of a ball in flight moves: evenly in space, so ``x = (P + b s + g s^2 / 2) / (1 + w s)`` on film.

``s`` counts from the moment at which the ball is at ``P``; ``w`` is how fast it parts from the camera over its
distance then. A struck ball comes with one ``b`` and ``w`` and leaves with another, from the same ``P``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Gravity, statures (1.75 m) a second squared.
GRAVITY = 9.81 / 1.75
#: How fast a ball parts from the camera over its distance, 1/s, as a standard deviation about zero: 10 m/s before and
#: 30 m/s after it is struck, seen from 6 m.
CLOSING = np.array([1.7, 5.0])


@dataclass(frozen=True)
class Fits:
    """Flights fitted for each of B cases.

    Attributes
    ----------
    cost : (B,) sum of squares over variances, priors included. place : (B, 2) pixels.
    velocities : (B, 2, 2) pixels a second at ``place``, coming and leaving.
    """

    cost: Array
    place: Array
    velocities: Array


def fit_flights(
    times: Array, places: Array, leaving: Mask, sd: Array, moments: Array, use: Mask, fall: float
) -> Fits:
    """Least squares for a struck ball, once for each given moment of contact.

    Parameters
    ----------
    times, places : (N,) or (B, N) seconds and (N, 2) or (B, N, 2) pixels of the spots.
    leaving : (N,) which of them belong to the leaving path. sd : (N,) or (B, N) pixels.
    moments : (B,) seconds. use : (B, N) which spots count in each case.
    fall : gravity, pixels a second squared.
    """
    middle, unit = places.reshape(-1, 2).mean(axis=0), max(float(np.ptp(places)), 1.0)
    x = np.broadcast_to((places - middle) / unit, (*use.shape, 2))
    s = (times - moments[:, None]) / 0.1
    weight = use * (unit / sd)
    count, n = s.shape
    matrix = np.zeros((count, 2, n, 8))
    for axis in (0, 1):
        matrix[:, axis, :, axis] = weight
        for path, first in ((~leaving, 2), (leaving, 5)):
            matrix[:, axis, path, first + axis] = (weight * s)[:, path]
            matrix[:, axis, path, first + 2] = (-weight * s * x[..., axis])[:, path]
    drop = np.array([0.0, 0.5 * fall * 0.01 / unit])
    right = (x.transpose(0, 2, 1) - drop[:, None] * (s**2)[:, None, :]) * weight[:, None, :]
    matrix, right = matrix.reshape(count, 2 * n, 8), right.reshape(count, 2 * n)
    prior = np.zeros(8)
    prior[[4, 7]] = 1.0 / (0.1 * CLOSING) ** 2
    # So weak that it only keeps what a case does not see from being undetermined.
    normal = matrix.transpose(0, 2, 1) @ matrix + np.diag(prior + 1e-6)
    unknown = np.linalg.solve(normal, (matrix.transpose(0, 2, 1) @ right[..., None]))[..., 0]
    w = unknown[:, [4, 7]]
    # Residuals of x (1 + w s) are 1 + w s times those of x.
    scale = np.maximum(1.0 + w[:, leaving.astype(int)] * s, 0.1)
    off = ((matrix @ unknown[..., None])[..., 0] - right).reshape(count, 2, n) / scale[:, None]
    cost = (off**2).sum(axis=(1, 2)) + (w**2 * prior[[4, 7]]).sum(axis=1)
    place = unknown[:, :2]
    speed = np.stack([unknown[:, 2:4], unknown[:, 5:7]], axis=1) - w[..., None] * place[:, None]
    return Fits(cost, place * unit + middle, speed * unit / 0.1)
