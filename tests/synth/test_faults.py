"""Every planted fault moves the quantity that it names, the right way, and more so when it is larger."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.synth.build import Build
from swingmatch.synth.faults import FAULTS, apply_faults
from swingmatch.synth.forehand import RATE, contact_of, perform
from swingmatch.synth.motion import Motion
from swingmatch.synth.style import ForehandStyle

BUILD = Build()


def at(motion: Motion, event: str) -> int:
    return round(motion.swings[0].events[event] * RATE)


def contact(key: str) -> Callable[[Motion], float]:
    return lambda m: contact_of(m.times, m.points, m.racket, at(m, "contact"), BUILD)[key]


def joint(motion: Motion, name: str, i: int) -> np.ndarray:
    return motion.points[i, INDEX[name]]


def flexion(motion: Motion, a: str, b: str, c: str, i: int) -> float:
    u, v = joint(motion, b, i) - joint(motion, a, i), joint(motion, c, i) - joint(motion, b, i)
    return float(np.degrees(np.arccos(u @ v / np.linalg.norm(u) / np.linalg.norm(v))))


def turns(motion: Motion, line: str) -> np.ndarray:
    across = motion.points[:, INDEX[f"right_{line}"]] - motion.points[:, INDEX[f"left_{line}"]]
    return np.degrees(np.unwrap(np.arctan2(-across[:, 0], across[:, 2])))


def outside_knee(m: Motion) -> float:
    window = range(at(m, "contact") - 170, at(m, "contact") - 90, 8)
    return max(flexion(m, "right_hip", "right_knee", "right_ankle", i) for i in window)


def base(m: Motion) -> float:
    i = at(m, "contact") - 120
    gap = (joint(m, "left_ankle", i) - joint(m, "right_ankle", i))[[0, 2]]
    return float(np.linalg.norm(gap) / BUILD.length("shoulder_width"))


def hip_lead(m: Motion) -> float:
    c = at(m, "contact")
    peak = {n: int(np.argmax(-np.gradient(turns(m, n))[c - 150 : c + 60])) for n in ("hip", "shoulder")}
    return (peak["shoulder"] - peak["hip"]) / RATE * 1000.0


def shoulder_turn(m: Motion) -> float:
    return float(turns(m, "shoulder")[: at(m, "contact")].max())


def highest_hand(m: Motion) -> float:
    """Highest hitting hand of the take-back, 0 hip .. 1 shoulder."""
    window = slice(at(m, "hands_apart"), at(m, "contact") - 60)
    hips, shoulders = middle(m.points, "hip")[window, 1], middle(m.points, "shoulder")[window, 1]
    return float(((m.points[window, INDEX["right_hand"], 1] - hips) / (shoulders - hips)).max())


def racket_drop(m: Motion) -> float:
    """Lowest the tip gets below the hand before contact, metres."""
    window = slice(at(m, "end_of_take_back"), at(m, "contact"))
    return float((m.points[window, INDEX["right_hand"], 1] - m.racket[window, 2, 1]).max())


def finish(m: Motion) -> float:
    i = at(m, "contact") + round(0.34 * RATE)
    return float(joint(m, "right_hand", i)[1])


def lean(m: Motion) -> float:
    """Trunk's lean to the target at contact, degrees."""
    i = at(m, "contact")
    spine = middle(m.points[i], "shoulder") - middle(m.points[i], "hip")
    return float(np.degrees(np.arctan2(spine[0], spine[1])))


def off_hand(m: Motion) -> float:
    """Off hand against the shoulders half way into the drop, metres."""
    i = at(m, "contact") - 130
    return float(joint(m, "left_hand", i)[1] - middle(m.points[i], "shoulder")[1])


def head_turn(m: Motion) -> float:
    """How far the look moves in the quarter second before contact, degrees."""
    look = (m.points[:, INDEX["nose"]] - middle(m.points, "ear"))[at(m, "contact") - 120 : at(m, "contact")]
    yaw = np.degrees(np.unwrap(np.arctan2(look[:, 2], look[:, 0])))
    # Following the ball turns the head to the right; pulling away turns it back.
    return float(np.maximum(-np.diff(yaw), 0.0).sum())


def elbow_take_back(m: Motion) -> float:
    return flexion(m, "right_shoulder", "right_elbow", "right_wrist", at(m, "contact") - round(0.36 * RATE))


def side_lean(m: Motion) -> float:
    i = at(m, "contact")
    spine = middle(m.points[i], "shoulder") - middle(m.points[i], "hip")
    return float(np.degrees(np.arctan2(spine[2], spine[1])))


#: fault -> (quantity measured on exact keypoints, sign of its change, least change at size 1).
MEASURED: dict[str, tuple[Callable[[Motion], float], int, float]] = {
    "late_contact": (contact("front"), -1, 0.4),
    "cramped_contact": (contact("aside"), -1, 0.15),
    "reaching_contact": (side_lean, 1, 10.0),
    "straight_legs": (outside_knee, -1, 25.0),
    "narrow_base": (base, -1, 0.5),
    "little_shoulder_turn": (shoulder_turn, -1, 40.0),
    "hips_late": (hip_lead, -1, 30.0),
    "high_take_back": (highest_hand, 1, 0.3),
    "big_loop": (highest_hand, 1, 0.2),
    "no_racket_drop": (racket_drop, -1, 0.15),
    "flat_path": (contact("path"), -1, 15.0),
    "low_finish": (finish, -1, 0.2),
    "falling_back": (lean, -1, 15.0),
    "passive_off_arm": (off_hand, -1, 0.3),
    "stiff_arm": (elbow_take_back, -1, 40.0),
    "unsteady_head": (head_turn, 1, 20.0),
}


def test_every_fault_is_measured():
    assert set(MEASURED) | {"inconsistent_contact"} == set(FAULTS)
    assert all(fault.words.endswith(".") for fault in FAULTS.values())


@pytest.mark.parametrize("name", sorted(MEASURED))
def test_a_fault_moves_its_quantity(name):
    measure, sign, least = MEASURED[name]
    values = [
        measure(perform(ForehandStyle(), BUILD, swings=1, variation=0.0, faults={name: size}))
        for size in (0.0, 0.5, 1.0)
    ]
    assert (sign * np.diff(values) > 0.0).all(), values
    assert sign * (values[2] - values[0]) > least, values


def test_inconsistent_contact_spreads_the_contact_point():
    spread = []
    for size in (0.0, 0.5, 1.0):
        motion = perform(
            ForehandStyle(), BUILD, swings=6, seed=3, rest=0.2, faults={"inconsistent_contact": size}
        )
        spots = [
            motion.ball[i] - middle(motion.points[i], "hip")
            for i in (round(s.events["contact"] * RATE) for s in motion.swings)
        ]
        spread.append(float(np.linalg.norm(np.std(spots, axis=0)[:2])))
    assert spread[0] < spread[1] < spread[2]
    assert spread[2] > 3.0 * spread[0]


def test_size_nothing_changes_nothing():
    assert apply_faults(ForehandStyle(), dict.fromkeys(FAULTS, 0.0)) == ForehandStyle()


@pytest.mark.parametrize(
    ("faults", "words"), [({"nonsense": 0.5}, "unknown fault"), ({"big_loop": 1.5}, "expected 0")]
)
def test_bad_requests_are_refused(faults, words):
    with pytest.raises(ValueError, match=words):
        apply_faults(ForehandStyle(), faults)


def test_truth_names_the_planted_faults():
    motion = perform(ForehandStyle(), BUILD, swings=1, faults={"flat_path": 0.4})
    assert motion.swings[0].faults == {"flat_path": 0.4}
