"""Damaged clips: a short run, and proof that the run would notice what must not happen."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.clip import mutate
from swingmatch.errors import ClipError


def test_sixty_damaged_clips_leave_no_trace(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    report = mutate.run(60, seed=7, keep=tmp_path)
    assert report.failures == []
    assert sum(report.counts.values()) == 60
    assert report.total("read") >= 10
    assert report.total("refused") >= 10
    assert list(tmp_path.iterdir()) == []
    capfd.readouterr()
    assert mutate.main(["--count", "10"]) == 0
    assert "0 failures" in capfd.readouterr().out


def test_every_base_can_be_read(tmp_path: Path) -> None:
    bases = mutate.make_bases(tmp_path)
    assert len(bases) >= 5
    assert [mutate.read_through(path) for path in bases] == ["read"] * len(bases)


@given(st.binary(min_size=1, max_size=400), st.integers(0, 2**32 - 1))
def test_damage_is_repeatable_and_leaves_something(data: bytes, seed: int) -> None:
    one = mutate.damaged(data, np.random.default_rng(seed))
    assert one == mutate.damaged(data, np.random.default_rng(seed))
    assert one


def leaves_a_child(path: Path) -> str:
    subprocess.Popen([sys.executable, "-c", "pass"])
    return "read"


def leaves_a_file(path: Path) -> str:
    tempfile.mkstemp()
    return "read"


def raises(path: Path) -> str:
    raise KeyError("somewhere")


def talks(path: Path) -> str:
    raise ClipError("two\nlines")


@pytest.mark.parametrize(
    ("reader", "words"),
    [(leaves_a_child, "children"), (leaves_a_file, "files are left"), (raises, "KeyError"), (talks, "two")],
)
def test_the_run_notices(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reader: object, words: str) -> None:
    monkeypatch.setattr(mutate, "read_through", reader)
    report = mutate.run(2, seed=0, keep=tmp_path)
    assert any(words in failure for failure in report.failures)


def test_a_refusal_must_be_a_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuses(path: Path) -> None:
        raise ClipError("invalid argument")

    monkeypatch.setattr(mutate, "open_clip", refuses)
    with pytest.raises(AssertionError, match="no sentence"):
        mutate.read_through(tmp_path / "a.mp4")
