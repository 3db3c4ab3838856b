"""How far stated spreads are from true errors, and which camera side shows a measure.

``certainty.json`` is measured, not assumed: the study sets the spread of the drawn bodies beside the true errors on
generated players that nothing was tuned on (``python -m swingmatch.study calibrate``).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

#: Half-width of a normal distribution's 90 % interval, standard deviations.
_NINE_IN_TEN = 1.645


@dataclass(frozen=True)
class Certainty:
    """What the study found for one measure of one stroke.

    Attributes
    ----------
    factor, rest : the stated variance is (factor * spread)^2 + rest^2, in the measure's unit.
    sides : camera side -> usual stated standard deviation from there, in the measure's unit.
    """

    factor: float
    rest: float
    sides: dict[str, float]


@lru_cache(maxsize=1)
def certainties() -> dict[str, dict[str, Certainty]]:
    """Stroke -> measure key -> what the study found."""
    file = resources.files("swingmatch.stroke").joinpath("certainty.json")
    if not file.is_file():
        return {}
    text = json.loads(file.read_text(encoding="utf-8"))
    return {
        stroke: {key: Certainty(**row) for key, row in rows.items()}
        for stroke, rows in text["strokes"].items()
    }


def stated_sd(stroke: str, key: str, spread: float) -> float:
    """Standard deviation to state for a measure whose drawn bodies spread by ``spread``.

    A measure that the study does not know is stated as infinitely uncertain: it is not reported.
    """
    row = certainties().get(stroke, {}).get(key)
    if row is None or not np.isfinite(spread):
        return float("inf")
    return float(np.hypot(row.factor * spread, row.rest))


def sides_that_show(stroke: str, key: str, useful: float) -> tuple[str, ...]:
    """Camera sides (of a right-hander) from which the 90 % interval is usually narrower than ``useful``, best first."""
    row = certainties().get(stroke, {}).get(key)
    if row is None:
        return ()
    good = [(sd, side) for side, sd in row.sides.items() if _NINE_IN_TEN * sd <= useful]
    return tuple(side for _, side in sorted(good))
