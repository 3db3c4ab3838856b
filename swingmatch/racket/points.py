"""``RacketPoints``: where a racket's five points are in the pictures, as something that looked at the pictures says.

The five points, in this order wherever there are five: **butt** (the end of the handle), **throat** (where the hoop
begins above the handle, on the long axis), **tip** (the far end of the hoop), **left edge** and **right edge** (the
ends of the hoop's widest line).

From one picture nobody can tell the two edges of a symmetrical hoop apart: turned by half a turn about its long axis,
a racket looks the same. The two edges are therefore an *unordered pair* here: ``image[n, 3]`` and ``image[n, 4]`` may
be either way round, and may change places from frame to frame. What is fitted to them (``RacketPath``) says which is
which.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: The points in their order.
NAMES: tuple[str, ...] = ("butt", "throat", "tip", "left_edge", "right_edge")
BUTT, THROAT, TIP, LEFT, RIGHT = range(5)


@dataclass(frozen=True)
class RacketPoints:
    """The five points in pictures.

    Attributes
    ----------
    times : (N,) seconds, rising: the frames' own times (the middle of their exposures).
    image : (N, 5, 2) pixels of the upright picture, x right, y down, as the body's ``Track.image``; NaN where not seen.
        Order ``NAMES``; the last two are an unordered pair (see above).
    sd : (N, 5) pixels, standard deviation on each axis; inf or NaN where a point was not seen.
    """

    times: NDArray[np.float64]
    image: NDArray[np.float64]
    sd: NDArray[np.float64]

    def __post_init__(self) -> None:
        n = len(self.times)
        for name, want in (("image", (n, 5, 2)), ("sd", (n, 5))):
            got = getattr(self, name).shape
            if got != want:
                raise ValueError(f"{name} has shape {got}, expected {want}")
        if n > 1 and not np.all(np.diff(self.times) > 0):
            raise ValueError("times must rise")

    @property
    def known(self) -> NDArray[np.bool_]:
        """(N, 5) True where a point was seen: its place is finite and its standard deviation finite and positive."""
        return (
            np.isfinite(self.image).all(axis=2) & np.isfinite(self.sd) & (np.nan_to_num(self.sd, nan=0.0) > 0)
        )


def nothing(times: NDArray[np.float64]) -> RacketPoints:
    """No point in any of the frames at ``times`` (N,) seconds."""
    n = len(times)
    return RacketPoints(
        np.asarray(times, dtype=np.float64), np.full((n, 5, 2), np.nan), np.full((n, 5), np.inf)
    )
