"""Files that are whole or not there, and the media folder, in which a file's name is the hash of its bytes."""

from __future__ import annotations

import hashlib
import os
import sys
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from swingmatch.errors import LibraryError

_PIECE = 1 << 20

#: Called with the name of every step that changes the disk, before it is done. Tests stop the process here.
watch: Callable[[str], None] | None = None


def before_step(name: str) -> None:
    """Tell the watcher, if there is one, what is about to be done."""
    if watch is not None:
        watch(name)


def write_whole(path: Path, data: bytes, aside: Path) -> None:
    """Write a file so that it is whole or not there: to a name in folder ``aside``, flushed, then renamed."""
    with _new_file(path, aside) as (_, write):
        write(data)


def remove_file(path: Path) -> None:
    """Delete a file, if it is there, and make the folder's entry reach the disk."""
    before_step("unlink")
    try:
        path.unlink()
    except FileNotFoundError:
        return
    flush_folder(path.parent)


def flush_folder(folder: Path) -> None:
    """Make the names in a folder reach the disk, where the system can do that."""
    before_step("fsync folder")
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def hash_of(source: bytes | Path) -> tuple[str, int]:
    """SHA-256 and size of bytes or of a file."""
    if isinstance(source, bytes):
        return hashlib.sha256(source).hexdigest(), len(source)
    digest, size = hashlib.sha256(), 0
    try:
        with open(source, "rb") as file:
            while piece := file.read(_PIECE):
                digest.update(piece)
                size += len(piece)
    except OSError as error:
        raise LibraryError(f"{source} cannot be read ({error.strerror}).") from error
    return digest.hexdigest(), size


class MediaFolder:
    """Files by the hash of their content, ``ab/abcd...``; ``aside`` is where they are written before they are whole."""

    def __init__(self, folder: Path, aside: Path) -> None:
        self.folder, self.aside = folder, aside

    def path(self, sha256: str) -> Path:
        """Where the file with that hash lies, or would."""
        return self.folder / sha256[:2] / sha256

    def put(self, source: bytes | Path, sha256: str) -> None:
        """Take a file in, unless it is there already.

        Raises LibraryError where its bytes are no longer those of the hash.
        """
        final = self.path(sha256)
        if final.exists():
            return
        if not final.parent.exists():
            before_step("mkdir")
            final.parent.mkdir(parents=True, exist_ok=True)
            flush_folder(self.folder)
        digest = hashlib.sha256()
        with _new_file(final, self.aside) as (_, write):
            for piece in _pieces(source):
                digest.update(piece)
                write(piece)
            if digest.hexdigest() != sha256:
                raise LibraryError(f"{source!s:.200} changed while it was being read; please try again.")

    def read(self, sha256: str) -> bytes:
        """The bytes of a file; a LibraryError where they are missing or not those of the hash."""
        path = self.path(sha256)
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            raise LibraryError(f"The library's file {path} is missing.") from None
        except OSError as error:
            raise LibraryError(f"The library's file {path} cannot be read ({error.strerror}).") from error
        if hashlib.sha256(data).hexdigest() != sha256:
            raise LibraryError(f"The library's file {path} is damaged: its content has changed.")
        return data

    def remove(self, sha256: str) -> None:
        """Delete a file, if it is there, and its folder once that is empty."""
        path = self.path(sha256)
        remove_file(path)
        if path.parent.exists() and not any(path.parent.iterdir()):
            before_step("rmdir")
            path.parent.rmdir()

    def hashes(self) -> Iterator[str]:
        """Names of all files in the folder, whatever they are, in order."""
        for folder in sorted(self.folder.iterdir()) if self.folder.is_dir() else ():
            if folder.is_dir():
                yield from sorted(path.name for path in folder.iterdir())
            else:
                yield folder.name


@contextmanager
def alone(path: Path, wait: bool = True) -> Iterator[bool]:
    """Hold the lock of the file at ``path`` against all other processes and threads; the system frees it on a kill.

    Gives False, without the lock, where ``wait`` is False and somebody else holds it.
    """
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        yield _take(descriptor, wait)
    finally:
        os.close(descriptor)


if sys.platform == "win32":
    import msvcrt

    def _take(descriptor: int, wait: bool) -> bool:
        while True:
            try:
                msvcrt.locking(descriptor, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)
                return True
            except OSError:  # the waiting one gives up after ten seconds
                if not wait:
                    return False

else:
    import fcntl

    def _take(descriptor: int, wait: bool) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


def _pieces(source: bytes | Path) -> Iterator[bytes]:
    if isinstance(source, bytes):
        yield source
        return
    with open(source, "rb") as file:
        while piece := file.read(_PIECE):
            yield piece


@contextmanager
def _new_file(final: Path, aside: Path) -> Iterator[tuple[Path, Callable[[bytes], object]]]:
    temporary = aside / f"{uuid.uuid4().hex}.part"
    before_step("create")
    try:
        with open(temporary, "xb") as file:

            def write(data: bytes) -> None:
                before_step("write")
                file.write(data)

            yield temporary, write
            before_step("fsync")
            file.flush()
            os.fsync(file.fileno())
        before_step("rename")
        os.replace(temporary, final)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    flush_folder(final.parent)
