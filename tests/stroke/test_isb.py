"""Angles in the ISB's sequences: bodies built from known angles by SciPy's rotations must give them back."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.stroke import isb
from swingmatch.stroke.measures import hip_turn, shoulder_turn

UPPER_ARM, FOREARM, TRUNK, SHOULDERS, HIPS = 0.186, 0.146, 0.288, 0.259, 0.191


def degrees(low, high):
    return st.floats(low, high, allow_nan=False)


def turned(sequence, angles):
    """SciPy's capitals are intrinsic: each rotation about the axis that the ones before have turned."""
    return Rotation.from_euler(sequence, angles, degrees=True)


def body(trunk, arm=None, flexion=0.0, carrying=0.0):
    """A body (K, 3) from the rotation of its trunk and that of the right upper arm against it (ISB axes).

    The hips are square to the trunk. The forearm is turned against the upper arm in ZXY: flexion, carrying angle.
    """
    points = np.full((K, 3), np.nan)
    hip = np.array([0.2, 0.53, -0.1])
    chest = hip + trunk.apply([0.0, TRUNK, 0.0])
    for sign, side in ((-0.5, "left"), (0.5, "right")):
        points[INDEX[f"{side}_hip"]] = hip + trunk.apply([0.0, 0.0, sign * HIPS])
        points[INDEX[f"{side}_shoulder"]] = chest + trunk.apply([0.0, 0.0, sign * SHOULDERS])
    if arm is not None:
        upper = trunk * arm
        lower = upper * turned("ZXY", [flexion, carrying, 0.0])
        elbow = points[INDEX["right_shoulder"]] - upper.apply([0.0, UPPER_ARM, 0.0])
        points[INDEX["right_elbow"]] = elbow
        points[INDEX["right_wrist"]] = elbow - lower.apply([0.0, FOREARM, 0.0])
    return points


def isb_arm(plane, elevation, internal):
    """The ISB counts elevation negative."""
    return turned("YXY", [plane, -elevation, internal])


ANY_TRUNK = st.tuples(degrees(-60, 60), degrees(-60, 60), degrees(-179, 179)).map(lambda a: turned("ZXY", a))


@settings(max_examples=60, deadline=None)
@given(degrees(-179, 179), degrees(-79, 79), degrees(-179, 179))
def test_the_trunk_comes_back(lean, side, turn):
    points = body(turned("ZXY", [lean, side, turn]))
    for angles in (isb.thorax_angles(points), isb.pelvis_angles(points)):
        np.testing.assert_allclose(angles, [lean, side, turn], atol=1e-6)


@settings(max_examples=60, deadline=None)
@given(ANY_TRUNK, degrees(-79, 79), degrees(-85, 85))
def test_thorax_against_pelvis_comes_back(trunk, side, turn):
    """The hip line is turned and dropped under a trunk that keeps its direction."""
    points = body(trunk)
    relative = turned("ZXY", [0.0, side, turn])
    # The pelvis is square to its own hip line; the thorax's y is that of the pelvis, bent to the side.
    hips = trunk * relative.inv()
    middle = 0.5 * (points[INDEX["left_hip"]] + points[INDEX["right_hip"]])
    for sign, name in ((-0.5, "left"), (0.5, "right")):
        points[INDEX[f"{name}_hip"]] = middle + hips.apply([0.0, 0.0, sign * HIPS])
    angles = isb.trunk_angles(points)
    assert np.isnan(angles[0])
    np.testing.assert_allclose(angles[1:], [side, turn], atol=1e-6)
    np.testing.assert_allclose(isb.pelvis(points), hips.as_matrix(), atol=1e-9)


@settings(max_examples=100, deadline=None)
@given(ANY_TRUNK, degrees(-179, 179), degrees(22, 158), degrees(-179, 179), degrees(28, 150))
def test_the_shoulder_comes_back(trunk, plane, elevation, internal, flexion):
    points = body(trunk, isb_arm(plane, elevation, internal), flexion)
    np.testing.assert_allclose(isb.shoulder_angles(points), [plane, elevation, internal], atol=1e-6)
    assert isb.elbow_flexion(points) == pytest.approx(flexion, abs=1e-5)
    # The left arm of the mirrored body has the same angles.
    np.testing.assert_allclose(
        isb.shoulder_angles(mirror(points), "left"), [plane, elevation, internal], atol=1e-6
    )


def test_named_postures():
    """Signs, by looking: upright, facing the target (X), Z to the right."""
    upright = Rotation.identity()
    right = (0.0, 0.0, 1.0)
    ahead = (1.0, 0.0, 0.0)

    def arm(elbow, wrist):
        points = body(upright)
        points[INDEX["right_elbow"]] = points[INDEX["right_shoulder"]] + UPPER_ARM * np.array(elbow)
        points[INDEX["right_wrist"]] = points[INDEX["right_elbow"]] + FOREARM * np.array(wrist)
        return isb.shoulder_angles(points)

    # Upper arm out to the side, forearm down: a quarter turn inwards from forearm ahead, which is a quarter from up.
    np.testing.assert_allclose(arm(right, ahead)[:2], [0.0, 90.0], atol=1e-9)
    forward, down, up = (arm(right, w)[2] for w in (ahead, (0.0, -1.0, 0.0), (0.0, 1.0, 0.0)))
    assert forward == pytest.approx(0.0, abs=1e-9)
    assert down == pytest.approx(90.0, abs=1e-9)  # internal is positive
    assert up == pytest.approx(-90.0, abs=1e-9)  # the cocked arm of a serve: external
    # Upper arm ahead is the plane of 90 degrees, across the chest more.
    np.testing.assert_allclose(arm(ahead, (0.0, 1.0, 0.0))[:2], [90.0, 90.0], atol=1e-9)
    assert arm((1.0, 0.0, -1.0) / np.sqrt(2.0), (0.0, 1.0, 0.0))[0] == pytest.approx(135.0)

    # Leaning 20 degrees to the target is -20, 10 to the right is +10 (Wu et al. 2005).
    lean = isb.thorax_angles(body(turned("ZXY", [-20.0, 10.0, 0.0])))
    np.testing.assert_allclose(lean, [-20.0, 10.0, 0.0], atol=1e-9)
    tip = turned("ZXY", [-20.0, 10.0, 0.0]).apply([0.0, 1.0, 0.0])
    assert tip[0] > 0.0
    assert tip[2] > 0.0


