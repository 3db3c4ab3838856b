"""Recorded movement on the generated figure: a made-up recording whose answer is known, and the real ones if there."""

from __future__ import annotations

import itertools
import os
from pathlib import Path

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.errors import LibraryError
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.study.recorded import HELD_OUT_PLAYERS, TUNING_PLAYERS, recorded_shots
from swingmatch.synth.chain import HEAD_WIDTH, RACKET_LENGTH

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
HITS = (2.5, 6.5)
RATE = 100


def joint(name, offset, *children, end=None):
    tail = f"End Site\n{{\nOFFSET {end}\n}}\n" if end else "".join(children)
    return f"JOINT {name}\n{{\nOFFSET {offset}\nCHANNELS 3 Zrotation Xrotation Yrotation\n{tail}}}\n"


def recording(heading):
    """A BVH in centimetres of somebody who stands still, faces ``heading`` degrees about the vertical, and waves the
    stretched right arm forward on the level, fastest at ``HITS``."""
    arms, legs = "", ""
    for side, sign in (("Left", 1), ("Right", -1)):
        wrist = joint(f"{side}Wrist", f"{25 * sign} 0 0", end="0 -15 0")
        elbow = joint(f"{side}Elbow", f"{26 * sign} 0 0", wrist)
        arms += joint(f"{side}Collar", "0 22 0", joint(f"{side}Shoulder", f"{18 * sign} 0 0", elbow))
        knee = joint(f"{side}Knee", "0 -42 0", joint(f"{side}Ankle", "0 -42 0", end="0 -5 16"))
        legs += joint(f"{side}Hip", f"{11 * sign} 0 0", knee)
    head = joint("Neck", "0 22 0", joint("Head", "0 11 0", end="0 17 0"))
    root = (
        "ROOT Hips\n{\nOFFSET 0 0 0\nCHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation\n"
    )
    tree = f"HIERARCHY\n{root}{joint('Chest', '0 28 0', head, arms)}{legs}}}\n"
    names = [line.split()[1] for line in tree.splitlines() if line.startswith("JOINT")]
    times = np.arange(9 * RATE) / RATE
    values = np.zeros((len(times), 6 + 3 * len(names)))
    values[:, 1] = 130.0  # hips far above the floor of the file, which must not matter
    values[:, 5] = heading
    # Right arm points to -x; a turn of -90 about y brings it to the front (+z would be +90 for the left).
    turn = sum(0.5 * (1 + np.tanh((times - hit) / 0.08)) for hit in HITS)
    back = sum(0.5 * (1 + np.tanh((times - hit - 1.5) / 0.4)) for hit in HITS)
    values[:, 6 + 3 * names.index("RightShoulder") + 2] = 45.0 - 90.0 * (turn - back)
    # Hands in line with the forearms, as the recorded ones nearly are.
    for side, sign in (("Left", 1), ("Right", -1)):
        values[:, 6 + 3 * names.index(f"{side}Wrist")] = 90.0 * sign
    lines = "\n".join(" ".join(f"{v:.6f}" for v in row) for row in values)
    return f"{tree}MOTION\nFrames: {len(times)}\nFrame Time: {1 / RATE}\n{lines}\n"


@pytest.fixture(scope="module", params=[0.0, 120.0])
def item(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("mocap")
    (folder / "someone.bvh").write_text(recording(request.param), encoding="utf-8")
    (folder / "index.csv").write_text("file,player,stroke\nsomeone.bvh,S,forehand\n", encoding="utf-8")
    (shot,) = recorded_shots(folder)
    return shot


def test_the_stroke_is_where_the_wrist_is_fastest(item):
    motion = item.motion
    assert motion.hand == "right"
    assert item.stroke == "forehand"
    wrist = motion.points[:, INDEX["right_wrist"]]
    fastest = motion.times[np.argmax(np.linalg.norm(np.gradient(wrist, motion.times, axis=0), axis=1))]
    (swing,) = motion.swings
    assert swing.events["contact"] == pytest.approx(fastest + WRIST_PEAK_BEFORE_CONTACT, abs=0.011)
    # Two seconds on either side, as both neighbours are four seconds off.
    assert swing.events["contact"] == pytest.approx(2.0 + WRIST_PEAK_BEFORE_CONTACT, abs=0.011)
    assert motion.times[-1] == pytest.approx(4.0, abs=0.02)
    assert np.allclose(np.diff(motion.times), 1 / 240)


def test_the_body_stands_upright_on_the_floor_and_goes_to_the_target(item):
    points = item.motion.points
    # thigh, shank and trunk of 42, 42, 50 cm are 0.779 of stature (C1).
    assert item.motion.stature == pytest.approx(1.34 / 0.779, rel=1e-3)
    feet = points[:, [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "toe")], 1]
    assert np.allclose(feet, 0.012 * item.motion.stature, atol=2e-3)
    assert np.allclose(middle(points[0], "hip")[[0, 2]], 0.0, atol=1e-6)
    velocity = np.gradient(points[:, INDEX["right_wrist"]], item.motion.times, axis=0)
    contact = np.argmin(np.abs(item.motion.times - item.motion.swings[0].events["contact"]))
    assert velocity[contact, 0] > 0.9 * np.linalg.norm(velocity[contact])
    # The face is ahead of the ears, the right shoulder on the right.
    heading = points[:, INDEX["nose"]] - middle(points, "ear")
    line = points[:, INDEX["right_shoulder"]] - points[:, INDEX["left_shoulder"]]
    right = np.cross(heading, np.array([0.0, 1.0, 0.0]))
    assert ((right * line).sum(axis=1) > 0.0).all()
    toes = points[:, INDEX["right_toe"]] - points[:, INDEX["right_heel"]]
    assert ((toes * heading).sum(axis=1) > 0.0).all()


