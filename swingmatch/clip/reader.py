"""Reading clips: the true time of every picture first, then the pictures one by one.

``open_clip`` reads the header and walks over the packets without decoding them, so that the times are known
before any picture is. ``frames`` decodes lazily; memory does not depend on the clip's length.
"""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.clip import Clip, Frame
from swingmatch.errors import ClipError
from swingmatch.setup_check import load

#: Largest picture that is decoded, pixels; a header that promises more is wrong (8K is 33 million).
MAX_PIXELS = 8192 * 8192
#: Gaps in the times that are told, seconds: a swing's forward part may hide in them.
LONG_GAP = 0.25
_FFMPEG_ERRORS = (av.error.FFmpegError, OSError, ValueError)
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
_HDR = {16: "PQ", 18: "HLG"}  # transfer characteristics in ITU-T H.273
_SWSCALE_MATRICES = (1, 4, 5, 6, 7, 9)  # H.273 matrix numbers that swscale shares
_COVER = 1 << 10  # AV_DISPOSITION_ATTACHED_PIC


def open_clip(path: str | os.PathLike[str]) -> Clip:
    """What is known of a clip without decoding it, but for its first picture.

    Raises
    ------
    ClipError
        With one sentence when the file is missing, empty, damaged, no film, or has fewer than two pictures.
    """
    path = Path(path)
    _check_file(path)
    first = _first_picture(path)
    with open_container(path) as container:
        video = _video_stream(container, path)
        packets = _scan(container, video)
        notes: list[str] = []
        ticks, times = _timeline(packets, video, notes)
        if len(times) < 2:
            raise ClipError(f"{path.name} holds a single picture; please send the film of the stroke.")
        if packets.broken or video.frames > len(times) + 1:
            missing = video.frames - len(times)
            count = f", {missing} of its {video.frames} pictures are missing" if missing > 0 else ""
            notes.append(f"The file was cut off{count}; if the stroke is incomplete, please send it again.")
        gap = _usual_gap(times)
        last = packets.last_duration * float(video.time_base)
        has_sound = any(s.codec_context is not None for s in container.streams.audio)
        nominal = video.average_rate or video.guessed_rate
        rotation, mirrored = _orientation(first, notes)
        width, height = _square_pixels(first, video, notes)
        if rotation in (90, 270):
            width, height = height, width
        if video.codec_context.color_trc in _HDR:
            kind = _HDR[video.codec_context.color_trc]
            notes.append(f"The clip is filmed in HDR ({kind}); its colours look pale here.")
        clip = Clip(
            path=path,
            width=width,
            height=height,
            times=times,
            duration=float(times[-1]) + (last if 0 < last < 10 * gap else gap),
            nominal_rate=float(nominal) if nominal else math.nan,
            measured_rate=1.0 / gap,
            has_sound=has_sound,
            rotation=rotation,
            mirrored=mirrored,
            ticks=ticks,
            origin=0.0 if ticks is None else float(ticks[0] * video.time_base),
        )
        return replace(clip, notes=(*notes, *_notes_on_times(clip)))


@dataclass
class _Tally:
    skipped: int = 0


class Frames(Iterator[Frame]):
    """The pictures of a clip, decoded one by one as they are asked for.

    The file is closed at the end, on an error, by ``close``, by leaving a ``with`` block, or when the iterator
    is dropped. ``skipped`` counts the pictures that could not be decoded so far; ``notes`` says so in words.
    """

    def __init__(self, clip: Clip, start: float | None, stop: float | None, max_height: int | None) -> None:
        self._tally = _Tally()
        self._steps = _run(clip, start, stop, scaled_size(clip, max_height), self._tally)

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
    clip: Clip, start: float | None = None, stop: float | None = None, *, max_height: int | None = None
) -> Frames:
    """Decode the pictures shown from ``start`` up to, not including, ``stop``.

    Parameters
    ----------
    clip : from :func:`open_clip`.
    start, stop : seconds from the clip's first picture; without them the clip's ends.
    max_height : largest height of an upright picture in pixels; a larger one is made smaller, its shape kept
        (see :func:`scaled_size`).

    Returns
    -------
    Frames
        Iterator of :class:`Frame`, rising in index and time. Damaged pictures are left out and counted in its
        ``skipped``.

    Raises
    ------
    ClipError
        From the iterator, when the file has gone or changed since ``open_clip``.
    """
    return Frames(clip, start, stop, max_height)


def scaled_size(clip: Clip, max_height: int | None) -> tuple[int, int]:
    """(width, height) in pixels of the upright pictures that :func:`frames` gives for ``max_height``."""
    if max_height is None or clip.height <= max_height:
        return clip.width, clip.height
    if max_height < 1:
        raise ValueError(f"max_height must be at least 1, got {max_height}")
    return max(1, round(clip.width * max_height / clip.height)), max_height