def test_the_turn_is_that_of_the_measures_with_the_other_sign():
    """``measures.turn`` is positive turned back (to the right), the ISB's axial rotation to the left."""
    for angle in (-100.0, -30.0, 0.0, 55.0, 120.0):
        points = body(turned("ZXY", [0.0, 0.0, angle]))
        assert isb.thorax_angles(points)[2] == pytest.approx(angle, abs=1e-9)
        assert shoulder_turn(points[None])[0] == pytest.approx(-angle, abs=1e-9)
        assert hip_turn(points[None])[0] == pytest.approx(-angle, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(ANY_TRUNK, degrees(-170, 170), degrees(0, 180), degrees(-170, 170), degrees(0, 170))
def test_what_cannot_be_told_is_nan_and_the_rest_is_not(trunk, plane, elevation, internal, flexion):
    for value, limit in ((elevation, isb.LEAST_ELEVATION), (180 - elevation, isb.LEAST_ELEVATION)):
        assume(abs(value - limit) > 1e-3)
    assume(abs(flexion - isb.LEAST_FLEXION) > 1e-3)
    points = body(trunk, isb_arm(plane, elevation, internal), flexion)
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # SciPy warns of a gimbal lock; it must not come to that
        angles = isb.shoulder_angles(points)
    regular = isb.LEAST_ELEVATION < elevation < 180.0 - isb.LEAST_ELEVATION
    assert np.isfinite(angles[0]) == regular
    assert np.isfinite(angles[1])
    assert angles[1] == pytest.approx(elevation, abs=1e-5)
    assert np.isfinite(angles[2]) == (regular and flexion > isb.LEAST_FLEXION)


def test_limits_are_where_the_stated_error_is_fifteen_degrees():
    """30 mm (E6) at the end of forearm and upper arm of C1 at 1.75 m."""
    for length, limit in ((FOREARM, isb.LEAST_FLEXION), (UPPER_ARM, isb.LEAST_ELEVATION)):
        off = np.degrees(0.030 / (1.75 * length * np.sin(np.radians(limit))))
        assert off == pytest.approx(15.0, abs=0.5)


@pytest.mark.parametrize("lean", [90.0, -90.0, 85.0])
def test_lying_on_the_side_is_singular(lean):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        angles = isb.thorax_angles(body(turned("ZXY", [10.0, lean, 20.0])))
    assert np.isnan(angles).all()


def test_carrying_angle_shows_in_a_straight_arm():
    """cos(measured) = cos(flexion) cos(carrying): 10 degrees straight, arccos(0.5 x 0.98481) = 60.5013 for 60."""
    arm = isb_arm(30.0, 60.0, 0.0)
    assert isb.elbow_flexion(body(Rotation.identity(), arm, 0.0, 10.0)) == pytest.approx(10.0, abs=1e-6)
    assert isb.elbow_flexion(body(Rotation.identity(), arm, 60.0, 10.0)) == pytest.approx(60.5013, abs=1e-4)


@pytest.mark.parametrize("side", ["left", "right"])
def test_knee(side):
    points = body(Rotation.identity())
    hip = points[INDEX[f"{side}_hip"]]
    knee = hip + np.array([0.1, -0.2, 0.0])
    points[INDEX[f"{side}_knee"]] = knee
    for bend in (0.0, 24.0, 90.0, 140.0):
        points[INDEX[f"{side}_ankle"]] = knee + turned("Z", -bend).apply(knee - hip)
        # Near a straight knee the arc cosine loses half the digits.
        assert isb.knee_flexion(points, side) == pytest.approx(bend, abs=2e-6)


def test_unknown_keypoints_and_shapes():
    points = np.stack([body(turned("ZXY", [0, 0, 10]), isb_arm(45, 90, 10), 90.0)] * 6).reshape(2, 3, K, 3)
    points[1, 2, INDEX["left_shoulder"]] = np.nan
    points[0, 0, INDEX["right_wrist"]] = np.nan
    angles = isb.shoulder_angles(points)
    assert angles.shape == (2, 3, 3)
    assert np.isnan(angles[1, 2]).all()
    assert np.isfinite(angles[0, 0]).tolist() == [True, True, False]
    assert np.isfinite(angles[0, 1]).all()
    assert isb.trunk_angles(points).shape == (2, 3, 3)
    coinciding = points[0, 1].copy()
    coinciding[INDEX["right_shoulder"]] = coinciding[INDEX["left_shoulder"]]
    assert np.isnan(isb.thorax_angles(coinciding)).all()
