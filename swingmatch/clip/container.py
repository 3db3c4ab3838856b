"""Opening files with FFmpeg, by way of PyAV, and taking their pictures in order. Runs in the child process.

``pulse`` is called between steps; it tells the reader that the child lives, and raises when the reader wants
no more.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import av
import numpy as np

from swingmatch.clip.check import check_file
from swingmatch.errors import ClipError

#: Largest picture that is decoded, pixels; a header that promises more is wrong (8K is 33 million).
MAX_PIXELS = 8192 * 8192
#: What FFmpeg raises over a file; memory that runs out is among them and must be caught before.
ERRORS = (av.error.FFmpegError, OSError, ValueError)
Pulse = Callable[[], None]
# FFmpeg "plays" text as terminal art, subtitles, and lists that lead to other files or the network.
_NOT_FILMS = (
    "tty",
    "concat",
    "hls",
    "dash",
    "lavfi",
    "srt",
    "webvtt",
    "ass",
    "lrc",
    "sdp",
    "rtsp",
    "ffmetadata",
)
_STILL_FORMATS = ("image2", "_pipe", "svg", "ico", "apng")
_COVER = 1 << 10  # AV_DISPOSITION_ATTACHED_PIC
_ROOM = 9  # bytes a pixel: six pictures of 8 bits, which decoders keep for reference and work
_THREADS = 4  # at most; each holds a picture, and more would not help a phone's clip and swell a 4K one


def open_container(path: Path) -> Any:
    """Open a file, and only this file: no name is taken for an address, no list leads elsewhere."""
    try:
        container = av.open(
            f"file:{path.absolute()}",
            options={"protocol_whitelist": "file"},
            metadata_errors="ignore",
        )
    except MemoryError:
        raise
    except ERRORS as error:
        check_file(path)
        raise ClipError(_why_not_open(path)) from error
    if container.format.name in _NOT_FILMS:
        container.close()
        raise ClipError(f"{path.name} holds text, no film; please send the clip itself.")
    return container


def _why_not_open(path: Path) -> str:
    with path.open("rb") as file:
        head = file.read(4096)
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free"):
        return f"{path.name} is incomplete: its index is missing, so it was cut off; please send it again."
    text = head.decode("utf-8", errors="ignore")
    if len(text) > 0.9 * len(head) and all(c.isprintable() or c.isspace() for c in text):
        return f"{path.name} holds text, no film; please send the clip itself."
    return f"{path.name} is damaged or no film that can be read; please send it again as it left the phone."


def video_stream(container: Any, path: Path) -> Any:
    """The stream of moving pictures; raise the sentence when there is none."""
    name = container.format.name
    if any(name == kind or (kind[0] == "_" and name.endswith(kind)) for kind in _STILL_FORMATS):
        raise ClipError(f"{path.name} is a still picture; please send the film of the stroke.")
    films = [s for s in container.streams.video if not _is_cover(s)]
    if not films:
        if container.streams.audio:
            raise ClipError(f"{path.name} holds sound only; please send the clip with its pictures.")
        raise ClipError(f"{path.name} holds no pictures; please send it again as it left the phone.")
    video = max(films, key=lambda s: (s.codec_context.width if s.codec_context else 0, -s.index))
    if video.codec_context is None:
        raise ClipError(
            f"{path.name} is packed in a way that cannot be read here; please export it as MP4 with H.264."
        )
    width, height = video.codec_context.width, video.codec_context.height
    if width * height > MAX_PIXELS:
        raise ClipError(
            f"{path.name} says that its pictures are {width} x {height} pixels, more than can be read; "
            "please send it again or export it at 1080p."
        )
    video.thread_type = "AUTO"
    # One core is left to the reader. A second thread beside it on two cores costs half as much again in computing
    # and makes both slower.
    video.codec_context.thread_count = max(1, min(_THREADS, (os.cpu_count() or 1) - 1))
    return video


def _is_cover(stream: Any) -> bool:
    """Whether a stream is the cover picture of a sound file; PyAV before 15 does not tell."""
    flags = getattr(stream, "disposition", 0)
    return bool(int(getattr(flags, "value", flags)) & _COVER)


def pictures(container: Any, video: Any, pulse: Pulse) -> Generator[tuple[int, Any]]:
    """(how many pictures came or failed before, picture) in the order of showing, up to where a file is cut."""
    number = 0
    packets = container.demux(video)
    while True:
        pulse()
        try:
            packet = next(packets, None)
        except (EOFError, av.error.InvalidDataError):
            return  # cut off: what came before is still good
        if packet is None:
            return
        try:
            decoded = packet.decode()
        except (av.error.InvalidDataError, EOFError, NotImplementedError, ValueError):
            _check_room(video)
            number += 1
            continue
        while decoded:
            yield number, decoded.pop(0)
            number += 1


def _check_room(video: Any) -> None:
    """Raise MemoryError where a few more pictures have no room; decoders call that damage too."""
    context = video.codec_context
    np.empty(_ROOM * context.width * context.height, np.uint8)
