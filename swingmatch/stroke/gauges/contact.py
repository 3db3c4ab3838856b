"""At contact: where the hand and the string bed are, and how the body is under them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke.gauges.body import hand_height
from swingmatch.stroke.kinematics import balance_margin, soles
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]

#: Before and after contact over which the head is watched, s.
_HEAD = 0.1

Place = Callable[[Movement], Array]


def centre_of_mass(movement: Movement) -> Array:
    """the centre of mass"""
    return movement.com


def front_hip(movement: Movement) -> Array:
    """the front hip"""
    return movement.joint("left_hip")


def hitting_shoulder(movement: Movement) -> Array:
    """the hitting shoulder"""
    return movement.joint("hitting_shoulder")


def hand(movement: Movement) -> Array:
    """the hitting hand"""
    return movement.hand


def string_bed(movement: Movement) -> Array:
    """the string bed's centre"""
    return movement.string_bed


#: Axis of each word, and its sign.
_AXES = {"in front of": 0, "above": 1, "aside of": 2}


def place(what: Place, where: str, reference: Place) -> Callable[[Movement], float]:
    """A gauge: how far ``what`` is "in front of", "above" or "aside of" ``reference`` at contact, arm lengths."""
    axis = _AXES[where]

    def gauge(movement: Movement) -> float:
        away = movement.at("contact", what(movement)) - movement.at("contact", reference(movement))
        return float(away[axis]) / movement.arm

    towards = {0: "towards the target", 1: "up", 2: "to the ball's side along the baseline"}[axis]
    gauge.__doc__ = (
        f"How far {what.__doc__} is {where} {reference.__doc__}: {towards}, arm lengths. Taken at: contact."
    )
    return gauge


def string_bed_height(movement: Movement) -> float:
    """Height of the string bed's centre at contact: 0 at the hips, 1 at the shoulders."""
    height = (movement.string_bed - movement.middle("hip"))[:, 1] / movement.trunk
    return float(movement.at("contact", height))


def contact_height(movement: Movement) -> float:
    """Height of the hitting hand at contact: 0 at the hips, 1 at the shoulders."""
    return float(movement.at("contact", hand_height(movement)))


def head_speed(movement: Movement) -> float:
    """How still the head is: its mean speed from 100 ms before to 100 ms after contact, statures/s."""
    _, speed = movement.over(-_HEAD, _HEAD, np.linalg.norm(movement.rate(movement.head), axis=1))
    return float(np.mean(speed)) if len(speed) else float("nan")


def head_over_base(movement: Movement) -> float:
    """How far the head, seen from above, is inside the base of heels and toes at contact, shoulder widths.

    Negative outside the base.
    """
    feet, head = movement.at("contact", soles(movement.points)), movement.at("contact", movement.head)
    return float(balance_margin(feet[None], head[None])[0]) / movement.shoulder_width


def feet_height(movement: Movement) -> float:
    """How far the lower foot is off the ground at contact, statures: its lowest point over where it stands.

    The ground is the lowest tenth of the lower foot's heights over the stroke.
    """
    feet = soles(movement.points)[..., 1].min(axis=1)
    return float(movement.at("contact", feet) - np.nanpercentile(feet, 10))
