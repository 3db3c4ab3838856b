"""The coach's marks: where the racket's points are in single frames, placed by hand and kept beside the clip.

The file is JSON and is called ``NAME.HASH.racket.json``: the clip's own name, for people, and the first 16 digits of
the SHA-256 digest of its content, by which it is found again after the clip was renamed, moved with its folder or
analysed anew::

    {
      "about": "Racket points placed by hand. ...",
      "version": 1,
      "clip": "0123456789abcdef",
      "frames": [
        {"time": 1.6, "points": {"butt": [512.0, 300.5], "tip": [600.0, 280.0]}}
      ]
    }

``time`` is the frame's own, in seconds; points are pixels of the upright picture, x right, y down, by their names
(``points.NAMES``). The two edges are an unordered pair.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from swingmatch.errors import SwingmatchError
from swingmatch.racket.points import NAMES, RacketPoints, nothing

#: How far a point placed by hand is off, pixels on each axis (*own estimate*: a steady hand at full size).
MARK_SD = 1.5
#: Two times, seconds, that are the same frame's: a quarter of a frame at 240 a second.
_SAME = 0.001
_VERSION = 1
_DIGITS = 16
_ABOUT = "Racket points placed by hand. Times in seconds, points in pixels of the upright picture (x right, y down)."

Point = tuple[float, float]


class MarksError(SwingmatchError):
    """Marks that cannot be placed, read or written."""


@dataclass(frozen=True)
class Marks:
    """Marked frames: time in seconds -> name of a point -> (x, y) in pixels of the upright picture."""

    frames: Mapping[float, Mapping[str, Point]] = field(default_factory=dict)

    def points(self, sd: float = MARK_SD) -> RacketPoints:
        """The marks as the fit takes them, each with ``sd`` pixels."""
        out = nothing(np.array(sorted(self.frames), dtype=np.float64))
        for row, time in enumerate(out.times):
            for name, place_ in self.frames[float(time)].items():
                out.image[row, NAMES.index(name)] = place_
                out.sd[row, NAMES.index(name)] = sd
        return out


def _key(marks: Marks, time: float) -> float:
    """The marked frame's time that is this one, or this time."""
    return min(
        (known for known in marks.frames if abs(known - time) <= _SAME),
        key=lambda known: abs(known - time),
        default=float(time),
    )


def place(marks: Marks, time: float, name: str, x: float, y: float) -> Marks:
    """The marks with one point placed, or moved where it was placed before.

    Raises ``MarksError`` for a name that is no point's, or a place or time that is no number.
    """
    if name not in NAMES:
        raise MarksError(f"A racket has no point named {name!r}; its points are {', '.join(NAMES)}.")
    if not all(isinstance(v, (int, float)) and math.isfinite(v) for v in (time, x, y)):
        raise MarksError("A mark needs a time in seconds and a place in pixels, all of them numbers.")
    key = _key(marks, time)
    frame = {**marks.frames.get(key, {}), name: (float(x), float(y))}
    return Marks({**marks.frames, key: frame})


def remove(marks: Marks, time: float, name: str | None = None) -> Marks:
    """The marks without one point of a frame, or without all of them; what is not there is no error."""
    key = _key(marks, time)
    frames = {t: dict(points) for t, points in marks.frames.items()}
    if key in frames:
        if name is None:
            frames[key] = {}
        frames[key].pop(name or "", None)
        if not frames[key]:
            del frames[key]
    return Marks(frames)


def content_key(clip: Path) -> str:
    """By what a clip's marks are found: the first digits of its content's SHA-256 digest.

    Raises ``MarksError`` where the clip cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with clip.open("rb") as file:
            while chunk := file.read(1 << 20):
                digest.update(chunk)
    except OSError as error:
        raise MarksError(
            f"{clip.name} cannot be read, so its marks cannot be found: {error.strerror}."
        ) from None
    return digest.hexdigest()[:_DIGITS]


def marks_path(clip: Path, folder: Path | None = None) -> Path:
    """The file of a clip's marks, which need not exist: one that was written under another name of the same clip, or
    a new one beside the clip (or in ``folder``)."""
    key = content_key(clip)
    where = clip.parent if folder is None else folder
    old = sorted(where.glob(f"*.{key}.racket.json"))
    return old[0] if old else where / f"{clip.stem}.{key}.racket.json"


def load_marks(clip: Path, folder: Path | None = None) -> Marks:
    """The marks of a clip; none where nothing was marked.

    Parameters
    ----------
    clip : the video file. folder : where the marks are kept; beside the clip where None.

    Raises
    ------
    MarksError : the file of marks is damaged, or the clip cannot be read.
    """
    path = marks_path(clip, folder)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Marks()
    except (OSError, UnicodeDecodeError):
        raise MarksError(f"The racket marks in {path.name} cannot be read.") from None
    try:
        return _marks_of(json.loads(text))
    except (ValueError, TypeError, KeyError, AttributeError, MarksError, RecursionError):
        raise MarksError(
            f"The racket marks in {path.name} are damaged; move the file away and mark the frames again."
        ) from None


def _marks_of(read: Any) -> Marks:
    if read["version"] != _VERSION:
        raise ValueError("another version")
    marks = Marks()
    for frame in read["frames"]:
        for name, (x, y) in frame["points"].items():
            marks = place(marks, frame["time"], name, x, y)
    return marks


def save_marks(clip: Path, marks: Marks, folder: Path | None = None) -> Path:
    """Keep the marks of a clip; gives the file, which appears only when it is whole. No marks remove it.

    Raises ``MarksError`` where it cannot be written, or the clip not be read.
    """
    path = marks_path(clip, folder)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    text = {
        "about": _ABOUT,
        "version": _VERSION,
        "clip": content_key(clip),
        "frames": [
            {
                "time": time,
                "points": {name: list(marks.frames[time][name]) for name in sorted(marks.frames[time])},
            }
            for time in sorted(marks.frames)
        ],
    }
    try:
        if not marks.frames:
            path.unlink(missing_ok=True)
            return path
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            part.write_text(json.dumps(text, indent=1) + "\n", encoding="utf-8")
            os.replace(part, path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise MarksError(f"The racket marks cannot be kept in {path.parent}: {error.strerror}.") from None
    return path
