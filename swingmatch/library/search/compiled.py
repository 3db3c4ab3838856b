"""Compiling with numba, with the compiled code kept on disk where any folder lets itself be written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(*, fused: bool = False) -> Callable[[F], F]:
    """Compile a function at its first call; it runs without Python's lock.

    Numba keeps the code beside the module or, where that cannot be written, in the user's cache folder; where neither
    can be, the function is compiled anew in every process. ``fused`` lets a multiplication and an addition become one
    operation with one rounding. No other freedom is given: subnormal numbers stay, and sums keep their order.
    """
    fastmath: Any = {"contract"} if fused else False

    def wrap(function: F) -> F:
        try:
            return numba.njit(function, cache=True, nogil=True, fastmath=fastmath)
        except RuntimeError:  # "cannot cache function: no locator available"
            return numba.njit(function, nogil=True, fastmath=fastmath)

    return wrap
