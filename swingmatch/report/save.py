"""Files to disk, whole or not at all."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

from swingmatch.errors import ClipError


def save_text(text: str, path: Path) -> None:
    """Write a text file as UTF-8; it appears under its name only when it is whole.

    Raises
    ------
    ClipError : the disk is full, or the folder may not be written to; nothing is left behind then.
    """
    save(path, lambda part: part.write_text(text, encoding="utf-8"))


def save(path: Path, write: Callable[[Path], object]) -> None:
    """Have ``write`` make a file; it appears under its name only when it is whole.

    ``write`` is given the place where the file grows, and may raise ``OSError``.

    Raises
    ------
    ClipError : the disk is full, or the folder may not be written to; nothing is left behind then.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        write(part)
        os.replace(part, path)
    except OSError as problem:
        if problem.errno in (errno.ENOSPC, errno.EDQUOT):
            why = "because the disk is full; please free some space and run it again"
        else:
            why = f"to {path.parent} ({problem.strerror}); please check the folder and the disk"
        raise ClipError(f"{path.name} could not be written {why}.") from problem
    finally:
        part.unlink(missing_ok=True)  # there only where something, be it the user, stopped the writing
