"""The file of features: round trip, one state or the other, bytes gone, and opening that loads nothing."""

from __future__ import annotations

import multiprocessing
import os

import numpy as np
import pytest

from swingmatch.errors import LibraryError
from swingmatch.library.search import feature_file as module
from swingmatch.library.search.feature_file import FeatureFile
from swingmatch.library.search.features import COLUMNS, FRAMES
from swingmatch.library.search.layout import CHUNK, PAGE


def matrices(count, seed=0, frames=FRAMES, columns=COLUMNS):
    return np.random.default_rng(seed).normal(0, 20, (count, frames, columns)).astype(np.float32)


@pytest.fixture
def filled(tmp_path):
    file = FeatureFile.create(tmp_path / "features.bin")
    values = matrices(CHUNK + 10)
    file.append([f"m{i}" for i in range(len(values))], values)
    return file, values


def test_what_is_added_comes_back_also_when_opened_again(filled):
    file, values = filled
    for opened in (file, FeatureFile(file.path)):
        assert len(opened) == len(values)
        assert opened.ids == [f"m{i}" for i in range(len(values))]
        for i in (0, CHUNK - 1, CHUNK, len(values) - 1):
            np.testing.assert_array_equal(opened.matrix(f"m{i}"), values[i])
        assert opened.damaged() == []


def test_a_file_grows_by_parts_of_chunks(tmp_path):
    file = FeatureFile.create(tmp_path / "features.bin", frames=7, columns=3)
    values, done = matrices(300, frames=7, columns=3), 0
    for step in (1, 63, 5, 200, 31):
        file.append([str(i) for i in range(done, done + step)], values[done : done + step])
        done += step
    assert all(np.array_equal(file.matrix(str(i)), values[i]) for i in range(300))


def test_creating_where_there_is_a_file_keeps_it(filled):
    file, values = filled
    assert len(FeatureFile.create(file.path)) == len(values)


def test_a_missing_column_stays_missing(tmp_path):
    file = FeatureFile.create(tmp_path / "features.bin")
    values = matrices(1)
    values[0, :, 4] = np.nan
    file.append(["a"], values)
    np.testing.assert_array_equal(file.matrix("a"), values[0])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda v: v.__setitem__((0, 3, 4), np.nan), "missing in part"),
        (lambda v: v.__setitem__(0, np.nan), "no known column"),
        (lambda v: v.__setitem__((0, 3, 4), np.inf), "infinite"),
        (lambda v: v.__setitem__((0, 3, 4), 1e7), "infinite or beyond"),
    ],
)
def test_features_that_cannot_be_compared_are_refused(filled, spoil, words):
    file, _ = filled
    values = matrices(1)
    spoil(values)
    with pytest.raises(ValueError, match=words):
        file.append(["new"], values)
    assert "new" not in FeatureFile(file.path)


@pytest.mark.parametrize(
    ("ids", "words"),
    [
        (["m1"], "already"),
        (["a", "a"], "twice"),
        ([""], "1 to 64 bytes"),
        (["é" * 33], "1 to 64 bytes"),
        (["a\0b"], "zero byte"),
        (["a", "b", "c"], "3 ids for"),
    ],
)
def test_ids_that_cannot_be_told_apart_are_refused(filled, ids, words):
    file, values = filled
    with pytest.raises(ValueError, match=words):
        file.append(ids, matrices(min(len(ids), 2)))
    assert len(FeatureFile(file.path)) == len(values)


def test_removed_models_leave_no_byte_behind(filled):
    file, values = filled
    gone = ["m3", f"m{CHUNK + 2}", "never there"]
    assert file.remove(gone) == 2
    left = [i for i in range(len(values)) if i not in (3, CHUNK + 2)]
    assert file.ids == [f"m{i}" for i in left]
    assert all(np.array_equal(file.matrix(f"m{i}"), values[i]) for i in left)
    assert file.damaged() == []
    traces = [values[i].tobytes()[:64] for i in (3, CHUNK + 2)] + [values[3].mean(axis=0)[:2].tobytes()]
    for path in file.path.parent.iterdir():
        held = path.read_bytes()
        assert not any(trace in held for trace in traces)
    assert file.path.read_bytes().count(b"m3\0") == 0
    assert sum(path.stat().st_size > 0 for path in file.path.parent.iterdir()) == 1


def test_removing_what_is_not_there_changes_nothing(filled):
    file, _ = filled
    before = file.path.read_bytes()
    assert file.remove(["never there"]) == 0
    assert file.path.read_bytes() == before


class Killed(BaseException):
    """Stands for the end of the process: nothing of the package catches it."""


