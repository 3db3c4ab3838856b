"""The nearest models of a library, on this machine or shared out over any ``concurrent.futures.Executor``.

The library is cut into parts by place. Every part is searched by itself and gives its own k nearest, in double
precision; the k least of all of these are the answer, so it is the same for any way of cutting. A part that a worker
could not do, because it died or because it sees another state of the file, is searched here.

With processes or a cluster the workers map the file themselves, so they need to reach it under the same path. On a
cluster the executor is Dask's ``Client.get_executor()``.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.errors import LibraryError
from swingmatch.library.search.exact import check_query, search
from swingmatch.library.search.feature_file import FeatureFile
from swingmatch.library.search.layout import CHUNK, chunks_for
from swingmatch.library.search.table import Table
from swingmatch.progress import Progress, silent

#: Half-width of the band: with the rows of ``features`` about the quarter of a second that the comparison allows.
RADIUS = 12
#: Models in a part: enough that sending it out is worth it, few enough that progress is seen.
PART_HERE, PART_ELSEWHERE = 65_536, 2_048
STEP = "search"

Found = list[tuple[str, float]]


def nearest(
    features: NDArray[np.floating],
    library: FeatureFile | Table,
    k: int,
    radius: int | None = RADIUS,
    executor: Executor | None = None,
    allowed: Collection[str] | None = None,
    *,
    part: int | None = None,
    progress: Progress = silent,
    stop: Callable[[], bool] | None = None,
) -> Found:
    """The ``k`` models nearest to ``features`` (T, D) as (id, distance), nearest first; equal ones by id.

    The distance is as in ``exact.search``; ``features.in_degrees`` puts it in degrees a segment. There are fewer than
    ``k`` where the library holds fewer that can be compared.

    Parameters
    ----------
    features : as from ``swing_features``; NaN in the columns of what is not known.
    radius : of the band, in rows; None for no band.
    executor : who searches; None for this process, with all its processors.
    allowed : ids that may be found; None for all.
    part : models a part, by default ``PART_HERE`` or ``PART_ELSEWHERE``.
    progress : told the share of parts that are done. stop : asked in between; True ends the search.

    Raises
    ------
    ValueError
        As in ``exact.search``.
    concurrent.futures.CancelledError
        Where ``stop`` said so; parts that have not begun are not done.
    """
    table = library if isinstance(library, Table) else library.table
    query = check_query(features, table)
    size = part or (PART_HERE if executor is None else PART_ELSEWHERE)
    numbers = None if allowed is None else table.numbers(allowed)
    parts = list(_parts(table, size, numbers))
    if not parts:
        search(query, table, k, radius)  # for its errors; there is nothing to find
        return []
    if executor is None:
        results = _here(query, table, k, radius, parts, progress, stop)
    else:
        state = None if isinstance(library, Table) else _State(library.path, library.sequence)
        results = _elsewhere(query, table, state, k, radius, parts, executor, progress, stop)
    found = [pair for result in results for pair in result]
    return sorted(found, key=lambda pair: (pair[1], pair[0].encode("utf-8")))[:k]


@dataclass(frozen=True)
class _Part:
    """Chunks ``first`` to ``last`` of a table, and which of their models (numbers from ``first`` on), None for all."""

    first: int
    last: int
    models: NDArray[np.int64] | None


@dataclass(frozen=True)
class _State:
    """A file of features as it was when it was opened."""

    path: Path
    sequence: int


def _parts(table: Table, size: int, numbers: NDArray[np.int64] | None) -> Iterator[_Part]:
    step = max(1, size // CHUNK)
    for first in range(0, chunks_for(len(table)), step):
        last = min(first + step, chunks_for(len(table)))
        if numbers is None:
            yield _Part(first, last, None)
            continue
        inside = numbers[np.searchsorted(numbers, first * CHUNK) : np.searchsorted(numbers, last * CHUNK)]
        if len(inside):
            yield _Part(first, last, inside - first * CHUNK)


def _here(
    query: NDArray[np.float32],
    table: Table,
    k: int,
    radius: int | None,
    parts: list[_Part],
    progress: Progress,
    stop: Callable[[], bool] | None,
) -> list[Found]:
    results = []
    for done, part in enumerate(parts, start=1):
        if stop is not None and stop():
            raise CancelledError
        whole = len(parts) == 1  # keeps what the table remembers of itself from one search to the next
        some = table if whole else table.part(part.first, part.last)
        results.append(list(search(query, some, k, radius, part.models).found))
        progress(STEP, done / len(parts))
    return results


def _elsewhere(
    query: NDArray[np.float32],
    table: Table,
    state: _State | None,
    k: int,
    radius: int | None,
    parts: list[_Part],
    executor: Executor,
    progress: Progress,
    stop: Callable[[], bool] | None,
) -> list[Found]:
    """Results of all parts, of which ``executor`` does as many as it can."""
    results: list[Found] = []
    waiting: dict[Future[Found], _Part] = {}
    lost: list[_Part] = []
    for part in parts:
        try:
            source = state or table.part(part.first, part.last)
            waiting[executor.submit(_search_part, source, part, query, k, radius)] = part
        except RuntimeError:  # a pool that is broken or shut down
            lost.append(part)
    while waiting or lost:
        if stop is not None and stop():
            for future in waiting:
                future.cancel()
            raise CancelledError
        if lost:
            part = lost.pop()
            results.append(_search_part(table.part(part.first, part.last), part, query, k, radius))
        else:
            done, _ = wait(waiting, timeout=0.1, return_when=FIRST_COMPLETED)
            if not done:
                continue
            future = done.pop()
            part = waiting.pop(future)
            try:
                results.append(future.result())
            except (Exception, CancelledError):  # whatever befell a worker, the part can be done here
                lost.append(part)
                continue
        progress(STEP, len(results) / len(parts))
    return results


def _search_part(
    source: _State | Table, part: _Part, query: NDArray[np.float32], k: int, radius: int | None
) -> Found:
    """One part, by one thread, in whatever process this is."""
    if isinstance(source, _State):
        file = FeatureFile(source.path)
        if file.sequence != source.sequence:
            raise LibraryError(f"{source.path} has changed since the search began.")
        source = file.table.part(part.first, part.last)
    return list(search(query, source, k, radius, part.models, threads=1).found)
