"""``Table``: feature matrices as the search sees them, whether they are in memory or in a mapped file."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from swingmatch.library.search.layout import (
    CHUNK,
    Layout,
    check_ids,
    checked,
    chunks_for,
    coarse_of,
    present_bits,
)


@dataclass(frozen=True)
class Table:
    """Models in order of their numbers.

    Attributes
    ----------
    layout : shape of the matrices. count : number of models.
    chunks : (C,) of ``layout.dtype``; what lies beyond ``count`` is not looked at.
    shares : (D,) share of each column in a squared distance, sum 1; where a column is missing in either swing, the
        distance is taken over the others and scaled up by what their shares lack.
    """

    layout: Layout
    count: int
    chunks: NDArray[np.void]
    shares: NDArray[np.float64] = field(repr=False)

    @classmethod
    def of(
        cls,
        ids: Sequence[str],
        matrices: NDArray[np.floating],
        shares: NDArray[np.float64] | None = None,
    ) -> Table:
        """A table in memory of ``ids`` and their matrices (M, T, D); errors as in :func:`fill`."""
        layout = Layout(*matrices.shape[1:])
        chunks = np.zeros(chunks_for(len(ids)), dtype=layout.dtype)
        fill(chunks, layout, 0, ids, checked(matrices, layout))
        return cls(layout, len(ids), chunks, check_shares(shares, layout.columns))

    def __len__(self) -> int:
        return self.count

    @cached_property
    def keys(self) -> NDArray[np.bytes_]:
        """(count,) ids as stored; comparing them as bytes orders them by code point."""
        return np.ascontiguousarray(self.chunks["ids"]).reshape(-1)[: self.count]

    @cached_property
    def flat(self) -> NDArray[np.float32]:
        """All chunks as one read-only line of floats, which is what compiled code takes."""
        line = np.asarray(self.chunks).view(np.float32)
        line.flags.writeable = False
        return line

    @cached_property
    def groups(self) -> tuple[tuple[int, NDArray[np.int64]], ...]:
        """Bits of known columns, as ``present``, and the numbers of the models that know just these, most first."""
        present = np.ascontiguousarray(self.chunks["present"]).reshape(-1)[: self.count]
        kinds, which = np.unique(present, return_inverse=True)
        parts = [(int(bits), np.flatnonzero(which == n)) for n, bits in enumerate(kinds)]
        return tuple(sorted(parts, key=lambda part: (-len(part[1]), part[0])))

    @property
    def ids(self) -> list[str]:
        """Ids in order of the models."""
        return [raw.decode("utf-8") for raw in self.keys.tolist()]

    @cached_property
    def _places(self) -> dict[bytes, int]:
        return {raw: number for number, raw in enumerate(self.keys.tolist())}

    def __contains__(self, name: str) -> bool:
        return name.encode("utf-8") in self._places

    def numbers(self, ids: Iterable[str]) -> NDArray[np.int64]:
        """Numbers of the models with these ids, rising; ids that are not there are passed over."""
        found = {self._places[raw] for raw in (name.encode("utf-8") for name in ids) if raw in self._places}
        return np.array(sorted(found), dtype=np.int64)

    def part(self, first: int, last: int) -> Table:
        """The models of chunks ``first`` to ``last`` as a table of its own, whose numbers start from 0."""
        count = min(self.count, last * CHUNK) - first * CHUNK
        return Table(self.layout, count, self.chunks[first:last], self.shares)

    def matrix(self, name: str) -> NDArray[np.float32]:
        """The features (T, D) of one model; KeyError for an id that is not there."""
        number = self._places[name.encode("utf-8")]
        return np.array(self.chunks["features"][number // CHUNK, number % CHUNK])

    def damaged(self) -> list[str]:
        """Ids of models whose matrix is no longer what was written."""
        bad = []
        for number, raw in enumerate(self.keys.tolist()):
            chunk, place = divmod(number, CHUNK)
            if (
                zlib.crc32(self.chunks["features"][chunk, place].tobytes())
                != self.chunks["crc"][chunk, place]
            ):
                bad.append(raw.decode("utf-8", "replace"))
        return bad


def check_shares(shares: NDArray[np.float64] | None, columns: int) -> NDArray[np.float64]:
    """Shares (D,) that sum to 1, by default equal ones; a ValueError for any others."""
    if shares is None:
        return np.full(columns, 1.0 / columns)
    shares = np.asarray(shares, dtype=np.float64)
    if shares.shape != (columns,) or not (shares > 0).all() or abs(shares.sum() - 1.0) > 1e-9:
        raise ValueError(f"shares must be {columns} positive numbers with sum 1")
    return shares


def fill(
    chunks: NDArray[np.void], layout: Layout, first: int, ids: Sequence[str], matrices: NDArray[np.float32]
) -> None:
    """Write models into ``chunks`` from place ``first`` on; ``matrices`` (M, T, D) as from ``checked``.

    Raises
    ------
    ValueError
        As in ``check_ids``.
    """
    keys = check_ids(ids, len(matrices))
    present = present_bits(matrices)
    done = 0
    while done < len(keys):
        chunk, place = divmod(first + done, CHUNK)
        take = min(CHUNK - place, len(keys) - done)
        here, part = slice(place, place + take), slice(done, done + take)
        chunks["ids"][chunk, here] = keys[part]
        chunks["present"][chunk, here] = present[part]
        chunks["crc"][chunk, here] = [zlib.crc32(matrix.tobytes()) for matrix in matrices[part]]
        chunks["coarse"][chunk, :, :, here] = coarse_of(matrices[part])
        chunks["features"][chunk, here] = matrices[part]
        done += take
