"""What of a stroke is a matter of taste: the features by which a model of like style is found.

A fault must not choose the model, so style features and what a model is meant to teach are separate lists in the
definition of a stroke. Style is what sound players do in different ways: where the feet stand, how long the swing
takes, how high the hand goes back. That is *common practice, no source*; so are scales and shares.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from swingmatch.stroke.movement import Movement


@dataclass(frozen=True)
class Style:
    """One matter of taste.

    Attributes
    ----------
    name : in code and in what a coach writes ("ignore tempo"). label : in the middle of a sentence.
    of : takes a ``Movement`` and gives the value, NaN where it cannot be told. unit : of the value, "" for a ratio.
    scale : a difference that a coach would call clear, in that unit. share : of the style as a whole; all sum to 1.
    """

    name: str
    label: str
    unit: str
    of: Callable[[Movement], float]
    scale: float
    share: float


def stance(movement: Movement) -> float:
    """Line of the ankles from the outside to the inside foot, degrees: 0 along the baseline, 90 to the target.

    The feet stand from the start of the forward swing to contact: the median over that.
    """
    feet = movement.joint("left_ankle") - movement.joint("right_ankle")
    hitting = (movement.times >= movement.when("forward_start")) & (movement.times <= 0.0)
    return float(np.degrees(np.arctan2(_median(feet[hitting, 0]), -_median(feet[hitting, 2]))))


def tempo(movement: Movement) -> float:
    """Seconds from the start of the turn to contact.

    The start of the forward swing in between is left out: how soon the hand moves forward changes with faults (a
    cramped arm, little shoulder turn) and is no taste.
    """
    return -movement.when("turn_start")


def take_back_height(movement: Movement) -> float:
    """Highest hitting hand of the take-back, loop included: 0 at the hips, 1 at the shoulders."""
    # A two-handed stroke has no moment at which the hands part; in a late one the hand is back already.
    apart, back = movement.when("hands_apart"), movement.when("end_of_take_back")
    start = movement.when("turn_start") if not apart <= back else apart
    return _highest(movement, start)


def toss_tempo(movement: Movement) -> float:
    """Seconds from letting go of the ball to contact."""
    return -movement.when("toss_release")


def serve_base(movement: Movement) -> float:
    """Ankle to ankle along the ground when loaded, shoulder widths: feet together or apart."""
    feet = (movement.joint("left_ankle") - movement.joint("right_ankle"))[:, [0, 2]]
    return float(movement.at("loaded", np.linalg.norm(feet, axis=1))) / movement.shoulder_width


def loaded_hand_height(movement: Movement) -> float:
    """Height of the hitting hand when loaded: 0 at the hips, 1 at the shoulders."""
    height = (movement.hand - movement.middle("hip"))[:, 1] / movement.trunk
    return float(movement.at("loaded", height))


GROUNDSTROKE = (
    Style("stance", "stance", "deg", stance, 25.0, 0.45),
    Style("tempo", "tempo", "s", tempo, 0.20, 0.33),
    Style("take_back_height", "take-back height", "hip-to-shoulder", take_back_height, 0.20, 0.22),
)
SERVE = (
    Style("base", "feet", "shoulder widths", serve_base, 0.50, 0.40),
    Style("tempo", "tempo", "s", toss_tempo, 0.20, 0.30),
    Style(
        "loaded_hand_height",
        "height of the hand when loaded",
        "hip-to-shoulder",
        loaded_hand_height,
        0.35,
        0.30,
    ),
)

#: Measures that a groundstroke's model is meant to teach: turn, base, drop, contact in front, the chain's order.
GROUNDSTROKE_TEACHES = (
    "shoulder_turn", "hip_turn", "separation", "other_arm_span", "base_width", "outside_knee_flexion",
    "inside_knee_flexion", "weight_outside", "com_drop", "lowest_hand_height", "lowest_hand_below_contact",
    "tip_below_contact", "tip_below_hand", "hip_turn_before_shoulder_turn_start",
    "shoulder_turn_before_upper_arm_start", "upper_arm_before_forearm_start", "forearm_before_hand_start",
    "hip_turn_before_shoulder_turn_peak", "shoulder_turn_before_upper_arm_peak", "upper_arm_before_forearm_peak",
    "forearm_before_hand_peak", "hand_path_angle", "hand_front_com", "hand_aside_com", "hand_front_front_hip",
    "hand_front_hitting_shoulder", "contact_elbow_flexion", "contact_shoulder_turn", "head_speed", "head_movement",
    "trunk_forward_lean", "trunk_side_lean", "finish_height", "finish_across", "com_inside_base", "time_to_balance",
)  # fmt: skip
SERVE_TEACHES = (
    "toss_arm_height", "shoulder_turn", "hip_turn", "separation", "loaded_trunk_tilt", "loaded_shoulder_tilt",
    "front_knee_flexion", "back_knee_flexion", "arm_abduction_low", "racket_low_elbow_flexion",
    "hip_turn_before_shoulder_turn_peak", "shoulder_turn_before_upper_arm_peak", "upper_arm_before_forearm_peak",
    "forearm_before_hand_peak", "contact_elbow_flexion", "arm_abduction", "contact_trunk_tilt",
    "contact_shoulder_tilt", "reach", "hand_front_com", "head_speed", "time_to_balance",
)  # fmt: skip


def _highest(movement: Movement, start: float) -> float:
    """Height of the hitting hand at its highest from a time to contact: 0 at the hips, 1 at the shoulders."""
    height = (movement.hand - movement.middle("hip"))[:, 1] / movement.trunk
    known = height[(movement.times >= start) & (movement.times <= 0.0) & np.isfinite(height)]
    return float(known.max()) if len(known) else float("nan")


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")
