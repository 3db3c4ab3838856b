"""Planted faults seen through the measures that the analysis itself takes on keypoints."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from swingmatch.stroke import measures
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import RATE, perform
from swingmatch.synth.motion import Motion
from swingmatch.synth.style import ForehandStyle

Measure = Callable[[np.ndarray], np.ndarray]


def played(**faults: float) -> Motion:
    return perform(ForehandStyle(), Build(), swings=1, variation=0.0, faults=faults)


def outside_knee(points: np.ndarray) -> np.ndarray:
    return measures.flexion(points, "right_hip", "right_knee", "right_ankle")


def elbow(points: np.ndarray) -> np.ndarray:
    return measures.flexion(points, "right_shoulder", "right_elbow", "right_wrist")


def off_arm(points: np.ndarray) -> np.ndarray:
    return measures.arm_raise(points, "left")


#: fault -> (measure, seconds from contact at which it is read, sign of its change).
SEEN: dict[str, tuple[Measure, float, int]] = {
    "late_contact": (measures.hand_in_front, 0.0, -1),
    "cramped_contact": (measures.hand_aside, 0.0, -1),
    "reaching_contact": (measures.trunk_side_lean, 0.0, 1),
    "straight_legs": (outside_knee, -0.26, -1),
    "narrow_base": (measures.base_width, -0.25, -1),
    "little_shoulder_turn": (measures.shoulder_turn, -0.30, -1),
    "high_take_back": (measures.hand_height, -0.36, 1),
    "no_racket_drop": (measures.hand_height, -0.13, 1),
    "low_finish": (measures.hand_height, 0.34, -1),
    "falling_back": (measures.trunk_forward_lean, 0.0, -1),
    "passive_off_arm": (off_arm, -0.27, -1),
    "stiff_arm": (elbow, -0.36, -1),
}


@pytest.fixture(scope="module")
def sound() -> Motion:
    return played()


@pytest.mark.parametrize("name", sorted(SEEN))
def test_a_fault_shows_in_its_measure_and_grows_with_its_size(sound, name):
    """Each half of the fault makes at least a quarter of the change, so that none stops growing on the way."""
    measure, at, sign = SEEN[name]
    values = []
    for motion in (sound, played(**{name: 0.5}), played(**{name: 1.0})):
        i = round((motion.swings[0].events["contact"] + at) * RATE)
        values.append(float(measure(motion.points)[i]))
    changes = sign * np.diff(values)
    assert (changes > 0.0).all(), values
    assert changes.min() > 0.25 * changes.sum(), values
