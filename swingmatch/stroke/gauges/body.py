"""Turns, bends and places of the body over time: (T,) series."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke import measures as m
from swingmatch.stroke.kinematics import foot_line
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]
Series = Callable[[Movement], Array]


def described(series: Series, definition: str) -> Series:
    """``series`` with its definition, for those that are made and not written out."""
    series.__doc__ = definition
    return series


def shoulder_turn(movement: Movement) -> Array:
    """Turn of the shoulder line about the vertical: 0 parallel to the baseline, positive turned back, degrees (D3)."""
    return movement.shoulder_turn


def hip_turn(movement: Movement) -> Array:
    """Turn of the hip line about the vertical: 0 parallel to the baseline, positive turned back, degrees (D3)."""
    return movement.hip_turn


def separation(movement: Movement) -> Array:
    """Hip-shoulder separation: shoulder turn minus hip turn, in the horizontal plane, degrees (D4)."""
    return m.separation(movement.points)


def elbow_flexion(movement: Movement) -> Array:
    """Bend of the hitting elbow: 0 straight, degrees (as the ISB counts flexion)."""
    return m.angle_between(
        movement.joint("hitting_elbow") - movement.joint("hitting_shoulder"),
        movement.joint("hitting_wrist") - movement.joint("hitting_elbow"),
    )


def knee_flexion(side: str) -> Series:
    """Bend of the knee on one side of the body ("right" is the ball's side)."""
    name = "outside" if side == "right" else "inside"
    return described(
        lambda movement: m.flexion(movement.points, f"{side}_hip", f"{side}_knee", f"{side}_ankle"),
        f"Bend of the {name} knee ({'back' if side == 'right' else 'front'} at contact): 0 straight, degrees.",
    )


def hand_height(movement: Movement) -> Array:
    """Height of the hitting hand: 0 at the hips, 1 at the shoulders, on the scale of the trunk's length."""
    return (movement.hand - movement.middle("hip"))[:, 1] / movement.trunk


def other_hand_height(movement: Movement) -> Array:
    """Height of the other hand: 0 at the hips, 1 at the shoulders, on the scale of the trunk's length."""
    return (movement.joint("other_hand") - movement.middle("hip"))[:, 1] / movement.trunk


def hand_behind(movement: Movement) -> Array:
    """How far the hitting hand is behind the middle of the hips, away from the target, arm lengths."""
    return -(movement.hand - movement.middle("hip"))[:, 0] / movement.arm


def hand_across(movement: Movement) -> Array:
    """How far the hitting hand is past mid-shoulder to the front side, along the baseline, arm lengths."""
    return -(movement.hand - movement.middle("shoulder"))[:, 2] / movement.arm


def other_arm_span(movement: Movement) -> Array:
    """Distance from the other shoulder to the other hand, arm lengths: 1 with the arm stretched."""
    reach = movement.joint("other_hand") - movement.joint("other_shoulder")
    return np.linalg.norm(reach, axis=1) / movement.arm


def elbow_from_trunk(movement: Movement) -> Array:
    """Distance of the hitting elbow from the line through mid-hip and mid-shoulder, arm lengths."""
    hips, chest = movement.middle("hip"), movement.middle("shoulder")
    axis = (chest - hips) / np.linalg.norm(chest - hips, axis=1)[:, None]
    away = movement.joint("hitting_elbow") - hips
    return np.linalg.norm(away - (away * axis).sum(axis=1)[:, None] * axis, axis=1) / movement.arm


def base_width(movement: Movement) -> Array:
    """Distance between the ankles along the ground, shoulder widths."""
    feet = movement.joint("right_ankle") - movement.joint("left_ankle")
    return np.hypot(feet[:, 0], feet[:, 2]) / movement.shoulder_width


def stance_angle(movement: Movement) -> Array:
    """Line from the outside foot to the front foot (middles of heel and toe) against the target line, degrees.

    0 with the front foot straight ahead of the outside one (neutral), 90 with the feet side by side facing the net
    (open), negative with the front foot across to the ball's side (closed).
    """
    return foot_line(movement.points)


def weight_outside(movement: Movement) -> Array:
    """Where the centre of mass is over the base: 0 over the front ankle, 1 over the outside ankle, along their line."""
    front, outside = movement.joint("left_ankle"), movement.joint("right_ankle")
    base = (outside - front)[:, [0, 2]]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = ((movement.com - front)[:, [0, 2]] * base).sum(axis=1) / (base**2).sum(axis=1)
    return share


def trunk_forward_lean(movement: Movement) -> Array:
    """Lean of the trunk (mid-hip to mid-shoulder) to the target from the vertical, degrees; negative leaning back."""
    return m.trunk_forward_lean(movement.points)


def trunk_side_lean(movement: Movement) -> Array:
    """Lean of the trunk (mid-hip to mid-shoulder) to the ball's side from the vertical, degrees."""
    return m.trunk_side_lean(movement.points)


def shoulder_tilt(movement: Movement) -> Array:
    """Slope of the shoulder line: positive with the hitting shoulder above the other, degrees to the horizontal."""
    line = movement.joint("hitting_shoulder") - movement.joint("other_shoulder")
    return np.degrees(np.arctan2(line[:, 1], np.hypot(line[:, 0], line[:, 2])))


def wrist_extension(movement: Movement) -> Array:
    """Angle between forearm and hand: positive where the hand trails behind the forearm's line, away from the target.

    One keypoint a hand does not tell bending back from bending aside, so this is the whole angle with the sign of the
    trailing, degrees.
    """
    forearm = movement.joint("hitting_wrist") - movement.joint("hitting_elbow")
    palm = movement.hand - movement.joint("hitting_wrist")
    unit = forearm / np.linalg.norm(forearm, axis=1)[:, None]
    aside = palm - (palm * unit).sum(axis=1)[:, None] * unit
    return np.where(aside[:, 0] <= 0.0, 1.0, -1.0) * m.angle_between(forearm, palm)
