"""From the first turn to the lowest hand."""

from __future__ import annotations

import numpy as np

from swingmatch.stroke.gauges.body import hand_height
from swingmatch.stroke.gauges.racket import known
from swingmatch.stroke.movement import Movement


def hands_together_until(movement: Movement) -> float:
    """How long before contact both hands leave each other (event: hands apart), ms."""
    return -1000.0 * movement.when("hands_apart")


def hands_part_at(movement: Movement) -> float:
    """Where the hands part: their middle against the middle of the chest, along the shoulder line, shoulder widths.

    0 in front of the mid-line, positive towards the outside shoulder, 0.5 in front of it. Taken at: hands apart.
    """
    right, left = movement.joint("right_shoulder"), movement.joint("left_shoulder")
    line = (right - left) / np.linalg.norm(right - left, axis=1)[:, None]
    hands = 0.5 * (movement.joint("right_hand") + movement.joint("left_hand"))
    along = ((hands - 0.5 * (right + left)) * line).sum(axis=1)
    return float(movement.at("hands_apart", along)) / movement.shoulder_width


def loop_size(movement: Movement) -> float:
    """Size of the loop: the hitting hand's highest point in the take-back over its lowest before contact, arm lengths.

    The highest is looked for from the start of the turn to the end of the take-back and 0.1 s beyond.
    """
    _, back = movement.over(
        movement.when("turn_start"), movement.when("end_of_take_back") + 0.1, movement.hand[:, 1]
    )
    _, down = movement.over(movement.when("end_of_take_back"), 0.0, movement.hand[:, 1])
    if not (np.isfinite(back).any() and np.isfinite(down).any()):
        return float("nan")
    return float(np.nanmax(back) - np.nanmin(down)) / movement.arm


def com_drop(movement: Movement) -> float:
    """How far the centre of mass sinks from ready to its lowest before contact, leg lengths."""
    start = float(movement.at("ready", movement.com[:, 1]))
    _, heights = movement.over(movement.when("ready"), 0.0, movement.com[:, 1])
    return (start - float(np.nanmin(heights))) / movement.leg if np.isfinite(heights).any() else float("nan")


def lowest_hand_below_contact(movement: Movement) -> float:
    """How far the hitting hand's lowest point before contact is below its height at contact, arm lengths."""
    height = movement.hand[:, 1]
    return float(movement.at("contact", height) - movement.at("lowest_hand", height)) / movement.arm


def lowest_hand_height(movement: Movement) -> float:
    """Height of the hitting hand at its lowest before contact: 0 at the hips, 1 at the shoulders."""
    return float(movement.at("lowest_hand", hand_height(movement)))


def _lowest_tip(movement: Movement) -> tuple[float, float]:
    """Seconds from contact and height, statures, of the racket tip's lowest point before contact."""
    if movement.racket is None:
        return float("nan"), float("nan")
    at, tip = known(movement, movement.when("end_of_take_back"), 0.0, movement.racket[:, 2, 1])
    if not len(at):
        return float("nan"), float("nan")
    lowest = int(np.argmin(tip))
    return float(at[lowest]), float(tip[lowest])


def tip_below_contact(movement: Movement) -> float:
    """How far the racket tip's lowest point before contact is below the string bed's centre at contact, arm lengths."""
    _, lowest = _lowest_tip(movement)
    return (float(movement.at("contact", movement.string_bed[:, 1])) - lowest) / movement.arm


def tip_below_hand(movement: Movement) -> float:
    """How far the racket tip, at its lowest before contact, is below the hitting hand, arm lengths."""
    time, lowest = _lowest_tip(movement)
    return (float(movement.at_time(time, movement.hand[:, 1])) - lowest) / movement.arm
