"""Angles against SciPy's rotations in the ISB sequence, and the laws that measures obey."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, K
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke import measures as m
from swingmatch.stroke.swing import Swing, phase_bounds


@pytest.fixture(scope="module")
def points(motion):
    return motion.points[::20] / motion.stature


@given(st.floats(1, 150), st.floats(-25, 25), st.floats(-60, 60), st.integers(0, 10**6))
def test_flexion_is_the_first_angle_of_the_isb_sequence(bend, carry, spin, seed):
    """Grood & Suntay / ISB: flexion about e1 = Z, then the floating axis X, then the long axis Y (ZXY)."""
    upper = Rotation.random(random_state=seed)
    lower = upper * Rotation.from_euler("ZXY", [bend, 0.0, spin], degrees=True)
    down = np.array([0.0, -1.0, 0.0])
    points = np.zeros((1, K, 3))
    points[0, INDEX["right_knee"]] = upper.apply(0.4 * down)
    points[0, INDEX["right_ankle"]] = points[0, INDEX["right_knee"]] + lower.apply(0.4 * down)
    got = m.flexion(points, "right_hip", "right_knee", "right_ankle")[0]
    assert got == pytest.approx(bend, abs=1e-6)
    # With a carrying angle the angle between the long axes is no longer the flexion alone, but never less.
    out = upper * Rotation.from_euler("ZXY", [bend, carry, spin], degrees=True)
    points[0, INDEX["right_ankle"]] = points[0, INDEX["right_knee"]] + out.apply(0.4 * down)
    both = m.flexion(points, "right_hip", "right_knee", "right_ankle")[0]
    assert np.cos(np.radians(both)) == pytest.approx(
        np.cos(np.radians(bend)) * np.cos(np.radians(carry)), abs=1e-9
    )


@given(st.floats(-170, 170))
def test_turn_against_a_rotation_about_the_vertical(angle):
    points = np.zeros((1, K, 3))
    line = Rotation.from_euler("y", angle, degrees=True).apply([0.0, 0.0, 0.4])
    points[0, INDEX["right_shoulder"]], points[0, INDEX["left_shoulder"]] = line / 2, -line / 2
    # A positive rotation about Y takes +Z to +X: the right shoulder forward, which is turned towards the target.
    assert m.shoulder_turn(points)[0] == pytest.approx(-angle, abs=1e-9)


def test_turn_does_not_jump_when_it_passes_half_a_circle():
    angles = np.linspace(100, 260, 50)
    points = np.zeros((50, K, 3))
    line = Rotation.from_euler("y", -angles[:, None], degrees=True).apply([0.0, 0.0, 0.4])
    points[:, INDEX["right_hip"]], points[:, INDEX["left_hip"]] = line / 2, -line / 2
    assert np.abs(np.diff(m.hip_turn(points))).max() < 5.0


@pytest.mark.parametrize("key", QUANTITIES)
def test_scale_and_place_change_nothing(points, key):
    compute = QUANTITIES[key].compute
    np.testing.assert_allclose(
        compute(1.7 * points + np.array([3.0, 0.0, -2.0])), compute(points), rtol=1e-6, atol=1e-6
    )


@pytest.mark.parametrize("key", QUANTITIES)
def test_a_left_handers_mirror_measures_the_same(points, key):
    times = np.arange(len(points)) / 24
    right = Swing(times, points, {"contact": 1.0}, "right", 70.0)
    left = replace(replace(right, hand="left").as_right_handed(), hand="left", camera_azimuth=-70.0)
    again = left.as_right_handed()
    assert again.camera_azimuth == 70.0
    compute = QUANTITIES[key].compute
    np.testing.assert_allclose(compute(again.points), compute(points), atol=1e-9)


def test_worked_places():
    points = np.zeros((1, K, 3))
    for side, z in (("left", -1.0), ("right", 1.0)):
        points[0, INDEX[f"{side}_shoulder"]] = 0.0, 1.4, 0.2 * z
        points[0, INDEX[f"{side}_hip"]] = 0.0, 0.9, 0.1 * z
        points[0, INDEX[f"{side}_knee"]] = 0.0, 0.45, 0.1 * z
        points[0, INDEX[f"{side}_ankle"]] = 0.0, 0.0, 0.3 * z
        points[0, INDEX[f"{side}_elbow"]] = 0.3, 1.4, 0.2 * z
        points[0, INDEX[f"{side}_wrist"]] = 0.55, 1.4, 0.2 * z
        points[0, INDEX[f"{side}_hand"]] = 0.6, 1.4, 0.2 * z
    assert m.arm_length(points) == pytest.approx(0.6)
    assert m.hand_in_front(points)[0] == pytest.approx(1.0)
    assert m.hand_aside(points)[0] == pytest.approx(0.2 / 0.6)
    assert m.hand_height(points)[0] == pytest.approx(1.0)
    assert m.base_width(points)[0] == pytest.approx(0.6 / 0.4)
    assert m.arm_raise(points, "right")[0] == pytest.approx(90.0)
    assert m.hip_drop(points)[0] == pytest.approx(1 - 0.9 / (0.45 + np.hypot(0.45, 0.2)))
    assert m.separation(points)[0] == pytest.approx(0.0)
    assert m.trunk_forward_lean(points)[0] == pytest.approx(0.0)


def test_an_unknown_keypoint_hides_only_what_needs_it(points):
    hidden = points.copy()
    hidden[:, INDEX["left_wrist"]] = np.nan
    assert np.isnan(m.flexion(hidden, "left_shoulder", "left_elbow", "left_wrist")).all()
    assert np.isfinite(m.shoulder_turn(hidden)).all()
    assert np.isfinite(m.hand_in_front(hidden)).all()


def test_phases_need_both_their_events():
    events = {"ready": 0.0, "hands_apart": 0.4, "end_of_take_back": 0.7, "contact": 1.0}
    assert phase_bounds(events) == {"preparation": (0.0, 0.4), "take-back": (0.4, 0.7)}


def test_a_swing_without_contact_is_refused():
    with pytest.raises(ValueError, match="contact"):
        Swing(np.zeros(2), np.zeros((2, K, 3)), {}, "right")


@given(st.floats(-180, 180))
def test_turning_the_body_on_court_changes_its_turns_and_nothing_else(points, angle):
    """Bends, separation, distances and heights know nothing of where the target is."""
    turned = points @ Rotation.from_euler("y", angle, degrees=True).as_matrix().T
    for free in (
        lambda p: m.flexion(p, "right_shoulder", "right_elbow", "right_wrist"),
        lambda p: m.arm_raise(p, "left"),
        m.separation,
        m.hand_height,
        m.base_width,
        m.hip_drop,
        m.hands_distance,
    ):
        np.testing.assert_allclose(free(turned), free(points), atol=1e-6)
    # Turning back is clockwise from above, SciPy's turn about the upward axis is counter-clockwise.
    gained = (m.shoulder_turn(turned) - m.shoulder_turn(points) + angle + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(gained, 0.0, atol=1e-6)


def test_separation_near_half_a_circle_is_no_whole_turn():
    points = np.zeros((5, K, 3))
    for part, angle in (("shoulder", 182.0), ("hip", 178.0)):
        line = Rotation.from_euler("y", -angle, degrees=True).apply([0.0, 0.0, 0.3])
        points[:, INDEX[f"right_{part}"]], points[:, INDEX[f"left_{part}"]] = line / 2, -line / 2
    np.testing.assert_allclose(m.separation(points), 4.0, atol=1e-9)
