"""How well each quantity is measured from each camera side.

The figures are measured, not assumed: ``accuracy.json`` is written by the accuracy study
(``python -m swingmatch.study calibrate``) from generated players, cameras and styles that are kept for tuning, and
reported on others. They are root-mean-square errors of the whole chain from pixels to quantity, bias included.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources

from swingmatch.stroke.direction import SIDES, side_name

#: Error of a phase's duration: two event times carried by the warp, ms.
PHASE_TIME_FALLBACK = 60.0


@lru_cache(maxsize=1)
def _table() -> dict[str, dict[str, dict[str, float]]]:
    text = resources.files("swingmatch.findings").joinpath("accuracy.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, dict[str, float]]] = json.loads(text)["rms_error"]
    return table


def error_of(quantity: str, column: str, azimuth: float) -> float:
    """Standard error of one quantity in one column (phase or instant) for a camera azimuth in degrees.

    ``azimuth`` is that of the right-handed swing (a left-hander's is mirrored), NaN for an unknown side. Infinite where
    the study holds no figure, which the comparison shows as *not visible from this view*.
    """
    sides = _table().get(quantity, {}).get(column, {})
    if azimuth != azimuth:
        return max(sides.values(), default=float("inf"))
    return sides.get(side_name(azimuth), float("inf"))


def known_sides() -> tuple[str, ...]:
    """Names of all camera sides that the table is laid out for."""
    return tuple(name for _, name in SIDES)
