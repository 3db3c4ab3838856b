"""Processes that decode: started when needed, kept for the next clip, killed when they crash, hang or swell.

Decoders are native code that works on strangers' files. Here they run in a child process that shares nothing
with this one but two pipes and a ring of pictures, so that the worst file costs one sentence. The child is a
fresh interpreter that imports PyAV and NumPy alone: nothing is forked, and the caller's main module is not
run again.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import math
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from swingmatch.clip import wire
from swingmatch.clip.ring import Block
from swingmatch.errors import ClipError, SetupError

#: What the child runs; the caller's search path is given, as it may have been changed since the start.
BOOT = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from swingmatch.clip.worker import main; main()"
)
_KEPT = 2  # children that wait for work
_START = 30.0  # seconds that a fresh interpreter may take on a busy computer
_SETTLE = 2.0  # seconds that a child has to drop what it does
_MALLOC = {"MALLOC_ARENA_MAX": "2", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
_LARGE = 256 * 1024 * 1024  # bytes that a child may still hold after a task and be kept


@dataclass(frozen=True)
class Limits:
    """What decoding one clip may take.

    Attributes
    ----------
    silence : seconds without a sign of life after which the child is killed.
    memory : bytes of private memory; a 4K HEVC film of 10 bits takes about 350 MB.
    rate : bytes of the file a second that opening must get through, after one ``silence``.
    """

    silence: float = 20.0
    memory: int = 640 * 1024 * 1024
    rate: float = 5e6


class DecoderLost(ClipError):
    """The decoding process crashed, hung or took too much memory, and was ended; others go on."""


class DecoderFault(Exception):
    """The cause of a ClipError that is a mistake of this program, with the child's own traceback."""


_limits = Limits()
_idle: list[Child] = []
_lock = threading.Lock()


@contextlib.contextmanager
def limited(limits: Limits) -> Iterator[None]:
    """Read under other limits within the block; not meant for several threads at once."""
    global _limits
    before, _limits = _limits, limits
    try:
        yield
    finally:
        _limits = before


