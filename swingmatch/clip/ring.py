"""Memory that two processes share, for a ring of pictures; it has no name on disk, so nothing can be left over.

On POSIX systems it is a file without a name whose descriptor the child inherits: in memory on Linux
(``memfd_create``), an unlinked temporary file elsewhere. Windows has named mappings that go with their last
user.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import secrets
import sys
import tempfile

#: Bytes that a ring may take where that is enough for two pictures.
BUDGET = 32 * 1024 * 1024
#: Pictures, at most: looking for somebody holds a reader up for as long as decoding so many takes.
_MOST = 20


def slots_for(size: int) -> int:
    """Number of pictures of ``size`` bytes in a ring: two at least, so that one is filled as one is read."""
    return max(2, min(_MOST, BUDGET // max(size, 1)))


class Block:
    """The reader's end: memory that is as large as the present task needs, and empty between tasks."""

    def __init__(self) -> None:
        self._name = ""
        self._map: mmap.mmap | None = None
        self.descriptor = -1 if sys.platform == "win32" else _nameless_file()

    @property
    def inherited(self) -> tuple[int, ...]:
        """Descriptors that the child must be given."""
        return () if self.descriptor < 0 else (self.descriptor,)

    def resize(self, size: int) -> tuple[mmap.mmap, str]:
        """Memory of ``size`` bytes, and the address under which the child finds it with :func:`attach`."""
        self.empty()
        if sys.platform == "win32":
            self._name = f"swingmatch-{secrets.token_hex(8)}"
            self._map = mmap.mmap(-1, size, tagname=self._name)
            return self._map, self._name
        os.ftruncate(self.descriptor, size)
        self._map = mmap.mmap(self.descriptor, size)
        return self._map, str(self.descriptor)

    def empty(self) -> None:
        """Give the memory back; the child must have finished with it."""
        if self._map is not None:
            self._map.close()
            self._map = None
            if self.descriptor >= 0:
                os.ftruncate(self.descriptor, 0)

    def close(self) -> None:
        """Give everything back; may be called twice."""
        if self._map is not None:
            self._map.close()
            self._map = None
        if self.descriptor >= 0:
            os.close(self.descriptor)
            self.descriptor = -1


def _nameless_file() -> int:
    """Descriptor of an empty file that no folder lists."""
    with contextlib.suppress(AttributeError, OSError):  # not on macOS; forbidden in some containers
        return os.memfd_create("swingmatch-pictures")
    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())


def attach(address: str, size: int) -> mmap.mmap:
    """The child's end of a :class:`Block`."""
    if sys.platform == "win32":
        return mmap.mmap(-1, size, tagname=address)
    return mmap.mmap(int(address), size)
