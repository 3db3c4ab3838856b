"""The child process: opens, decodes and hears clips for the reader until its input ends.

It writes messages to what was its standard output and pictures into shared memory. A thread listens for
"stop" and for free places in the ring, and ends the process when the reader has gone, whatever it is doing.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import sys
import threading
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from swingmatch.clip import wire
from swingmatch.clip.container import ERRORS
from swingmatch.clip.decode import Converter, Stretch, stretch
from swingmatch.clip.facts import inspect
from swingmatch.clip.ring import attach
from swingmatch.clip.samples import samples
from swingmatch.errors import ClipError

_BEAT = 0.5  # seconds between signs of life
_BLOCK = 16_000  # sound samples in one message, at most
_AHEAD = 64  # messages of sound; a block of AAC is 1024 samples


@dataclass
class _Task:
    header: dict[str, Any]
    block: bytes
    stopped: threading.Event = field(default_factory=threading.Event)
    free: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))


class _Stopped(Exception):
    """The reader wants no more of this task."""


class _Pulse:
    """Signs of life, sent from the working thread so that a hanging decoder sends none."""

    def __init__(self, out: BinaryIO, task: _Task) -> None:
        self._out = out
        self._task = task
        self._next = time.monotonic() + _BEAT

    def __call__(self) -> None:
        if self._task.stopped.is_set():
            raise _Stopped
        now = time.monotonic()
        if now >= self._next:
            wire.send(self._out, {"kind": "alive"})
            self._next = now + _BEAT


def main() -> None:
    """Serve tasks from standard input; leaves by ``os._exit``, as no clean-up is of use."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    out = os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)  # what a decoder prints must not get between the messages
    limit_memory(int(sys.argv[2]))
    wire.send(out, {"kind": "alive"})
    tasks: queue.SimpleQueue[_Task] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(sys.stdin.buffer, tasks), daemon=True).start()
    while True:
        task = tasks.get()
        try:
            final = _run(task, out)
        except MemoryError:
            final = {"kind": "memory"}
        except ClipError as error:
            final = {"kind": "refused", "text": str(error)}
        except _Stopped:
            final = {"kind": "done"}
        except BrokenPipeError:
            os._exit(0)
        except Exception:
            final = {"kind": "fault", "text": traceback.format_exc()}
        with contextlib.suppress(BrokenPipeError):
            wire.send(out, {**final, "held": held_memory()})


def _listen(stream: BinaryIO, tasks: queue.SimpleQueue[_Task]) -> None:
    latest: _Task | None = None
    while (message := wire.receive(stream)) is not None:
        what = message[0]["do"]
        if what == "free" and latest is not None:
            latest.free.release()
        elif what == "stop" and latest is not None:
            latest.stopped.set()
            latest.free.release()
        elif what not in ("free", "stop"):
            latest = _Task(*message)
            tasks.put(latest)
    os._exit(0)


def _run(task: _Task, out: BinaryIO) -> dict[str, Any]:
    """Do a task and return its last message."""
    pulse = _Pulse(out, task)
    what = task.header["do"]
    path = Path(task.header["path"])
    if what == "open":
        facts, ticks, times = inspect(path, pulse)
        stamps = b"" if ticks is None else ticks.tobytes()
        known = 0 if ticks is None else len(ticks)
        wire.send(out, {"kind": "clip", "facts": facts, "ticks": known}, stamps + times.tobytes())
    elif what == "pictures":
        _show(task, path, out, pulse)
    elif what == "sound":
        _sound(task, path, out, pulse)
    else:
        raise ValueError(f"unknown task {what}")
    return {"kind": "done"}


def _sound(task: _Task, path: Path, out: BinaryIO, pulse: _Pulse) -> None:
    """Send sound, a few blocks ahead of what was taken."""
    rate = task.header["rate"]
    for _ in range(_AHEAD):
        task.free.release()
    for begin, sound in samples(path, task.header["origin"], rate, pulse):
        for first in range(0, len(sound), _BLOCK):
            task.free.acquire()
            if task.stopped.is_set():
                return
            part = sound[first : first + _BLOCK]
            wire.send(out, {"kind": "sound", "time": begin + first / rate}, part.tobytes())


def _show(task: _Task, path: Path, out: BinaryIO, pulse: _Pulse) -> None:
    """Fill the ring with pictures as places in it get free."""
    header = task.header
    width, height = header["size"]
    slots = header["slots"]
    numbers = np.frombuffer(task.block, np.int64)
    asked = Stretch(
        path=path,
        count=header["count"],
        ticks=numbers[header["wanted"] :] if len(numbers) > header["wanted"] else None,
        wanted=numbers[: header["wanted"]],
        seek=header["seek"],
    )
    for _ in range(slots):
        task.free.release()
    no_room = False
    with attach(header["address"], slots * width * height * 3) as memory:
        ring = np.frombuffer(memory, np.uint8).reshape(slots, height, width, 3)
        try:
            converter = Converter(width, height)
            slot = 0
            for index, picture in stretch(asked, pulse):
                task.free.acquire()
                if task.stopped.is_set():
                    return
                try:
                    converter.fill(ring[slot], picture)
                except MemoryError:
                    no_room = True  # said below: this error holds on to the ring
                    break
                except ERRORS:  # a picture of a form that cannot be converted counts as damaged
                    task.free.release()
                    continue
                del picture  # a decoded 4K picture need not live while the ring is full
                wire.send(out, {"kind": "picture", "index": index, "slot": slot})
                slot = (slot + 1) % slots
        finally:
            del ring  # or the memory cannot be unmapped
    if no_room:
        raise MemoryError


def limit_memory(most: int) -> None:
    """Let native allocations fail beyond ``most`` bytes of private memory.

    ``RLIMIT_DATA`` counts what is written to, while ``RLIMIT_AS`` also counts address space that threads and
    the allocator only reserve. Only Linux applies it to mapped memory; elsewhere a thread watches the peak.
    """
    if sys.platform.startswith("linux"):
        import resource

        hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(resource.RLIMIT_DATA, (most, hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    elif sys.platform != "win32":
        threading.Thread(target=_watch, args=(most,), daemon=True).start()


def _watch(most: int) -> None:
    import resource

    unit = 1 if sys.platform == "darwin" else 1024
    while unit * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss <= most:
        time.sleep(0.1)
    os._exit(1)


def held_memory() -> int:
    """Bytes that this process holds in memory now; 0 where that is not known."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return 0


if __name__ == "__main__":
    main()
