"""The films we write, read back with PyAV and with OpenCV's own reader as the outside check."""

from __future__ import annotations

import errno
import os
import resource
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from swingmatch.clip import writer
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import ClipError

BARS = ((255, 0, 0), (0, 255, 0), (0, 0, 255), (200, 120, 40))


def bars(width: int, height: int) -> np.ndarray:
    picture = np.zeros((height, width, 3), np.uint8)
    for i, colour in enumerate(BARS):
        picture[:, i * width // 4 : (i + 1) * width // 4] = colour
    return picture


def bt709(luma: float, cb: float, cr: float) -> np.ndarray:
    """RGB of one limited-range pixel by the equations of ITU-R BT.709 (Kr 0.2126, Kb 0.0722)."""
    y, u, v = (luma - 16) / 219, (cb - 128) / 224, (cr - 128) / 224
    red, blue = y + 2 * (1 - 0.2126) * v, y + 2 * (1 - 0.0722) * u
    return 255 * np.array([red, (y - 0.2126 * red - 0.0722 * blue) / 0.7152, blue])


def read_times(path: Path) -> list[float]:
    with av.open(str(path)) as container:
        return [float(frame.pts * frame.time_base) for frame in container.decode(video=0)]


@pytest.mark.parametrize("size", [(64, 48), (65, 48), (64, 49), (65, 49)])
def test_colours_and_size_survive(tmp_path: Path, size: tuple[int, int]) -> None:
    width, height = size
    with FilmWriter(tmp_path / "a.mp4", size, 30, crf=10) as film:
        for _ in range(3):
            film.write(bars(width, height))
        assert film.count == 3
    even = (width + width % 2, height + height % 2)
    reader = cv2.VideoCapture(str(tmp_path / "a.mp4"))
    ok, picture = reader.read()
    assert ok
    assert picture.shape == (even[1], even[0], 3)
    with av.open(str(tmp_path / "a.mp4")) as container:
        frame = next(container.decode(video=0))
        tags = container.streams.video[0].codec_context
        assert (tags.colorspace, tags.color_primaries, tags.color_trc, tags.color_range) == (1, 1, 1, 1)
        planes = frame.to_ndarray(format="yuv420p").astype(float)
    luma = planes[: even[1]]
    cb, cr = planes[even[1] :].reshape(2, even[1] // 2, even[0] // 2)
    for i, colour in enumerate(BARS):
        x, y = i * width // 4 + width // 8, height // 2
        got = bt709(luma[y, x], cb[y // 2, x // 2], cr[y // 2, x // 2])
        # Rounding to 8 bits in limited range and crf 10 cost a few levels; the BT.601 matrix costs 20.
        assert np.abs(got - colour).max() <= 6


@pytest.mark.parametrize("fps", [24, 29.97, 30, 59.94, Fraction(30000, 1001), 240])
def test_even_times(tmp_path: Path, fps: float | Fraction) -> None:
    with FilmWriter(tmp_path / "a.mp4", (32, 32), fps, preset="ultrafast") as film:
        for _ in range(25):
            film.write(np.zeros((32, 32, 3), np.uint8))
    expected = np.arange(25) / float(fps)
    assert np.abs(np.array(read_times(tmp_path / "a.mp4")) - expected).max() <= 0.5 / writer.CLOCK + 1e-9


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.floats(0.002, 0.5), min_size=1, max_size=12))
def test_given_times_survive(tmp_path: Path, gaps: list[float]) -> None:
    times = np.cumsum([0.0, *gaps])
    with FilmWriter(tmp_path / "a.mp4", (32, 32), 30, preset="ultrafast") as film:
        for time in times:
            film.write(np.zeros((32, 32, 3), np.uint8), float(time))
    got = np.array(read_times(tmp_path / "a.mp4"))
    assert np.abs(got - times).max() <= 0.5 / writer.CLOCK + 1e-9


def test_the_index_stands_first_so_that_a_browser_can_start_at_once(tmp_path: Path) -> None:
    with FilmWriter(tmp_path / "a.mp4", (64, 48), 30) as film:
        film.write(bars(64, 48))
    data = (tmp_path / "a.mp4").read_bytes()
    assert 0 < data.index(b"moov") < data.index(b"mdat")


@pytest.mark.parametrize("rate", [16000, 22050, 48000, 15999])
def test_sound_stays_in_step(tmp_path: Path, rate: int) -> None:
    sound = np.zeros(2 * rate, np.float32)
    sound[rate // 2 : rate // 2 + rate // 200] = 0.8
    sound[rate : rate + rate // 200] = 0.8
    with FilmWriter(tmp_path / "a.mp4", (32, 32), 10, sound=(sound, rate)) as film:
        for _ in range(15):
            film.write(np.zeros((32, 32, 3), np.uint8))
    with av.open(str(tmp_path / "a.mp4")) as container:
        frames = list(container.decode(audio=0))
    out = frames[0].sample_rate
    heard = np.concatenate([f.to_ndarray()[0] for f in frames])
    loud = np.flatnonzero(np.abs(heard) > 0.4) / out + float(frames[0].pts * frames[0].time_base)
    assert loud[0] == pytest.approx(0.5, abs=0.002)
    assert loud[loud > 0.8][0] == pytest.approx(1.0, abs=0.002)
    assert len(heard) / out == pytest.approx(1.5, abs=2048 / out)  # cut where the pictures end


@pytest.mark.parametrize("stop", [RuntimeError, KeyboardInterrupt])
def test_nothing_is_left_when_the_work_stops(tmp_path: Path, stop: type[BaseException]) -> None:
    (tmp_path / "a.mp4").write_bytes(b"the old film")

    def work() -> None:
        with FilmWriter(tmp_path / "a.mp4", (64, 48), 30) as film:
            film.write(bars(64, 48))
            raise stop

    with pytest.raises(stop):
        work()
    assert os.listdir(tmp_path) == ["a.mp4"]
    assert (tmp_path / "a.mp4").read_bytes() == b"the old film"


def write_noise(path: Path, count: int) -> None:
    rng = np.random.default_rng(1)
    with FilmWriter(path, (64, 48), 30, crf=5) as film:
        for _ in range(count):
            film.write(rng.integers(0, 256, (48, 64, 3), dtype=np.uint8))


def test_a_file_that_may_not_grow(tmp_path: Path) -> None:
    """A real refusal by the system, through the limit on a file's size."""
    write_noise(tmp_path / "a.mp4", 60)
    assert (tmp_path / "a.mp4").stat().st_size > 40_000
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, before[1]))
    try:
        with pytest.raises(ClipError, match=r"b\.mp4 could not be written"):
            write_noise(tmp_path / "b.mp4", 60)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert os.listdir(tmp_path) == ["a.mp4"]


def test_a_full_disk_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(writer.os, "replace", full)
    with (
        pytest.raises(ClipError, match="disk is full"),
        FilmWriter(tmp_path / "a.mp4", (64, 48), 30) as film,
    ):
        film.write(bars(64, 48))
    assert os.listdir(tmp_path) == []


def test_missing_folder_folder_and_no_picture(tmp_path: Path) -> None:
    with (
        pytest.raises(ClipError, match="does not exist"),
        FilmWriter(tmp_path / "no" / "a.mp4", (64, 48), 30),
    ):
        pass
    with pytest.raises(ClipError, match="is a folder"), FilmWriter(tmp_path, (64, 48), 30):
        pass
    with pytest.raises(ClipError, match="no pictures"), FilmWriter(tmp_path / "a.mp4", (64, 48), 30):
        pass
    assert os.listdir(tmp_path) == []


def test_wrong_arguments(tmp_path: Path) -> None:
    for size, fps in (((1, 48), 30.0), ((64, 48), 0.0), ((64, 48), float("nan"))):
        with pytest.raises(ValueError, match="must be"):
            FilmWriter(tmp_path / "a.mp4", size, fps)
    with pytest.raises(ValueError, match="one-dimensional"):
        FilmWriter(tmp_path / "a.mp4", (64, 48), 30, sound=(np.zeros((2, 5)), 16000))
    film = FilmWriter(tmp_path / "a.mp4", (64, 48), 30)
    with pytest.raises(ValueError, match="inside its with block"):
        film.write(bars(64, 48))
    with pytest.raises(ValueError, match="must be uint8"), film:
        film.write(bars(48, 64))
    with FilmWriter(tmp_path / "a.mp4", (64, 48), 30) as film:
        film.write(bars(64, 48), 1.0)
        with pytest.raises(ValueError, match="must rise"):
            film.write(bars(64, 48), 1.0)
    assert os.listdir(tmp_path) == ["a.mp4"]
