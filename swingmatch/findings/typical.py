"""How much a player usually varies from swing to swing, for where a model has too few repeats to tell.

One repeat says nothing of a volunteer's spread: it is unknown then, and never zero. What is taken in its place is the
usual spread of recorded players, in ``typical.json``, which ``python -m swingmatch.study.typical`` writes.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, float]]:
    text = resources.files("swingmatch.findings").joinpath("typical.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, float]] = json.loads(text)["spread"]
    return table


def typical_spread(stroke: str, key: str) -> float:
    """Usual standard deviation between a player's repeats of a ``Deviation.key``, in its unit.

    Infinite where none is known, so that nothing is ever said of it.
    """
    return _table().get(stroke, {}).get(key, float("inf"))


def spread_of(values: NDArray[np.float64], stroke: str, key: str) -> float:
    """Standard deviation (divisor n - 1) of what is known of ``values`` (N,); the usual one where that is one value."""
    known = values[np.isfinite(values)]
    return float(np.std(known, ddof=1)) if len(known) > 1 else typical_spread(stroke, key)


def own_spread(values: NDArray[np.float64]) -> float:
    """Standard deviation of a player's own swings.

    0 for one swing: what is said is then said of that swing, which is what it is.
    """
    known = values[np.isfinite(values)]
    return float(np.std(known, ddof=1)) if len(known) > 1 else 0.0
