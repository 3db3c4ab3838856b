"""An accuracy table of the tests' own, so that nothing here depends on the figures that ship."""

from __future__ import annotations

import pytest

from swingmatch.findings.columns import COLUMNS
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.direction import SIDES


def table_of(share: float, duration: float = 20.0):
    """Every quantity, column and side with an error of ``share`` of its floor; durations ``duration`` ms."""
    sides = [name for _, name in SIDES]
    errors = {key: share * row.floor for key, row in QUANTITIES.items()} | {"duration": duration}
    return {key: {c: dict.fromkeys(sides, error) for c in COLUMNS} for key, error in errors.items()}


@pytest.fixture
def accuracy_table(monkeypatch):
    """The table in force, open to changes: quantity -> column -> side -> error."""
    table = table_of(0.25)
    monkeypatch.setattr("swingmatch.findings.accuracy._table", lambda: table)
    return table
