"""Raw tracks kept beside the clips, so that what comes after tracking can be tried without the pose model.

A kept track is used again only for the same bytes of the clip and the same code of the tracking.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

import swingmatch.body
from swingmatch.body.track import Track

_BODY = Path(swingmatch.body.__file__).parent


@dataclass(frozen=True)
class Tracked:
    """A raw track, as ``watch`` gives it, and what it took.

    ``seconds`` : of reading, of reading and tracking, and of the bare model. ``runs`` : how often the model was asked.
    """

    track: Track
    seconds: dict[str, float]
    runs: int


@cache
def tracking_version() -> str:
    """Short digest of what makes raw tracks: the code of ``body`` behind them, and the pose model's version.

    Taken from the source, so that no number has to be raised by hand. Code of ``clip`` is left out: reading may
    change in many ways that leave the pictures as they are. Delete the kept tracks where it does not.
    """
    seen: set[str] = set()
    queue = ["watch", "estimator"]
    while queue:
        name = queue.pop()
        if name in seen or not (_BODY / f"{name}.py").is_file():
            continue
        seen.add(name)
        for node in ast.walk(ast.parse((_BODY / f"{name}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("swingmatch.body"):
                queue += [node.module.rpartition(".")[2], *(alias.name for alias in node.names)]  # type: ignore[union-attr]
    digest = hashlib.sha256(metadata.version("mediapipe").encode())
    for name in sorted(seen):
        digest.update((_BODY / f"{name}.py").read_bytes())
    return digest.hexdigest()[:12]


def kept_path(clip: Path) -> Path:
    """Where the raw track of a clip is kept: beside it, named after the clip's content and the tracking's version."""
    digest = hashlib.sha256()
    with clip.open("rb") as file:
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return clip.with_name(f"{clip.stem}.track-{digest.hexdigest()[:12]}-{tracking_version()}.npz")


def kept(clip: Path, make: Callable[[], Tracked]) -> Tracked:
    """The kept track of a clip; made by ``make`` and kept where there is none that can be used."""
    path = kept_path(clip)
    found = read_tracked(path)
    if found is None:
        found = make()
        write_tracked(path, found)
    return found


def write_tracked(path: Path, tracked: Tracked) -> None:
    """Write a track; the file appears under its name only when it is whole."""
    values = {f.name: np.asarray(getattr(tracked.track, f.name)) for f in fields(Track)}
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as file:
            np.savez_compressed(
                file,
                seconds_=np.asarray(json.dumps(tracked.seconds)),
                runs_=np.asarray(tracked.runs),
                **values,
            )
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def read_tracked(path: Path) -> Tracked | None:
    """Read back a kept track; None where there is none, or it was written for other fields or is damaged."""
    try:
        with np.load(path, allow_pickle=False) as stored:
            values: dict[str, Any] = {name: stored[name] for name in stored.files}
        seconds, runs = json.loads(str(values.pop("seconds_")[()])), int(values.pop("runs_"))
        # Single values come back as they were: the size of the picture as a tuple, numbers as numbers.
        plain = {name: value.item() if value.ndim == 0 else value for name, value in values.items()}
        plain["size"] = tuple(int(side) for side in plain["size"])
        if set(plain) != {f.name for f in fields(Track)}:
            return None
        return Tracked(Track(**plain), seconds, runs)
    except (OSError, KeyError, ValueError, TypeError, EOFError, zipfile.BadZipFile):
        return None
