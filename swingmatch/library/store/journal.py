"""What a writer is about to do, on disk before it starts, so that whoever comes after a kill can tidy up behind it.

One small file an intention in the folder ``pending``, which also takes files that are not whole yet. An empty folder
says that all is in order; nothing else has to be looked through at opening.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from swingmatch.library.store import disk


@dataclass(frozen=True)
class Intent:
    """Files and models that are being added or removed.

    Attributes
    ----------
    hashes : files to delete unless a row wants them. models : to take out of the search unless a row has them.
    scrub : whether the database is to be cleared of what was deleted.
    """

    hashes: tuple[str, ...] = ()
    models: tuple[str, ...] = ()
    scrub: bool = False


class Journal:
    """The intentions in a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def empty(self) -> bool:
        """Whether nothing is being done, and nothing was cut off."""
        return not any(self.folder.iterdir())

    def write(self, intent: Intent) -> Path:
        """Note an intention; on disk when this returns."""
        path = self.folder / f"{uuid.uuid4().hex}.json"
        text = json.dumps({"hashes": intent.hashes, "models": intent.models, "scrub": intent.scrub})
        disk.write_whole(path, text.encode(), self.folder)
        return path

    def done(self, path: Path) -> None:
        """Strike an intention out."""
        disk.remove_file(path)

    def __iter__(self) -> Iterator[tuple[Path, Intent]]:
        for path in sorted(self.folder.glob("*.json")):
            text = json.loads(path.read_text(encoding="utf-8"))
            yield path, Intent(tuple(text["hashes"]), tuple(text["models"]), text["scrub"])

    def clear_parts(self) -> None:
        """Delete files that never became whole; only while no writer is at work."""
        for path in self.folder.glob("*.part"):
            disk.remove_file(path)
