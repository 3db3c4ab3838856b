"""Processes and leftovers, as Linux tells them."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

PROCESSES = Path("/proc")


@pytest.fixture
def children() -> Callable[[], list[int]]:
    """Process numbers of this process's children, zombies too."""
    if not (PROCESSES / "self" / "stat").exists():
        pytest.skip("counts processes in /proc")
    me = str(os.getpid())

    def count() -> list[int]:
        found = []
        for process in PROCESSES.iterdir():
            with contextlib.suppress(OSError):
                if process.name.isdigit():
                    parent = (process / "stat").read_text().rpartition(")")[2].split()[1]
                    found += [int(process.name)] if parent == me else []
        return found

    return count


@pytest.fixture
def leftovers(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Callable[[], set[str]]:
    """Names in a temporary folder that is this test's alone, and blocks of shared memory of Python's making."""
    folder = tmp_path_factory.mktemp("temporary")
    monkeypatch.setenv("TMPDIR", str(folder))
    monkeypatch.setattr(tempfile, "tempdir", str(folder))

    def names() -> set[str]:
        shared = Path("/dev/shm")
        blocks = [p for p in shared.iterdir() if p.name.startswith("psm_")] if shared.is_dir() else []
        return {str(p) for p in [*folder.iterdir(), *blocks]}

    return names
