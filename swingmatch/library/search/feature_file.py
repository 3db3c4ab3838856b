"""``FeatureFile``: the feature matrices of a whole library in one file that is mapped, not loaded.

Opening reads one page, whatever the number of models; the rest comes from the disk when a search touches it. All that
is in the file is made from the swings and can be made again from them.

The file, version 1, all numbers little-endian:

* Page 0 (4096 bytes). At 0 the text ``swingmatch feats``, then uint32 version, frames T, columns D, models a chunk,
  rows a segment; at 64 the D shares as float64; at 1020 the CRC-32 of the bytes before it. At 2048 and at 3072 two
  records (uint64 sequence, uint64 count, uint32 CRC-32 of both). The sound record with the higher sequence is the one
  in force: it says how many models there are.
* From 4096 on: chunks, as in ``layout``.

Models are added behind the others and flushed to the disk before a record counts them, so a kill at any instant leaves
the old state or the new. To take models out, the file is written anew without them beside the old one, flushed and
renamed: their bytes are in neither. One process writes at a time (``lock``); readers need no lock and keep the state
they opened until ``refresh``.
"""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from swingmatch.errors import LibraryError
from swingmatch.library.search.features import COLUMNS, FRAMES, SHARES
from swingmatch.library.search.layout import CHUNK, PAGE, SEGMENT, Layout, check_ids, checked, chunks_for
from swingmatch.library.search.lock import locked
from swingmatch.library.search.table import Table, check_shares, fill

MAGIC = b"swingmatch feats"
VERSION = 1
_FACTS = struct.Struct("<16s5I")
_SHARES_AT, _CRC_AT = 64, 1020
_RECORD = struct.Struct("<QQ")
_RECORDS_AT = (2048, 3072)


