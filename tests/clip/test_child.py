"""The decoding process is killed, hung, swollen and interrupted; the reader goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from swingmatch.clip import child
from swingmatch.clip.child import DecoderFault, DecoderLost, Limits, end_children, limited
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import ClipError, SetupError

Children = Callable[[], list[int]]
Names = Callable[[], set[str]]


def film(path: Path, count: int = 200, size: tuple[int, int] = (64, 48), preset: str = "veryfast") -> Path:
    """A film whose green tells the number of each picture."""
    with FilmWriter(
        path, size, 30, crf=1, preset=preset, sound=(np.zeros(16_000, np.float32), 16_000)
    ) as writer:
        for i in range(count):
            writer.write(np.full((size[1], size[0], 3), (40, i, 40), np.uint8))
    return path


@pytest.fixture(scope="module")
def clip_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return film(tmp_path_factory.mktemp("child") / "forehand.mp4")


@pytest.fixture(autouse=True)
def nothing_is_left(children: Children, leftovers: Names) -> Iterator[None]:
    """No test may leave a process, a zombie among them, nor a file or a block of shared memory."""
    end_children()
    before, names = children(), leftovers()
    yield
    end_children()
    assert children() == before
    assert leftovers() <= names


def greens(clip_path: Path) -> list[int]:
    return [round(float(f.image[..., 1].mean())) for f in frames(open_clip(clip_path))]


@pytest.mark.parametrize("kind", [signal.SIGKILL, signal.SIGSEGV])
def test_a_crash_in_mid_stream_is_one_sentence_and_the_next_file_is_read(
    clip_path: Path, children: Children, kind: signal.Signals
) -> None:
    stream = frames(open_clip(clip_path))
    next(stream)
    (pid,) = children()
    os.kill(pid, kind)
    began = time.monotonic()
    with pytest.raises(DecoderLost, match=r"^forehand\.mp4 made the decoder crash; please .*\.$"):
        list(stream)
    assert time.monotonic() - began < 1
    assert children() == []
    np.testing.assert_allclose(greens(clip_path), np.arange(200), atol=3)


def test_an_idle_child_that_died_is_replaced(clip_path: Path, children: Children) -> None:
    open_clip(clip_path)
    (pid,) = children()
    os.kill(pid, signal.SIGKILL)
    time.sleep(0.05)
    assert open_clip(clip_path).frame_count == 200
    assert len(children()) == 1
    assert children() != [pid]


def patched(body: str) -> str:
    """The child's start, with ``body`` run before its main loop."""
    return (
        child.BOOT.replace("main()", "from swingmatch.clip import facts, worker\n")
        + textwrap.dedent(body)
        + "\nworker.main()"
    )


HANGS = """
import time, signal
def pictures(*_):
    {how}
    yield
facts.pictures = pictures
"""


CRASHES = """
import ctypes
worker._run = lambda *_: ctypes.string_at(0)
"""