def test_the_racket_is_rigid_in_the_hand_and_faces_the_target_at_contact(item):
    motion = item.motion
    butt, throat, tip, left, right = motion.racket.transpose(1, 0, 2)
    assert np.allclose(np.linalg.norm(tip - butt, axis=1), RACKET_LENGTH, atol=1e-6)
    assert np.allclose(np.linalg.norm(right - left, axis=1), HEAD_WIDTH, atol=1e-6)
    hand = motion.points[:, INDEX["right_hand"]]
    assert np.allclose(np.linalg.norm(hand - butt, axis=1), 0.09, atol=1e-6)
    contact = np.argmin(np.abs(motion.times - motion.swings[0].events["contact"]))
    # Neither direction in the face points to the target more than the hand's own tilt makes it.
    assert abs((right - left)[contact, 0]) < 0.5 * HEAD_WIDTH
    elbow, wrist = (motion.points[:, INDEX[f"right_{part}"]] for part in ("elbow", "wrist"))
    assert ((throat - butt) * (wrist - elbow)).sum(axis=1).min() > 0.0


def test_bad_folders_are_one_sentence(tmp_path):
    with pytest.raises(LibraryError, match=r"no index\.csv"):
        recorded_shots(tmp_path)
    (tmp_path / "index.csv").write_text("file\nx.bvh\n", encoding="utf-8")
    with pytest.raises(LibraryError, match="does not list"):
        recorded_shots(tmp_path)
    (tmp_path / "index.csv").write_text("file,player,stroke\nx.bvh,P,forehand\n", encoding="utf-8")
    with pytest.raises(LibraryError, match="cannot be read"):
        recorded_shots(tmp_path)
    still = recording(0.0).replace("RightWrist", "RightHand")
    (tmp_path / "x.bvh").write_text(still, encoding="utf-8")
    with pytest.raises(LibraryError, match="no joint named RightWrist"):
        recorded_shots(tmp_path)


@pytest.mark.mocap
@pytest.mark.skipif(
    not (FOLDER / "index.csv").is_file(), reason="no motion capture here; set SWINGMATCH_MOCAP"
)
def test_real_players_stand_on_the_floor_with_constant_limbs():
    assert not set(TUNING_PLAYERS) & set(HELD_OUT_PLAYERS)
    shots = recorded_shots(FOLDER, TUNING_PLAYERS[:1])
    assert [shot.stroke for shot in shots] == ["forehand", "backhand", "serve"]
    for shot in shots:
        points = shot.motion.points
        assert np.isfinite(points).all()
        assert 1.4 < shot.motion.stature < 2.0
        feet = points[:, [INDEX[f"{s}_{part}"] for s in ("left", "right") for part in ("heel", "toe")], 1]
        assert feet.min() > -0.03
        assert np.median(feet.min(axis=1)) == pytest.approx(0.012 * shot.motion.stature, abs=0.02)
        for a, b in itertools.pairwise(("right_hip", "right_knee", "right_ankle")):
            length = np.linalg.norm(points[:, INDEX[a]] - points[:, INDEX[b]], axis=1)
            assert np.ptp(length) < 0.004
        assert (points[:, INDEX["nose"], 1] > points[:, INDEX["right_hip"], 1]).all()