class FeatureFile:
    """The feature matrices of a library on disk; ``table`` is what the search takes.

    Attributes
    ----------
    path : the file. layout : shape of the matrices. shares : (D,) as in ``Table``.
    sequence : number of the state that was opened; every write gives a higher one.
    """

    def __init__(self, path: Path | str) -> None:
        """Open the file at ``path``; a LibraryError says what is wrong with it."""
        self.path = Path(path)
        self.refresh()

    @classmethod
    def create(
        cls,
        path: Path | str,
        frames: int = FRAMES,
        columns: int = COLUMNS,
        shares: NDArray[np.float64] | None = None,
    ) -> FeatureFile:
        """A new file without models, whole or not there at all; where there is one already, it is opened.

        ``shares`` (columns,) are by default those of a swing, or equal ones where there are other columns.
        """
        path = Path(path)
        if shares is None and columns == COLUMNS:
            shares = SHARES
        page = _first_page(Layout(frames, columns), check_shares(shares, columns))
        with _writing(path):
            if not path.exists():
                _replace(path, lambda file: file.write(page), 0, 0)
        return cls(path)

    def refresh(self) -> None:
        """See what other processes have written since; a LibraryError where the file is gone or damaged."""
        try:
            with open(self.path, "rb") as file:
                page = file.read(PAGE)
                size = os.fstat(file.fileno()).st_size
                self.layout, self.shares = _facts(page, self.path)
                self.sequence, count = _in_force(page, self.path)
                need = chunks_for(count)
                if size < PAGE + need * self.layout.dtype.itemsize:
                    raise LibraryError(
                        f"{self.path} is damaged: it is shorter than it says; make it again from the library."
                    )
                chunks: NDArray[np.void] = (
                    np.memmap(file, dtype=self.layout.dtype, mode="r", offset=PAGE, shape=(need,))
                    if need
                    else np.zeros(0, dtype=self.layout.dtype)
                )
        except FileNotFoundError:
            raise LibraryError(f"{self.path} is missing.") from None
        except OSError as error:
            raise LibraryError(f"{self.path} cannot be read ({error.strerror}).") from error
        self.table = Table(self.layout, count, chunks, self.shares)

    def __len__(self) -> int:
        return len(self.table)

    def __contains__(self, name: str) -> bool:
        return name in self.table

    @property
    def ids(self) -> list[str]:
        """Ids in the order in which they were added."""
        return self.table.ids

    def matrix(self, name: str) -> NDArray[np.float32]:
        """The features (T, D) of one model; KeyError for an id that is not there."""
        return self.table.matrix(name)

    def damaged(self) -> list[str]:
        """Ids of models whose bytes are no longer those that were written; reads the whole file."""
        return self.table.damaged()

    def append(self, ids: Sequence[str], matrices: NDArray[np.floating]) -> None:
        """Add models, all of them or none: ``ids`` of at most 64 bytes and matrices (M, T, D), degrees.

        A column that is not known is NaN in every row. The state that others have written is read first.

        Raises
        ------
        ValueError
            For an id that is there already or given twice, or features that are not as said.
        LibraryError
            Where the disk refuses; the file is then as it was.
        """
        values = checked(matrices, self.layout)
        check_ids(ids, len(values))
        with _writing(self.path):
            self.refresh()
            self._clear_tail()
            there = [name for name in ids if name in self.table]
            if there:
                raise ValueError(f"{there[0]!r} is in {self.path.name} already")
            if not len(ids):
                return
            with open(self.path, "r+b") as file:
                self._write_rows(file, ids, values)
                _flush(file)
                _write_record(file, self.sequence + 1, len(self) + len(ids))
            self.refresh()

    def remove(self, ids: Collection[str]) -> int:
        """Take models out for good and return how many were there; ids that are not there are passed over.

        The file is written anew, so this takes as long as copying it: remove many at once. Errors as in ``append``.
        Whatever a write that was cut off has left in the file goes too.
        """
        with _writing(self.path):
            self.refresh()
            self._clear_tail()
            gone = self.table.numbers(ids)
            if len(gone) == 0:
                return 0
            kept = np.setdiff1d(np.arange(len(self)), gone, assume_unique=True)

            def write(file: BinaryIO) -> None:
                file.write(_first_page(self.layout, self.shares))
                for start in range(0, len(kept), CHUNK):
                    chunk = np.zeros(1, dtype=self.layout.dtype)
                    for place, number in enumerate(kept[start : start + CHUNK]):
                        _copy_place(self.table.chunks[number // CHUNK], number % CHUNK, chunk[0], place)
                    file.write(chunk.tobytes())

            _replace(self.path, write, self.sequence + 1, len(kept))
            self.refresh()
        return len(gone)

    def _write_rows(self, file: BinaryIO, ids: Sequence[str], values: NDArray[np.float32]) -> None:
        """Write rows behind those that count, a chunk at a time; those before them are written again as they are."""
        size = self.layout.dtype.itemsize
        number, done = len(self), 0
        while done < len(ids):
            chunk, place = divmod(number + done, CHUNK)
            take = min(CHUNK - place, len(ids) - done)
            whole = self._last_chunk() if place else np.zeros(1, dtype=self.layout.dtype)
            fill(whole, self.layout, place, ids[done : done + take], values[done : done + take])
            file.seek(PAGE + chunk * size)
            file.write(whole.tobytes())
            done += take

    def _last_chunk(self) -> NDArray[np.void]:
        """A copy (1,) of the last chunk that counts, with nothing behind its last model."""
        whole = np.zeros(1, dtype=self.layout.dtype)
        for place in range((len(self) - 1) % CHUNK + 1):
            _copy_place(self.table.chunks[-1], place, whole[0], place)
        return whole

    def _clear_tail(self) -> None:
        """Clear what a write that was cut off left behind the last model that counts."""
        size, need = self.layout.dtype.itemsize, chunks_for(len(self))
        with open(self.path, "r+b") as file:
            if os.fstat(file.fileno()).st_size > PAGE + need * size:
                file.truncate(PAGE + need * size)
            if len(self) % CHUNK and self.table.chunks["present"][-1, len(self) % CHUNK :].any():
                file.seek(PAGE + (need - 1) * size)
                file.write(self._last_chunk().tobytes())
            _flush(file)


def _copy_place(source: np.void, place: int, target: np.void, to: int) -> None:
    """Copy all that belongs to one model from one chunk to a place of another."""
    for name in ("ids", "present", "crc", "features"):
        target[name][to] = source[name][place]
    target["coarse"][:, :, to] = source["coarse"][:, :, place]


def _first_page(layout: Layout, shares: NDArray[np.float64]) -> bytes:
    """The first page, without a record."""
    facts = _FACTS.pack(MAGIC, VERSION, layout.frames, layout.columns, CHUNK, SEGMENT)
    head = facts.ljust(_SHARES_AT, b"\0") + shares.astype("<f8").tobytes()
    head = head.ljust(_CRC_AT, b"\0")
    return (head + struct.pack("<I", zlib.crc32(head))).ljust(PAGE, b"\0")


def _facts(page: bytes, path: Path) -> tuple[Layout, NDArray[np.float64]]:
    """Layout and shares from the first page."""
    if len(page) < PAGE or not page.startswith(MAGIC):
        raise LibraryError(
            f"{path} is not a file of features, or is damaged; make it again from the library."
        )
    _, version, frames, columns, chunk, segment = _FACTS.unpack_from(page)
    if zlib.crc32(page[:_CRC_AT]) != struct.unpack_from("<I", page, _CRC_AT)[0]:
        raise LibraryError(f"{path} is damaged in its first page; make it again from the library.")
    if (version, chunk, segment) != (VERSION, CHUNK, SEGMENT):
        raise LibraryError(
            f"{path} was written by another version of swingmatch; make it again from the library."
        )
    shares = np.frombuffer(page, dtype="<f8", count=columns, offset=_SHARES_AT).astype(np.float64)
    return Layout(frames, columns), shares


def _in_force(page: bytes, path: Path) -> tuple[int, int]:
    """Sequence and count of the record in force."""
    records = []
    for at in _RECORDS_AT:
        raw = page[at : at + _RECORD.size]
        if zlib.crc32(raw) == struct.unpack_from("<I", page, at + _RECORD.size)[0]:
            records.append(_RECORD.unpack(raw))
    if not records:
        raise LibraryError(f"{path} is damaged: it does not say how many models it holds.")
    return max(records)


def _write_record(file: BinaryIO, sequence: int, count: int) -> None:
    """Put a new record in the place of the older one, and on the disk."""
    raw = _RECORD.pack(sequence, count)
    file.seek(_RECORDS_AT[sequence % 2])
    file.write(raw + struct.pack("<I", zlib.crc32(raw)))
    _flush(file)


def _flush(file: BinaryIO) -> None:
    file.flush()
    os.fsync(file.fileno())


def _replace(path: Path, write: Callable[[BinaryIO], object], sequence: int, count: int) -> None:
    """Write a file aside with ``write(file)`` and a record, flush it, and rename it into place."""
    aside = _aside(path)
    with open(aside, "w+b") as file:
        write(file)
        _write_record(file, sequence, count)
    os.replace(aside, path)
    if os.name == "posix":  # the name itself has to reach the disk too
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _aside(path: Path) -> Path:
    return path.with_name(f".{path.name}.writing")


@contextmanager
def _writing(path: Path) -> Iterator[None]:
    """Alone to write; what an earlier write that was cut off left aside is deleted first."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with locked(path.with_name(f".{path.name}.lock")):
            _aside(path).unlink(missing_ok=True)
            yield
    except OSError as error:
        _aside(path).unlink(missing_ok=True)
        raise LibraryError(f"{path} cannot be written ({error.strerror}).") from error
