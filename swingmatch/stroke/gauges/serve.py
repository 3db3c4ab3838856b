"""What a serve adds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke import measures as m
from swingmatch.stroke.kinematics import soles
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]


def trunk_tilt(movement: Movement) -> Array:
    """Inclination of the trunk (mid-hip to mid-shoulder) from the vertical, whichever way, degrees."""
    trunk = movement.middle("shoulder") - movement.middle("hip")
    return np.degrees(np.arctan2(np.hypot(trunk[:, 0], trunk[:, 2]), trunk[:, 1]))


def arm_raise(movement: Movement) -> Array:
    """Angle of the hitting upper arm from the trunk's line downwards: 90 at right angles to the trunk, degrees."""
    return m.arm_raise(movement.points, movement.hitting)


def reach(movement: Movement) -> float:
    """Height of the hitting hand over the ground at contact, statures.

    The ground is the lowest tenth of the lower foot's heights over the stroke.
    """
    ground = float(np.nanpercentile(soles(movement.points)[..., 1].min(axis=1), 10))
    return float(movement.at("contact", movement.hand[:, 1])) - ground
