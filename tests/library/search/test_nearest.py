"""The search against measuring every model, and against dtaidistance as the outside reference."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from concurrent.futures import CancelledError, Future, ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pytest
from dtaidistance import dtw_ndim
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.library.search import compiled as compiling
from swingmatch.library.search import exact, kernels
from swingmatch.library.search.exact import search
from swingmatch.library.search.feature_file import FeatureFile
from swingmatch.library.search.layout import coarse_of
from swingmatch.library.search.nearest import nearest
from swingmatch.library.search.table import Table


def walks(rng, count, frames, columns):
    """Random walks: smooth enough that bounds bite."""
    return np.cumsum(rng.normal(size=(count, frames, columns)), axis=1).astype(np.float32)


def names(rng, count):
    """Ids in no order."""
    return [f"id{n}" for n in rng.permutation(count)]


def brute(query, ids, models, k, radius, shares=None):
    """Every distance by dtaidistance over the columns both know; nearest first, ties by id."""
    shares = np.full(query.shape[1], 1 / query.shape[1]) if shares is None else shares
    found = []
    for name, model in zip(ids, models, strict=True):
        both = ~np.isnan(query[0]) & ~np.isnan(model[0])
        if both.any():
            a, b = (np.ascontiguousarray(x[:, both], dtype=np.float64) for x in (query, model))
            window = len(query) if radius is None else min(radius + 1, len(query))
            distance = dtw_ndim.distance_fast(a, b, window=window) / np.sqrt(shares[both].sum())
            found.append((distance, name))
    return [(name, distance) for distance, name in sorted(found)[:k]]


def assert_same(found, expected):
    assert [name for name, _ in found] == [name for name, _ in expected]
    np.testing.assert_allclose([d for _, d in found], [d for _, d in expected], rtol=1e-11)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 200),
    frames=st.integers(1, 40),
    columns=st.integers(1, 13),
    radius=st.one_of(st.none(), st.integers(0, 45)),
    k=st.integers(1, 12),
    missing=st.booleans(),
)
def test_it_finds_what_measuring_all_finds(seed, count, frames, columns, radius, k, missing):
    rng = np.random.default_rng(seed)
    models, query = walks(rng, count, frames, columns), walks(rng, 1, frames, columns)[0]
    if missing and columns > 2:
        for model in models[rng.random(count) < 0.4]:
            model[:, rng.integers(columns)] = np.nan
        which = np.flatnonzero(rng.random(count) < 0.4)
        models[which, :, rng.integers(columns)] = np.nan
        query[:, rng.integers(columns)] = np.nan
    ids = names(rng, count)
    expected = brute(query, ids, models, k, radius)
    table = Table.of(ids, models)
    for threads in (1, 2):
        assert_same(search(query, table, k, radius, threads=threads).found, expected)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), radius=st.integers(0, 30), columns=st.integers(1, 9))
def test_the_bound_is_never_more_than_what_is_left_of_the_distance(seed, radius, columns):
    rng = np.random.default_rng(seed)
    frames = int(rng.integers(1, 40))
    models, query = walks(rng, 70, frames, columns), walks(rng, 1, frames, columns)[0]
    models[:10] = query + rng.normal(0, 1e-3, models[:10].shape)  # nearly equal ones, where rounding shows
    models[10] = query
    table = Table.of([str(n) for n in range(70)], models)
    coarse = coarse_of(query[None])[:, :, 0]
    out = np.empty((2, table.layout.segments, 64), dtype=np.float32)
    kernels.bound(
        table.flat,
        table.layout.geometry,
        np.ascontiguousarray(coarse[:, :-1]),
        np.ascontiguousarray(coarse[:, -1]),
        np.arange(columns),
        radius,
        kernels.margin(frames, columns),
        np.arange(2),
        out,
    )
    bounds = out.transpose(0, 2, 1).reshape(128, -1)[:70].astype(np.float64)
    every = exact.measure(query, table, np.arange(70), np.arange(columns), radius) ** 2
    assert (bounds[:, 0] <= every).all()
    # Also of the rows still to come, whatever the way there: the cheapest path through them starts anywhere.
    cost = ((query[:, None].astype(float) - models[:, None].astype(float)) ** 2).sum(axis=3)
    band = np.abs(np.arange(frames)[:, None] - np.arange(frames)) <= radius
    least = np.where(band, cost, np.inf).min(axis=2)
    to_come = np.cumsum(least[:, ::-1], axis=1)[:, ::-1]
    assert (bounds <= to_come[:, ::5] * (1 + 1e-12)).all()
    assert (bounds >= 0).all()


def test_the_bound_tells_families_apart():
    """It would be sound if it were zero; here it has to leave out nearly all of the other family."""
    rng = np.random.default_rng(3)
    near, far = np.sin(np.linspace(0, 3, 120))[:, None] * 20, np.cos(np.linspace(0, 3, 120))[:, None] * 20
    models = np.concatenate([np.repeat((c + np.zeros((1, 36)))[None], 400, 0) for c in (near, far)])
    models = (models + rng.normal(0, 0.5, (800, 1, 36))).astype(np.float32)
    table = Table.of([str(n) for n in range(800)], models)
    found = search(models[0], table, 5, 12, threads=1)
    assert found.cells < 0.55 * found.all_cells
    assert {int(name) for name, _ in found.found} <= set(range(400))


def test_duplicates_come_by_id_and_all_are_measured():
    rng = np.random.default_rng(4)
    one, query = walks(rng, 1, 30, 5)[0], walks(rng, 1, 30, 5)[0]
    ids = names(rng, 150)
    found = search(query, Table.of(ids, np.repeat(one[None], 150, 0)), 7, 4)
    assert [name for name, _ in found.found] == sorted(ids)[:7]
    assert len({distance for _, distance in found.found}) == 1
    assert found.cells == found.all_cells


def test_ties_in_single_precision_are_told_apart():
    """Models that differ by less than single precision sees in a sum come in their true order."""
    rng = np.random.default_rng(5)
    query = walks(rng, 1, 30, 5)[0]
    models = np.repeat((query + 50.0)[None], 100, 0)
    order = rng.permutation(100)
    for rank, n in enumerate(order):
        models[n, 15, 2] = np.nextafter(models[n, 15, 2], np.float32(1e9), dtype=np.float32)
        for _ in range(rank):
            models[n, 15, 2] = np.nextafter(models[n, 15, 2], np.float32(1e9), dtype=np.float32)
    ids = [f"{n:03d}" for n in range(100)]
    found = search(query, Table.of(ids, models), 6, 0).found
    assert [int(name) for name, _ in found] == order[:6].tolist()


@pytest.mark.parametrize("value", [0.0, 1e-30, 1e-20, 1e-12, 1.0, 1e6])
def test_constant_and_tiny_and_huge_series(value):
    models = np.array([np.full((20, 3), value * n) for n in (0, 0.25, 0.5, 1)], dtype=np.float32)
    ids = ["d", "c", "b", "a"]
    query = np.full((20, 3), 0.3 * value, dtype=np.float32)
    table = Table.of(ids, models)
    found = search(query, table, 4, 3).found
    if value == 0.0:
        assert found == (("a", 0.0), ("b", 0.0), ("c", 0.0), ("d", 0.0))
    elif value >= 1e-12:
        assert [name for name, _ in found] == ["c", "b", "d", "a"]
    for name, distance in found:
        expected = abs(float(models[ids.index(name)][0, 0]) - float(query[0, 0])) * np.sqrt(60)
        assert distance == pytest.approx(expected, rel=1e-6)


def test_a_swing_is_nearest_to_itself_and_nothing_is_lost_on_the_way():
    rng = np.random.default_rng(6)
    models = walks(rng, 90, 25, 4)
    table = Table.of([str(n) for n in range(90)], models)
    for n in (0, 17, 89):
        assert search(models[n], table, 1, 5).found == ((str(n), 0.0),)


def test_the_order_of_the_library_does_not_matter():
    rng = np.random.default_rng(7)
    models, query = walks(rng, 700, 20, 4), walks(rng, 1, 20, 4)[0]
    ids = names(rng, 700)
    first = search(query, Table.of(ids, models), 9, 3).found
    mixed = rng.permutation(700)
    assert search(query, Table.of([ids[n] for n in mixed], models[mixed]), 9, 3, threads=2).found == first


def test_distance_is_the_same_both_ways():
    rng = np.random.default_rng(8)
    a, b = walks(rng, 2, 30, 4)
    there, back = (nearest(x, Table.of(["x"], y[None]), 1, 5)[0][1] for x, y in ((a, b), (b, a)))
    assert there == pytest.approx(back, rel=1e-13)


def test_one_model_fewer_than_k_and_none():
    rng = np.random.default_rng(9)
    models, query = walks(rng, 3, 20, 4), walks(rng, 1, 20, 4)[0]
    ids = ["a", "b", "c"]
    assert_same(nearest(query, Table.of(ids[:1], models[:1]), 5, 4), brute(query, ids[:1], models[:1], 5, 4))
    assert_same(nearest(query, Table.of(ids, models), 5, 4), brute(query, ids, models, 5, 4))
    assert nearest(query, Table.of([], models[:0]), 5, 4) == []


def test_a_model_without_a_common_column_is_never_found():
    rng = np.random.default_rng(10)
    models, query = walks(rng, 3, 20, 4), walks(rng, 1, 20, 4)[0]
    query[:, 2:] = np.nan
    models[1, :, :2] = np.nan
    assert [name for name, _ in nearest(query, Table.of(["a", "b", "c"], models), 5, 4)] in (
        ["a", "c"],
        ["c", "a"],
    )


def test_what_is_hidden_does_not_make_a_model_nearer():
    """With every column equally far, a model that hides some is exactly as far as one that shows all."""
    query = np.zeros((20, 4), dtype=np.float32)
    models = np.full((2, 20, 4), 3.0, dtype=np.float32)
    models[1, :, 1] = np.nan
    (_, first), (_, second) = nearest(query, Table.of(["a", "b"], models), 2, 4)
    assert first == pytest.approx(second, rel=1e-12)
    assert first == pytest.approx(3.0 * np.sqrt(4 * 20), rel=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"query": np.zeros((20, 5))}, "shape"),
        ({"query": np.full((20, 4), np.nan)}, "no known column"),
        ({"query": np.where(np.arange(80).reshape(20, 4) == 3, np.nan, 0.0)}, "in part"),
        ({"query": np.full((20, 4), 1e39)}, "infinite"),
        ({"k": 0}, "k is 0"),
        ({"radius": -1}, "radius is -1"),
    ],
)
@pytest.mark.parametrize("count", [0, 3])
def test_questions_that_make_no_sense(change, words, count):
    models = walks(np.random.default_rng(11), count, 20, 4).reshape(count, 20, 4)
    asked = {"query": np.zeros((20, 4)), "k": 2, "radius": 3} | change
    with pytest.raises(ValueError, match=words):
        nearest(asked["query"], Table.of([str(n) for n in range(count)], models), asked["k"], asked["radius"])


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    """A file of 1,000 models with duplicates across parts, a query, and the right answer."""
    rng = np.random.default_rng(12)
    models, query = walks(rng, 1000, 24, 6), walks(rng, 1, 24, 6)[0]
    models[[5, 300, 999]] = models[640]
    models[700:720, :, 3] = np.nan
    query = (query * 0.02 + models[640]).astype(np.float32)
    file = FeatureFile.create(tmp_path_factory.mktemp("library") / "features.bin", 24, 6)
    ids = names(rng, 1000)
    file.append(ids, models)
    return file, query, brute(query, ids, models, 8, 4), ids, models


@pytest.mark.parametrize("part", [1, 64, 200, 700, 10_000])
def test_any_way_of_cutting_gives_the_same(library, part):
    file, query, expected, _, _ = library
    whole = nearest(query, file, 8, 4)
    assert_same(whole, expected)
    assert nearest(query, file, 8, 4, part=part) == whole
    with ThreadPoolExecutor(2) as pool:
        assert nearest(query, file, 8, 4, pool, part=part) == whole
        assert nearest(query, file.table, 8, 4, pool, part=part) == whole


def test_only_what_is_allowed_is_found(library):
    file, query, _, ids, models = library
    some = sorted(ids)[::7]
    picked = [n for n, name in enumerate(ids) if name in set(some)]
    expected = brute(query, [ids[n] for n in picked], models[picked], 8, 4)
    with ThreadPoolExecutor(2) as pool:
        for executor in (None, pool):
            for part in (128, 5000):
                found = nearest(query, file, 8, 4, executor, [*some, "never there"], part=part)
                assert_same(found, expected)
    assert nearest(query, file, 8, 4, allowed=[]) == []


def test_progress_ends_with_all_and_stop_ends_it(library):
    file, query, _, _, _ = library
    shares = []
    nearest(query, file, 3, 4, part=256, progress=lambda step, share: shares.append((step, share)))
    assert shares == [("search", 0.25), ("search", 0.5), ("search", 0.75), ("search", 1.0)]
    with ThreadPoolExecutor(2) as pool:
        for executor in (None, pool):
            seen = []
            with pytest.raises(CancelledError):
                nearest(
                    query,
                    file,
                    3,
                    4,
                    executor,
                    part=64,
                    progress=lambda step, share, seen=seen: seen.append(share),
                    stop=lambda seen=seen: len(seen) >= 2,
                )
            assert len(seen) == 2


def test_a_process_pool_and_one_whose_workers_die(library):
    file, query, expected, _, _ = library
    with ProcessPoolExecutor(1) as pool:
        assert_same(nearest(query, file, 8, 4, pool, part=256), expected)
        worker = next(iter(pool._processes))
        os.kill(worker, signal.SIGKILL)
        assert_same(nearest(query, file, 8, 4, pool, part=256), expected)
    assert_same(nearest(query, file, 8, 4, pool, part=256), expected)  # shut down


class Fails:
    """An executor whose every second part fails."""

    def __init__(self):
        self.count = 0

    def submit(self, function, *args):
        future, self.count = Future(), self.count + 1
        if self.count % 2:
            future.set_exception(OSError("the worker's disk is gone"))
        else:
            future.set_result(function(*args))
        return future


def test_parts_that_fail_elsewhere_are_done_here(library):
    file, query, expected, _, _ = library
    assert_same(nearest(query, file, 8, 4, Fails(), part=128), expected)


def test_a_file_that_changed_meanwhile_does_not_mix_two_states(library, tmp_path):
    _, query, expected, ids, models = library
    file = FeatureFile.create(tmp_path / "features.bin", 24, 6)
    file.append(ids, models)
    FeatureFile(file.path).remove([name for name, _ in expected[:3]])
    with ThreadPoolExecutor(2) as pool:
        assert_same(nearest(query, file, 8, 4, pool, part=128), expected)
        file.refresh()
        assert not {name for name, _ in nearest(query, file, 8, 4, pool)} & {name for name, _ in expected[:3]}


def test_a_cluster_of_two_workers_one_of_which_is_killed(library):
    distributed = pytest.importorskip("distributed")
    file, query, expected, _, _ = library
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=0
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        pool = client.get_executor(retries=3, pure=False)
        assert_same(nearest(query, file, 8, 4, pool, part=128), expected)
        workers = set(client.run(os.getpid).values())
        assert len(workers) == 2
        killed = []

        def kill_one(step, share):
            if not killed:
                killed.append(share)
                os.kill(min(workers), signal.SIGKILL)

        found = nearest(query, file, 8, 4, pool, part=64, progress=kill_one)
        assert killed[0] < 0.5  # in the middle
        assert_same(found, expected)


def test_compiling_works_where_nothing_can_be_kept(monkeypatch):
    real, asked = compiling.numba.njit, []

    def njit(function, **options):
        asked.append(options.get("cache", False))
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return real(function, **options)

    monkeypatch.setattr(compiling.numba, "njit", njit)
    assert compiling.compiled()(lambda x: x + 1)(2) == 3
    assert asked == [True, False]


def test_subnormal_numbers_survive_the_search():
    """Libraries built with all of fast-math can switch them off for the process; this one must not."""
    code = (
        "import numpy as np\n"
        "from swingmatch.library.search.exact import search\n"
        "from swingmatch.library.search.table import Table\n"
        "search(np.zeros((9, 3)), Table.of(['a'], np.ones((1, 9, 3))), 1, 2)\n"
        "assert np.float64(5e-324) / 1 > 0 and np.float32(1e-45) * np.float32(1) > 0\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)
