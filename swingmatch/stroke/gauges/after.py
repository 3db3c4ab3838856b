"""After contact: the finish, the back foot, balance and recovery."""

from __future__ import annotations

import numpy as np

from swingmatch.stroke.kinematics import balance_margin, soles
from swingmatch.stroke.movement import Movement

#: The back foot has come round half way when it has done half of its way to the target side.
_HALF = 0.5
#: The centre of mass is at rest below this speed along the ground, statures/s (*common practice, no source*).
_AT_REST = 0.25


def _back_foot(movement: Movement) -> np.ndarray:
    """(T,) place of the outside foot towards the target, statures."""
    return 0.5 * (movement.joint("right_heel") + movement.joint("right_toe"))[:, 0]


def back_foot_way(movement: Movement) -> float:
    """How far the back (outside) foot comes round: its way to the target from contact to recovery, shoulder widths.

    The largest way until recovery.
    """
    _, x = movement.over(0.0, movement.when("recovery"), _back_foot(movement))
    return float(np.nanmax(x) - x[0]) / movement.shoulder_width if np.isfinite(x).any() else float("nan")


def back_foot_time(movement: Movement) -> float:
    """When the back foot has done half of its way round after contact, ms after contact."""
    at, x = movement.over(0.0, movement.when("recovery"), _back_foot(movement))
    if not np.isfinite(x).any():
        return float("nan")
    gone = x - x[0]
    return 1000.0 * float(at[int(np.argmax(gone >= _HALF * np.nanmax(gone)))])


def com_inside_base(movement: Movement) -> float:
    """Drive or rescue: how far the centre of mass, from above, stays inside the base of the feet, shoulder widths.

    The smallest from contact to the end of the follow-through; negative where it leaves the base and the back foot has
    to come round to catch it.
    """
    near = (movement.times >= 0.0) & (movement.times <= movement.when("end_of_follow_through"))
    inside = balance_margin(soles(movement.points[near]), movement.com[near])
    return float(np.nanmin(inside)) / movement.shoulder_width if np.isfinite(inside).any() else float("nan")


def time_to_balance(movement: Movement) -> float:
    """From contact until the centre of mass first moves along the ground slower than 0.25 statures/s, ms."""
    speed = np.linalg.norm(movement.rate(movement.com[:, [0, 2]]), axis=1)
    at, values = movement.over(0.0, float(movement.times[-1]), speed)
    slow = np.flatnonzero(values < _AT_REST)
    return 1000.0 * float(at[slow[0]]) if len(slow) else float("nan")


def recovery_step(movement: Movement) -> float:
    """Recovery: how far the hips move along the ground from contact to recovery, statures."""
    hips = movement.middle("hip")[:, [0, 2]]
    return float(np.linalg.norm(movement.at("recovery", hips) - movement.at("contact", hips)))