# Opening ------------------------------------------------------------------------------------------------


def _check_file(path: Path) -> None:
    """Raise the sentence for what is no readable file at all."""
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


def open_container(path: Path) -> Any:
    """Open a file, and only this file: no name is taken for an address, no list leads elsewhere."""
    try:
        container = av.open(
            f"file:{path.absolute()}",
            options={"protocol_whitelist": "file"},
            metadata_errors="ignore",
        )
    except _FFMPEG_ERRORS as error:
        _check_file(path)
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
    return video


def _is_cover(stream: Any) -> bool:
    """Whether a stream is the cover picture of a sound file; PyAV before 15 does not tell."""
    flags = getattr(stream, "disposition", 0)
    return bool(int(getattr(flags, "value", flags)) & _COVER)


def _first_picture(path: Path) -> Any:
    """Decode the first sound picture; it knows the orientation, and shows that the film can be decoded."""
    with open_container(path) as container:
        video = _video_stream(container, path)
        try:
            for _, picture in _pictures(container, video):
                if picture.width * picture.height > 0:
                    return picture
        except _FFMPEG_ERRORS as error:
            raise ClipError(_cannot_decode(path)) from error
    raise ClipError(_cannot_decode(path))


def _cannot_decode(path: Path) -> str:
    return f"None of the pictures of {path.name} can be decoded; please send it again as it left the phone."


# Times --------------------------------------------------------------------------------------------------


@dataclass
class _Packets:
    """Timestamps of the packets in file order, ticks; None where one is missing."""

    pts: list[int | None]
    dts: list[int | None]
    last_duration: int
    broken: bool


def _scan(container: Any, video: Any) -> _Packets:
    packets = _Packets([], [], 0, False)
    latest = -math.inf
    try:
        for packet in container.demux(video):
            if packet.size == 0 or packet.is_discard:  # the flush at the end; what an edit list hides
                continue
            packets.broken = packets.broken or packet.is_corrupt
            packets.pts.append(packet.pts)
            packets.dts.append(packet.dts)
            if packet.pts is not None and packet.pts > latest:
                latest, packets.last_duration = packet.pts, packet.duration or 0
    except _FFMPEG_ERRORS:
        packets.broken = True
    return packets


def _timeline(
    packets: _Packets, video: Any, notes: list[str]
) -> tuple[NDArray[np.int64] | None, NDArray[np.float64]]:
    """Ticks that name the pictures (or None) and times in seconds, both in the order of showing."""
    base = float(video.time_base) if video.time_base else 1.0
    count = len(packets.pts)
    known = [p for p in packets.pts if p is not None]
    rate = float(video.guessed_rate or video.average_rate or 30)
    if count == 0:
        return None, np.zeros(0)
    if len(known) < 0.9 * count:
        decode = [d for d in packets.dts if d is not None]
        if len(decode) == count and all(b > a for a, b in pairwise(decode)):
            # Old AVI files know only when to decode; pictures are shown on the same grid.
            return None, (np.array(decode) - decode[0]) * base
        notes.append(
            f"The file does not say when each picture is shown; {rate:.4g} pictures a second were taken for granted."
        )
        return None, np.arange(count) / rate
    jumps = _jumps(packets, rate, base)
    if jumps:
        notes.append(
            f"The clip's clock jumps {'once' if len(jumps) == 1 else f'{len(jumps)} times'}; the parts were joined "
            "end to end, so times after a jump may be off."
        )
        return None, _join(packets, jumps, 1.0 / rate, base)
    ticks = np.unique(np.array(known, dtype=np.int64))
    lost = count - len(ticks)
    if lost:
        notes.append(
            f"{lost} of {count} pictures carry no time of their own and {'was' if lost == 1 else 'were'} left out."
        )
    return ticks, (ticks - ticks[0]) * base


def _usual_gap(times: NDArray[np.float64]) -> float:
    """Seconds between two pictures: the mean of the gaps near the median, as some files round to 1 ms."""
    gaps = np.diff(times)
    middle = np.median(gaps)
    return float(np.mean(gaps[(gaps > 0.5 * middle) & (gaps < 1.5 * middle)]))


def _jumps(packets: _Packets, rate: float, base: float) -> list[int]:
    """File positions at which the decoding clock goes back, or leaps ahead by more than 10 s."""
    jumps = []
    last: int | None = None
    for i, stamp in enumerate(packets.dts):
        if stamp is None:
            continue
        if last is not None and (stamp < last or (stamp - last) * base > 10.0):
            jumps.append(i)
        last = stamp
    return jumps


def _join(packets: _Packets, jumps: list[int], gap: float, base: float) -> NDArray[np.float64]:
    """Times of parts whose clocks differ, each part begun one gap after the end of the part before it."""
    parts: list[NDArray[np.float64]] = []
    begin = 0.0
    for a, b in pairwise([0, *jumps, len(packets.pts)]):
        ticks = np.unique(np.array([p for p in packets.pts[a:b] if p is not None], dtype=np.int64))
        if len(ticks) == 0:
            continue
        parts.append(begin + (ticks - ticks[0]) * base)
        begin = float(parts[-1][-1]) + gap
    return np.concatenate(parts)


