"""A lock between processes on one machine or one shared disk, freed by the system when its holder dies."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    def _take(descriptor: int) -> None:
        while True:
            try:
                msvcrt.locking(descriptor, msvcrt.LK_LOCK, 1)  # tries for ten seconds, then raises
                return
            except OSError:
                continue

else:
    import fcntl

    def _take(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX)


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Wait until no other process or thread holds the lock of the empty file at ``path``, and hold it."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        _take(descriptor)
        yield
    finally:
        os.close(descriptor)
