"""Reading clips: the true time of every picture first, then the pictures one by one.

``open_clip`` reads the header and walks over the packets without decoding them, so that the times are known
before any picture is. ``frames`` decodes lazily, a few pictures ahead of its caller; memory does not depend
on the clip's length. All native decoding runs in a child process (see ``child.py``).
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.check import check_file
from swingmatch.clip.child import borrowed
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.ring import slots_for
from swingmatch.clip.timeline import notes_on_times
from swingmatch.setup_check import load

#: Under this many seconds, decoding from the beginning costs no more than a seek.
_SHORT = 1.0


def open_clip(path: str | os.PathLike[str]) -> Clip:
    """What is known of a clip without decoding it, but for its first picture.

    Raises
    ------
    ClipError
        With one sentence when the file is missing, empty, damaged, no film, or has fewer than two pictures,
        and when opening it crashes the decoder, takes too long or too much memory.
    """
    path = Path(path)
    check_file(path)
    with borrowed() as child:
        within = child.limits.silence + path.stat().st_size / child.limits.rate
        child.ask({"do": "open", "path": str(path.absolute())})
        header, block = child.answer(path.name, within)
        child.answer(path.name)
    stamps = np.frombuffer(block, np.int64, header["ticks"])
    clip = Clip(
        path=path,
        times=np.frombuffer(block, np.float64, offset=stamps.nbytes).copy(),
        ticks=stamps.copy() if len(stamps) else None,
        **header["facts"],
    )
    return replace(clip, notes=(*clip.notes, *notes_on_times(clip)))


@dataclass
class _Tally:
    skipped: int = 0


class Frames(Iterator[Frame]):
    """The pictures of a clip, decoded a few ahead of being asked for.

    The file is closed at the end, on an error, by ``close``, by leaving a ``with`` block, or when the iterator
    is dropped. ``skipped`` counts the pictures that could not be decoded so far; ``notes`` says so in words.
    """

    def __init__(self, clip: Clip, wanted: NDArray[np.int64], size: tuple[int, int]) -> None:
        self._tally = _Tally()
        self._steps = _run(clip, wanted, size, self._tally)

    @property
    def skipped(self) -> int:
        """Pictures that could not be decoded so far."""
        return self._tally.skipped

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on the pictures that were left out so far."""
        if not self.skipped:
            return ()
        what = "1 picture was" if self.skipped == 1 else f"{self.skipped} pictures were"
        return (f"{what} damaged and left out.",)

    def __next__(self) -> Frame:
        return next(self._steps)

    def __enter__(self) -> Frames:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; no picture comes after that."""
        self._steps.close()


def frames(
    clip: Clip,
    start: float | None = None,
    stop: float | None = None,
    *,
    max_height: int | None = None,
    every: float | None = None,
) -> Frames:
    """Decode the pictures shown from ``start`` up to, not including, ``stop``.

    Parameters
    ----------
    clip : from :func:`open_clip`.
    start, stop : seconds from the clip's first picture; without them the clip's ends.
    max_height : largest height of an upright picture in pixels; a larger one is made smaller, its shape kept
        (see :func:`scaled_size`).
    every : seconds; only the first picture of each such period from ``start`` is given. The others are still
        decoded, but not converted or handed over. Without it, all pictures.

    Returns
    -------
    Frames
        Iterator of :class:`Frame`, rising in index and time. Damaged pictures are left out and counted in its
        ``skipped``.

    Raises
    ------
    ClipError
        From the iterator, when the file has gone or changed since ``open_clip``, or decoding it crashes, hangs
        or takes too much memory.
    """
    first = 0 if start is None else int(np.searchsorted(clip.times, start))
    end = clip.frame_count if stop is None else int(np.searchsorted(clip.times, stop))
    wanted = np.arange(first, max(first, end), dtype=np.int64)
    if every is not None:
        if not every > 0:
            raise ValueError(f"every must be positive, got {every}")
        # A thousandth of a period, so that rounded times do not fall on the wrong side.
        periods = np.floor((clip.times[wanted] - (start or 0.0)) / every + 1e-3)
        wanted = wanted[np.diff(periods, prepend=-1.0) > 0]
    return Frames(clip, wanted, scaled_size(clip, max_height))


def scaled_size(clip: Clip, max_height: int | None) -> tuple[int, int]:
    """(width, height) in pixels of the upright pictures that :func:`frames` gives for ``max_height``."""
    if max_height is None or clip.height <= max_height:
        return clip.width, clip.height
    if max_height < 1:
        raise ValueError(f"max_height must be at least 1, got {max_height}")
    return max(1, round(clip.width * max_height / clip.height)), max_height


def _run(clip: Clip, wanted: NDArray[np.int64], size: tuple[int, int], tally: _Tally) -> Generator[Frame]:
    """The steps of :class:`Frames`; apart from it, so that dropping the iterator closes the file at once."""
    if len(wanted) == 0:
        return
    check_file(clip.path)
    width, height = size if clip.rotation in (0, 180) else size[::-1]
    slots = slots_for(width * height * 3)
    name = clip.path.name
    ticks = b"" if clip.ticks is None else clip.ticks.tobytes()
    with borrowed() as child:
        memory, address = child.block.resize(slots * width * height * 3)
        task = {
            "do": "pictures",
            "path": str(clip.path.absolute()),
            "size": (width, height),
            "slots": slots,
            "address": address,
            "count": clip.frame_count,
            "wanted": len(wanted),
            "seek": clip.ticks is not None and bool(clip.times[wanted[0]] > _SHORT),
        }
        child.ask(task, wanted.tobytes() + ticks)
        place = 0
        while (header := child.answer(name)[0])["kind"] == "picture":
            offset = header["slot"] * width * height * 3
            stored = np.frombuffer(memory, np.uint8, width * height * 3, offset).reshape(height, width, 3)
            image = _upright(stored, clip)
            del stored  # or the memory cannot be unmapped
            child.tell({"do": "free"})
            index = header["index"]
            missed = int(np.searchsorted(wanted, index)) - place
            tally.skipped += missed
            place += missed + 1
            yield Frame(index, float(clip.times[index]), image)
            del image  # the caller may drop the frame while the next one is waited for
        tally.skipped += len(wanted) - place


def _upright(stored: NDArray[np.uint8], clip: Clip) -> NDArray[np.uint8]:
    """A contiguous copy of a stored picture, turned upright."""
    if not clip.mirrored and not clip.rotation:
        return stored.copy()
    cv2 = load("cv2")
    if clip.mirrored:
        stored = cv2.flip(stored, 1)
    if clip.rotation:
        turns = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}
        stored = cv2.rotate(stored, turns[clip.rotation])
    return np.ascontiguousarray(stored)
