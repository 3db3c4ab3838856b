"""What is compared between player and model, in a coach's words.

A new quantity is one row here: how to compute it and how big a difference must be before it matters on court. How well
each camera side shows it is measured, see ``accuracy``. The floors are *common practice, no source*: differences that
a coach would not bother to mention are below them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke import measures as m

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Quantity:
    """One row of the comparison.

    Attributes
    ----------
    key, label : name in code and in the review. unit : as in ``Deviation.unit``.
    joint : keypoint (right-handed) at which the review shows it.
    compute : (T, K, 3) right-handed points on court axes to (T,).
    floor : smallest difference that matters on court, in ``unit``.
    arm : whether it is of an arm: of the right one where that is the hitting arm, with a backhand of the left.
    """

    key: str
    label: str
    unit: str
    joint: str
    compute: Callable[[Array], Array]
    floor: float
    arm: bool = False


def _rows() -> tuple[Quantity, ...]:
    return (
        Quantity("shoulder_turn", "Shoulder turn", "deg", "right_shoulder", m.shoulder_turn, 15.0),
        Quantity("hip_turn", "Hip turn", "deg", "right_hip", m.hip_turn, 15.0),
        Quantity("separation", "Hip–shoulder separation", "deg", "left_shoulder", m.separation, 12.0),
        Quantity(
            "hitting_elbow_flexion",
            "Bend of the hitting elbow",
            "deg",
            "right_elbow",
            lambda p: m.flexion(p, "right_shoulder", "right_elbow", "right_wrist"),
            15.0,
            arm=True,
        ),
        Quantity(
            "off_elbow_flexion",
            "Bend of the other elbow",
            "deg",
            "left_elbow",
            lambda p: m.flexion(p, "left_shoulder", "left_elbow", "left_wrist"),
            25.0,
            arm=True,
        ),
        Quantity(
            "hitting_arm_raise",
            "Raise of the hitting arm",
            "deg",
            "right_elbow",
            lambda p: m.arm_raise(p, "right"),
            15.0,
            arm=True,
        ),
        Quantity(
            "off_arm_raise",
            "Raise of the other arm",
            "deg",
            "left_elbow",
            lambda p: m.arm_raise(p, "left"),
            25.0,
            arm=True,
        ),
        Quantity(
            "outside_knee_flexion",
            "Bend of the outside knee",
            "deg",
            "right_knee",
            lambda p: m.flexion(p, "right_hip", "right_knee", "right_ankle"),
            12.0,
        ),
        Quantity(
            "inside_knee_flexion",
            "Bend of the inside knee",
            "deg",
            "left_knee",
            lambda p: m.flexion(p, "left_hip", "left_knee", "left_ankle"),
            12.0,
        ),
        Quantity("trunk_forward_lean", "Trunk lean to the target", "deg", "nose", m.trunk_forward_lean, 10.0),
        Quantity("trunk_side_lean", "Trunk lean to the hitting side", "deg", "nose", m.trunk_side_lean, 10.0),
        Quantity(
            "hand_in_front",
            "Hand in front of the hips",
            "arm lengths",
            "right_hand",
            m.hand_in_front,
            0.15,
            arm=True,
        ),
        Quantity(
            "hand_aside", "Hand out to the side", "arm lengths", "right_wrist", m.hand_aside, 0.15, arm=True
        ),
        Quantity(
            "hand_height",
            "Hand height, hip 0 to shoulder 1",
            "hip-to-shoulder",
            "right_hand",
            m.hand_height,
            0.25,
            arm=True,
        ),
        Quantity(
            "base_width", "Distance between the feet", "shoulder widths", "right_ankle", m.base_width, 0.35
        ),
        Quantity("hip_drop", "Lowering of the hips", "leg lengths", "left_hip", m.hip_drop, 0.06),
    )


QUANTITIES: dict[str, Quantity] = {row.key: row for row in _rows()}
