"""``RacketShape``: a racket as a flat rigid body of known size.

Its own axes, right-handed, with the butt at the origin: x from the left edge to the right edge, y square to the strings
out of the striking face, z from butt to tip. A rotation's columns are these three axes in space.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.errors import StrokeError

#: Largest racket that the rules allow, metres: length and width over all, hitting surface along and across the handle
#: (ITF Rules, appendix II; row D2 of the check values).
MOST_LENGTH, MOST_WIDTH = 0.737, 0.317
MOST_SURFACE_LENGTH, MOST_SURFACE_WIDTH = 0.394, 0.292
#: Width of the frame round the hitting surface, metres (*from memory*: 10 to 12 mm).
RIM = 0.011


@dataclass(frozen=True)
class RacketShape:
    """Size of a racket, metres.

    Attributes
    ----------
    length : from butt to tip: 0.685 (27 inches) is what nearly all adults play (*common practice, no source*).
    hoop_length, hoop_width : of the hoop over all, along and across the handle. The defaults are those of a common head
        of about 100 square inches (*from memory*).

    Raises
    ------
    StrokeError : the racket is larger than the rules allow (row D2), or no racket at all.
    """

    length: float = 0.685
    hoop_length: float = 0.34
    hoop_width: float = 0.26

    def __post_init__(self) -> None:
        limits = (
            ("long", self.length, MOST_LENGTH),
            ("wide", self.hoop_width, MOST_WIDTH),
            ("long over its strings", self.surface[0], MOST_SURFACE_LENGTH),
            ("wide over its strings", self.surface[1], MOST_SURFACE_WIDTH),
        )
        for what, value, most in limits:
            if not 0.0 < value <= most:
                raise StrokeError(
                    f"A racket {100 * value:.1f} cm {what} cannot be: the rules allow up to {100 * most:.1f} cm."
                )
        if self.hoop_length >= self.length:
            raise StrokeError("A racket's hoop must be shorter than the racket.")

    @property
    def surface(self) -> tuple[float, float]:
        """Length and width of the hitting surface, metres: the hoop without its rim."""
        return self.hoop_length - 2.0 * RIM, self.hoop_width - 2.0 * RIM

    @property
    def throat(self) -> float:
        """Metres from the butt to where the hoop begins."""
        return self.length - self.hoop_length

    @property
    def centre(self) -> float:
        """Metres from the butt to the middle of the hoop."""
        return self.length - 0.5 * self.hoop_length

    def points(self) -> NDArray[np.float64]:
        """(5, 3) metres on the racket's own axes: butt, throat, tip, left edge, right edge."""
        half = 0.5 * self.hoop_width
        return np.array(
            [
                [0.0, 0.0, 0.0],
                [0.0, 0.0, self.throat],
                [0.0, 0.0, self.length],
                [-half, 0.0, self.centre],
                [half, 0.0, self.centre],
            ]
        )


def axes_of(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotations whose columns are the racket's own axes, from its points: (..., 5, 3) to (..., 3, 3).

    Points that are not quite a racket's give the nearest right angle: the long axis is kept.
    """
    along = points[..., 2, :] - points[..., 0, :]
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    across = points[..., 4, :] - points[..., 3, :]
    across = across - (across * along).sum(-1, keepdims=True) * along
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    return np.stack([across, np.cross(along, across), along], axis=-1)
