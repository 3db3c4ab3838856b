"""Normal equations of a racket over time: six unknowns a frame, banded, and two that all frames share.

A frame's unknowns are a small turn and a small shift of the racket; shared are the logarithm of its length and how far
up the handle it is held. A frame is tied to the two after it at most. As in ``body.normal``, the banded part is
factorised by Cholesky and what is shared is eliminated (Schur's complement).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

Array = NDArray[np.float64]

SIX = 6
#: What all frames share, in this order.
LENGTH, GRIP = 0, 1
_SHARED = 2
_BAND = 3 * SIX - 1


@dataclass(frozen=True)
class Rows:
    """Residuals that touch a frame (and up to two after it), with their slopes.

    Attributes
    ----------
    first : index of the first frame that each of the M groups touches, (M,).
    miss : (M, R) residuals. slopes : one (M, R, 6) for every frame from the first on. shared : (M, R, 2) or None.
    """

    first: NDArray[np.int_]
    miss: Array
    slopes: tuple[Array, ...]
    shared: Array | None = None


@dataclass(frozen=True)
class Solved:
    """Factorised equations."""

    banded: Array
    border: Array
    beyond: Array
    corner: Array

    def solve(self, right: Array, shared: Array) -> tuple[Array, Array]:
        """Unknowns (T, 6, ...) and (2, ...) for right sides of the same shapes."""
        flat = right.reshape(self.border.shape[0], -1)
        places = cho_solve_banded((self.banded, False), flat, check_finite=False)
        common = np.linalg.solve(self.corner, shared.reshape(_SHARED, -1) - self.border.T @ places)
        out = places - self.beyond @ common
        return out.reshape(right.shape), common.reshape(shared.shape)


def right_side(frames: int, groups: list[tuple[Rows, Array]]) -> tuple[Array, Array]:
    """``J' e`` of residual-like values ``e`` (M, R, ...) of every group: (T, 6, ...) and (2, ...)."""
    more = groups[0][1].shape[2:]
    right, common = np.zeros((frames, SIX, *more)), np.zeros((_SHARED, *more))
    for rows, values in groups:
        for step, slope in enumerate(rows.slopes):
            np.add.at(right, rows.first + step, np.einsum("mri,mr...->mi...", slope, values))
        if rows.shared is not None:
            common += np.einsum("mrs,mr...->s...", rows.shared, values)
    return right, common


def factor(frames: int, groups: list[Rows], prior: Array, damp: float = 0.0) -> Solved:
    """Factorise ``J' J`` of all groups, ``prior`` (2,) added for what is shared, ``damp`` times the diagonal."""
    blocks = [np.zeros((frames - step if frames > step else 0, SIX, SIX)) for step in range(3)]
    border, corner = np.zeros((frames, SIX, _SHARED)), np.diag(prior)
    for rows in groups:
        for i, first in enumerate(rows.slopes):
            for j in range(i, len(rows.slopes)):
                np.add.at(blocks[j - i], rows.first + i, np.swapaxes(first, 1, 2) @ rows.slopes[j])
            if rows.shared is not None:
                np.add.at(border, rows.first + i, np.swapaxes(first, 1, 2) @ rows.shared)
        if rows.shared is not None:
            corner = corner + np.einsum("mrs,mru->su", rows.shared, rows.shared)
    size = frames * SIX
    packed = np.zeros((_BAND + 1, size))
    for step, block in enumerate(blocks):
        count = len(block)
        row = SIX * np.arange(count)[:, None, None] + np.arange(SIX)[:, None]
        column = SIX * (np.arange(count) + step)[:, None, None] + np.arange(SIX)[None, :]
        row, column = np.broadcast_arrays(row, column)
        upper = column >= row
        packed[(_BAND + row - column)[upper], column[upper]] = block[upper]
    packed[_BAND] = packed[_BAND] * (1.0 + damp) + 1e-9
    banded = cholesky_banded(packed, overwrite_ab=True, check_finite=False)
    border = border.reshape(size, _SHARED)
    beyond = cho_solve_banded((banded, False), border, check_finite=False)
    return Solved(banded, border, beyond, corner * (1.0 + damp * np.eye(_SHARED)) - border.T @ beyond)
