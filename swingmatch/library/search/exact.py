"""The k models nearest to a query in one table: exactly those that measuring every one gives, ties settled by id."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.library.search import kernels
from swingmatch.library.search.layout import CHUNK, LARGEST, coarse_of
from swingmatch.library.search.table import Table

#: Fewer models than this are not worth a second thread.
FEW = 512


@dataclass(frozen=True)
class Search:
    """What a search found, and what it took.

    Attributes
    ----------
    found : (id, distance), nearest first, at most k.
    cells : cells of the warping tables that were computed. all_cells : cells there are in all of them.
    measured : models whose distance was not given up.
    """

    found: tuple[tuple[str, float], ...]
    cells: int
    all_cells: int
    measured: int


def search(
    query: NDArray[np.floating],
    table: Table,
    k: int,
    radius: int | None,
    models: NDArray[np.int64] | None = None,
    threads: int | None = None,
) -> Search:
    """The ``k`` models of ``table`` with the least distance to ``query`` (T, D).

    The distance is that of ``swingmatch.align.dtw`` over the columns that both know, divided by the square root of
    their share, so that it does not shrink with what is hidden. The query is rounded to single precision, as models
    are. A model without a column in common is never found. Of equal distances the lower id comes first.

    Parameters
    ----------
    radius : of the band, in rows; None for no band.
    models : numbers of the models to look at, rising; None for all.
    threads : at most so many; None for as many as there are processors.

    Raises
    ------
    ValueError
        For a query of another shape, known in part of a column only or infinite, k below 1 or a negative radius.
    """
    layout = table.layout
    values = check_query(query, table)
    if k < 1:
        raise ValueError(f"k is {k}, expected 1 or more")
    if radius is not None and radius < 0:
        raise ValueError(f"radius is {radius}, expected 0 or more")
    band = layout.frames - 1 if radius is None else min(int(radius), layout.frames - 1)
    threads = _processors() if threads is None else max(1, threads)

    groups = list(_groups(values, table, models))
    total = sum(len(group.models) for group in groups)
    threads = threads if total >= FEW else 1
    best = np.full((threads, k), np.inf)
    runs = [(group, _Run(group, table, values, band, best)) for group in groups]
    with ThreadPoolExecutor(threads) if threads > 1 else nullcontext() as pool:
        cells = sum(run(pool) for _, run in runs)
    return Search(
        found=_settle(values, table, k, band, runs),
        cells=cells,
        all_cells=total * table_cells(layout.frames, band),
        measured=sum(int(np.isfinite(run.values).sum()) for _, run in runs),
    )


def table_cells(frames: int, radius: int) -> int:
    """Cells of one warping table within the band."""
    return sum(min(frames - 1, i + radius) - max(0, i - radius) + 1 for i in range(frames))


def check_query(query: NDArray[np.floating], table: Table) -> NDArray[np.float32]:
    """The query as the search takes it, or a ValueError."""
    with np.errstate(over="ignore"):
        values = np.ascontiguousarray(query, dtype=np.float32)
    if values.shape != (table.layout.frames, table.layout.columns):
        raise ValueError(
            f"the query has shape {values.shape}, expected ({table.layout.frames}, {table.layout.columns})"
        )
    missing = np.isnan(values)
    if (missing.any(axis=0) & ~missing.all(axis=0)).any():
        raise ValueError(
            "a column of the query is missing in part; it has to be known in every row or in none"
        )
    if missing.all():
        raise ValueError("the query has no known column")
    if not (np.abs(values[~missing]) <= LARGEST).all():
        raise ValueError(f"a feature of the query is infinite or beyond {LARGEST:g}")
    return values


@dataclass(frozen=True)
class _Group:
    """Models (M,) that are compared with the query in the same ``columns`` (C,), which have this ``share``."""

    models: NDArray[np.int64]
    columns: NDArray[np.int64]
    share: float


def _groups(query: NDArray[np.float32], table: Table, models: NDArray[np.int64] | None) -> Iterator[_Group]:
    """Models by what they and the query know, the largest group first."""
    known = ~np.isnan(query[0])
    places = np.arange(table.layout.columns, dtype=np.uint64)
    for bits, members in table.groups:
        there = ((np.uint64(bits) >> places) & np.uint64(1)).astype(bool)
        columns = np.flatnonzero(known & there)
        if models is not None:
            members = np.intersect1d(members, models, assume_unique=True)
        if len(columns) and len(members):
            share = 1.0 if len(columns) == len(known) else float(table.shares[columns].sum())
            yield _Group(members, columns, share)


class _Run:
    """One group's search: bounds, the likeliest models, then all that can still be nearer.

    After a call ``models`` are those that were looked at and ``values`` their squared distances in single precision,
    infinite where given up.
    """

    def __init__(
        self, group: _Group, table: Table, query: NDArray[np.float32], radius: int, best: NDArray[np.float64]
    ) -> None:
        self._group, self._table, self._radius, self._best = group, table, radius, best
        self._slack = kernels.margin(table.layout.frames, table.layout.columns)
        own = query[:, group.columns]
        coarse = coarse_of(own[None])[:, :, 0]
        empty = ((0, 0), (0, -own.shape[1] % kernels.TOGETHER))
        self._query, self._means = np.pad(own, empty), np.ascontiguousarray(coarse[:, :-1])
        self._radii = np.ascontiguousarray(coarse[:, -1])
        self.models = np.zeros(0, dtype=np.int64)
        self.values = np.zeros(0)

    def __call__(self, pool: Executor | None) -> int:
        """Search, with the threads of ``pool``; returns how many cells were computed."""
        bounds = self._bounds(pool)
        likeliest = min(len(bounds), max(self._best.shape[1], kernels.LANES))
        first = np.argpartition(bounds, likeliest - 1)[:likeliest]
        cells = self._scan(first, bounds, None)
        left = bounds <= self._limit()
        left[first] = False
        return cells + self._scan(np.flatnonzero(left), bounds, pool)

    def _limit(self) -> float:
        """What a squared distance in the group's columns may be at most, to be among the k smallest still."""
        return float(self._best[:, -1].min() * self._group.share * (1 + self._slack) + kernels.TINY)

    def _bounds(self, pool: Executor | None) -> NDArray[np.float32]:
        """Lower bounds of the group's models (M,)."""
        chunks = np.unique(self._group.models // CHUNK)
        self._remaining = np.empty((len(chunks), self._table.layout.segments, CHUNK), dtype=np.float32)

        def part(some: slice) -> None:
            kernels.bound(
                self._table.flat,
                self._table.layout.geometry,
                self._means,
                self._radii,
                self._group.columns,
                self._radius,
                self._slack,
                chunks[some],
                self._remaining[some],
            )

        _each(part, _slices(len(chunks), len(self._best) if pool else 1), pool)
        place = self._group.models % CHUNK
        self._where = np.searchsorted(chunks, self._group.models // CHUNK) * CHUNK + place
        return self._remaining[self._where // CHUNK, 0, place]

    def _scan(self, which: NDArray[np.int64], bounds: NDArray[np.float32], pool: Executor | None) -> int:
        """Measure the group's models ``which``, those of the least bounds first."""
        if len(which) == 0:
            return 0
        which = which[np.argsort(bounds[which], kind="stable")]
        models, rising, where = self._group.models[which], bounds[which], self._where[which]
        values = np.full(len(which), np.inf)
        step = len(self._best) if pool else 1

        def part(slot: int) -> int:
            return kernels.scan(
                self._table.flat,
                self._table.layout.geometry,
                self._query,
                self._group.columns,
                self._radius,
                self._slack,
                self._group.share,
                models,
                rising,
                self._remaining,
                where,
                slot,
                step,
                self._best,
                slot,
                values,
            )

        cells = sum(_each(part, range(step), pool))
        self.models = np.concatenate([self.models, models])
        self.values = np.concatenate([self.values, values])
        return cells


def _settle(
    query: NDArray[np.float32], table: Table, k: int, radius: int, runs: list[tuple[_Group, _Run]]
) -> tuple[tuple[str, float], ...]:
    """The k nearest in double precision, of all whose rough value says that they can be among them."""
    rough = np.concatenate([run.values for _, run in runs]) if runs else np.zeros(0)
    if len(rough) == 0:
        return ()
    last = np.partition(rough, min(k, len(rough)) - 1)[min(k, len(rough)) - 1]
    limit = last * (1 + kernels.margin(table.layout.frames, table.layout.columns)) + kernels.TINY
    keys, distances = [], []
    for group, run in runs:
        models = run.models[(run.values <= limit) & np.isfinite(run.values)]
        distances.append(measure(query, table, models, group.columns, radius, group.share))
        keys.append(table.keys[models])
    key, distance = np.concatenate(keys), np.concatenate(distances)
    order = np.lexsort((key, distance))[:k]
    return tuple((key[n].decode("utf-8"), float(distance[n])) for n in order)


def measure(
    query: NDArray[np.float32],
    table: Table,
    models: NDArray[np.int64],
    columns: NDArray[np.int64],
    radius: int,
    share: float = 1.0,
) -> NDArray[np.float64]:
    """Distances of ``models`` (M,) in ``columns``, one by one in double precision: (M,)."""
    out = np.empty(len(models))
    own = np.ascontiguousarray(query[:, columns])
    kernels.exact(table.flat, table.layout.geometry, own, columns, radius, models, out)
    return np.sqrt(out / share)


def _processors() -> int:
    """Processors that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _slices(count: int, parts: int) -> list[slice]:
    edges = np.linspace(0, count, parts + 1).astype(int).tolist()
    return [slice(a, b) for a, b in itertools.pairwise(edges) if b > a]


def _each(function: Callable[[Any], Any], parts: Iterable[Any], pool: Executor | None) -> list[Any]:
    return list(pool.map(function, parts) if pool else map(function, parts))