def states_when_killed(tmp_path, act, monkeypatch):
    """Every state in which ``act`` leaves the file when it is killed at its first, second, ... step to the disk."""
    real = {name: getattr(os, name) for name in ("fsync", "replace", "open")}
    step = 0
    while True:
        folder = tmp_path / str(step)
        folder.mkdir()
        file = FeatureFile.create(folder / "features.bin")
        values = matrices(70)
        file.append([f"m{i}" for i in range(70)], values)
        left = step

        def dying(name):
            def call(*args, **kwargs):
                nonlocal left
                if left == 0:
                    raise Killed
                left -= 1
                return real[name](*args, **kwargs)

            return call

        with monkeypatch.context() as patch:
            for name in real:
                patch.setattr(module.os, name, dying(name))
            try:
                act(file)
                killed = False
            except Killed:
                killed = True
        yield killed, FeatureFile(file.path)
        if not killed:
            return
        step += 1


def test_a_kill_while_adding_leaves_the_old_state_or_the_new(tmp_path, monkeypatch):
    more = matrices(80, seed=1)
    sizes = []
    for _killed, file in states_when_killed(
        tmp_path, lambda f: f.append([f"n{i}" for i in range(80)], more), monkeypatch
    ):
        sizes.append(len(file))
        assert len(file) in (70, 150)
        assert file.damaged() == []
        if len(file) == 70:  # and what was cut off can be done again, or forgotten without a trace
            copy = file.path.read_bytes()
            file.append([f"n{i}" for i in range(80)], more)
            assert np.array_equal(file.matrix("n79"), more[79])
            file.path.write_bytes(copy)
            assert FeatureFile(file.path).remove(["n0"]) == 0
            assert more[0].tobytes()[:64] not in file.path.read_bytes()
    assert sizes[0] == 70
    assert sizes[-1] == 150
    assert len(sizes) >= 4


def test_a_kill_while_removing_leaves_the_old_state_or_the_new(tmp_path, monkeypatch):
    sizes = []
    for _killed, file in states_when_killed(tmp_path, lambda f: f.remove(["m5"]), monkeypatch):
        sizes.append(len(file))
        assert len(file) in (69, 70)
        assert file.damaged() == []
        file.remove(["m5"])
        trace = matrices(70)[5].tobytes()[:64]
        assert not any(trace in path.read_bytes() for path in file.path.parent.iterdir())
    assert sizes[0] == 70
    assert sizes[-1] == 69
    assert len(sizes) >= 4


def test_a_torn_record_falls_back_to_the_one_before(filled):
    file, values = filled
    file.append(["last"], matrices(1, seed=2))
    raw = bytearray(file.path.read_bytes())
    newest = max(module._RECORDS_AT, key=lambda at: module._RECORD.unpack_from(raw, at)[0])
    raw[newest + 9] ^= 1
    file.path.write_bytes(raw)
    assert len(FeatureFile(file.path)) == len(values)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda raw: raw[: PAGE + 100], "shorter than it says"),
        (lambda raw: b"", "not a file of features"),
        (lambda raw: b"x" + raw[1:], "not a file of features"),
        (lambda raw: raw[:70] + b"\x07" + raw[71:], "damaged in its first page"),
        (lambda raw: raw[:2048] + bytes(2048) + raw[PAGE:], "how many models"),
    ],
)
def test_a_damaged_file_says_so(filled, spoil, words):
    file, _ = filled
    file.path.write_bytes(spoil(file.path.read_bytes()))
    with pytest.raises(LibraryError, match=words):
        FeatureFile(file.path)


def test_a_missing_file_says_so(tmp_path):
    with pytest.raises(LibraryError, match="missing"):
        FeatureFile(tmp_path / "none.bin")


def test_a_changed_byte_is_found(filled):
    file, values = filled
    at = file.path.read_bytes().index(values[5].tobytes())
    with open(file.path, "r+b") as raw:
        raw.seek(at + 1000)
        raw.write(b"\x55\x55")
    assert FeatureFile(file.path).damaged() == ["m5"]


def _append_some(path, name):
    file = FeatureFile(path)
    for i in range(5):
        file.append([f"{name}{i}"], matrices(1, frames=7, columns=3))


def test_several_processes_add_at_once(tmp_path):
    path = tmp_path / "features.bin"
    FeatureFile.create(path, frames=7, columns=3)
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_append_some, args=(path, name)) for name in "abc"]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert sorted(FeatureFile(path).ids) == sorted(f"{name}{i}" for name in "abc" for i in range(5))


def test_opening_a_hundred_thousand_models_reads_one_page(tmp_path, monkeypatch):
    """The file has holes, as a full one takes 2 GB; what is opened would read them all the same."""
    path = tmp_path / "features.bin"
    file = FeatureFile.create(path)
    chunks = -(-100_000 // CHUNK)
    with open(path, "r+b") as raw:
        raw.truncate(PAGE + chunks * file.layout.dtype.itemsize)
        module._write_record(raw, 1, 100_000)
    opened, before = [], _resident()
    real = open
    monkeypatch.setattr("builtins.open", lambda *a, **k: opened.append(real(*a, **k)) or opened[-1])
    file = FeatureFile(path)
    assert len(file) == 100_000
    assert opened[0].closed
    assert path.stat().st_size > 1.7e9
    assert _resident() - before < 8e6


def _resident():
    """Bytes of memory that this process holds."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")