def _notes_on_times(clip: Clip) -> list[str]:
    """What is odd about the times themselves."""
    notes = []
    gaps = np.diff(clip.times)
    if clip.varies:
        low, high = np.quantile(1.0 / gaps, (0.05, 0.95))
        notes.append(
            f"The frame rate varies between {low:.0f} and {high:.0f} pictures a second; real times are used."
        )
    longest = int(np.argmax(gaps))
    if gaps[longest] > max(LONG_GAP, 3 * float(np.median(gaps))):
        where = f"for {gaps[longest]:.1f} s at {clip.times[longest]:.1f} s"
        notes.append(f"There is no picture {where}; the phone paused or lost some.")
    return notes


# Decoding -----------------------------------------------------------------------------------------------


def _run(
    clip: Clip, start: float | None, stop: float | None, size: tuple[int, int], tally: _Tally
) -> Generator[Frame]:
    """The steps of :class:`Frames`; apart from it, so that dropping the iterator closes the file at once."""
    first = 0 if start is None else int(np.searchsorted(clip.times, start))
    end = clip.frame_count if stop is None else int(np.searchsorted(clip.times, stop))
    if first >= end:
        return
    # A seek that lands behind the wanted picture (a bad index does that) is undone by a second run.
    for seek in (True, False):
        expected = first
        decoded = _decode(clip, first if seek else 0)
        try:
            for number, (index, picture) in enumerate(decoded):
                if seek and first > 0 and number == 0 and index > first:
                    break
                if index >= end:
                    return
                if index < first or picture.is_corrupt:
                    continue
                image = _upright_image(picture, clip, size)
                del picture  # a decoded 4K picture need not live while the caller works
                tally.skipped += index - expected
                expected = index + 1
                yield Frame(index, float(clip.times[index]), image)
            else:
                tally.skipped += end - expected
                return
        finally:
            decoded.close()


def _pictures(container: Any, video: Any) -> Generator[tuple[int, Any]]:
    """(how many pictures came or failed before, picture) in the order of showing, up to where a file is cut."""
    number = 0
    packets = container.demux(video)
    while True:
        try:
            packet = next(packets, None)
        except (EOFError, av.error.InvalidDataError):
            return  # cut off: what came before is still good
        if packet is None:
            return
        try:
            decoded = packet.decode()
        except (av.error.InvalidDataError, EOFError, NotImplementedError, ValueError):
            number += 1
            continue
        while decoded:
            yield number, decoded.pop(0)
            number += 1


def _decode(clip: Clip, near: int) -> Generator[tuple[int, Any]]:
    """(index in the clip's times, picture), rising, from a little before index ``near`` where the file can seek."""
    with open_container(clip.path) as container:
        try:
            video = _video_stream(container, clip.path)
            # Under a second, decoding from the beginning costs no more than a seek.
            if clip.ticks is not None and clip.times[near] > 1.0:
                with contextlib.suppress(*_FFMPEG_ERRORS):
                    container.seek(int(clip.ticks[near]), stream=video, backward=True, any_frame=False)
            last = -1
            for number, picture in _pictures(container, video):
                index = number if clip.ticks is None else _index_of(clip.ticks, picture.pts)
                if last < index < clip.frame_count:
                    last = index
                    yield index, picture
        except _FFMPEG_ERRORS as error:
            _check_file(clip.path)
            raise ClipError(
                f"{clip.path.name} stopped being readable; please check the disk and try again."
            ) from error


def _index_of(ticks: NDArray[np.int64], tick: int | None) -> int:
    """Position of a timestamp, -1 for one that is not listed (hidden by an edit list, or missing)."""
    if tick is None:
        return -1
    index = int(np.searchsorted(ticks, tick))
    return index if index < len(ticks) and ticks[index] == tick else -1


def _upright_image(picture: Any, clip: Clip, size: tuple[int, int]) -> NDArray[np.uint8]:
    """(height, width, 3) RGB of one decoded picture, turned upright and of ``size`` (width, height)."""
    width, height = size if clip.rotation in (0, 180) else size[::-1]
    matrix = int(picture.colorspace)
    options = {"src_colorspace": matrix} if matrix in _SWSCALE_MATRICES else {}
    image = picture.reformat(width=width, height=height, format="rgb24", **options).to_ndarray()
    if clip.mirrored or clip.rotation:
        cv2 = load("cv2")
        if clip.mirrored:
            image = cv2.flip(image, 1)
        if clip.rotation:
            turns = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}
            image = cv2.rotate(image, turns[clip.rotation])
    return np.ascontiguousarray(image)


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
