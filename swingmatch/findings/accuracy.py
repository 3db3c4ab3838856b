"""How well each quantity is measured from each camera side.

The figures are measured, not assumed: ``accuracy.json`` is written by the accuracy study
(``python -m swingmatch.study calibrate``) from generated players, cameras and styles that are kept for tuning, and
reported on others. They are root-mean-square errors of the whole chain from pixels to quantity, bias included.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import lru_cache
from importlib import resources

from swingmatch.stroke.direction import side_name

#: Why a quantity in a column is not to be reported from this clip, or None where it may be.
Hides = Callable[[str, str], str | None]

#: A difference in doubt by more than this many floors cannot be told from this view.
_TOO_UNSURE = 1.5


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, dict[str, float]]]:
    text = resources.files("swingmatch.findings").joinpath("accuracy.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, dict[str, float]]] = json.loads(text)["rms_error"]
    return table


def error_of(quantity: str, column: str, azimuth: float, stroke: str = "forehand") -> float:
    """Standard error of one quantity in one column (phase or instant) for a camera azimuth in degrees.

    ``azimuth`` is that of the right-handed swing (a left-hander's is mirrored), NaN for an unknown side. Infinite where
    the study holds no figure, which the comparison shows as *not visible from this view*. The study has measured these
    quantities in forehands; of the other strokes it knows the errors of the measures (``stroke.certainty``).
    """
    sides = _table().get(quantity, {}).get(column, {}) if stroke == "forehand" else {}
    if azimuth != azimuth:
        return max(sides.values(), default=float("inf"))
    return sides.get(side_name(azimuth), float("inf"))


def can_be_seen(floor: float, error: float) -> bool:
    """Whether a quantity whose smallest difference that matters is ``floor`` can be told with this ``error``."""
    return error <= _TOO_UNSURE * floor


def nothing_hidden(quantity: str, column: str) -> None:
    """The ``Hides`` of footage in which everything may be told."""
