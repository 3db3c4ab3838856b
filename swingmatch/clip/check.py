"""Is there a file at all? The sentences for what never gets as far as a decoder."""

from __future__ import annotations

from pathlib import Path

from swingmatch.errors import ClipError


def check_file(path: Path) -> None:
    """Raise the :class:`ClipError` for what is no readable file with something in it."""
    if path.is_dir():
        raise ClipError(f"{path.name or path} is a folder; please name one of the clips in it.")
    if not path.exists():
        raise ClipError(f"There is no file {path}; please check its name.")
    if not path.is_file():
        raise ClipError(
            f"{path.name} is not a file that can be read as a clip; please save it to disk first."
        )
    try:
        with path.open("rb") as file:
            head = file.read(1)
    except OSError as error:
        raise ClipError(
            f"{path.name} may not be read ({error.strerror}); please check its permissions."
        ) from error
    if not head:
        raise ClipError(f"{path.name} is empty; the transfer probably failed, please send it again.")
