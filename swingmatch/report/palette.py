"""Colours that people with any common colour vision can tell apart.

The eight named colours are those of Okabe & Ito, *Color Universal Design* (2008); their values are given from
memory. The sequential map is viridis (van der Walt & Smith 2015, Matplotlib's default), sampled at nine points;
dark is little, bright is much. Cividis (Nuñez, Anderton & Renslow 2018, PLOS ONE 13:e0199239) is made for
colour-blind readers too, but passes through grey, which here means "not visible".
The diverging map is
ColorBrewer's nine-class PuOr (Brewer & Harrower), which its authors list as safe for colour-blind readers;
values from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

BLACK = "#000000"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"

PLAYER = SKY_BLUE
MODEL = ORANGE
#: The two sides of the drawn body: shoes and wristbands.
SIDE = {"left": BLUISH_GREEN, "right": REDDISH_PURPLE}

STAGE = "#1E2B2A"
"""Ground of the film and of the 3-D view: dark, so that the bright end of the map stands out."""
NOT_VISIBLE = "#8C8C8C"

VIRIDIS = (
    "#440154", "#472D7B", "#3B528B", "#2C728E", "#21918C", "#28AE80", "#5EC962", "#ADDC30", "#FDE725",
)  # fmt: skip
PUOR = (
    "#542788", "#8073AC", "#B2ABD2", "#D8DAEB", "#F7F7F7", "#FEE0B6", "#FDB863", "#E08214", "#B35806",
)  # fmt: skip

#: Difference, in degrees, at which the sequential map is at its bright end.
FULL_SCALE_DEG = 30.0

Rgb = tuple[int, int, int]


def rgb(colour: str) -> Rgb:
    """``"#RRGGBB"`` as three whole numbers from 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def mix(a: Rgb, b: Rgb, share: float) -> Rgb:
    """Colour between ``a`` (share 0) and ``b`` (share 1)."""
    r, g, v = (round(x + (y - x) * share) for x, y in zip(a, b, strict=True))
    return r, g, v


_STOPS: NDArray[np.float64] = np.array([rgb(c) for c in VIRIDIS], dtype=float)


def difference_colour(degrees: float) -> Rgb:
    """Colour of a difference in degrees: 0 is dark, ``FULL_SCALE_DEG`` and more bright, NaN grey."""
    if not np.isfinite(degrees):
        return rgb(NOT_VISIBLE)
    at = min(abs(degrees) / FULL_SCALE_DEG, 1.0) * (len(_STOPS) - 1)
    r, g, b = (round(float(np.interp(at, np.arange(len(_STOPS)), _STOPS[:, i]))) for i in range(3))
    return r, g, b


def colour_scale(colours: tuple[str, ...]) -> list[list[object]]:
    """The same colours as evenly spaced stops, the way Plotly takes them."""
    return [[i / (len(colours) - 1), c] for i, c in enumerate(colours)]
