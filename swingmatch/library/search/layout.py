"""How feature matrices lie in memory and on disk, side by side in chunks of 64, and what is stored with them.

A chunk holds, each part on a page boundary:

``ids``      (64,) text of at most 64 bytes of UTF-8, filled up with zero bytes.
``present``  (64,) bit d is set where column d is known.
``crc``      (64,) CRC-32 of the matrix's bytes.
``coarse``   (S, D + 1, 64) float32. The series is cut into S segments of ``SEGMENT`` rows. For each of them the first
             D values are its mean (0 where a column is not known), and the last is a radius: every row of the segment
             lies within it of the mean. The model comes last so that a bound is computed for many at once.
``features`` (64, T, D) float32, NaN in the columns that are not known.

All numbers are little-endian. Models are counted through: number n is place n % 64 of chunk n // 64.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

CHUNK = 64
#: Rows a segment. Shorter ones bound better and take more room: 5 takes 1 / 5 of the features, and a little.
SEGMENT = 5
PAGE = 4096
ID_BYTES = 64
MAX_COLUMNS = 64
#: Nothing larger is taken, so that no sum of squares can overflow a float32.
LARGEST = 1.0e6


@dataclass(frozen=True)
class Layout:
    """The place of everything in a chunk, for matrices of ``frames`` rows and ``columns`` columns."""

    frames: int
    columns: int

    def __post_init__(self) -> None:
        if not 1 <= self.columns <= MAX_COLUMNS or self.frames < 1:
            raise ValueError(f"matrices of {self.frames} x {self.columns} cannot be held")

    @property
    def segments(self) -> int:
        """Segments of a series."""
        return -(-self.frames // SEGMENT)

    @cached_property
    def dtype(self) -> np.dtype:
        """A chunk as a structured type."""
        parts = [
            ("ids", f"S{ID_BYTES}", (CHUNK,)),
            ("present", "<u8", (CHUNK,)),
            ("crc", "<u4", (CHUNK,)),
            ("coarse", "<f4", (self.segments, self.columns + 1, CHUNK)),
            ("features", "<f4", (CHUNK, self.frames, self.columns)),
        ]
        offsets, at = [], 0
        for _, kind, shape in parts:
            offsets.append(at)
            size = int(np.dtype(kind).itemsize * np.prod(shape))
            at += -(-size // PAGE) * PAGE
        return np.dtype(
            {
                "names": [name for name, _, _ in parts],
                "formats": [(kind, shape) for _, kind, shape in parts],
                "offsets": offsets,
                "itemsize": at,
            }
        )

    @cached_property
    def geometry(self) -> tuple[int, int, int, int, int, int]:
        """Place of things in a flat view of chunks, in floats: (of a chunk, to coarse, to features, T, D, S)."""
        kind = self.dtype
        coarse, features = (kind.fields[name][1] // 4 for name in ("coarse", "features"))  # type: ignore[index]
        return kind.itemsize // 4, coarse, features, self.frames, self.columns, self.segments


def chunks_for(count: int) -> int:
    """Chunks that ``count`` models need."""
    return -(-count // CHUNK)


def checked(matrices: NDArray[np.floating], layout: Layout) -> NDArray[np.float32]:
    """Matrices (M, T, D) as float32, or a ValueError that says what is wrong with them."""
    values = np.ascontiguousarray(matrices, dtype=np.float32)
    if values.ndim != 3 or values.shape[1:] != (layout.frames, layout.columns):
        raise ValueError(
            f"features have shape {values.shape}, expected (M, {layout.frames}, {layout.columns})"
        )
    missing = np.isnan(values)
    some, every = missing.any(axis=1), missing.all(axis=1)
    if (some & ~every).any():
        raise ValueError("a column is missing in part; it has to be known in every row or in none")
    if every.all(axis=1).any():
        raise ValueError("a matrix has no known column")
    if not (np.abs(values) <= LARGEST)[~missing].all():
        raise ValueError(f"a feature is infinite or beyond {LARGEST:g}")
    return values


def check_ids(ids: Sequence[str], count: int) -> list[bytes]:
    """Ids as they are stored; a ValueError for any that cannot be, that come twice, or are not ``count`` in all."""
    keys = [encoded(name) for name in ids]
    if len(keys) != count:
        raise ValueError(f"there are {len(keys)} ids for {count} matrices")
    if len(set(keys)) != len(keys):
        raise ValueError("an id is given twice")
    return keys


def present_bits(matrices: NDArray[np.float32]) -> NDArray[np.uint64]:
    """Which columns of matrices (M, T, D) are known, one bit a column: (M,)."""
    known = ~np.isnan(matrices[:, 0])
    return (known.astype(np.uint64) << np.arange(known.shape[1], dtype=np.uint64)).sum(
        axis=1, dtype=np.uint64
    )


def coarse_of(matrices: NDArray[np.float32]) -> NDArray[np.float32]:
    """Segment means and radii of matrices (M, T, D): (S, D + 1, M).

    The radius is taken from the mean as it is stored, in doubles, and then rounded up: the bound holds whatever was
    lost in rounding the mean.
    """
    count, frames, columns = matrices.shape
    values = np.nan_to_num(matrices.astype(np.float64))
    starts = np.arange(0, frames, SEGMENT)
    sizes = np.diff(np.append(starts, frames))
    means = (np.add.reduceat(values, starts, axis=1) / sizes[:, None]).astype(np.float32)
    away = values - np.repeat(means.astype(np.float64), sizes, axis=1)
    squared = np.maximum.reduceat((away**2).sum(axis=2), starts, axis=1)
    # A millionth covers the rounding of the sum of squares, its root and the conversion, with room to spare.
    radii = np.nextafter((np.sqrt(squared) * (1 + 1e-6)).astype(np.float32), np.float32(np.inf))
    out = np.empty((len(starts), columns + 1, count), dtype=np.float32)
    out[:, :columns] = means.transpose(1, 2, 0)
    out[:, columns] = radii.T
    return out


def encoded(name: str) -> bytes:
    """An id as it is stored; a ValueError where it cannot be."""
    raw = name.encode("utf-8")
    if not 0 < len(raw) <= ID_BYTES or b"\0" in raw:
        raise ValueError(f"an id must be text of 1 to {ID_BYTES} bytes without a zero byte, not {name!r}")
    return raw
