"""What runs in the child process: FFmpeg, by way of PyAV, opens, decodes, converts and hears.

Imports PyAV and NumPy alone, so that a child starts in a third of a second. ``pulse`` is called between
steps; it tells the reader that the child lives, and raises when the reader wants no more.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Callable, Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import VideoReformatter
from numpy.typing import NDArray

from swingmatch.clip.check import check_file
from swingmatch.clip.hdr import CURVES, ToneMap
from swingmatch.clip.timeline import Packets, timeline, usual_gap
from swingmatch.errors import ClipError

#: Largest picture that is decoded, pixels; a header that promises more is wrong (8K is 33 million).
MAX_PIXELS = 8192 * 8192
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
_SWSCALE_MATRICES = (1, 4, 5, 6, 7, 9)  # H.273 matrix numbers that swscale shares
_COVER = 1 << 10  # AV_DISPOSITION_ATTACHED_PIC
_BT2020 = 9  # H.273 colour primaries
_ROOM = 9  # bytes a pixel: six pictures of 8 bits, which decoders keep for reference and work
_THREADS = 4  # each holds a picture; more would not help a phone's clip and swell a 4K one
# What phones write about slow motion (movie-level metadata). Android: MediaMuxer's capture rate, a float
# (MediaFormat.KEY_CAPTURE_RATE). Apple: on originals and trimmed originals, whose times are those of the
# scene (from memory; the value does not tell slow motion).
_ANDROID_RATE = "com.android.capture.fps"
_APPLE_ORIGINAL = "com.apple.quicktime.full-frame-rate-playback-intent"
_HIGH_RATE = 100.0  # pictures a second that no clip is stretched to


def inspect(path: Path, pulse: Pulse) -> tuple[dict[str, Any], NDArray[np.int64] | None, NDArray[np.float64]]:
    """Fields of ``Clip`` by name, the ticks of its pictures (or None) and their times in seconds.

    Raises
    ------
    ClipError
        When the file is damaged, no film, or has fewer than two pictures.
    """
    first = _first_picture(path, pulse)
    with open_container(path) as container:
        video = _video_stream(container, path)
        packets = _scan(container, video, pulse)
        notes: list[str] = []
        ticks, times = timeline(packets, video, notes)
        if len(times) < 2:
            raise ClipError(f"{path.name} holds a single picture; please send the film of the stroke.")
        if packets.broken or video.frames > len(times) + 1:
            missing = video.frames - len(times)
            count = f", {missing} of its {video.frames} pictures are missing" if missing > 0 else ""
            notes.append(f"The file was cut off{count}; if the stroke is incomplete, please send it again.")
        gap = usual_gap(times)
        last = packets.last_duration * float(video.time_base)
        nominal = video.average_rate or video.guessed_rate
        rotation, mirrored = _orientation(first, notes)
        width, height = _square_pixels(first, video, notes)
        if rotation in (90, 270):
            width, height = height, width
        facts = {
            "width": width,
            "height": height,
            "duration": float(times[-1]) + (last if 0 < last < 10 * gap else gap),
            "nominal_rate": float(nominal) if nominal else math.nan,
            "measured_rate": 1.0 / gap,
            "has_sound": any(s.codec_context is not None for s in container.streams.audio),
            "notes": notes,
            "rotation": rotation,
            "mirrored": mirrored,
            "origin": 0.0 if ticks is None else float(ticks[0] * video.time_base),
            "capture_rate": capture_rate(container.metadata, 1.0 / gap),
        }
        return facts, ticks, times


def capture_rate(metadata: dict[str, str], measured_rate: float) -> float:
    """Pictures a second at which the scene was taken, by what the phone wrote; NaN where it wrote nothing."""
    try:
        rate = float(metadata.get(_ANDROID_RATE, "nan"))
    except ValueError:
        rate = math.nan
    if 1 <= rate <= 10_000:
        return rate
    if _APPLE_ORIGINAL in metadata and measured_rate >= _HIGH_RATE:
        return measured_rate
    return math.nan


# Opening ------------------------------------------------------------------------------------------------


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


def _video_stream(container: Any, path: Path) -> Any:
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
    video.codec_context.thread_count = min(_THREADS, os.cpu_count() or 1)
    return video


def _is_cover(stream: Any) -> bool:
    """Whether a stream is the cover picture of a sound file; PyAV before 15 does not tell."""
    flags = getattr(stream, "disposition", 0)
    return bool(int(getattr(flags, "value", flags)) & _COVER)


def _first_picture(path: Path, pulse: Pulse) -> Any:
    """Decode the first sound picture; it knows the orientation, and shows that the film can be decoded."""
    with open_container(path) as container:
        video = _video_stream(container, path)
        try:
            for _, picture in _pictures(container, video, pulse):
                if picture.width * picture.height > 0:
                    return picture
        except MemoryError:
            raise
        except ERRORS as error:
            raise ClipError(_cannot_decode(path)) from error
    raise ClipError(_cannot_decode(path))


def _cannot_decode(path: Path) -> str:
    return f"None of the pictures of {path.name} can be decoded; please send it again as it left the phone."


def _scan(container: Any, video: Any, pulse: Pulse) -> Packets:
    """Walk over the packets without decoding them."""
    packets = Packets([], [], 0, False)
    latest = -math.inf
    try:
        for packet in container.demux(video):
            pulse()
            if packet.size == 0 or packet.is_discard:  # the flush at the end; what an edit list hides
                continue
            packets.broken = packets.broken or packet.is_corrupt
            packets.pts.append(packet.pts)
            packets.dts.append(packet.dts)
            if packet.pts is not None and packet.pts > latest:
                latest, packets.last_duration = packet.pts, packet.duration or 0
    except MemoryError:
        raise
    except ERRORS:
        packets.broken = True
    return packets


def _orientation(picture: Any, notes: list[str]) -> tuple[int, bool]:
    """Quarter turn clockwise in degrees, and whether to mirror first, from the display matrix.

    The matrix (ISO/IEC 14496-12, 8.3.2) takes a stored point (x, y), y down, to (a x + c y, b x + d y).
    """
    data = picture.side_data.get("DISPLAYMATRIX")
    if data is None:
        return 0, False
    a, b, _, c, d = (int(v) for v in np.frombuffer(bytes(data), dtype=np.int32)[:5])
    mirrored = a * d - b * c < 0
    angle = math.degrees(math.atan2(-b, -a) if mirrored else math.atan2(b, a)) % 360
    rotation = round(angle / 90) * 90 % 360
    if abs((angle - rotation + 180) % 360 - 180) > 1:
        notes.append(f"The file asks for a turn by {angle:.0f} degrees; the nearest quarter turn was taken.")
    return rotation, mirrored


def _square_pixels(picture: Any, video: Any, notes: list[str]) -> tuple[int, int]:
    """(width, height) of a stored picture once its pixels are square."""
    shape = video.sample_aspect_ratio
    if not shape or shape == 1 or not 0.25 <= shape <= 4:
        return picture.width, picture.height
    width = max(1, round(picture.width * shape))
    notes.append(
        f"The pixels are not square; pictures were stretched from {picture.width} to {width} columns."
    )
    return width, picture.height


# Decoding -----------------------------------------------------------------------------------------------


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


def _pictures(container: Any, video: Any, pulse: Pulse) -> Generator[tuple[int, Any]]:
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


def _decode(asked: Stretch, seek: bool, pulse: Pulse) -> Generator[tuple[int, Any]]:
    """(index in the clip's times, picture), rising, from a little before the first wanted one where it may seek."""
    with open_container(asked.path) as container:
        try:
            video = _video_stream(container, asked.path)
            if seek and asked.ticks is not None:
                with contextlib.suppress(*ERRORS):
                    tick = int(asked.ticks[asked.wanted[0]])
                    container.seek(tick, stream=video, backward=True, any_frame=False)
            last = -1
            for number, picture in _pictures(container, video, pulse):
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
        wide = int(picture.color_primaries) in (_BT2020, 2)  # 2: not said
        if (curve, wide) not in self._maps:
            self._maps[curve, wide] = ToneMap(curve, wide)
        self._maps[curve, wide](pixels, out)


# Hearing ------------------------------------------------------------------------------------------------


def samples(
    path: Path, origin: float, rate: int, pulse: Pulse
) -> Generator[tuple[float, NDArray[np.float32]]]:
    """(seconds after ``origin``, mono samples at ``rate``) of successive blocks; damaged ones left out."""
    with open_container(path) as container:
        audio = next((s for s in container.streams.audio if s.codec_context is not None), None)
        if audio is None:
            return
        resample = _Resampler(rate)
        time = 0.0
        try:
            for packet in container.demux(audio):
                pulse()
                try:
                    parts = [part for block in packet.decode() for part in resample(block)]
                except (av.error.InvalidDataError, EOFError, ValueError):
                    continue
                for part in parts:
                    if part.pts is not None and part.time_base:
                        time = float(part.pts * part.time_base) - origin
                    sound = part.to_ndarray().reshape(-1)
                    yield time, sound
                    time += len(sound) / rate
        except MemoryError:
            raise
        except (av.error.FFmpegError, OSError):
            return  # cut off: what was heard before is still good


class _Resampler:
    """To mono at one rate, also where the sound's form changes on the way, as it does in damaged files."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._form: tuple[str, str, int] | None = None

    def __call__(self, block: Any) -> list[Any]:
        form = block.format.name, block.layout.name, block.sample_rate
        if form != self._form:
            self._form = form
            self._resampler = av.AudioResampler(format="flt", layout="mono", rate=self._rate)
        return self._resampler.resample(block)
