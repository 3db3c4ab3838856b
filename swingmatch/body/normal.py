"""Normal equations of a body over time: banded, with a few unknowns that all frames share at the border.

Ordered by time, a frame is coupled to the two after it, so the matrix of the keypoints' places is banded. What every
frame shares, as the camera's tilt and the floor's height, borders it and is eliminated (Schur's complement), which
costs one more banded solution each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

from swingmatch.body.skeleton import BONES, K

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

#: Ends of the segments, by keypoint number.
FIRST, SECOND = (np.array([bone[end] for bone in BONES]) for end in (0, 1))
#: Unknowns between one that is coupled to another: two frames on, any axis.
BAND = 2 * 3 * K + 2


def units(points: Array) -> Array:
    """(..., B, 3) directions of the segments from their second end to their first, of points (..., K, 3)."""
    difference = points[..., FIRST, :] - points[..., SECOND, :]
    return difference / np.maximum(np.linalg.norm(difference, axis=-1, keepdims=True), 1e-9)


def tilt_moves(rays: Array, depth: Array) -> Array:
    """(T, K, 2) change of ``x + a z`` and ``y + b z`` for a radian that the camera is turned down."""
    a, b = rays[..., 0], rays[..., 1]
    return -np.stack([a * b, 1.0 + b * b], axis=2) * depth[..., None]


#: What all frames share, in this order: the camera's tilt and the floor's height.
TILT, FLOOR = 0, 1
_SHARED = 2


@dataclass(frozen=True)
class Factor:
    """What solves the equations for any right side.

    Attributes
    ----------
    banded : (BAND + 1, N) Cholesky factor of the places' matrix. border : (N, M) coupling to what is shared.
    beyond : (N, M) the border after the places are eliminated. corner : (M, M) what is left for the shared ones.
    """

    banded: Array
    border: Array
    beyond: Array
    corner: Array

    def solve(self, right: Array, shared: Array) -> tuple[Array, Array]:
        """Places (N, ...) and shared unknowns (M, ...) for right sides of the same shapes."""
        places = cho_solve_banded((self.banded, False), right, check_finite=False)
        common = np.linalg.solve(self.corner, shared - self.border.T @ places)
        return places - self.beyond @ common, common


class Normal:
    """Normal equations ``A x = b`` of (T, K, 3) places, ``A`` in LAPACK's upper banded form, bordered.

    The shared unknowns are ``TILT``, by which the camera is turned down further than in the rays given (radians), and
    ``FLOOR``, the floor's height (statures). They are tied to nothing until a term with them is added, so each needs
    its prior.
    """

    def __init__(self, frames: int) -> None:
        self._point = 3 * np.arange(frames * K).reshape(frames, K)
        self._size = 3 * frames * K
        self._places: list[Ints] = []
        self._values: list[Array] = []
        self.right = np.zeros(self._size)
        self.border = np.zeros((self._size, _SHARED))
        self.corner = np.zeros((_SHARED, _SHARED))
        self.shared = np.zeros(_SHARED)

    def copy(self) -> Normal:
        """The same equations, to add more to."""
        other = Normal(len(self._point))
        other._places, other._values = self._places.copy(), self._values.copy()
        other.right, other.border = self.right.copy(), self.border.copy()
        other.corner, other.shared = self.corner.copy(), self.shared.copy()
        return other

    def _add(self, rows: Ints, columns: Ints, values: Array) -> None:
        """Add ``values`` at places of the upper triangle."""
        self._places.append(((BAND + rows - columns) * self._size + columns).ravel())
        self._values.append(values.ravel())

    def add_axis(self, weights: tuple[Array, ...], steps: tuple[int, ...], axis: int) -> None:
        """A residual ``sum_s w_s x_{t+s}`` for every frame that has all of them, on one axis; its right side is 0.

        Each weight is (K,), or one row fewer than there are frames for each step.
        """
        count = len(self._point) - max(steps)
        at = [self._point[step : step + count] + axis for step in steps]
        for i in range(len(steps)):
            for j in range(i, len(steps)):
                self._add(at[i], at[j], np.broadcast_to(weights[i] * weights[j], at[i].shape))

    def add_rays(self, rays: Array, weight: Array) -> None:
        """Picture residuals ``x + a z`` and ``y + b z`` with ``weight`` (T, K), one over variance."""
        a, b = rays[..., 0], rays[..., 1]
        p = self._point
        one = np.ones_like(a)
        for row, column, value in (
            (0, 0, one),
            (1, 1, one),
            (0, 2, a),
            (1, 2, b),
            (2, 2, a * a + b * b),
        ):
            self._add(p + row, p + column, weight * value)

    def add_tilt(self, rays: Array, depth: Array, weight: Array) -> None:
        """The part of ``TILT`` in the picture residuals of ``add_rays``, for points at ``depth`` (T, K)."""
        move = tilt_moves(rays, depth)
        border = self.border[:, TILT].reshape(*rays.shape[:2], 3)
        border[..., :2] += weight[..., None] * move
        border[..., 2] += weight * (rays * move).sum(axis=2)
        self.corner[TILT, TILT] += (weight * (move**2).sum(axis=2)).sum()

    def add_floor(self, over: float, weight: Array) -> None:
        """Residuals ``y - FLOOR - over`` of every keypoint with ``weight`` (T, K)."""
        y = self._point + 1
        self._add(y, y, weight)
        self._add_right(y, weight * over)
        self.border[y.ravel(), FLOOR] -= weight.ravel()
        self.corner[FLOOR, FLOOR] += weight.sum()
        self.shared[FLOOR] -= over * weight.sum()

    def add_prior(self, which: int, value: float, sd: float) -> None:
        """What is known of a shared unknown beforehand."""
        self.corner[which, which] += 1.0 / sd**2
        self.shared[which] += value / sd**2

    def add_distance(self, distance: float, weight: float) -> None:
        """Residual ``z + distance`` of every keypoint."""
        z = self._point + 2
        self._add(z, z, np.full(z.shape, weight))
        self._add_right(z, np.full(z.shape, -weight * distance))

    def add_depths(self, depth: Array, weight: Array) -> None:
        """Residuals ``z_i - z_j - depth`` along the segments, (T, B) each."""
        i, j = self._point[:, FIRST] + 2, self._point[:, SECOND] + 2
        for rows, columns, sign in ((i, i, 1.0), (j, j, 1.0), (i, j, -1.0)):
            self._add(rows, columns, sign * weight)
        self._add_right(i, weight * depth)
        self._add_right(j, -weight * depth)

    def add_bones(self, points: Array, lengths: Array, weight: Array) -> None:
        """Segment residuals linearised at ``points``: ``unit . (P_i - P_j) - L``, (B,) lengths and weights."""
        unit = units(points)
        i, j = self._point[:, FIRST], self._point[:, SECOND]
        for row in range(3):
            for column in range(3):
                value = weight * unit[..., row] * unit[..., column]
                self._add(i + row, j + column, -value)
                if row <= column:
                    self._add(i + row, i + column, value)
                    self._add(j + row, j + column, value)
            pull = weight * lengths * unit[..., row]
            self._add_right(i + row, pull)
            self._add_right(j + row, -pull)

    def _add_right(self, rows: Ints, values: Array) -> None:
        self.right += np.bincount(rows.ravel(), values.ravel(), self._size)

    def factor(self) -> Factor:
        """Factor of the matrix."""
        packed = np.bincount(
            np.concatenate(self._places), np.concatenate(self._values), (BAND + 1) * self._size
        )
        banded = cholesky_banded(packed.reshape(BAND + 1, -1), overwrite_ab=True, check_finite=False)
        beyond = cho_solve_banded((banded, False), self.border, check_finite=False)
        return Factor(banded, self.border, beyond, self.corner - self.border.T @ beyond)