class Child:
    """One decoding process and the ring it fills."""

    def __init__(self, limits: Limits) -> None:
        if not sys.executable:
            raise SetupError("The Python program was not found; please run swingmatch with a usual Python.")
        self.limits = limits
        self.block = Block()
        self.busy = False
        self._owner = os.getpid()
        self._started = False
        self._large = False
        arguments = json.dumps([str(p) for p in sys.path]), str(limits.memory)
        try:
            self.process = subprocess.Popen(
                [sys.executable, "-c", BOOT, *arguments],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, **_MALLOC},
                pass_fds=self.block.inherited,
                start_new_session=True,  # Ctrl-C is for the reader, which then ends the child
            )
        except OSError as error:
            self.block.close()
            raise SetupError(
                f"The process that decodes films could not be started ({error.strerror}); "
                "please close other programs and try again."
            ) from error
        self._inbox: queue.SimpleQueue[wire.Message | None] = queue.SimpleQueue()
        threading.Thread(
            target=_listen, args=(self.process.stdout, self._inbox), name="swingmatch-child", daemon=True
        ).start()

    @property
    def mine(self) -> bool:
        """Whether this process started the child; a fork of it did not."""
        return self._owner == os.getpid()

    @property
    def reusable(self) -> bool:
        """Whether the child lives, is idle and has stayed small."""
        return not self.busy and not self._large and self.process.poll() is None

    def ask(self, header: dict[str, Any], block: bytes = b"") -> None:
        """Give a task; its answers come from :meth:`answer` up to one of kind ``done``."""
        self.busy = True
        self.tell(header, block)

    def tell(self, header: dict[str, Any], block: bytes = b"") -> None:
        """Send a message; a child that is gone is noticed by :meth:`answer`."""
        with contextlib.suppress(OSError, ValueError):
            wire.send(self.process.stdin, header, block)  # type: ignore[arg-type]

    def answer(self, name: str, within: float | None = None) -> wire.Message:
        """The next message of the present task.

        Parameters
        ----------
        name : of the clip, for the sentence.
        within : seconds from the first sign of life in which the answer must come, further signs or not.

        Raises
        ------
        ClipError
            What the child says about the clip; a :class:`DecoderLost` when it is gone or silent.
        SetupError
            When it never began to work.
        """
        deadline = math.inf
        while True:
            patience = self.limits.silence if self._started else max(_START, self.limits.silence)
            try:
                message = self._inbox.get(timeout=patience)
            except queue.Empty:
                self.kill()
                raise DecoderLost(
                    f"{name} gave no answer for {patience:g} s while it was decoded; "
                    "please export it as MP4 with H.264."
                ) from None
            if message is None:
                self.kill()
                if not self._started:
                    raise SetupError(
                        "The process that decodes films stopped before its work began; "
                        "please install swingmatch again."
                    )
                raise DecoderLost(
                    f"{name} made the decoder crash; please send it again or export it as MP4 with H.264."
                )
            self._started = True
            header, block = message
            kind = header.get("kind")
            if kind == "alive":
                now = time.monotonic()
                if within is not None:
                    deadline = min(deadline, now + within)
                if now > deadline:
                    self.kill()
                    raise DecoderLost(f"{name} takes too long to open; please export it as MP4 with H.264.")
                continue
            if kind in ("done", "refused", "fault", "memory"):
                self.busy = False
                self._large = header.get("held", 0) > _LARGE
            if kind == "refused":
                raise ClipError(header["text"])
            if kind == "memory":
                self.kill()
                raise DecoderLost(
                    f"{name} needs more than {self.limits.memory / 1e6:.0f} MB of memory to be decoded; "
                    "please send it again or export it at 1080p."
                )
            if kind == "fault":
                self.kill()
                raise ClipError(
                    f"{name} could not be read; please export it as MP4 with H.264."
                ) from DecoderFault(header["text"])
            return header, block

    def settle(self) -> bool:
        """Have the child drop its task; whether it did in time."""
        self.tell({"do": "stop"})
        deadline = time.monotonic() + _SETTLE
        while self.busy:
            try:
                message = self._inbox.get(timeout=max(0.0, deadline - time.monotonic()))
            except queue.Empty:
                return False
            if message is None:
                return False
            if message[0].get("kind") in ("done", "refused"):
                self.busy = False
        return True

    def kill(self) -> None:
        """End the child at once and take its last status; may be called twice."""
        if not self.mine:
            return
        self.process.kill()
        self._tidy()

    def quit(self) -> None:
        """End an idle child: it goes when its input ends."""
        if not self.mine:
            return
        with contextlib.suppress(OSError, ValueError):
            self.process.stdin.close()  # type: ignore[union-attr]
        try:
            self.process.wait(_SETTLE)
        except subprocess.TimeoutExpired:
            self.process.kill()
        self._tidy()

    def _tidy(self) -> None:
        self.process.wait()
        with contextlib.suppress(OSError, ValueError):
            self.process.stdin.close()  # type: ignore[union-attr]
        self.block.close()


def _listen(stream: Any, inbox: queue.SimpleQueue[wire.Message | None]) -> None:
    """Move messages to the inbox; None when the child is gone or talks nonsense."""
    with contextlib.suppress(Exception), stream:
        while (message := wire.receive(stream)) is not None:
            inbox.put(message)
    inbox.put(None)


@contextlib.contextmanager
def borrowed() -> Iterator[Child]:
    """A child for one task: an idle one, or a new one; kept for the next task where it is still sound."""
    child = _take()
    try:
        yield child
    except (ClipError, GeneratorExit):
        _give_back(child)
        raise
    except BaseException:
        child.kill()
        raise
    else:
        _give_back(child)


def _take() -> Child:
    with _lock:
        while _idle:
            child = _idle.pop()
            if child.reusable and child.limits == _limits:
                return child
            child.quit()
    return Child(_limits)


def _give_back(child: Child) -> None:
    if not child.mine:
        return
    if child.busy and child.process.poll() is None and not child.settle():
        child.kill()
    if not child.reusable:
        child.kill()
        return
    child.block.empty()
    with _lock:
        if len(_idle) < _KEPT:
            _idle.append(child)
            return
    child.quit()


def end_children() -> None:
    """End the children that wait for work; done by itself when the program ends."""
    with _lock:
        while _idle:
            _idle.pop().quit()


def _forget() -> None:
    """In a fork of this process: the children and the lock belong to the original."""
    global _lock
    _lock = threading.Lock()
    _idle.clear()


atexit.register(end_children)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget)
