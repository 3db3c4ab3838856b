"""The compiled core of the search: dynamic time warping of one query against many models at once.

For a query q and a model x, both (T, D), and c(i, j) = sum_d (q[i, d] - x[j, d])^2,

    A(0, 0) = c(0, 0)
    A(i, j) = c(i, j) + min(A(i-1, j-1), A(i-1, j), A(i, j-1))     for |i - j| <= radius

and the distance is sqrt(A(T-1, T-1)), as in ``swingmatch.align.dtw``. Everything here works on its square.

``scan`` does 8 models side by side in single precision, the model being the fastest index, so that the processor's
wide registers are full whatever the band. Sums of squares lose little in single precision: every term is at least 0, so
the relative error of A is at most that of one term times the number of additions on a path (``margin``). What ``scan``
keeps within that margin is measured again by ``exact`` in double precision.

**The bound.** Cut both series into segments of ``SEGMENT`` rows, with means Q_I, X_J, and radii e_I, f_J within which
all rows of a segment lie of its mean. By the triangle inequality a row i of segment I and a row j of segment J are at
least g(I, J) = max(0, |Q_I - X_J| - e_I - f_J) apart. A path visits every row i of the query in at least one cell, and
this cell lies in one of the segments J that the band reaches from I. So over any set of whole segments I, what a path
gathers in their rows is at least

    sum_I (rows of I) min_J g(I, J)^2.

Over all segments that bounds the whole, and models are taken in the order of it; over the segments still to come it
bounds what is missing from a table that is half done, which is given up as soon as both together are too much.
(The triangle inequality as a bound and giving up early are as old as fast searching; see Rakthanmanon et al., KDD 2012,
for both on time series. The proof above is short enough to check by itself.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.library.search.compiled import compiled
from swingmatch.library.search.layout import CHUNK, SEGMENT

#: Models side by side in ``scan``, what one wide register takes; with more their rows leave the near cache.
LANES = 8
#: Columns that are taken in one go; a query is filled up with empty columns to a multiple of it.
TOGETHER = 6
#: Rows of the models that are brought side by side in one go; those behind a table given up are never read.
PACKED = 20
#: Covers what is lost where squares are too small for single precision: less than 2^-149 each, some 10^5 times.
TINY = 1.0e-35
_INF = np.float32(np.inf)
_ZERO = np.float32(0.0)

#: Place of things in a flat view of a table, in floats: (of a chunk, to coarse, to features, T, D, S).
Geometry = tuple[int, int, int, int, int, int]
Floats = NDArray[np.float32]


def margin(frames: int, columns: int) -> float:
    """By how much, relative, two squared distances may differ in single precision and yet be in either order.

    With u = 2^-24, a difference, its square and D - 1 additions give a factor (1 + u)^(D + 2) at most, 2 T - 1 cells on
    a path another (1 + u)^(2 T), and dividing by a share one more: an error of about (2 T + D + 3) u for the value and
    as much for the limit. Twice that is taken, which also covers the bound's square root and sums.
    """
    return 4.0 * (2 * frames + columns + 8) * 2.0**-24


@compiled(fused=True)
def bound(
    flat: Floats,
    geometry: Geometry,
    means: Floats,
    radii: Floats,
    columns: NDArray[np.int64],
    radius: int,
    slack: float,
    chunks: NDArray[np.int64],
    out: Floats,
) -> None:
    """What all models of some chunks cost at least from each segment of the query on: ``out`` (chunks, S, CHUNK).

    So ``out[:, 0]`` bounds the squared distance. ``means`` (S, C) and ``radii`` (S,) of the query, in the ``columns``
    (C,) that are compared; ``slack`` makes up for rounding.
    """
    chunk_size, coarse_at, _, frames, wide, segments = geometry
    count = len(columns)
    gap = np.empty(CHUNK, np.float32)
    least = np.empty(CHUNK, np.float32)
    total = np.empty(CHUNK, np.float32)
    down, up = np.float32(1.0 - slack), np.float32(1.0 + slack)
    for number in range(len(chunks)):
        base = chunks[number] * chunk_size + coarse_at
        total[:] = _ZERO
        for own in range(segments - 1, -1, -1):
            start = own * SEGMENT
            stop = min(start + SEGMENT, frames)
            least[:] = _INF
            for other in range(
                max(0, start - radius) // SEGMENT, min(frames - 1, stop - 1 + radius) // SEGMENT + 1
            ):
                row = base + other * (wide + 1) * CHUNK
                gap[:] = _ZERO
                whole = count - count % 3
                for c in range(0, whole, 3):
                    m0, m1, m2 = means[own, c], means[own, c + 1], means[own, c + 2]
                    at0, at1, at2 = columns[c] * CHUNK, columns[c + 1] * CHUNK, columns[c + 2] * CHUNK
                    x0 = flat[row + at0 : row + at0 + CHUNK]
                    x1 = flat[row + at1 : row + at1 + CHUNK]
                    x2 = flat[row + at2 : row + at2 + CHUNK]
                    for n in range(CHUNK):
                        d0, d1, d2 = m0 - x0[n], m1 - x1[n], m2 - x2[n]
                        gap[n] += d0 * d0 + d1 * d1 + d2 * d2
                for c in range(whole, count):
                    m0 = means[own, c]
                    x0 = flat[row + columns[c] * CHUNK : row + columns[c] * CHUNK + CHUNK]
                    for n in range(CHUNK):
                        d0 = m0 - x0[n]
                        gap[n] += d0 * d0
                away = flat[row + wide * CHUNK : row + wide * CHUNK + CHUNK]
                own_away = radii[own]
                for n in range(CHUNK):
                    g = np.sqrt(gap[n]) * down - (own_away + away[n]) * up
                    g = g if g > _ZERO else _ZERO
                    g = g * g
                    least[n] = g if g < least[n] else least[n]
            rows = np.float32(stop - start)
            here = out[number, own]
            for n in range(CHUNK):
                total[n] += rows * least[n]
                here[n] = total[n] * down


@compiled()
def _pack(
    flat: Floats,
    at: NDArray[np.int64],
    wide: int,
    columns: NDArray[np.int64],
    first: int,
    last: int,
    pack: Floats,
) -> None:
    """Put rows ``first`` to ``last`` of the models at ``at`` (LANES,) side by side: ``pack`` (C, T * LANES)."""
    for j in range(first, last):
        for n in range(0, LANES, 8):
            a = j * wide
            b = a + wide
            r0, r1 = flat[at[n] + a : at[n] + b], flat[at[n + 1] + a : at[n + 1] + b]
            r2, r3 = flat[at[n + 2] + a : at[n + 2] + b], flat[at[n + 3] + a : at[n + 3] + b]
            r4, r5 = flat[at[n + 4] + a : at[n + 4] + b], flat[at[n + 5] + a : at[n + 5] + b]
            r6, r7 = flat[at[n + 6] + a : at[n + 6] + b], flat[at[n + 7] + a : at[n + 7] + b]
            for c in range(len(columns)):
                d = np.uint64(columns[c])  # unsigned, so that no negative index has to be thought of
                out = pack[c, j * LANES + n : j * LANES + n + 8]
                out[0], out[1], out[2], out[3] = r0[d], r1[d], r2[d], r3[d]
                out[4], out[5], out[6], out[7] = r4[d], r5[d], r6[d], r7[d]


@compiled(fused=True)
def _costs(query: Floats, pack: Floats, start: int, end: int, cost: Floats) -> None:
    """c(i, j) of one row of the query (C,) and the places ``start`` to ``end`` of ``pack``: ``cost``, from 0 on."""
    for c in range(0, len(query), TOGETHER):
        q0, q1, q2 = query[c], query[c + 1], query[c + 2]
        q3, q4, q5 = query[c + 3], query[c + 4], query[c + 5]
        x0, x1, x2 = pack[c, start:end], pack[c + 1, start:end], pack[c + 2, start:end]
        x3, x4, x5 = pack[c + 3, start:end], pack[c + 4, start:end], pack[c + 5, start:end]
        if c == 0:
            for x in range(end - start):
                d0, d1, d2 = q0 - x0[x], q1 - x1[x], q2 - x2[x]
                d3, d4, d5 = q3 - x3[x], q4 - x4[x], q5 - x5[x]
                cost[x] = d0 * d0 + d1 * d1 + d2 * d2 + d3 * d3 + d4 * d4 + d5 * d5
        else:
            for x in range(end - start):
                d0, d1, d2 = q0 - x0[x], q1 - x1[x], q2 - x2[x]
                d3, d4, d5 = q3 - x3[x], q4 - x4[x], q5 - x5[x]
                cost[x] += d0 * d0 + d1 * d1 + d2 * d2 + d3 * d3 + d4 * d4 + d5 * d5


@compiled()
def _step(before: Floats, now: Floats, cost: Floats, low: Floats, start: int, end: int, first: bool) -> None:
    """One row of the tables: ``now`` from the row ``before``; ``start`` to ``end`` as in ``_costs``."""
    size = end - start
    current = now[start : end + LANES]
    for n in range(LANES):
        current[n] = _INF
    if first:
        for n in range(LANES):
            current[LANES + n] = cost[n]
        for x in range(LANES, size):
            current[x + LANES] = cost[x] + current[x]
    else:
        slanted, straight = before[start:end], before[start + LANES : end + LANES]
        for x in range(size):
            low[x] = slanted[x] if slanted[x] < straight[x] else straight[x]
        for x in range(size):
            m, z = low[x], current[x]
            current[x + LANES] = cost[x] + (m if m < z else z)
    # The next row reaches one column further, where this one has no value.
    after = now[end + LANES : end + 2 * LANES]
    for n in range(len(after)):
        after[n] = _INF


@compiled()
def _least(row: Floats, start: int, end: int, out: Floats) -> None:
    """The least value of each model in a row of the tables: ``out`` (LANES,)."""
    for n in range(LANES):
        out[n] = row[start + LANES + n]
    for x in range(start + 2 * LANES, end + LANES, LANES):
        for n in range(LANES):
            out[n] = row[x + n] if row[x + n] < out[n] else out[n]


@compiled(fused=True)
def scan(
    flat: Floats,
    geometry: Geometry,
    query: Floats,
    columns: NDArray[np.int64],
    radius: int,
    slack: float,
    share: float,
    models: NDArray[np.int64],
    bounds: Floats,
    remaining: Floats,
    where: NDArray[np.int64],
    first: int,
    step: int,
    best: NDArray[np.float64],
    slot: int,
    out: NDArray[np.float64],
) -> int:
    """Squared distances, divided by ``share``, of the models that can be among the k nearest; returns cells computed.

    ``query`` (T, C) in the ``columns`` that are compared, filled up with empty columns to a multiple of ``TOGETHER``.
    ``models`` (M,) by rising ``bounds`` (M,), each at place ``where`` (M,) of the chunks of ``remaining``, which is
    what ``bound`` gives; those of batch ``first``, ``first + step``, ... are done here. ``best`` (threads, k), infinite
    at first: each row holds the k smallest values that one thread has found, rising, so the smallest of the last ones
    is no less than the k-th smallest of all. ``out`` (M,): a model that is given up stays infinite.
    """
    chunk_size, _, features_at, frames, wide, segments = geometry
    pack = np.zeros((query.shape[1], frames * LANES), np.float32)
    # Row i of the table, shifted by one column: place (j + 1) * LANES + n is A(i, j) of model n.
    before = np.empty((frames + 2) * LANES, np.float32)
    now = np.empty((frames + 2) * LANES, np.float32)
    cost = np.empty(frames * LANES, np.float32)
    low = np.empty(frames * LANES, np.float32)
    lows = np.empty(LANES, np.float32)
    rest = np.empty((segments, LANES), np.float32)
    at = np.empty(LANES, np.int64)
    k = best.shape[1]
    cells = 0
    for batch in range(first, (len(models) + LANES - 1) // LANES, step):
        begin = batch * LANES
        limit = np.inf
        for t in range(best.shape[0]):
            limit = min(limit, best[t, k - 1])
        limit = limit * share * (1.0 + slack) + TINY
        if bounds[begin] > limit:
            break
        real = min(LANES, len(models) - begin)
        for n in range(LANES):
            here = begin + min(n, real - 1)  # the last batch is filled up with its last model
            number = models[here]
            at[n] = number // CHUNK * chunk_size + features_at + number % CHUNK * frames * wide
            for own in range(segments):
                rest[own, n] = remaining[where[here] // CHUNK, own, where[here] % CHUNK]
        before[:] = _INF
        now[:] = _INF
        packed = 0
        alive = True
        for i in range(frames):
            left, right = max(0, i - radius), min(frames - 1, i + radius)
            if right >= packed:
                more = min(frames, right + PACKED)
                _pack(flat, at, wide, columns, packed, more, pack)
                packed = more
            start, size = left * LANES, (right - left + 1) * LANES
            end = start + size
            cells += (right - left + 1) * real
            _costs(query[i], pack, start, end, cost)
            _step(before, now, cost, low, start, end, i == 0)
            before, now = now, before
            if (i + 1) % SEGMENT == 0 and i + 1 < frames and limit < np.inf:
                _least(before, start, end, lows)
                alive = False
                for n in range(LANES):
                    alive = alive or lows[n] + rest[(i + 1) // SEGMENT, n] <= limit
                if not alive:
                    break
        if not alive:
            continue
        for n in range(real):
            value = np.float64(before[frames * LANES + n]) / share
            out[begin + n] = value
            if value < best[slot, k - 1]:
                place = k - 1
                while place > 0 and best[slot, place - 1] > value:
                    best[slot, place] = best[slot, place - 1]
                    place -= 1
                best[slot, place] = value
    return cells


@compiled()
def _cell_costs(
    query: Floats, model: NDArray[np.float64], start: int, end: int, cost: NDArray[np.float64]
) -> None:
    """c(i, j) for ``start`` <= j < ``end``, in double precision: ``cost``, from 0 on."""
    size = end - start
    cost[:size] = 0.0
    for c in range(len(query)):
        q, row = np.float64(query[c]), model[c, start:end]
        for x in range(size):
            away = q - row[x]
            cost[x] += away * away


@compiled()
def exact(
    flat: Floats,
    geometry: Geometry,
    query: Floats,
    columns: NDArray[np.int64],
    radius: int,
    models: NDArray[np.int64],
    out: NDArray[np.float64],
) -> None:
    """Squared distances of ``models`` (M,) in double precision, one after the other: ``out`` (M,).

    ``query`` (T, C) in ``columns``. The slow twin of ``scan``, and what decides in the end: equal series give equal
    bits, whatever stands beside them.
    """
    chunk_size, _, features_at, frames, wide, _ = geometry
    count = len(columns)
    # The rows of the band lie side by side, so that several cells are summed at once, each column after column.
    model = np.empty((count, frames))
    cost = np.empty(frames)
    for m in range(len(models)):
        base = models[m] // CHUNK * chunk_size + features_at + models[m] % CHUNK * frames * wide
        for j in range(frames):
            for c in range(count):
                model[c, j] = flat[base + j * wide + columns[c]]
        before = np.full(frames + 1, np.inf)
        now = np.full(frames + 1, np.inf)
        before[0] = 0.0
        for i in range(frames):
            left, right = max(0, i - radius), min(frames - 1, i + radius)
            _cell_costs(query[i], model, left, right + 1, cost)
            now[left] = np.inf
            for j in range(left, right + 1):
                now[j + 1] = cost[j - left] + min(before[j], before[j + 1], now[j])
            if right + 2 <= frames:
                now[right + 2] = np.inf
            before, now = now, before
        out[m] = before[frames]
