"""How fast the search of the library is, beside other libraries, in one run: ``python -m tests.benchmarks.search``.

``--growth FOLDER`` also measures how cost grows to 100,000 models, in a file of 2.1 GB that is mapped and then deleted.
Every way is timed for the same queries, one after the other, so that what else the machine does falls on all alike; the
table gives medians. Every way has to give the same ids.
"""

from __future__ import annotations

import argparse
import os
import time
import tracemalloc
from pathlib import Path

import numpy as np

from swingmatch.library.search import exact
from swingmatch.library.search.exact import search, table_cells
from swingmatch.library.search.feature_file import FeatureFile
from swingmatch.library.search.table import Table
from tests.benchmarks import peers
from tests.benchmarks.made_up import D, Makes, T

K, RADIUS = 5, 12
#: The aims, in times of this search with one thread, for a library of many styles. One style saves little; for it the
#: aim is the plain search's cells a second.
AIMS = {
    "dtaidistance, running max_dist": ("at least", 10.0),
    "aeon pairwise": ("at least", 25.0),
    "tslearn cdist_dtw": ("at least", 25.0),
    "prototype, 1 thread": ("at least", 0.5),
}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--models", type=int, nargs="*", default=[1_000, 10_000])
    parser.add_argument("--queries", type=int, default=5)
    parser.add_argument("--growth", type=Path, default=None, help="folder for a file of 2.1 GB")
    options = parser.parse_args()
    print(f"{T} rows x {D} columns, radius {RADIUS}, {K} nearest, {len(os.sched_getaffinity(0))} processors")
    compile_time()
    for count in options.models:
        for families in (8, 1):
            compare(count, families, options.queries)
    brute_force()
    if options.growth is not None:
        growth(options.growth, options.queries)


def compile_time() -> None:
    """What the first search of a process takes: compiling, or loading what was compiled before."""
    table = Table.of(["a"], Makes(1)(1))
    start = time.perf_counter()
    search(Makes(1)(1)[0], table, 1, RADIUS)
    print(
        f"first search of this process: {time.perf_counter() - start:.2f} s (about 10 s where nothing is compiled yet)"
    )


def compare(count: int, families: int, queries: int) -> None:
    """The table of all ways for one library."""
    make = Makes(families, seed=count + families)
    models = make(count)
    asked = make(queries + 1)
    ids = [f"{number:07d}" for number in range(count)]
    table = Table.of(ids, models)
    doubles = models.astype(np.float64)
    prototype = peers.Prototype(doubles)

    def ours(threads):
        return lambda query: [int(name) for name, _ in search(query, table, K, RADIUS, threads=threads).found]

    ways = {
        "swingmatch, 2 threads": ours(2),
        "swingmatch, 1 thread": ours(1),
        "prototype, 1 thread": lambda q: prototype(q, K, RADIUS),
        "dtaidistance, running max_dist": lambda q: peers.dtaidistance_running(q, doubles, K, RADIUS),
        "dtaidistance, matrix block": lambda q: peers.dtaidistance_block(q, doubles, K, RADIUS),
        "dtaidistance, loop": lambda q: peers.dtaidistance_loop(q, doubles, K, RADIUS),
        "aeon pairwise": lambda q: peers.aeon_pairwise(q, doubles, K, RADIUS),
        "tslearn cdist_dtw": lambda q: peers.tslearn_cdist(q, doubles, K, RADIUS),
    }
    taken = {name: [] for name in ways}
    for number, matrix in enumerate(asked):
        right = None
        for name, way in ways.items():
            query = matrix.astype(np.float64)
            start = time.perf_counter()
            found = list(way(query))
            spent = time.perf_counter() - start
            if number:  # the first query compiles and warms up
                taken[name].append(spent)
            right = right or found
            assert found == right, f"{name} finds {found}, not {right}"

    one = search(asked[-1], table, K, RADIUS, threads=1)
    tracemalloc.start()
    search(asked[-1], table, K, RADIUS)
    working = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    beside = table.chunks.nbytes + working - models.nbytes
    print(
        f"\n{count:,} models, {families} families of style; medians of {queries} queries, ms (least to most)"
    )
    own = np.median(taken["swingmatch, 1 thread"])
    for name, spent in taken.items():
        ratio = np.median(spent) / own
        kind, aim = AIMS.get(name, ("", 0.0)) if families > 1 else ("", 0.0)
        verdict = f"   aim {kind} {aim:g}: {'met' if ratio >= aim else 'NOT met'}" if kind else ""
        lower, middle, upper = (1e3 * f(spent) for f in (np.min, np.median, np.max))
        print(f"  {name:32} {middle:9.2f}  ({lower:.2f} to {upper:.2f})   x{ratio:6.2f}{verdict}")
    print(
        f"  cells saved {1 - one.cells / one.all_cells:.1%}, models given up or never begun "
        f"{1 - one.measured / count:.1%}; as fast as {one.all_cells / own / 1e6:,.0f} M cells/s of plain search"
    )
    print(
        f"  memory beyond the features: {beside / models.nbytes:.1%} ({working / models.nbytes:.1%} for one query)"
    )


