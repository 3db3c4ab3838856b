"""From which side the camera looks: the camera's azimuth against the target line.

Court axes and camera axes share the vertical (the camera is taken to be level), so one angle leads from one to the
other. The direction to the target is read from the movement as a whole, see ``body.reading``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Names of the camera sides, by azimuth, for a right-hander and a left-hander alike (sides as the player has them).
SIDES: tuple[tuple[float, str], ...] = (
    (0.0, "front"),
    (45.0, "front right"),
    (90.0, "right side"),
    (135.0, "back right"),
    (180.0, "back"),
    (-135.0, "back left"),
    (-90.0, "left side"),
    (-45.0, "front left"),
)


def wrap(angle: float) -> float:
    """An angle in degrees brought to (-180, 180]."""
    return 180.0 - (180.0 - angle) % 360.0


def side_name(azimuth: float) -> str:
    """The nearest of the eight named camera sides for an azimuth in degrees."""
    return min(SIDES, key=lambda row: abs(wrap(azimuth - row[0])))[1]


def camera_to_court(azimuth: float) -> Array:
    """Rotation (3, 3) that takes camera axes (x right, y up, z to the camera) to court axes (X target, Y up, Z right).

    ``azimuth`` in degrees: 0 with the camera in front of a player who faces the target, 90 on the player's right.
    """
    a = np.radians(azimuth)
    return np.array([[np.sin(a), 0.0, np.cos(a)], [0.0, 1.0, 0.0], [-np.cos(a), 0.0, np.sin(a)]])


def azimuth_of(direction: Array) -> float:
    """Camera azimuth in degrees for a target direction (x, z) on camera axes."""
    return float(np.degrees(np.arctan2(direction[0], direction[1])))
