"""``python -m swingmatch.study.cost CLIP...``: what tracking a clip costs against the bare pose model, and its memory.

The bare model looks once at every frame that was tracked, and nothing else is done. Times are of this machine and of
this run; both sides are measured in turn and the median of several rounds is given, with the least and the most.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import Pose, PoseEstimator, make_estimator
from swingmatch.body.watch import watch
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.pipeline import check_clip

#: Seconds between two looks at the memory that is held.
_BEAT = 0.05
#: Pictures that the bare model is timed on; one of so many that tracking asks for is kept.
_BARE, _ONE_OF = 60, 7


@dataclass(frozen=True)
class Cost:
    """What tracking one clip took.

    Attributes
    ----------
    tracked : frames followed at the full rate, of ``frames``. looks : how often the pose model was asked.
    whole : seconds of finding the swings and following the player, decoding included.
    bare : seconds that the pose model takes for as many pictures as were tracked.
    busy, bare_busy : the same of this process alone while it computes. Decoding, in a process of its own, and whatever
        else the machine does are not in them.
    """

    frames: int
    tracked: int
    looks: int
    whole: float
    bare: float
    busy: float
    bare_busy: float

    @property
    def ratio(self) -> float:
        """The whole over the bare pose model, by the clock."""
        return self.whole / self.bare

    @property
    def busy_ratio(self) -> float:
        """The same in this process's own computing time."""
        return self.busy / self.bare_busy


class _Sampled:
    """An estimator that counts its looks and keeps some of the pictures."""

    def __init__(self, inner: PoseEstimator) -> None:
        self._inner = inner
        self.looks = 0
        self.pictures: list[NDArray[np.uint8]] = []

    def estimate(self, picture: NDArray[np.uint8], at: float) -> Pose | None:
        if self.looks % _ONE_OF == 0:
            self.pictures = [*self.pictures[1 - _BARE :], picture]
        self.looks += 1
        return self._inner.estimate(picture, at)

    def restart(self) -> None:
        self._inner.restart()

    def close(self) -> None:
        self._inner.close()


def tracking_cost(clip: Clip, estimator: PoseEstimator) -> Cost:
    """Track a clip as the tool does, and time the bare pose model on some of the same pictures, both on this machine.

    Raises ``SwingmatchError`` where there is nobody to track.
    """
    onsets = strike_onsets(clip)

    def read(
        start: float | None, stop: float | None, tallest: int, every: float | None = None
    ) -> Iterable[Frame]:
        return frames(clip, start, stop, max_height=tallest, every=every)

    sampled = _Sampled(estimator)
    start, busy = time.perf_counter(), time.process_time()
    track = watch(read, clip.times, sampled, onsets=onsets)
    whole, busy = time.perf_counter() - start, time.process_time() - busy
    tracked = int((~track.skipped).sum())
    bare, bare_busy = bare_seconds(sampled.pictures, estimator)
    return Cost(len(clip.times), tracked, sampled.looks, whole, tracked * bare, busy, tracked * bare_busy)


def bare_seconds(pictures: Sequence[NDArray[np.uint8]], estimator: PoseEstimator) -> tuple[float, float]:
    """Seconds of one look of a pose model that follows somebody, by the clock and of computing.

    Means over pictures that are in memory.
    """
    estimator.restart()
    for picture in pictures[:3]:  # finding somebody afresh is no part of it
        estimator.estimate(picture, 0.0)
    start, busy = time.perf_counter(), time.process_time()
    for picture in pictures:
        estimator.estimate(picture, 0.0)
    return (time.perf_counter() - start) / len(pictures), (time.process_time() - busy) / len(pictures)


@dataclass
class Memory:
    """Most memory held at one time, bytes: by this process, and with all the processes it started."""

    own: int = 0
    everything: int = 0


@contextlib.contextmanager
def memory_watched(beat: float = _BEAT) -> Iterator[Memory]:
    """Watch the memory of this process and of those it started while the block runs; on Linux only, 0 elsewhere.

    Pages that two processes share are counted in both, so that the sum is rather too high.
    """
    most, over = Memory(), threading.Event()

    def watch_memory() -> None:
        while True:
            held = _held()
            most.own = max(most.own, held[0])
            most.everything = max(most.everything, sum(held))
            if over.wait(beat):
                return

    watcher = threading.Thread(target=watch_memory, daemon=True)
    watcher.start()
    try:
        yield most
    finally:
        over.set()
        watcher.join()


def _held() -> list[int]:
    """Resident bytes of this process, then of each one below it."""
    parents: dict[int, int] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, IndexError, ValueError):
            # The name may hold blanks; what follows it does not.
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
    family = [os.getpid()]
    for member in family:
        family += [child for child, parent in parents.items() if parent == member]
    return [_resident(member) for member in family]


def _resident(process: int) -> int:
    with contextlib.suppress(OSError, IndexError, ValueError):
        return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return 0


def main() -> None:
    """Measure the clips that are named."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.cost", description=__doc__)
    parser.add_argument("clips", nargs="+", type=Path)
    parser.add_argument("--rounds", type=int, default=3, help="how often each is tracked (default: 3)")
    parser.add_argument(
        "--memory", action="store_true", help="check each clip as a whole and measure memory instead"
    )
    words = parser.parse_args()
    print(
        "| clip | length, s | frames | tracked | looks | whole over bare, by the clock | computing | memory, MB |"
    )
    print("|---|---|---|---|---|---|---|---|")
    with contextlib.closing(make_estimator()) as estimator:
        for path in words.clips:
            print(_row(path, estimator, 0 if words.memory else words.rounds), flush=True)


def _row(path: Path, estimator: PoseEstimator, rounds: int) -> str:
    clip = open_clip(path)
    start = f"| {path.stem} | {clip.duration:.0f} | {len(clip.times)} |"
    if not rounds:
        with memory_watched() as memory:
            check_clip(path, estimator=estimator)
        return f"{start} | | | | {memory.everything / 1e6:.0f}, of it here {memory.own / 1e6:.0f} |"
    with memory_watched() as memory:
        costs = [tracking_cost(clip, estimator) for _ in range(rounds)]
    clock, computing = (_spread([getattr(cost, name) for cost in costs]) for name in ("ratio", "busy_ratio"))
    return f"{start} {costs[0].tracked} | {costs[0].looks} | {clock} | {computing} | {memory.everything / 1e6:.0f} |"


def _spread(values: Sequence[float]) -> str:
    return f"{np.median(values):.2f} ({min(values):.2f} to {max(values):.2f})"


if __name__ == "__main__":
    main()