def brute_force() -> None:
    """Cells a second where nothing can be given up: all models are equally far. One thread."""
    count = 4_000
    make = Makes(1)
    table = Table.of([f"{n:07d}" for n in range(count)], np.repeat(make(1), count, axis=0))
    query = make(1)[0]
    # Without the last step: it measures all ties again one by one, which is no part of a plain search.
    (group,) = exact._groups(query, table, None)
    plain, doubles = [], []
    for _ in range(15):
        run = exact._Run(group, table, query, RADIUS, np.full((1, K), np.inf))
        started = time.thread_time()
        cells = run(None)
        plain.append(cells / (time.thread_time() - started) / 1e6)
        assert cells == count * table_cells(T, RADIUS)
        started = time.thread_time()
        exact.measure(query, table, np.arange(500), np.arange(D), RADIUS)
        doubles.append(500 * table_cells(T, RADIUS) / (time.thread_time() - started) / 1e6)
    print("\nnothing given up, M cells/s a core, medians of 15 (least to most), the bound's time counted")
    for name, rates in (
        ("plain search (aim at least 160)", plain),
        ("double precision, one by one", doubles),
    ):
        print(f"  {name:32} {np.median(rates):5,.0f}  ({np.min(rates):,.0f} to {np.max(rates):,.0f})")


def growth(folder: Path, queries: int) -> None:
    """Time by the number of models, in one file that is mapped."""
    sizes = [1_000, 3_000, 10_000, 30_000, 100_000]
    print(f"\ngrowth, medians of {queries} queries, ms, all processors; opening the file, ms")
    for families in (8, 1):
        path = folder / "growth.bin"
        path.unlink(missing_ok=True)
        make = Makes(families, seed=families)
        asked = make(queries + 1)
        file = FeatureFile.create(path)
        medians = []
        for size in sizes:
            while len(file) < size:
                more = min(4_096, size - len(file))
                file.append([f"{n:07d}" for n in range(len(file), len(file) + more)], make(more))
            start = time.perf_counter()
            file = FeatureFile(path)
            opened = time.perf_counter() - start
            spent = []
            for query in asked:
                start = time.perf_counter()
                found = search(query, file.table, K, RADIUS)
                spent.append(time.perf_counter() - start)
            medians.append(np.median(spent[1:]))
            saved = 1 - found.cells / found.all_cells
            print(
                f"  {families} families, {size:7,}: {1e3 * medians[-1]:8.1f}  first {1e3 * spent[0]:8.1f}  "
                f"cells saved {saved:.1%}  opened {1e3 * opened:.2f}"
            )
        slope = np.log(medians[-1] / medians[2]) / np.log(sizes[-1] / sizes[2])
        million = medians[-1] * 10**slope
        print(f"  grows as models^{slope:.2f} from 10,000 on; so 1,000,000 would take about {million:.2f} s")
        path.unlink()
    print(f"  ({table_cells(T, RADIUS):,} cells a model)")


if __name__ == "__main__":
    main()