def test_a_crash_while_opening_and_while_hearing(clip_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clip = open_clip(clip_path)
    end_children()
    with monkeypatch.context() as patch:
        patch.setattr(child, "BOOT", patched(CRASHES))
        with pytest.raises(DecoderLost, match="decoder crash"):
            open_clip(clip_path)
        assert strike_onsets(clip) is None  # its pictures may still be good
    assert strike_onsets(clip) is not None
    assert open_clip(clip_path).frame_count == 200


def test_a_child_that_cannot_start(clip_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child, "BOOT", "import a_library_that_is_not_there")
    with pytest.raises(SetupError, match=r"stopped before its work began; please install .*\.$"):
        open_clip(clip_path)


@pytest.mark.parametrize("how", ["time.sleep(60)", "signal.raise_signal(signal.SIGSTOP)"])
def test_a_decoder_that_hangs_is_ended(clip_path: Path, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    monkeypatch.setattr(child, "BOOT", patched(HANGS.format(how=how)))
    began = time.monotonic()
    with (
        limited(Limits(silence=0.5)),
        pytest.raises(DecoderLost, match=r"gave no answer for 0\.5 s while it was decoded; please"),
    ):
        open_clip(clip_path)
    assert time.monotonic() - began < 10


def test_opening_that_never_ends(clip_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Signs of life do not help when a file has no end."""
    body = """
    def pictures(container, video, pulse):
        while True:
            pulse()
        yield
    facts.pictures = pictures
    """
    monkeypatch.setattr(child, "BOOT", patched(body))
    with limited(Limits(silence=1.0)), pytest.raises(DecoderLost, match="takes too long to open"):
        open_clip(clip_path)


def test_a_mistake_in_the_child_keeps_its_traceback(clip_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        child, "BOOT", patched("def inspect(*_):\n    return 1 / 0\nworker.inspect = inspect")
    )
    with pytest.raises(ClipError, match="could not be read") as caught:
        open_clip(clip_path)
    assert isinstance(caught.value.__cause__, DecoderFault)
    assert "ZeroDivisionError" in str(caught.value.__cause__)


def test_too_much_memory_is_one_sentence(tmp_path: Path, clip_path: Path) -> None:
    large = film(tmp_path / "large.mp4", 2, (4096, 4096), "ultrafast")
    with limited(Limits(memory=120_000_000)):
        assert open_clip(clip_path).frame_count == 200
        with pytest.raises(DecoderLost, match=r"large\.mp4 needs more than 120 MB of memory.*1080p\.$"):
            list(frames(open_clip(large)))
        assert greens(clip_path)[:3] == pytest.approx([0, 1, 2], abs=3)
    assert open_clip(large).height == 4096


def test_one_child_serves_one_clip_after_the_other(clip_path: Path, children: Children) -> None:
    clip = open_clip(clip_path)
    (pid,) = children()
    for start in (0.0, 2.0, 4.0):
        stream = frames(clip, start)
        next(stream)
        stream.close()
        strike_onsets(clip)
    assert children() == [pid]


def test_streams_side_by_side(clip_path: Path, children: Children) -> None:
    clip = open_clip(clip_path)
    streams = [frames(clip) for _ in range(4)]
    for i, row in enumerate(zip(*streams, strict=True)):
        assert [f.index for f in row] == [i] * 4
        assert len({f.image.tobytes() for f in row}) == 1
    assert len(children()) <= 2  # the others have gone


def test_threads(clip_path: Path) -> None:
    results: list[list[int]] = []
    threads = [threading.Thread(target=lambda: results.append(greens(clip_path))) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(results) == 3
    assert results[0] == results[1] == results[2]


def test_decoding_runs_ahead_but_not_far(clip_path: Path, children: Children) -> None:
    """While the caller works on one picture the next are decoded; memory stays flat."""
    stream = frames(open_clip(clip_path))
    next(stream)
    (pid,) = children()
    time.sleep(0.3)

    def spent() -> int:
        return sum(int(v) for v in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[11:13])

    rest = spent()
    time.sleep(0.3)
    assert spent() - rest <= 2  # hundredths of a second: it waits for a free place
    os.kill(pid, signal.SIGSTOP)
    try:
        ahead = [next(stream).index for _ in range(7)]
    finally:
        os.kill(pid, signal.SIGCONT)
    assert ahead == [1, 2, 3, 4, 5, 6, 7]  # they were there already
    assert len(list(stream)) == 192


def test_memory_of_the_child_does_not_grow_with_the_clip(tmp_path: Path, children: Children) -> None:
    """Two hundred pictures are 46 MB; a few of them are held."""
    stream = frames(open_clip(film(tmp_path / "a.mp4", 200, (320, 240), "ultrafast")))

    def held() -> int:
        (pid,) = children()
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")

    sizes = [held() for frame in stream if frame.index in (30, 190)]
    assert sizes[1] - sizes[0] < 5_000_000


SCRIPT = """
import sys, time
from swingmatch.clip.child import _idle
from swingmatch.clip.reader import frames, open_clip
clip = open_clip(sys.argv[1])
print(_idle[0].process.pid, flush=True)
try:
    for frame in frames(clip):
        print(frame.index, flush=True)
        time.sleep(0.2)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""


def start(tmp_path: Path, clip_path: Path, text: str) -> tuple[subprocess.Popen[str], int]:
    """A script without a main guard, in a process group of its own, and its child's process number."""
    script = tmp_path / "script.py"
    script.write_text(text)
    process = subprocess.Popen(
        [sys.executable, str(script), str(clip_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    return process, int(process.stdout.readline())


def gone(pid: int) -> bool:
    """Whether a process has ended within two seconds; one that nobody waited for counts as ended."""
    for _ in range(40):
        try:
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True
        except OSError:
            return True
        time.sleep(0.05)
    return False


def test_ctrl_c_ends_it_quietly(tmp_path: Path, clip_path: Path) -> None:
    process, pid = start(tmp_path, clip_path, SCRIPT)
    assert process.stdout is not None
    process.stdout.readline()
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does
    out, err = process.communicate(timeout=20)
    assert (process.returncode, err) == (0, "")
    assert out.endswith("stopped\n")
    assert gone(pid)


def test_a_reader_that_is_killed_takes_its_child_with_it(tmp_path: Path, clip_path: Path) -> None:
    process, pid = start(tmp_path, clip_path, SCRIPT)
    process.kill()
    process.communicate(timeout=20)
    assert gone(pid)


LEFT_OPEN = """
import sys
from swingmatch.clip.child import _idle
from swingmatch.clip.reader import frames, open_clip
clip = open_clip(sys.argv[1])
print(_idle[0].process.pid, flush=True)
stream = frames(clip)
next(stream)
"""


def test_a_script_that_ends_in_mid_stream(tmp_path: Path, clip_path: Path) -> None:
    process, pid = start(tmp_path, clip_path, LEFT_OPEN)
    _, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, "")
    assert gone(pid)


FORKED = """
import os, sys, warnings
warnings.simplefilter("ignore")
from swingmatch.clip.child import _idle
from swingmatch.clip.reader import frames, open_clip
clip = open_clip(sys.argv[1])
print(_idle[0].process.pid, flush=True)
stream = frames(clip)
next(stream)
if os.fork() == 0:
    del stream
    os._exit(0 if len(list(frames(clip))) == 200 else 1)
_, status = os.wait()
assert status == 0
assert len(list(stream)) == 199
"""


def test_a_fork_of_the_reader_leaves_its_children_alone(tmp_path: Path, clip_path: Path) -> None:
    process, pid = start(tmp_path, clip_path, FORKED)
    _, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, "")
    assert gone(pid)
