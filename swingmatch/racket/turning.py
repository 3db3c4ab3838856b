"""Rotations in bulk: exponential, logarithm, and how the logarithm of a product moves with small turns.

SciPy's ``Rotation`` does the work; only the inverse left Jacobian of the rotation group is added (as in Sola, Deray and
Atchuthan 2018, *A micro Lie theory for state estimation in robotics*, eqs. 146 and 144; *from memory*, checked against
finite differences in the tests).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]


def turn(vectors: Array) -> Array:
    """Rotation matrices (..., 3, 3) of rotation vectors (..., 3), radians."""
    flat = Rotation.from_rotvec(vectors.reshape(-1, 3)).as_matrix()
    return np.asarray(flat.reshape(*vectors.shape, 3))


def vector(matrices: Array) -> Array:
    """Rotation vectors (..., 3), at most half a turn long, of rotation matrices (..., 3, 3)."""
    flat = Rotation.from_matrix(matrices.reshape(-1, 3, 3)).as_rotvec()
    return np.asarray(flat.reshape(matrices.shape[:-1]))


def cross_matrix(vectors: Array) -> Array:
    """(..., 3, 3) with ``cross_matrix(a) @ b = cross(a, b)``."""
    out = np.zeros((*vectors.shape, 3))
    x, y, z = np.moveaxis(vectors, -1, 0)
    out[..., 0, 1], out[..., 0, 2], out[..., 1, 2] = -z, y, -x
    out[..., 1, 0], out[..., 2, 0], out[..., 2, 1] = z, -y, x
    return out


def log_moves(vectors: Array) -> Array:
    """(..., 3, 3) by which ``vector(turn(small) @ turn(v))`` moves with ``small``; ``-v`` for one on the right."""
    angle = np.minimum(np.linalg.norm(vectors, axis=-1), np.pi - 1e-3)[..., None, None]
    safe = np.maximum(angle, 1e-4)
    share = np.where(
        angle < 1e-3, 1.0 / 12.0, 1.0 / safe**2 - (1.0 + np.cos(safe)) / (2.0 * safe * np.sin(safe))
    )
    square = cross_matrix(vectors)
    return np.eye(3) - 0.5 * square + share * (square @ square)


def between(times: Array, matrices: Array, at: Array) -> Array:
    """Rotations between given ones at a steady rate, held at the ends: (N,) s, (N, 3, 3), (T,) s to (T, 3, 3)."""
    if len(times) == 1:
        return np.broadcast_to(matrices[0], (len(at), 3, 3)).copy()
    at = np.clip(at, times[0], times[-1])
    right = np.clip(np.searchsorted(times, at, side="right"), 1, len(times) - 1)
    share = (at - times[right - 1]) / (times[right] - times[right - 1])
    step = vector(matrices[right] @ np.swapaxes(matrices[right - 1], -1, -2))
    return np.asarray(turn(share[:, None] * step) @ matrices[right - 1])
