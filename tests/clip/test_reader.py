"""Reading clips made on the fly: PyAV encodes them, the pictures and times that went in are the check."""

from __future__ import annotations

import contextlib
import gc
import os
import struct
import tracemalloc
import weakref
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from swingmatch.clip.reader import frames, open_clip, scaled_size
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import ClipError

W, H = 64, 48


def marked(index: int, width: int = W, height: int = H) -> np.ndarray:
    """A picture that tells its index by a white bar, and its corner by red at the top left."""
    picture = np.full((height, width, 3), 40, np.uint8)
    picture[height // 2 :, : 2 + 2 * (index % 28)] = 255
    picture[: height // 4, : width // 4] = (230, 20, 20)
    return picture


def bar(image: np.ndarray) -> int:
    """Index that ``marked`` put in, modulo 28."""
    return round((np.mean(image[3 * H // 4, :, 1] > 140) * W - 2) / 2)


def encode(
    path: Path,
    codec: str,
    *,
    pixels: str = "yuv420p",
    count: int = 12,
    times: list[float] | None = None,
    size: tuple[int, int] = (W, H),
    options: dict[str, str] | None = None,
    container_format: str | None = None,
    base: Fraction = Fraction(1, 90_000),
    tune: Any = None,
) -> Path:
    with av.open(str(path), "w", format=container_format) as container:
        stream = container.add_stream(codec, rate=30)
        stream.width, stream.height = size
        stream.pix_fmt = pixels
        stream.options = options or {}
        stream.codec_context.time_base = base
        if tune is not None:
            tune(stream)
        for i in range(count):
            frame = av.VideoFrame.from_ndarray(marked(i, *size), "rgb24").reformat(format=pixels)
            frame.pts = round((i / 30 if times is None else times[i]) / base)
            frame.time_base = base
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def needs(codec: str) -> Any:
    return pytest.mark.skipif(codec not in av.codecs_available, reason=f"no {codec} encoder in this PyAV")


QUIET = {"x265-params": "log-level=none"}
CODECS = [
    pytest.param("a.mp4", "libx264", "yuv420p", {}, marks=needs("libx264")),
    pytest.param("a.mov", "libx264", "yuv420p", {}, marks=needs("libx264")),
    pytest.param("a.mkv", "libx264", "yuv444p", {}, marks=needs("libx264")),
    pytest.param("a.ts", "libx264", "yuv420p", {}, marks=needs("libx264")),
    pytest.param("b.mp4", "libx265", "yuv420p", QUIET, marks=needs("libx265")),
    pytest.param("b.mov", "libx265", "yuv420p10le", QUIET, marks=needs("libx265")),
    pytest.param("c.webm", "libvpx-vp9", "yuv420p", {}, marks=needs("libvpx-vp9")),
    pytest.param("d.avi", "mjpeg", "yuvj420p", {}, marks=needs("mjpeg")),
    pytest.param("e.avi", "mpeg4", "yuv420p", {"bf": "2"}, marks=needs("mpeg4")),
    pytest.param("f.gif", "gif", "rgb8", {}, marks=needs("gif")),
]


@pytest.mark.parametrize(("name", "codec", "pixels", "options"), CODECS)
def test_what_phones_and_chat_programs_make(
    tmp_path: Path, name: str, codec: str, pixels: str, options: dict[str, str]
) -> None:
    base = Fraction(1, 30) if name.endswith(("avi", "gif")) else Fraction(1, 90_000)
    path = encode(tmp_path / name, codec, pixels=pixels, options=options, base=base)
    clip = open_clip(path)
    assert (clip.width, clip.height, clip.frame_count) == (W, H, 12)
    tick = {".gif": 0.01, ".webm": 0.001, ".mkv": 0.001}.get(path.suffix, 1e-4)
    np.testing.assert_allclose(clip.times, np.arange(12) / 30, atol=tick)
    assert clip.measured_rate == pytest.approx(30, rel=0.01)
    assert clip.duration == pytest.approx(0.4, abs=0.011)
    assert not clip.has_sound
    assert clip.notes == ()
    got = list(frames(clip))
    assert [f.index for f in got] == list(range(12))
    assert [f.time for f in got] == clip.times.tolist()
    assert [bar(f.image) for f in got] == list(range(12))
    for frame in got:
        assert frame.image.shape == (H, W, 3)
        assert frame.image.dtype == np.uint8
        assert frame.image.flags.c_contiguous
        # GIF's fixed 3-3-2 palette is dithered and has steps of 36 in red and green and 85 in blue.
        coarse = np.array((18, 18, 43)) if name.endswith("gif") else 0
        assert (np.abs(frame.image[2:10, 2:14].mean(axis=(0, 1)) - (230, 20, 20)) < 25 + coarse).all()


def turn(path: Path, a: int, b: int, c: int, d: int) -> Path:
    """Write a display matrix into the track header of an MP4 (ISO/IEC 14496-12, 8.3.2: a b u c d v x y w)."""
    data = bytearray(path.read_bytes())
    plain = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    place = data.index(plain, data.index(b"tkhd"))
    data[place : place + 36] = struct.pack(">9i", a << 16, b << 16, 0, c << 16, d << 16, 0, 0, 0, 1 << 30)
    path.write_bytes(data)
    return path


# (a, b, c, d) takes a stored point (x, y), y down, to (a x + c y, b x + d y): what NumPy must do to match.
MATRICES = [
    ((1, 0, 0, 1), 0, False, lambda p: p),
    ((0, 1, -1, 0), 90, False, lambda p: np.rot90(p, -1)),
    ((-1, 0, 0, -1), 180, False, lambda p: np.rot90(p, 2)),
    ((0, -1, 1, 0), 270, False, np.rot90),
    ((-1, 0, 0, 1), 0, True, np.fliplr),
    ((1, 0, 0, -1), 180, True, np.flipud),
    ((0, 1, 1, 0), 270, True, lambda p: p.transpose(1, 0, 2)),
    ((0, -1, -1, 0), 90, True, lambda p: np.rot90(p, 2).transpose(1, 0, 2)),
]


@pytest.mark.parametrize(("matrix", "rotation", "mirrored", "by_numpy"), MATRICES)
def test_the_picture_is_turned_upright(
    tmp_path: Path, matrix: tuple[int, int, int, int], rotation: int, mirrored: bool, by_numpy: Any
) -> None:
    """All eight ways to hold a camera, front cameras that mirror among them."""
    clip = open_clip(turn(encode(tmp_path / "a.mp4", "libx264"), *matrix))
    expected = by_numpy(marked(0))
    assert (clip.rotation, clip.mirrored) == (rotation, mirrored)
    assert (clip.height, clip.width) == expected.shape[:2]
    image = next(frames(clip)).image
    assert image.flags.c_contiguous
    assert np.abs(image.astype(int) - expected).mean() < 8
    small = next(frames(clip, max_height=24)).image
    assert small.shape[:2] == (24, scaled_size(clip, 24)[0])


def test_odd_size(tmp_path: Path) -> None:
    clip = open_clip(encode(tmp_path / "a.mkv", "libx264", pixels="yuv444p", size=(65, 49)))
    assert (clip.width, clip.height) == (65, 49)
    assert next(frames(clip)).image.shape == (49, 65, 3)


def test_pixels_that_are_not_square(tmp_path: Path) -> None:
    def wide(stream: Any) -> None:
        stream.codec_context.sample_aspect_ratio = Fraction(4, 3)

    clip = open_clip(encode(tmp_path / "a.mkv", "libx264", tune=wide))
    assert (clip.width, clip.height) == (85, 48)
    assert "not square" in clip.notes[0]
    assert next(frames(clip)).image.shape == (48, 85, 3)


@pytest.mark.parametrize(
    ("name", "codec"), [("a.mp4", "libx264"), ("a.mov", "libx265"), ("a.webm", "libvpx-vp9")]
)
def test_variable_frame_rate_keeps_its_times(tmp_path: Path, name: str, codec: str) -> None:
    rng = np.random.default_rng(7)
    times = np.cumsum([0.0, *rng.choice([1 / 60, 1 / 30, 1 / 15], 39)])
    options = QUIET if codec == "libx265" else {}
    path = encode(tmp_path / name, codec, count=40, times=times.tolist(), options=options)
    clip = open_clip(path)
    tick = 1e-3 if name.endswith("webm") else 1 / 15_000
    np.testing.assert_allclose(clip.times, times, atol=tick)
    assert clip.varies
    assert any("varies" in note for note in clip.notes)
    assert [bar(f.image) for f in frames(clip)] == [i % 28 for i in range(40)]


def test_a_film_that_starts_late_counts_from_its_first_picture(tmp_path: Path) -> None:
    clip = open_clip(encode(tmp_path / "a.mkv", "libx264", times=[5 + i / 30 for i in range(12)]))
    np.testing.assert_allclose(clip.times, np.arange(12) / 30, atol=1e-3)
    assert clip.origin == pytest.approx(5, abs=1e-3)


def test_a_pause_is_told(tmp_path: Path) -> None:
    times = [i / 30 + (0.7 if i >= 10 else 0) for i in range(20)]
    clip = open_clip(encode(tmp_path / "a.mp4", "libx264", count=20, times=times))
    assert len(clip.notes) == 1
    assert "no picture for 0.7 s at 0.3 s" in clip.notes[0]


def test_times_that_go_back(tmp_path: Path) -> None:
    """Two recordings glued together, as a transport stream allows: the second clock starts again."""
    part = encode(tmp_path / "a.ts", "libx264", count=12).read_bytes()
    (tmp_path / "b.ts").write_bytes(part + part)
    clip = open_clip(tmp_path / "b.ts")
    assert clip.frame_count == 24
    assert (np.diff(clip.times) > 0).all()
    np.testing.assert_allclose(clip.times, np.arange(24) / 30, atol=1e-4)
    assert any("clock jumps once" in note for note in clip.notes)
    got = list(frames(clip))
    assert [f.index for f in got] == list(range(24))
    assert [bar(f.image) for f in got] == [*range(12), *range(12)]


def test_no_times_at_all(tmp_path: Path) -> None:
    clip = open_clip(encode(tmp_path / "a.h264", "libx264", base=Fraction(1, 30), container_format="h264"))
    assert any("does not say when" in note for note in clip.notes)
    np.testing.assert_allclose(clip.times, np.arange(12) / 30)
    assert [bar(f.image) for f in frames(clip)] == list(range(12))


@pytest.fixture(scope="module")
def long_clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """300 pictures over 10 s, a key picture each second."""
    path = tmp_path_factory.mktemp("long") / "long.mp4"
    return encode(path, "libx264", count=300, options={"g": "30", "preset": "ultrafast"})


@pytest.mark.parametrize(
    ("start", "stop"),
    [(None, None), (0.0, 0.5), (3.21, 3.9), (5.0, 5.1), (9.9, None), (4.0, 4.0), (20.0, None)],
)
def test_a_stretch_is_the_same_as_in_the_whole(
    long_clip: Path, start: float | None, stop: float | None
) -> None:
    clip = open_clip(long_clip)
    inside = (clip.times >= (start or 0.0)) & (clip.times < (np.inf if stop is None else stop))
    got = [(f.index, bar(f.image)) for f in frames(clip, start, stop)]
    assert got == [(i, i % 28) for i in np.flatnonzero(inside)]


def test_max_height_keeps_the_shape(long_clip: Path) -> None:
    clip = open_clip(long_clip)
    assert scaled_size(clip, 24) == (32, 24)
    assert scaled_size(clip, 480) == scaled_size(clip, None) == (W, H)
    assert next(frames(clip, max_height=24)).image.shape == (24, 32, 3)
    with pytest.raises(ValueError, match="at least 1"):
        frames(clip, max_height=0)


def test_pictures_come_one_by_one_and_none_is_kept(long_clip: Path) -> None:
    clip = open_clip(long_clip)
    alive: list[weakref.ref[np.ndarray]] = []
    most = 0
    for frame in frames(clip):
        alive.append(weakref.ref(frame.image))
        most = max(most, sum(ref() is not None for ref in alive))
    assert len(alive) == 300
    assert most <= 2

    def peak(stop: float) -> int:
        gc.collect()
        tracemalloc.start()
        for _ in frames(clip, stop=stop):
            pass
        top = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return top

    peak(0.5)  # what is imported on the first run does not count
    assert peak(10.0) < peak(2.0) + 2 * W * H * 3


def open_handles(path: Path) -> int:
    """Handles to a file in this process and its children."""
    processes = Path("/proc")
    if not (processes / "self" / "fd").exists():
        pytest.skip("counts open files in /proc")
    me = str(os.getpid())
    found = 0
    for process in processes.iterdir():
        with contextlib.suppress(OSError):
            mine = process.name.isdigit() and (
                process.name == me or (process / "stat").read_text().rpartition(")")[2].split()[1] == me
            )
            if mine:
                folder = process / "fd"
                found += sum(
                    os.path.realpath(folder / fd) == str(path.resolve()) for fd in os.listdir(folder)
                )
    return found


def test_the_file_is_closed_however_reading_ends(long_clip: Path) -> None:
    clip = open_clip(long_clip)
    assert open_handles(long_clip) == 0
    stream = frames(clip)
    next(stream)
    assert open_handles(long_clip) == 1
    stream.close()
    assert open_handles(long_clip) == 0
    with frames(clip) as stream:
        next(stream)
    assert open_handles(long_clip) == 0
    stream = frames(clip)
    next(stream)
    del stream
    assert open_handles(long_clip) == 0


def test_damage_in_the_middle_is_left_out_and_told(tmp_path: Path) -> None:
    path = encode(tmp_path / "a.avi", "mjpeg", pixels="yuvj420p", base=Fraction(1, 30))
    with av.open(str(path)) as container:
        packets = [(p.pos, p.size) for p in container.demux(video=0) if p.size]
    data = bytearray(path.read_bytes())
    place = data.index(b"\xff\xd8", packets[5][0])
    data[place : place + packets[5][1] - 8] = bytes(packets[5][1] - 8)
    path.write_bytes(data)
    clip = open_clip(path)
    stream = frames(clip)
    got = list(stream)
    assert [f.index for f in got] == [i for i in range(12) if i != 5]
    assert [bar(f.image) for f in got] == [i for i in range(12) if i != 5]
    assert stream.skipped == 1
    assert "1 picture was damaged" in stream.notes[0]


def test_a_film_cut_off_behind_its_index_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    with FilmWriter(tmp_path / "a.mp4", (W, H), 30) as film:
        for i in range(60):
            film.write(marked(i))
    data = (tmp_path / "a.mp4").read_bytes()
    (tmp_path / "b.mp4").write_bytes(data[: data.index(b"mdat") + (len(data) - data.index(b"mdat")) // 2])
    clip = open_clip(tmp_path / "b.mp4")
    assert 2 <= clip.frame_count < 60
    assert any("cut off" in note for note in clip.notes)
    got = list(frames(clip))
    assert got
    assert [bar(f.image) for f in got] == [f.index % 28 for f in got]


def test_a_file_that_vanishes_after_opening(tmp_path: Path) -> None:
    path = encode(tmp_path / "a.mp4", "libx264")
    clip = open_clip(path)
    path.unlink()
    with pytest.raises(ClipError, match="There is no file"):
        next(frames(clip))


@pytest.fixture
def large_clip(tmp_path: Path) -> Path:
    """A film of 2 MB, more than anything reads ahead."""
    path = tmp_path / "large.mkv"
    noise = np.random.default_rng(1)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mjpeg", rate=30)
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuvj420p"
        stream.options = {"qscale": "2"}
        for _ in range(120):
            image = noise.integers(0, 256, (240, 320, 3)).astype(np.uint8)
            container.mux(
                stream.encode(av.VideoFrame.from_ndarray(image, "rgb24").reformat(format="yuvj420p"))
            )
        container.mux(stream.encode())
    assert path.stat().st_size > 1_500_000
    return path


def test_a_file_that_is_deleted_while_being_read(large_clip: Path) -> None:
    """On POSIX systems an open file can still be read to its end; the next stretch finds it gone."""
    clip = open_clip(large_clip)
    stream = frames(clip)
    next(stream)
    large_clip.unlink()
    assert len(list(stream)) == 119
    with pytest.raises(ClipError, match=r"There is no file .*large\.mkv; please check its name"):
        next(frames(clip, 1.0, 2.0))


def test_a_file_that_shrinks_while_being_read(large_clip: Path) -> None:
    clip = open_clip(large_clip)
    stream = frames(clip)
    next(stream)
    os.truncate(large_clip, large_clip.stat().st_size // 2)
    rest = list(stream)
    assert 20 <= len(rest) < 100
    assert len(rest) + stream.skipped == 119
    assert f"{stream.skipped} pictures were damaged and left out." in stream.notes


def test_a_file_that_was_emptied_or_replaced_after_opening(large_clip: Path, tmp_path: Path) -> None:
    clip = open_clip(large_clip)
    large_clip.write_bytes(b"")
    with pytest.raises(ClipError, match="is empty"):
        next(frames(clip))
    text(large_clip)
    with pytest.raises(ClipError, match="holds text"):
        next(frames(clip))
    encode(tmp_path / "other.mkv", "libx264", count=3).replace(large_clip)
    stream = frames(clip)
    got = list(stream)
    assert [f.image.shape for f in got] == [(240, 320, 3)] * 3
    assert stream.skipped == 117


def test_times_of_showing_that_go_back_inside_a_part(tmp_path: Path) -> None:
    """A Matroska block's own time (RFC 9559, section 10.2) set before those of the blocks before it."""
    path = encode(tmp_path / "a.mkv", "mjpeg", pixels="yuvj420p", base=Fraction(1, 30))
    data = bytearray(path.read_bytes())
    place = data.index(b"\x81" + struct.pack(">h", 167))
    data[place + 1 : place + 3] = struct.pack(">h", 80)
    path.write_bytes(data)
    clip = open_clip(path)
    assert (np.diff(clip.times) > 0).all()
    assert len(clip.notes) == 1
    assert "clock jumps once" in clip.notes[0]
    assert [bar(f.image) for f in frames(clip)] == list(range(12))


@pytest.mark.parametrize(("said", "notes"), [(10_000, ["9988 of its 10000 pictures are missing"]), (3, [])])
def test_a_frame_count_that_lies(tmp_path: Path, said: int, notes: list[str]) -> None:
    """An AVI's header (AVIMAINHEADER, AVISTREAMHEADER) counts its pictures; the pictures themselves are believed."""
    path = encode(tmp_path / "a.avi", "mjpeg", pixels="yuvj420p", base=Fraction(1, 30))
    data = bytearray(path.read_bytes())
    for place in (data.index(b"avih") + 8 + 16, data.index(b"strh") + 8 + 32):
        assert struct.unpack_from("<I", data, place) == (12,)
        struct.pack_into("<I", data, place, said)
    path.write_bytes(data)
    clip = open_clip(path)
    assert clip.frame_count == 12
    assert clip.duration == pytest.approx(0.4, abs=0.01)
    assert len(clip.notes) == len(notes)
    assert all(words in note for words, note in zip(notes, clip.notes, strict=True))
    assert [bar(f.image) for f in frames(clip)] == list(range(12))


# Bad input: what is made -> words of the sentence ---------------------------------------------------------


def missing(path: Path) -> None:
    pass


def folder(path: Path) -> None:
    path.mkdir()


def empty(path: Path) -> None:
    path.touch()


def text(path: Path) -> None:
    path.write_text("Forehand, second basket. Größe: 1,80 m\n" * 40, encoding="utf-8")


def random_bytes(path: Path) -> None:
    path.write_bytes(np.random.default_rng(3).bytes(5000))


def truncated(path: Path) -> None:
    data = encode(path, "libx264").read_bytes()
    path.write_bytes(data[: len(data) // 2])


def sound_only(path: Path) -> None:
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=16_000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        frame.sample_rate, frame.pts = 16_000, 0
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def song_with_cover(path: Path) -> None:
    """An MP3 whose ID3v2.3 tag (id3.org, section 4.15) carries a picture."""
    with av.open(str(path), "w", format="mp3") as container:
        stream = container.add_stream("libmp3lame", rate=16_000, layout="mono")
        for i in range(20):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 576), np.float32), "fltp", "mono")
            frame.sample_rate, frame.pts = 16_000, 576 * i
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    sound = path.read_bytes()
    png(path)
    apic = b"\0image/png\0\x03\0" + path.read_bytes()
    body = b"APIC" + len(apic).to_bytes(4, "big") + b"\0\0" + apic
    size = bytes(len(body) >> shift & 127 for shift in (21, 14, 7, 0))
    path.write_bytes(b"ID3\x03\0\0" + size + body + sound)


def picture(path: Path) -> None:
    encode(path, "mjpeg", pixels="yuvj420p", count=1, container_format="mjpeg")


def png(path: Path) -> None:
    encode(path, "png", pixels="rgb24", count=1, container_format="image2pipe")


def one_frame(path: Path) -> None:
    encode(path, "libx264", count=1, container_format="mp4")


def still_gif(path: Path) -> None:
    encode(path, "gif", pixels="rgb8", count=1, container_format="gif", base=Fraction(1, 30))


def list_of_files(path: Path) -> None:
    path.write_text("ffconcat version 1.0\nfile /etc/hostname\n")


def garbage_pictures(path: Path) -> None:
    """The index is whole, and every byte of the pictures is zero."""
    with FilmWriter(path, (W, H), 30) as film:
        for i in range(10):
            film.write(marked(i))
    data = path.read_bytes()
    head = data.index(b"mdat") + 4
    path.write_bytes(data[:head] + bytes(len(data) - head))


def no_size(path: Path) -> None:
    """Width and height of zero, in the sample entry and in the track's header, and no parameter sets."""
    data = bytearray(encode(path, "mpeg4", base=Fraction(1, 30)).read_bytes())
    entry = data.index(b"mp4v") + 4 + 24
    data[entry : entry + 4] = bytes(4)
    begin = data.index(b"esds")
    data[begin : begin + 4] = b"free"
    mdat = data.index(b"mdat") + 4
    data[mdat : data.index(b"moov") - 4] = bytes(data.index(b"moov") - 4 - mdat)
    path.write_bytes(data)


def huge_header(path: Path) -> None:
    """An AVI whose header (BITMAPINFOHEADER) says 50,000 x 50,000; FFmpeg takes no such size."""
    encode(path, "ffv1", container_format="avi", base=Fraction(1, 30))
    data = bytearray(path.read_bytes())
    struct.pack_into("<ii", data, data.index(b"strf") + 8 + 4, 50_000, 50_000)
    path.write_bytes(data)


def large_header(path: Path) -> None:
    """As large as FFmpeg takes."""
    huge_header(path)
    data = bytearray(path.read_bytes())
    struct.pack_into("<ii", data, data.index(b"strf") + 8 + 4, 12_000, 12_000)
    path.write_bytes(data)


def huge_gif(path: Path) -> None:
    encode(path, "gif", pixels="rgb8", container_format="gif", base=Fraction(1, 30))
    data = bytearray(path.read_bytes())
    struct.pack_into("<HH", data, 6, 50_000, 50_000)
    path.write_bytes(data)


def endless_index(path: Path) -> None:
    """Sample count (ISO/IEC 14496-12, 8.7.3) of two thousand million."""
    data = bytearray(encode(path, "libx264").read_bytes())
    struct.pack_into(">I", data, data.index(b"stsz") + 4 + 8, 2**31 - 1)
    path.write_bytes(data)


BAD = [
    (missing, "There is no file .*check its name"),
    (folder, "is a folder; please name one of the clips"),
    (empty, "is empty; .*send it again"),
    (text, "holds text, no film; please send"),
    (list_of_files, "holds text, no film; please send"),
    (random_bytes, "damaged or no film.*; please send"),
    (truncated, "incomplete.*; please send it again"),
    (sound_only, "holds sound only; please send"),
    (song_with_cover, "holds sound only; please send"),
    (picture, "still picture; please send the film|single picture; please send the film"),
    (png, "still picture; please send the film"),
    (one_frame, "single picture; please send the film"),
    (still_gif, "single picture; please send the film"),
    (garbage_pictures, "None of the pictures of .* can be decoded; please send"),
    (huge_header, "None of the pictures of .* can be decoded; please send"),
    (large_header, "12000 x 12000 pixels, more than can be read; please send"),
    (huge_gif, "None of the pictures of .* can be decoded; please send"),
    (endless_index, "its index is missing, so it was cut off; please send"),
    (no_size, "None of the pictures of .* can be decoded; please send"),
]


@pytest.mark.parametrize(("make", "sentence"), BAD, ids=[make.__name__ for make, _ in BAD])
def test_bad_input_gives_one_sentence(tmp_path: Path, capfd: Any, make: Any, sentence: str) -> None:
    path = tmp_path / "from a player.mp4"
    make(path)
    capfd.readouterr()
    with pytest.raises(ClipError, match=sentence) as caught:
        open_clip(path)
    message = str(caught.value)
    assert "from a player.mp4" in message
    assert message.endswith(".")
    assert "\n" not in message
    assert "Errno" not in message
    assert capfd.readouterr() == ("", "")  # no decoder may write over the coach's screen


def test_no_name_is_taken_for_an_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    name = "concat:a.mp4"
    encode(tmp_path / "a.mp4", "libx264").rename(tmp_path / name)
    assert open_clip(name).frame_count == 12
