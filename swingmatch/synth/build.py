"""``Build``: the size and proportions of a made-up player."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

Sex = Literal["female", "male"]

#: Segment length / stature, Drillis & Contini 1966 (row C1 of the check values, *from memory* there).
#: ``trunk`` is shoulder height minus hip height, ``neck`` eye height minus shoulder height.
C1: Mapping[str, float] = {
    "upper_arm": 0.186,
    "forearm": 0.146,
    "thigh": 0.245,
    "shank": 0.246,
    "foot": 0.152,
    "shoulder_width": 0.259,
    "hip_width": 0.191,
    "trunk": 0.818 - 0.530,
    "neck": 0.936 - 0.818,
}
#: Ankle height above the sole / stature (C1).
ANKLE_HEIGHT = 0.039
#: Wrist to middle knuckle / stature: 86 mm of 1741 mm, de Leva 1996 (*from memory*).
PALM = 0.0495
#: Spread of one segment about C1 that ``draw_build`` uses, and the most it allows.
SPREAD, LIMIT = 0.025, 0.06


@dataclass(frozen=True)
class Build:
    """Body of a player; every length is constant over a swing.

    Attributes
    ----------
    stature : metres.
    sex : changes the widths a little, and the look of the figure.
    girth : thickness of limbs and trunk against an average figure, about 0.8 (slim) to 1.3 (heavy).
    factors : segment name (a key of ``C1``) -> factor on the table's length; 1 where absent.
    """

    stature: float = 1.78
    sex: Sex = "male"
    girth: float = 1.0
    factors: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not 1.2 <= self.stature <= 2.2:
            raise ValueError(f"stature is {self.stature} m, expected 1.2 to 2.2")
        unknown = set(self.factors) - set(C1)
        if unknown:
            raise ValueError(f"unknown segments {sorted(unknown)}, expected some of {sorted(C1)}")

    def length(self, segment: str) -> float:
        """Length of a segment of ``C1`` in metres."""
        return C1[segment] * self.factors.get(segment, 1.0) * self.stature

    @property
    def palm(self) -> float:
        """Wrist to the middle of the knuckles, metres."""
        return PALM * self.stature

    @property
    def ankle_height(self) -> float:
        """Ankle above the sole, metres."""
        return ANKLE_HEIGHT * self.stature

    @property
    def arm(self) -> float:
        """Arm length, shoulder to wrist, metres: the unit of contact distances."""
        return self.length("upper_arm") + self.length("forearm")


def draw_build(rng: np.random.Generator) -> Build:
    """A random adult build: stature by sex (NHANES-like means 1.62/1.76 m, *from memory*), C1 proportions."""
    sex: Sex = "female" if rng.random() < 0.5 else "male"
    mean, low, high = (1.66, 1.52, 1.82) if sex == "female" else (1.79, 1.64, 1.98)
    factors = {name: float(1.0 + np.clip(rng.normal(0.0, SPREAD), -LIMIT, LIMIT)) for name in C1}
    return Build(
        stature=float(np.clip(rng.normal(mean, 0.065), low, high)),
        sex=sex,
        girth=float(np.clip(rng.normal(1.0, 0.12), 0.8, 1.3)),
        factors=factors,
    )
