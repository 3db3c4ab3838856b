"""The wanted pictures of a clip, decoded and brought to RGB. Runs in the child process."""

from __future__ import annotations

import contextlib
from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray

from swingmatch.clip.check import check_file
from swingmatch.clip.container import ERRORS, Pulse, open_container, pictures, video_stream
from swingmatch.clip.hdr import CURVES, ToneMap
from swingmatch.errors import ClipError

_SWSCALE_MATRICES = (1, 4, 5, 6, 7, 9)  # H.273 matrix numbers that swscale shares
_BT2020 = 9  # H.273 colour primaries
_NOT_SAID = 2


@dataclass
class Stretch:
    """Pictures that are wanted.

    Attributes
    ----------
    path : the file.
    count : pictures in the clip.
    ticks : (count,) timestamps that name them, or None: they are counted.
    wanted : (W,) rising indices.
    seek : decoding may begin in the middle of the file.
    """

    path: Path
    count: int
    ticks: NDArray[np.int64] | None
    wanted: NDArray[np.int64]
    seek: bool


def stretch(asked: Stretch, pulse: Pulse) -> Generator[tuple[int, Any]]:
    """(index, decoded picture) of the wanted pictures, rising; damaged ones are left out.

    Raises
    ------
    ClipError
        When the file has gone, or can no longer be read.
    """
    wanted = asked.wanted
    first, end = int(wanted[0]), int(wanted[-1]) + 1
    # A seek that lands behind the wanted picture (a bad index does that) is undone by a second run.
    for seek in (True, False):
        if seek and not asked.seek:
            continue
        place = 0
        decoded = _decode(asked, seek, pulse)
        try:
            for number, (index, picture) in enumerate(decoded):
                if seek and number == 0 and index > first:
                    break
                if index >= end:
                    return
                while wanted[place] < index:
                    place += 1
                if wanted[place] == index and not picture.is_corrupt:
                    yield index, picture
            else:
                return
        finally:
            decoded.close()


def _decode(asked: Stretch, seek: bool, pulse: Pulse) -> Generator[tuple[int, Any]]:
    """(index in the clip's times, picture), rising, from a little before the first wanted one where it may seek."""
    with open_container(asked.path) as container:
        try:
            video = video_stream(container, asked.path)
            if seek and asked.ticks is not None:
                with contextlib.suppress(*ERRORS):
                    tick = int(asked.ticks[asked.wanted[0]])
                    container.seek(tick, stream=video, backward=True, any_frame=False)
            last = -1
            for number, picture in pictures(container, video, pulse):
                index = number if asked.ticks is None else _index_of(asked.ticks, picture.pts)
                if last < index < asked.count:
                    last = index
                    yield index, picture
        except MemoryError:
            raise
        except ERRORS as error:
            check_file(asked.path)
            raise ClipError(
                f"{asked.path.name} stopped being readable; please check the disk and try again."
            ) from error


def _index_of(ticks: NDArray[np.int64], tick: int | None) -> int:
    """Position of a timestamp, -1 for one that is not listed (hidden by an edit list, or missing)."""
    if tick is None:
        return -1
    index = int(np.searchsorted(ticks, tick))
    return index if index < len(ticks) and ticks[index] == tick else -1


class Converter:
    """Bring decoded pictures to RGB of one size, as they are stored; HDR is mapped to SDR."""

    def __init__(self, width: int, height: int) -> None:
        self._size = {"width": width, "height": height}
        self._reformat = VideoReformatter().reformat
        self._maps: dict[tuple[str, bool], ToneMap] = {}

    def fill(self, out: NDArray[np.uint8], picture: Any) -> None:
        """Write one picture into ``out`` (height, width, 3)."""
        matrix = int(picture.colorspace)
        options = {"src_colorspace": matrix} if matrix in _SWSCALE_MATRICES else {}
        curve = CURVES.get(int(picture.color_trc))
        form = "rgb24" if curve is None else "rgb48le"
        plane = self._reformat(picture, **self._size, format=form, **options).planes[0]
        if curve is None:
            row = 3 * plane.width  # a plane's rows are padded
            out.reshape(plane.height, row)[:] = np.frombuffer(memoryview(plane), np.uint8).reshape(
                plane.height, -1
            )[:, :row]
            return
        deep = np.frombuffer(memoryview(plane), np.dtype("<u2")).reshape(plane.height, -1)
        pixels = deep[:, : 3 * plane.width].reshape(out.shape)
        wide = int(picture.color_primaries) in (_BT2020, _NOT_SAID)
        if (curve, wide) not in self._maps:
            self._maps[curve, wide] = ToneMap(curve, wide)
        self._maps[curve, wide](pixels, out)
