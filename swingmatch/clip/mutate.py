"""Reading damaged clips by the thousand: ``python -m swingmatch.clip.mutate --count 2000``.

Small films in many containers are made, bytes of them flipped, cut, doubled, inserted and overwritten, and each
is opened, decoded and heard as any clip is. What may come of it: it is read, it is refused with one sentence,
or its decoder is ended. Anything else (a traceback, a hang, a process or file that is left) is a failure, and
the command ends with status 1.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from swingmatch.clip.child import DecoderFault, DecoderLost, Limits, end_children, limited
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.errors import ClipError

#: What a damaged film of ten small pictures may take.
LIMITS = Limits(silence=5.0, memory=400_000_000)
_LONGEST = 20.0  # seconds that a damaged clip may take; three times the silence, and some for a busy computer
_SIZE = (64, 48)
#: File name, codec, pixel format, ticks a second, with sound.
BASES = (
    ("h264.mp4", "libx264", "yuv420p", 90_000, True),
    ("h264.mov", "libx264", "yuv420p", 90_000, True),
    ("h264.mkv", "libx264", "yuv420p", 1000, True),
    ("h264.ts", "libx264", "yuv420p", 90_000, True),
    ("hevc.mp4", "libx265", "yuv420p10le", 90_000, False),
    ("vp9.webm", "libvpx-vp9", "yuv420p", 1000, False),
    ("av1.mkv", "libsvtav1", "yuv420p", 1000, False),
    ("mjpeg.avi", "mjpeg", "yuvj420p", 30, False),
    ("mpeg4.avi", "mpeg4", "yuv420p", 30, True),
    ("film.gif", "gif", "rgb8", 30, False),
)
_OPTIONS = {"libx265": {"x265-params": "log-level=none"}, "libx264": {"preset": "ultrafast"}}


@dataclass
class Report:
    """Outcomes of a run.

    Attributes
    ----------
    counts : (name of the base film, "read" | "refused" | "ended") -> number of clips.
    failures : what went wrong, one text each.
    slowest : seconds that the slowest clip took.
    """

    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)
    slowest: float = 0.0

    def total(self, outcome: str) -> int:
        """Clips with one outcome."""
        return sum(n for (_, what), n in self.counts.items() if what == outcome)


def make_bases(folder: Path) -> list[Path]:
    """Write the films to start from, as far as this PyAV has encoders for them."""
    os.environ.setdefault("SVT_LOG", "0")  # the AV1 encoder is talkative
    made = []
    for name, codec, pixels, ticks, sound in BASES:
        if codec in av.codecs_available:
            _write(folder / name, codec, pixels, Fraction(1, ticks), sound)
            made.append(folder / name)
    return made


def _write(path: Path, codec: str, pixels: str, base: Fraction, sound: bool) -> None:
    width, height = _SIZE
    with av.open(str(path), "w") as container:
        video = container.add_stream(codec, rate=30)
        video.width, video.height, video.pix_fmt = width, height, pixels
        video.options = _OPTIONS.get(codec, {})
        video.codec_context.time_base = base
        audio = container.add_stream("aac", rate=16_000, layout="mono") if sound else None
        for i in range(10):
            picture = np.full((height, width, 3), 40 + 10 * i, np.uint8)
            picture[:, : 6 * i] = 200
            frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format=pixels)
            frame.pts, frame.time_base = round(i / 30 / base), base
            container.mux(video.encode(frame))
        container.mux(video.encode(None))
        if audio is not None:
            for i in range(5):
                block = np.random.default_rng(i).normal(0, 0.1, (1, 1024)).astype(np.float32)
                part = av.AudioFrame.from_ndarray(block, "fltp", "mono")
                part.sample_rate, part.pts, part.time_base = 16_000, 1024 * i, Fraction(1, 16_000)
                container.mux(audio.encode(part))
            container.mux(audio.encode(None))


# Damage -------------------------------------------------------------------------------------------------


def _span(data: bytearray, rng: np.random.Generator) -> tuple[int, int]:
    begin = int(rng.integers(0, len(data)))
    return begin, min(len(data), begin + int(rng.geometric(0.02)))


def _flip(data: bytearray, rng: np.random.Generator) -> None:
    for place in rng.integers(0, len(data), int(rng.geometric(0.1))):
        data[place] ^= 1 << int(rng.integers(0, 8))


def _cut(data: bytearray, rng: np.random.Generator) -> None:
    del data[int(rng.integers(1, len(data) + 1)) :]


def _drop(data: bytearray, rng: np.random.Generator) -> None:
    begin, end = _span(data, rng)
    del data[begin : min(end, begin + len(data) - 1)]


def _insert(data: bytearray, rng: np.random.Generator) -> None:
    begin, end = _span(data, rng)
    data[begin:begin] = bytes(end - begin) if rng.random() < 0.5 else rng.bytes(end - begin)


def _double(data: bytearray, rng: np.random.Generator) -> None:
    begin, end = _span(data, rng)
    place = int(rng.integers(0, len(data)))
    data[place:place] = data[begin:end]


def _header(data: bytearray, rng: np.random.Generator) -> None:
    """Put a large or small number where headers are: near the beginning or the end."""
    reach = min(len(data), 3000)
    place = int(rng.integers(0, reach)) - (reach if rng.random() < 0.5 else 0)
    number = int(rng.choice([0, 1, 50_000, 2**31 - 1, 2**31, 2**32 - 1, int(rng.integers(0, 2**32))]))
    order = "big" if rng.random() < 0.7 else "little"
    value = number.to_bytes(4, order)  # type: ignore[arg-type]
    for i, byte in enumerate(value[: int(rng.choice([1, 2, 4]))]):
        data[(place + i) % len(data)] = byte


DAMAGES: tuple[Callable[[bytearray, np.random.Generator], None], ...] = (
    _flip,
    _cut,
    _drop,
    _insert,
    _double,
    _header,
    _header,
)


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """A copy of ``data`` (not empty) with one to three damages; never empty."""
    copy = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        DAMAGES[int(rng.integers(0, len(DAMAGES)))](copy, rng)
    return bytes(copy)


# Reading ------------------------------------------------------------------------------------------------


def read_through(path: Path) -> str:
    """Open, decode and hear a clip: "read", "refused" or "ended"; raises what must not happen."""
    try:
        clip = open_clip(path)
        if not (np.isfinite(clip.times).all() and (np.diff(clip.times) > 0).all() and clip.times[0] == 0):
            raise AssertionError(f"times do not rise from 0: {clip.times[:20]}")
        last = -1
        for frame in frames(clip, max_height=_SIZE[1]):
            if frame.index <= last or frame.image.ndim != 3:
                raise AssertionError(f"picture {frame.index} of shape {frame.image.shape} after {last}")
            last = frame.index
        strike_onsets(clip)
    except DecoderLost:
        return "ended"
    except ClipError as error:
        if isinstance(error.__cause__, DecoderFault):
            raise
        text = str(error)
        if "\n" in text or not text.endswith(".") or path.name not in text:
            raise AssertionError(f"no sentence: {text!r}") from error
        return "refused"
    return "read"


def run(count: int, seed: int, keep: Path | None = None) -> Report:
    """Read ``count`` damaged clips; those that fail are copied to the folder ``keep``."""
    report = Report()
    with _watched(report) as folder, limited(LIMITS):
        bases = [(path.name, path.read_bytes()) for path in make_bases(folder)]
        for path in folder.iterdir():
            path.unlink()
        for i in range(count):
            name, data = bases[i % len(bases)]
            path = folder / name
            path.write_bytes(damaged(data, np.random.default_rng([seed, i])))
            began = time.monotonic()
            try:
                report.counts[name, read_through(path)] += 1
            except Exception as error:
                cause = f"\n{error.__cause__}" if isinstance(error.__cause__, DecoderFault) else ""
                report.failures.append(f"clip {i} ({name}): {traceback.format_exc()}{cause}")
            taken = time.monotonic() - began
            report.slowest = max(report.slowest, taken)
            if taken > _LONGEST:
                report.failures.append(f"clip {i} ({name}) took {taken:.1f} s")
            if keep is not None and len(report.failures) > sum(1 for _ in keep.iterdir()):
                (keep / f"{i}-{name}").write_bytes(path.read_bytes())
            path.unlink()
    return report


@contextlib.contextmanager
def _watched(report: Report) -> Iterator[Path]:
    """A temporary folder; whatever is left of files, handles and processes after the block is reported."""
    end_children()
    before = _handles_and_children()
    with tempfile.TemporaryDirectory(prefix="swingmatch-") as name:
        clips, temporary = Path(name) / "clips", Path(name) / "temporary"
        clips.mkdir()
        temporary.mkdir()
        old = tempfile.tempdir
        tempfile.tempdir = str(temporary)
        try:
            yield clips
        finally:
            tempfile.tempdir = old
            end_children()
        left = [p.name for folder in (clips, temporary) for p in folder.iterdir()]
        if left:
            report.failures.append(f"files are left: {', '.join(left)}")
    after = _handles_and_children()
    if after != before:
        report.failures.append(f"(open handles, children) were {before} before and {after} after")


def _handles_and_children() -> tuple[int, int]:
    """Open handles and children of this process, zombies too; zeros where there is no /proc."""
    handles = Path("/proc/self/fd")
    if not handles.is_dir():
        return 0, 0
    me = str(os.getpid())
    children = 0
    for process in Path("/proc").iterdir():
        with contextlib.suppress(OSError):
            if process.name.isdigit():
                children += (process / "stat").read_text().rpartition(")")[2].split()[1] == me
    return sum(1 for _ in handles.iterdir()), children


def main(arguments: list[str] | None = None) -> int:
    """The command; its exit status is 1 when anything failed."""
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m swingmatch.clip.mutate")
    parser.add_argument("--count", type=int, default=2000, help="damaged clips to read")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", type=Path, help="folder for clips that fail")
    options = parser.parse_args(arguments)
    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    report = run(options.count, options.seed, options.keep)
    taken = time.monotonic() - began
    print(f"{'':12}{'read':>8}{'refused':>9}{'ended':>7}")
    for name in sorted({name for name, _ in report.counts}):
        row = [report.counts[name, outcome] for outcome in ("read", "refused", "ended")]
        print(f"{name:12}{row[0]:8}{row[1]:9}{row[2]:7}")
    print(f"{'all':12}{report.total('read'):8}{report.total('refused'):9}{report.total('ended'):7}")
    print(f"{taken:.0f} s in all, {report.slowest:.1f} s for the slowest; {len(report.failures)} failures.")
    for failure in report.failures:
        print(f"\n{failure}", file=sys.stderr)
    return 1 if report.failures else 0


if __name__ == "__main__":
    sys.exit(main())
