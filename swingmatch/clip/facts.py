"""What is known of a clip before its pictures are decoded. Runs in the child process."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.container import ERRORS, Pulse, open_container, pictures, video_stream
from swingmatch.clip.timeline import Packets, timeline, usual_gap
from swingmatch.errors import ClipError

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
        video = video_stream(container, path)
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


def _first_picture(path: Path, pulse: Pulse) -> Any:
    """Decode the first sound picture; it knows the orientation, and shows that the film can be decoded."""
    with open_container(path) as container:
        video = video_stream(container, path)
        try:
            for _, picture in pictures(container, video, pulse):
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
