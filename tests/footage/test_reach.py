"""What footage takes away from the measures beyond their own uncertainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.body.track import Track
from swingmatch.footage.check import Footage, Remark
from swingmatch.footage.reach import CAMERA_MOVES, OUT_OF_PICTURE, UNKNOWN_SPEED, hidden_measures
from swingmatch.footage.slow_motion import REAL_TIME
from swingmatch.stroke.shown import own_keypoints
from swingmatch.stroke.strokes import STROKES

FOREHAND = STROKES["forehand"]
GOOD = Footage(())


def track(*out_of_picture):
    image = np.full((20, K, 2), 200.0)
    for name in out_of_picture:
        image[:, INDEX[name], 1] = 500.0
    return Track(np.arange(20) / 60, image, np.zeros((20, K, 3)), np.ones((20, K)), (640, 480))


def test_good_footage_takes_nothing_away():
    assert hidden_measures(FOREHAND, "right", track(), GOOD) == {}


def test_feet_out_of_the_picture_take_what_is_measured_on_them():
    lost = hidden_measures(FOREHAND, "right", track("left_ankle", "right_ankle"), GOOD)
    assert set(lost.values()) == {OUT_OF_PICTURE}
    assert {"base_width", "weight_outside", "outside_knee_flexion", "inside_knee_flexion"} <= set(lost)
    assert not {"shoulder_turn", "contact_elbow_flexion", "hip_turn"} & set(lost)


@pytest.mark.parametrize(
    ("stroke", "hand", "side"),
    [
        ("forehand", "right", "right"),
        ("forehand", "left", "left"),
        ("two-handed backhand", "right", "left"),
        ("one-handed backhand", "left", "right"),
        ("serve", "left", "left"),
    ],
)
def test_the_outside_knee_is_the_players_own(stroke, hand, side):
    definition = STROKES[stroke]
    lost = hidden_measures(definition, hand, track(f"{side}_knee"), GOOD)
    other = "left" if side == "right" else "right"
    outside, inside = (
        next(row.key for row in definition.measures if f"{s}_knee" in row.shows) for s in ("right", "left")
    )
    assert outside in lost
    assert inside not in lost
    assert outside not in hidden_measures(definition, hand, track(f"{other}_knee"), GOOD)


@pytest.mark.parametrize("stroke", STROKES)
@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_players_own_keypoints_are_those_that_the_measures_see(stroke, hand):
    """Marks each keypoint with its number: ``Movement`` reads from the same place as ``own_keypoints`` names."""
    from swingmatch.stroke.swing import Swing

    definition = STROKES[stroke]
    points = np.zeros((3, K, 3))
    points[..., 0] = np.arange(K)
    swing = Swing(np.arange(3.0), points, {"contact": 1.0}, hand, stroke=stroke)
    movement = definition.movement(swing)
    for name in ("hitting_elbow", "other_hand", "right_ankle", "left_knee", "nose"):
        (own,) = own_keypoints(name, definition, hand)
        assert movement.joint(name)[0, 0] == INDEX[own]
    assert (mirror(mirror(points)) == points).all()
    assert set(own_keypoints("mid_hip", definition, hand)) == {"left_hip", "right_hip"}
    assert own_keypoints("racket", definition, hand) == own_keypoints("hitting_hand", definition, hand)
    # The hand that hits is the player's named one, but for the two-handed backhand as for all.
    assert own_keypoints("hitting_hand", definition, hand) == (f"{hand}_hand",)


def test_every_name_that_is_shown_is_known():
    for definition in STROKES.values():
        for row in definition.measures:
            for name in row.shows:
                assert all(point in INDEX for point in own_keypoints(name, definition, "right"))


def test_a_clip_of_unknown_speed_hides_times_and_speeds_but_no_ratio():
    lost = hidden_measures(FOREHAND, "right", track(), replace(GOOD, slow=replace(REAL_TIME, confidence=0.0)))
    assert set(lost.values()) == {UNKNOWN_SPEED}
    units = {row.key: row.unit for row in FOREHAND.measures}
    assert {units[key] for key in lost} == {"ms", "deg/s", "statures/s"}
    assert not {"tempo", "hand_speed_kept"} & set(lost)


def test_a_camera_that_moves_hides_the_way_over_the_ground():
    moving = Footage((Remark("camera moves", "limits", "The camera moves."),))
    lost = hidden_measures(FOREHAND, "right", track(), moving)
    assert set(lost.values()) == {CAMERA_MOVES}
    assert {"recovery_step", "head_movement", "com_speed"} <= set(lost)
    assert "shoulder_turn" not in lost
    # Every key of the list is a measure of some stroke.
    from swingmatch.footage.reach import _OVER_GROUND

    assert {row.key for d in STROKES.values() for row in d.measures} >= _OVER_GROUND
