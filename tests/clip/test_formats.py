"""Rates, sizes, timings and codecs beyond those in ``test_reader``; what phones say about slow motion."""

from __future__ import annotations

import math
import struct
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from swingmatch.clip.facts import capture_rate
from swingmatch.clip.reader import frames, open_clip, scaled_size
from swingmatch.clip.sound import strike_onsets

CLOCK = Fraction(1, 90_000)
QUIET = {"x265-params": "log-level=none"}


def picture(index: int, width: int, height: int) -> np.ndarray:
    """Grey that tells the index, and red at the top left."""
    image = np.full((height, width, 3), 30 + 15 * (index % 14), np.uint8)
    image[: height // 4, : width // 4] = (230, 20, 20)
    return image


def number(image: np.ndarray) -> int:
    height, width, _ = image.shape
    return round((float(np.median(image[height // 2 :, width // 2 :])) - 30) / 15)


def encode(
    path: Path,
    codec: str,
    pixels: str = "yuv420p",
    *,
    times: list[float],
    size: tuple[int, int] = (64, 48),
    base: Fraction = CLOCK,
    options: dict[str, str] | None = None,
    metadata: dict[str, str] | None = None,
    rate: int = 30,
) -> Path:
    if codec not in av.codecs_available:
        pytest.skip(f"no {codec} encoder in this PyAV")
    flags = {"movflags": "use_metadata_tags"} if metadata else {}
    with av.open(str(path), "w", options=flags) as container:
        container.metadata.update(metadata or {})
        stream = container.add_stream(codec, rate=rate)
        stream.width, stream.height = size
        stream.pix_fmt = pixels
        stream.options = options or {}
        stream.codec_context.time_base = base
        for i, time in enumerate(times):
            frame = av.VideoFrame.from_ndarray(picture(i, *size), "rgb24").reformat(format=pixels)
            frame.pts, frame.time_base = round(time / base), base
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def even(rate: float, count: int = 12) -> list[float]:
    return [i / rate for i in range(count)]


@pytest.mark.parametrize(
    ("name", "codec", "pixels", "options"),
    [
        ("a.mp4", "libsvtav1", "yuv420p", {}),
        ("a.webm", "libsvtav1", "yuv420p10le", {}),
        ("a.mp4", "libvpx-vp9", "yuv420p", {}),
        ("a.mkv", "libvpx-vp9", "yuv420p", {}),
        ("a.mp4", "libx265", "yuv420p10le", QUIET),
        ("a.mkv", "libx265", "yuv420p", QUIET),
        ("a.mp4", "libx264", "yuv420p10le", {}),
        ("a.avi", "libx264", "yuv420p", {"bf": "0"}),
        ("a.mov", "mjpeg", "yuvj420p", {}),
        ("a.mkv", "mjpeg", "yuvj420p", {}),
        ("a.mov", "prores_ks", "yuv422p10le", {}),
    ],
)
def test_more_codecs_and_containers(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    codec: str,
    pixels: str,
    options: dict[str, str],
) -> None:
    monkeypatch.setenv("SVT_LOG", "0")
    size = (64, 64) if codec == "libsvtav1" else (64, 48)
    base = Fraction(1, 30) if name.endswith("avi") or codec == "prores_ks" else CLOCK
    path = encode(tmp_path / name, codec, pixels, times=even(30), size=size, options=options, base=base)
    clip = open_clip(path)
    assert (clip.width, clip.height, clip.frame_count) == (*size, 12)
    np.testing.assert_allclose(clip.times, even(30), atol=1.1e-3)
    got = list(frames(clip))
    assert [number(f.image) for f in got] == list(range(12))
    corner = got[0].image[4 : size[1] // 8, 4 : size[0] // 8].mean(axis=(0, 1))
    np.testing.assert_allclose(corner, (230, 20, 20), atol=30)


@pytest.mark.parametrize("rate", [15, 24, 24000 / 1001, 25, 30000 / 1001, 50, 60, 120, 240])
def test_rates(tmp_path: Path, rate: float) -> None:
    path = encode(tmp_path / "a.mp4", "libx264", times=even(rate, 24), rate=round(rate))
    clip = open_clip(path)
    assert clip.measured_rate == pytest.approx(rate, rel=2e-4)
    np.testing.assert_allclose(clip.times, even(rate, 24), atol=1e-4)
    assert clip.notes == ()
    assert len(list(frames(clip))) == 24


@pytest.mark.parametrize("size", [(65, 49), (49, 65), (64, 50), (63, 48), (3, 5), (2, 2), (720, 8)])
@pytest.mark.parametrize("rotation", [0, 90])
def test_odd_sizes(tmp_path: Path, size: tuple[int, int], rotation: int) -> None:
    """Nothing is lost at the edge or smeared between rows, upright or turned."""
    path = encode(
        tmp_path / "a.mp4", "libx264", "yuv444p", times=even(30, 3), size=size, options={"crf": "0"}
    )
    if rotation:
        data = bytearray(path.read_bytes())
        place = data.index(
            struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30), data.index(b"tkhd")
        )
        data[place : place + 36] = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, 0, 0, 1 << 30)
        path.write_bytes(data)
    clip = open_clip(path)
    expected = [np.rot90(picture(i, *size), -rotation // 90) for i in range(3)]
    assert (clip.height, clip.width) == expected[0].shape[:2]
    for frame, image in zip(frames(clip), expected, strict=True):
        assert np.abs(frame.image.astype(int) - image).max() <= 6  # YCbCr in limited range
    small = list(frames(clip, max_height=4))
    assert small[2].image.shape == (*scaled_size(clip, 4)[::-1], 3)


def test_a_gif_has_its_own_timing_and_no_sound(tmp_path: Path) -> None:
    """Delays in hundredths of a second, each its own."""
    times = [0.0, 0.1, 0.15, 0.4, 0.45, 0.5]
    clip = open_clip(encode(tmp_path / "a.gif", "gif", "rgb8", times=times, base=Fraction(1, 100)))
    np.testing.assert_allclose(clip.times, times, atol=1e-9)
    assert not clip.has_sound
    assert strike_onsets(clip) is None
    assert [f.time for f in frames(clip)] == clip.times.tolist()


def test_every_so_often(tmp_path: Path) -> None:
    clip = open_clip(encode(tmp_path / "a.mp4", "libx264", times=even(60, 120), rate=60))
    for every, start in ((0.25, None), (0.1, 0.5), (1 / 60, None), (0.001, 0.5), (5.0, None)):
        expected, periods = [], set()
        for i in range(120):
            since = i / 60 - (start or 0.0)
            period = math.floor(since / every + 1e-3)
            if since >= 0 and period not in periods:
                periods.add(period)
                expected.append(i)
        stream = frames(clip, start, every=every)
        assert [f.index for f in stream] == expected
        assert stream.skipped == 0
    assert [f.index for f in frames(clip, every=0.25)] == [0, 15, 30, 45, 60, 75, 90, 105]
    with pytest.raises(ValueError, match="positive"):
        frames(clip, every=0)


# Slow motion, as phones tell it -------------------------------------------------------------------------

ANDROID = "com.android.capture.fps"
APPLE = "com.apple.quicktime.full-frame-rate-playback-intent"


def slowed(path: Path) -> Path:
    """Taken at 240 pictures a second, shown at 30; Android writes the rate as a 32-bit float (type 23)."""
    encode(path, "libx264", times=even(30), metadata={ANDROID: "24.0"})
    data = bytearray(path.read_bytes())
    place = data.index(b"data", data.index(b"ilst")) + 4
    assert data[place : place + 12] == struct.pack(">ii", 1, 0) + b"24.0"
    data[place : place + 12] = struct.pack(">iif", 23, 0, 240.0)
    path.write_bytes(data)
    return path


def test_the_rate_at_which_a_slowed_clip_was_taken(tmp_path: Path) -> None:
    clip = open_clip(slowed(tmp_path / "a.mp4"))
    assert clip.capture_rate == 240
    assert clip.measured_rate == pytest.approx(30, rel=1e-4)  # times are left as they are


@pytest.mark.parametrize(("rate", "taken"), [(240, 240), (30, math.nan)])
def test_an_original_at_a_high_rate_is_not_slowed(tmp_path: Path, rate: int, taken: float) -> None:
    path = encode(tmp_path / "a.mov", "libx264", times=even(rate), rate=rate, metadata={APPLE: "0"})
    assert open_clip(path).capture_rate == pytest.approx(taken, rel=1e-3, nan_ok=True)


@pytest.mark.parametrize(
    ("metadata", "expected"),
    [
        ({}, math.nan),
        ({ANDROID: "30.000000"}, 30.0),
        ({ANDROID: "119.88"}, 119.88),
        ({ANDROID: "0"}, math.nan),
        ({ANDROID: "-240"}, math.nan),
        ({ANDROID: "inf"}, math.nan),
        ({ANDROID: "1e9"}, math.nan),
        ({ANDROID: "fast"}, math.nan),
    ],
)
def test_rates_that_make_no_sense_count_as_not_said(metadata: dict[str, str], expected: float) -> None:
    assert capture_rate(metadata, 30.0) == pytest.approx(expected, nan_ok=True)


def test_nothing_is_said(tmp_path: Path) -> None:
    clip: Any = open_clip(encode(tmp_path / "a.mp4", "libx264", times=even(240), rate=240))
    assert math.isnan(clip.capture_rate)
