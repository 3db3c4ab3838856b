"""Footage remarks: each shortcoming gives its one sentence and takes away what it must; a good clip loses nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX
from swingmatch.clip.clip import Clip
from swingmatch.clip.sound import Onsets
from swingmatch.findings.columns import COLUMNS
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.footage import needs
from swingmatch.footage.check import check, crosses_cut, cut_off, too_slow, unusable
from swingmatch.footage.picture import Picture
from swingmatch.footage.slow_motion import SlowMotion, said

GOOD = Picture(blown=0.01, black=0.0, edge=1.8, smear=0.5, travel=0.01, shake=0.002)
HEARD = Onsets(np.array([1.8]), np.array([60.0]))


def clip_of(track, rate=60.0, **changes):
    times = track.times
    clip = Clip(Path("a.mp4"), *track.size, times, float(times[-1]) + 1 / rate, rate, rate, True)
    return replace(clip, **changes)


@pytest.fixture(scope="module")
def track(see, motion):
    return see(motion, 90.0)


def remark(footage, kind):
    (found,) = [r for r in footage.remarks if r.kind == kind]
    assert found.sentence.endswith((".", "?"))
    assert "\n" not in found.sentence
    return found


def test_good_footage_loses_nothing(track):
    footage = check(clip_of(track), track, HEARD, GOOD, azimuth=90.0, heard=True)
    assert footage.usable
    assert [r.kind for r in footage.remarks if r.severity != "fine"] == []
    assert all(footage.hides(key, column) is None for key in (*QUANTITIES, "duration") for column in COLUMNS)
    assert footage.notes == ("The camera looks from the right side (told from the movement).",)


# --- frame rate -------------------------------------------------------------------------------------------------------


def test_thirty_pictures_a_second_cost_the_moment_of_contact(track):
    footage = check(clip_of(track, 30.0), track, HEARD, GOOD, heard=False)
    assert remark(footage, "rate").severity == "limits"
    assert "±17 ms" in remark(footage, "rate").sentence
    assert footage.hides("hand_in_front", "contact")
    assert footage.hides("hand_in_front", "take-back") is None
    assert footage.hides("trunk_side_lean", "contact") is None
    # With the strike heard, contact is known between the pictures.
    assert (
        check(clip_of(track, 30.0), track, HEARD, GOOD, heard=True).hides("hand_in_front", "contact") is None
    )


def test_ten_pictures_a_second_are_too_few(track):
    footage = check(clip_of(track, 10.0), track, HEARD, GOOD)
    assert not footage.usable
    assert footage.hides("hip_turn", "take-back")
    assert footage.remarks[0].kind == "rate"


@given(low=st.floats(12, 240), more=st.floats(0, 240), heard=st.booleans())
def test_more_pictures_never_hide_more(low, more, heard):
    assert too_slow(low + more, heard=heard) <= too_slow(low, heard=heard)


def test_nothing_is_asked_of_phones_that_they_cannot_do():
    assert max(row.rate for row in needs.table()) <= 60.0


def test_the_table_gives_a_reason_for_every_measure_and_column():
    rows = needs.table()
    assert {(row.quantity, row.column) for row in rows} == {(q, c) for q in QUANTITIES for c in COLUMNS}
    assert all(row.rate > 0 and row.reason for row in rows)


def test_the_least_rate_is_what_its_definition_says():
    """At the least rate, two standard deviations of the moment change the measure by its floor."""
    for key, (speed, _) in needs.CONTACT_SPEED.items():
        rate = needs.least_rate(key, "contact")
        rng = np.random.default_rng(1)
        off = rng.uniform(-0.5, 0.5, 200_000) / rate
        assert 2.0 * np.std(speed * off) == pytest.approx(QUANTITIES[key].floor, rel=0.01)


def test_gaps_shorter_than_a_frame_are_never_timed(track):
    at_60 = check(clip_of(track), track, HEARD)
    at_30 = check(clip_of(track, 30.0), track, HEARD)
    pelvis_to_trunk = needs.TIMING["the hips turning before the shoulders"][0]
    assert at_60.can_time(pelvis_to_trunk)  # 18 ms and 17 ms
    assert not at_30.can_time(pelvis_to_trunk)
    assert not at_60.can_time(1 / 60)
    assert not replace(at_60, slow=SlowMotion(1.0, 0.5, "")).can_time(1.0)


# --- the body in the picture ------------------------------------------------------------------------------------------


def test_cut_off_feet_take_the_legs_away(track):
    low = replace(track, size=(track.size[0], 0), image=track.image.copy())
    knees = np.median(low.image[:, [INDEX["left_knee"], INDEX["right_knee"]], 1])
    low = replace(low, size=(track.size[0], int(knees)))
    footage = check(clip_of(low), low, HEARD, GOOD)
    cut = remark(footage, "in view")
    assert "feet" in cut.sentence
    assert "knees" in cut.sentence
    assert {"base_width", "outside_knee_flexion", "inside_knee_flexion", "hip_drop"} <= cut.gates
    assert not {"shoulder_turn", "hitting_elbow_flexion", "hand_in_front"} & cut.gates


def test_a_left_handers_cut_off_arm_is_the_hitting_arm(track):
    image = track.image.copy()
    image[:, INDEX["left_elbow"] : INDEX["left_elbow"] + 1, 0] = -5.0
    out = replace(track, image=image)
    right = remark(check(clip_of(out), out, HEARD, GOOD, hand="right"), "in view").gates
    left = remark(check(clip_of(out), out, HEARD, GOOD, hand="left"), "in view").gates
    assert "off_elbow_flexion" in right
    assert "hitting_elbow_flexion" not in right
    assert "hitting_elbow_flexion" in left
    assert "off_elbow_flexion" not in left


def test_shares_of_what_is_cut_off_are_counted(track):
    image = track.image.copy()
    image[: len(image) // 4, INDEX["nose"], 1] = -3.0
    assert cut_off(replace(track, image=image))[INDEX["nose"]] == pytest.approx(0.25, abs=0.01)
    assert cut_off(track).max() == 0.0


@pytest.mark.parametrize(("share", "severity"), [(1.0, "fine"), (0.25, "limits"), (0.12, "unusable")])
def test_the_height_of_the_player(track, share, severity):
    small = replace(track, image=track.image * share, size=track.size)
    assert remark(check(clip_of(small), small, HEARD, GOOD), "size").severity == severity


def test_a_smaller_copy_of_the_picture_counts_as_what_was_filmed(track):
    half = replace(track, image=track.image / 2, size=(track.size[0] // 2, track.size[1] // 2))
    full = clip_of(track)
    words = [remark(check(full, t, HEARD, GOOD), "size").sentence for t in (track, half)]
    assert words[0] == words[1]


def test_a_player_who_is_seldom_found(track):
    lost = np.arange(len(track.times)) % 10 < 6
    gone = replace(track, image=np.where(lost[:, None, None], np.nan, track.image))
    footage = check(clip_of(gone), gone, HEARD, GOOD)
    assert remark(footage, "found").severity == "unusable"
    assert "40 %" in remark(footage, "found").sentence


def test_upside_down_is_one_sentence(track):
    turned = replace(track, image=np.array(track.size) - track.image)
    footage = check(clip_of(turned), turned, HEARD, GOOD)
    assert not footage.usable
    assert "upside down" in remark(footage, "upside down").sentence
    assert not any(r.kind == "upside down" for r in check(clip_of(track), track, HEARD, GOOD).remarks)


def test_five_people_are_one_sentence(track):
    footage = check(clip_of(track), track, HEARD, GOOD, people=5)
    assert remark(footage, "people").sentence.startswith("Five people are in view")
    assert footage.usable


# --- the pictures -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "kind", "hidden"),
    [
        ({"black": 0.6}, "light", ()),
        ({"blown": 0.6}, "light", ()),
        ({"smear": 8.0}, "blur", ()),
        ({"edge": 9.0}, "soft", ()),
        ({"travel": 0.5}, "camera moves", (("base_width", "drop"),)),
        ({"cuts": (3.2,)}, "cuts", ()),
    ],
)
def test_what_is_wrong_with_the_pictures(track, changes, kind, hidden):
    footage = check(clip_of(track), track, HEARD, replace(GOOD, **changes))
    assert remark(footage, kind).severity == "limits"
    assert footage.lacks(kind)
    for quantity, column in hidden:
        assert footage.hides(quantity, column) == remark(footage, kind).sentence


def test_a_cut_is_told_with_its_time_and_swings_across_it_are_known(track):
    picture = replace(GOOD, cuts=(3.2, 5.0), cut_margin=0.1)
    assert "cut at 3.2 and 5.0 s" in remark(check(clip_of(track), track, HEARD, picture), "cuts").sentence
    assert crosses_cut(3.0, 4.0, picture)
    assert crosses_cut(2.0, 3.15, picture)  # the cut may lie a little before its look
    assert not crosses_cut(3.3, 4.8, picture)
    assert not crosses_cut(3.0, 4.0, None)


# --- sound, side, time ------------------------------------------------------------------------------------------------


def test_no_sound_is_told_with_what_it_costs(track):
    assert "no sound" in remark(check(clip_of(track), track, None, GOOD), "sound").sentence
    told = check(clip_of(track), track, None, GOOD, contact_within=0.0421)
    assert "nine times in ten to ±42 ms" in remark(told, "sound").sentence
    assert remark(check(clip_of(track), track, HEARD, GOOD, heard=True), "sound").severity == "fine"


def test_the_camera_side_is_named_with_where_it_comes_from(track):
    clip = clip_of(track)
    assert (
        "as the coach says"
        in remark(check(clip, track, HEARD, azimuth=0.0, azimuth_told="as the coach says"), "side").sentence
    )
    lines = check(
        clip, track, HEARD, azimuth=0.0, azimuth_told="told from the court's lines", azimuth_within=12.3
    )
    assert "(told from the court's lines, to about ±12°)" in remark(lines, "side").sentence
    assert not any(r.kind == "side" for r in check(clip, track, HEARD).remarks)


def test_a_guess_at_slow_motion_asks_and_hides_durations(track):
    guess = SlowMotion(4.0, 0.6, "It looks slowed 4 times.", "Was this filmed in slow motion?")
    footage = check(clip_of(track), track, HEARD, GOOD, slow=guess)
    assert footage.hides("duration", "drop")
    assert "slow motion?" in remark(footage, "slow").sentence
    sure = check(clip_of(track), track, HEARD, GOOD, slow=said(4))
    assert sure.hides("duration", "drop") is None
    assert remark(sure, "slow").severity == "fine"


def test_what_the_reader_saw_is_passed_on(track):
    clip = clip_of(track, notes=("The clip's clock jumps once.",))
    assert "The clip's clock jumps once." in check(clip, track, HEARD, GOOD).notes


def test_a_clip_without_anything_hides_everything():
    footage = unusable("nobody", "Nobody was found in the clip.")
    assert not footage.usable
    assert all(footage.hides(key, column) for key in (*QUANTITIES, "duration") for column in COLUMNS)
