"""Processes that make examples while the network learns, and the store from which it draws them."""

from __future__ import annotations

import multiprocessing
import multiprocessing.synchronize
import queue
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import shared_memory
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor

from swingmatch.study.sight.clips import examples
from swingmatch.study.sight.pictures import Example, Studio
from swingmatch.study.sight.settings import CANVAS, SightSettings

#: Examples handed over at once, and numbers of an example beside its picture: arm, points, shows, present.
BLOCK, NUMBERS = 16, 4 + 10 + 5 + 1
_PLANES = (5, CANVAS, CANVAS)


def numbers_of(example: Example) -> np.ndarray:
    """(NUMBERS,) the labels in one row."""
    parts = (example.arm.ravel(), example.points.ravel(), example.shows, [example.present])
    return np.concatenate(parts).astype(np.float32)


def _work(seed: int, clips: Sequence[Path], settings: SightSettings, name: str, free, full) -> None:  # type: ignore[no-untyped-def]
    cv2.setNumThreads(1)
    memory = shared_memory.SharedMemory(name=name)
    size = BLOCK * int(np.prod(_PLANES))
    rng = np.random.default_rng([settings.seed, seed, 7])
    film = [e for path in clips for e in examples(path, rng)]
    studio = Studio(1000 * settings.seed + seed)
    while True:
        slot = free.get()
        pictures: np.ndarray = np.ndarray((BLOCK, *_PLANES), np.uint8, memory.buf, slot * size)
        rows = []
        for n in range(BLOCK):
            from_film = bool(film) and rng.random() < settings.film
            example = film[int(rng.integers(len(film)))] if from_film else studio.example()
            pictures[n] = example.planes
            rows.append(numbers_of(example))
        full.put((slot, np.stack(rows)))


class Feed:
    """Starts the processes; ``take`` moves what they have made into a ``Store``. Start it before CUDA is touched."""

    def __init__(self, settings: SightSettings, clips: Sequence[Path]) -> None:
        context = multiprocessing.get_context("fork")
        slots = 4 * settings.workers
        self._size = BLOCK * int(np.prod(_PLANES))
        self._memory = shared_memory.SharedMemory(create=True, size=slots * self._size)
        self._free, self._full = context.Queue(), context.Queue()
        for slot in range(slots):
            self._free.put(slot)
        self._processes = [
            context.Process(
                target=_work,
                args=(k, clips[k :: settings.workers], settings, self._memory.name, self._free, self._full),
                daemon=True,
            )
            for k in range(settings.workers)
        ]
        for process in self._processes:
            process.start()

    def take(self, store: Store, wait: float = 0.0) -> int:
        """Move all finished blocks over; waits up to ``wait`` seconds for the first. Gives the number of examples."""
        taken = 0
        while True:
            try:
                slot, rows = self._full.get(timeout=wait) if wait and not taken else self._full.get_nowait()
            except queue.Empty:
                if not any(p.is_alive() for p in self._processes):
                    raise RuntimeError("the processes that make pictures have ended") from None
                return taken
            planes: np.ndarray = np.ndarray((BLOCK, *_PLANES), np.uint8, self._memory.buf, slot * self._size)
            store.add(torch.from_numpy(planes), torch.from_numpy(rows))
            self._free.put(slot)
            taken += BLOCK

    def stop(self) -> None:
        """End the processes."""
        for process in self._processes:
            process.terminate()
        for process in self._processes:
            process.join()
        self._memory.close()
        self._memory.unlink()


@dataclass
class Store:
    """The newest examples, on the device that learns: ``planes`` (N, 5, C, C) bytes, ``rows`` (N, NUMBERS)."""

    planes: Tensor
    rows: Tensor
    made: int = 0

    @staticmethod
    def empty(count: int, device: str) -> Store:
        """Room for ``count`` examples."""
        return Store(
            torch.zeros((count, *_PLANES), dtype=torch.uint8, device=device),
            torch.zeros((count, NUMBERS), device=device),
        )

    def add(self, planes: Tensor, rows: Tensor) -> None:
        """Put examples in place of the oldest."""
        at = self.made % (len(self.planes) // BLOCK * BLOCK)
        self.planes[at : at + len(planes)] = planes.to(self.planes.device)
        self.rows[at : at + len(rows)] = rows.to(self.rows.device)
        self.made += len(planes)

    @property
    def held(self) -> int:
        """How many there are."""
        return min(self.made, len(self.planes) // BLOCK * BLOCK)
