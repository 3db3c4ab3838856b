"""What each measure needs of the footage: pictures a second, and which parts of the body in view.

A picture every ``1 / rate`` seconds leaves the moment of an event unknown by up to half of that either way: a standard
deviation of ``1 / (rate * sqrt(12))``. A measure that changes fast at its moment must not change by more than the
smallest difference that matters on court within two of those (``findings.quantities``, ``floor``), so

    least rate = 2 * speed of change / (sqrt(12) * floor).

Where the strike is heard, contact is known to a few milliseconds whatever the rate, and only the bend of the path
between two pictures counts. A phase must hold three pictures to have a mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swingmatch.findings.quantities import QUANTITIES

#: Seconds between two things that a coach may want to tell apart, and where the figure comes from. A gap shorter than
#: the time between two pictures is never reported.
TIMING: dict[str, tuple[float, str]] = {
    "the hips turning before the shoulders": (
        0.018,
        "A3: Landlinger et al. 2010, peak pelvis before peak trunk",
    ),
    "the wrist at its fastest before contact": (0.038, "A16: Landlinger et al. 2010"),
    "the racket at its fastest before contact": (0.003, "A17: Landlinger et al. 2010"),
}

#: How fast each measure changes at contact, in its unit a second.
CONTACT_SPEED: dict[str, tuple[float, str]] = {
    "shoulder_turn": (453.0, "A7: upper-trunk angular velocity at impact, elite, Landlinger et al. 2010b"),
    "hip_turn": (295.0, "A6: pelvis angular velocity at impact, elite, Landlinger et al. 2010b"),
    "separation": (175.0, "median of the model swings; A7 minus A6 is 158"),
    "hitting_elbow_flexion": (75.0, "median of the model swings"),
    "off_elbow_flexion": (120.0, "median of the model swings"),
    "hitting_arm_raise": (460.0, "median of the model swings"),
    "off_arm_raise": (12.0, "median of the model swings"),
    "outside_knee_flexion": (75.0, "median of the model swings"),
    "inside_knee_flexion": (80.0, "median of the model swings"),
    "trunk_forward_lean": (12.0, "median of the model swings"),
    "trunk_side_lean": (12.0, "median of the model swings"),
    "hand_in_front": (12.6, "median of the model swings: some 8 m/s along the target line"),
    "hand_aside": (5.3, "median of the model swings"),
    "hand_height": (8.9, "median of the model swings"),
    "base_width": (0.75, "median of the model swings"),
    "hip_drop": (0.15, "median of the model swings"),
}
#: How long the phases of a forehand take, seconds: medians of the model swings.
PHASE_SECONDS: dict[str, float] = {
    "preparation": 0.55,
    "take-back": 0.27,
    "drop": 0.125,
    "forward swing": 0.19,
    "follow-through": 0.32,
}
#: Pictures in a phase from which a mean can be taken.
_IN_A_PHASE = 3
#: The hand reaches its speed at contact from rest in about this time, seconds (``PHASE_SECONDS``, forward swing).
_RISE = 0.15
#: At the end of the take-back the hand stands still for a moment; a tenth of a second about it is enough.
_TURNING_POINT = 0.1


@dataclass(frozen=True)
class Need:
    """Least pictures a second for one measure in one column of the comparison, and why."""

    quantity: str
    column: str
    rate: float
    reason: str


def least_rate(quantity: str, column: str, *, heard: bool = False) -> float:
    """Pictures a second below which a measure is not reported; 0 for one that is not in the table.

    Parameters
    ----------
    quantity : key of ``findings.quantities.QUANTITIES`` or "duration". column : phase or instant.
    heard : contact is known from the sound of the strike.
    """
    if column in PHASE_SECONDS:
        return _IN_A_PHASE / PHASE_SECONDS[column]
    if quantity not in CONTACT_SPEED:
        return 0.0
    if column == "end of take-back":
        return _IN_A_PHASE / (2 * _TURNING_POINT)
    if column != "contact":
        return 0.0
    speed, floor = CONTACT_SPEED[quantity][0], QUANTITIES[quantity].floor
    if heard:
        # Half of the floor may be lost to the bend of the path between two pictures: acceleration / (8 rate^2).
        return float(np.sqrt(speed / _RISE / (4.0 * floor)))
    return float(2.0 * speed / (np.sqrt(12.0) * floor))


def table(*, heard: bool = False) -> tuple[Need, ...]:
    """Every measure and column with its least rate and the reason, the most demanding first."""
    rows = []
    for quantity in QUANTITIES:
        for column in (*PHASE_SECONDS, "end of take-back", "contact"):
            if column == "contact":
                speed, source = CONTACT_SPEED[quantity]
                reason = f"changes by {speed:g} {QUANTITIES[quantity].unit} a second ({source})"
            elif column in PHASE_SECONDS:
                reason = f"three pictures in the {column}, which takes about {PHASE_SECONDS[column]:g} s"
            else:
                reason = "three pictures about the turning point of the hand"
            rows.append(Need(quantity, column, least_rate(quantity, column, heard=heard), reason))
    return tuple(sorted(rows, key=lambda row: -row.rate))


_ARM = {side: (f"{side}_shoulder", f"{side}_elbow", f"{side}_wrist") for side in ("left", "right")}
_LEG = {side: (f"{side}_hip", f"{side}_knee", f"{side}_ankle") for side in ("left", "right")}
_TRUNK = ("left_shoulder", "right_shoulder", "left_hip", "right_hip")

#: Keypoints (of a right-hander) that each measure is made of.
MADE_OF: dict[str, tuple[str, ...]] = {
    "shoulder_turn": ("left_shoulder", "right_shoulder"),
    "hip_turn": ("left_hip", "right_hip"),
    "separation": _TRUNK,
    "hitting_elbow_flexion": _ARM["right"],
    "off_elbow_flexion": _ARM["left"],
    "hitting_arm_raise": (*_TRUNK, "right_elbow"),
    "off_arm_raise": (*_TRUNK, "left_elbow"),
    "outside_knee_flexion": _LEG["right"],
    "inside_knee_flexion": _LEG["left"],
    "trunk_forward_lean": _TRUNK,
    "trunk_side_lean": _TRUNK,
    "hand_in_front": ("right_hand", "left_hip", "right_hip"),
    "hand_aside": ("right_hand", "left_hip", "right_hip"),
    "hand_height": ("right_hand", *_TRUNK),
    "base_width": ("left_ankle", "right_ankle"),
    "hip_drop": (*_LEG["left"], *_LEG["right"]),
}
