"""Measures of a stroke: laws that hold whoever plays, and values on movements with a known answer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.stroke import certainty
from swingmatch.stroke.certainty import Certainty
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.measure import NO_RACKET, NOT_FOUND, TOO_CLOSE, UNSEEN, measure, spreads
from swingmatch.stroke.swing import Swing
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import perform
from swingmatch.synth.style import ForehandStyle

STYLE = ForehandStyle()


def generated(style: ForehandStyle = STYLE, hand="right") -> Swing:
    motion = perform(style, Build(), hand, swings=1, variation=0.0)
    events = motion.swings[0].events
    near = np.abs(motion.times - events["contact"] + 0.2) < 1.5
    return Swing(
        motion.times[near][::4],
        motion.points[near][::4] / motion.stature,
        events,
        hand,
        90.0 if hand == "right" else -90.0,
        racket=motion.racket[near][::4] / motion.stature,
        struck=motion.ball[np.argmin(np.abs(motion.times - events["contact"]))] / motion.stature,
    )


@pytest.fixture(scope="module")
def swing() -> Swing:
    return generated()


def values(swing: Swing, **more) -> dict[str, float]:
    return {found.row.key: found.value for found in measure(swing, **more)}


def same(a: dict[str, float], b: dict[str, float], **tolerance) -> None:
    assert a.keys() == b.keys()
    keys = list(a)
    np.testing.assert_allclose([a[k] for k in keys], [b[k] for k in keys], **tolerance)


def test_everything_is_found_on_an_exact_swing_with_its_racket(swing):
    found = measure(swing)
    assert [one.row.key for one in found if not np.isfinite(one.value)] == []
    assert all(one.visible or one.why_not == TOO_CLOSE for one in found)


def test_a_left_hander_has_the_same_measures(swing):
    flip = np.array([1.0, 1.0, -1.0])
    racket = swing.racket[:, [0, 1, 2, 4, 3]] * flip
    left = replace(swing, points=mirror(swing.points), hand="left", racket=racket, struck=swing.struck * flip)
    same(values(left), values(swing), rtol=1e-9, atol=1e-9)


def test_measures_do_not_depend_on_the_clock(swing):
    later = replace(swing, times=swing.times + 7.3, events={n: t + 7.3 for n, t in swing.events.items()})
    same(values(later), values(swing), rtol=1e-6, atol=1e-6)
    at = {one.row.key: one.time for one in measure(swing)}
    assert all(one.time - at[one.row.key] == pytest.approx(7.3) for one in measure(later))


def test_only_places_and_speeds_in_statures_depend_on_the_size(swing):
    bigger = replace(swing, points=1.2 * swing.points, racket=1.2 * swing.racket, struck=1.2 * swing.struck)
    mine, theirs = values(bigger), values(swing)
    for row in FOREHAND.measures:
        if row.key == "time_to_balance":  # rests on a speed in statures a second
            continue
        scale = 1.2 if row.unit.startswith("statures") else 1.0
        assert mine[row.key] == pytest.approx(scale * theirs[row.key], rel=1e-6, abs=1e-6), row.key


def test_turning_the_court_under_the_player_turns_the_lines_alone(swing):
    a = np.radians(20.0)
    turned = np.array([[np.cos(a), 0.0, -np.sin(a)], [0.0, 1.0, 0.0], [np.sin(a), 0.0, np.cos(a)]])
    other = replace(swing, points=swing.points @ turned, racket=swing.racket @ turned)
    mine, theirs = values(other), values(swing)
    for key in (
        "separation",
        "elbow_flexion",
        "hand_height",
        "com_drop",
        "hip_speed",
        "tip_below_hand",
        "smoothness",
    ):
        assert mine[key] == pytest.approx(theirs[key], abs=1e-6), key
    gap = mine["contact_shoulder_turn"] - theirs["contact_shoulder_turn"]
    assert abs(gap) == pytest.approx(20.0)
    assert abs(mine["stance_angle"] - theirs["stance_angle"]) == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("parameter", "value", "key"),
    [
        ("elbow_contact", 60.0, "contact_elbow_flexion"),
        ("base_width", 1.1, "base_width"),
        ("contact_front", 0.45, "hand_front_com"),
        ("take_back_height", 1.2, "hand_highest"),
        ("finish_height", 0.6, "finish_height"),
        ("off_arm_span", 0.3, "other_hand_height"),
        ("lean", -4.0, "trunk_forward_lean"),
        ("racket_drop", 5.0, "tip_below_hand"),
        ("back_foot_round", 0.0, "back_foot_way"),
    ],
)
def test_a_style_that_differs_in_one_thing_differs_in_its_measure(swing, parameter, value, key):
    """The measure goes the way the style does, by more than what would say nothing."""
    other = measure(generated(replace(STYLE, **{parameter: value})))
    found = {one.row.key: one for one in other}
    gap = found[key].value - values(swing)[key]
    assert np.sign(gap) == np.sign(value - getattr(STYLE, parameter))
    assert abs(gap) > 0.5 * found[key].row.useful


def test_a_style_more_along_the_target_line_has_a_less_open_stance(swing):
    """The style counts the foot line from the baseline, the measure from the target line."""
    closed = values(generated(replace(STYLE, stance=80.0)))
    assert values(swing)["stance_angle"] - closed["stance_angle"] == pytest.approx(30.0, abs=3.0)


def test_the_hips_lead_the_shoulders_by_what_was_asked(swing):
    """``hip_lead`` is how long before the trunk the hips are fastest; the mean style has A3's 18 ms."""
    assert values(swing)["hip_turn_before_shoulder_turn_peak"] == pytest.approx(STYLE.hip_lead, abs=6.0)


def test_lengths_are_given_in_metres_where_the_stature_is_known(swing):
    found = {one.row.key: one for one in measure(swing, stature=1.8)}
    points = swing.at(np.array([swing.contact]))[0]
    reach = points[INDEX["right_hand"], 0] - points[INDEX["left_hip"], 0]
    assert found["hand_front_front_hip"].metres == pytest.approx(1.8 * reach)
    assert found["contact_elbow_flexion"].metres is None
    assert all(one.metres is None for one in measure(swing))


def test_what_needs_the_racket_says_so_without_one(swing):
    found = {one.row.key: one for one in measure(replace(swing, racket=None))}
    for row in FOREHAND.measures:
        assert (found[row.key].why_not == NO_RACKET) == row.racket, row.key


def test_the_string_bed_is_taken_where_a_racket_usually_is(swing):
    known, guessed = values(swing), values(replace(swing, racket=None))
    assert guessed["string_bed_aside_com"] == pytest.approx(known["string_bed_aside_com"], abs=0.15)
    assert guessed["string_bed_front_com"] == pytest.approx(known["string_bed_front_com"], abs=0.15)


def test_an_event_that_was_not_found_takes_its_measures_with_it(swing):
    events = {name: time for name, time in swing.events.items() if name != "hands_apart"}
    found = {one.row.key: one for one in measure(replace(swing, events=events))}
    assert found["hands_part_at"].why_not == NOT_FOUND
    assert found["contact_elbow_flexion"].visible


def test_what_the_footage_cannot_show_is_left_out_with_its_reason(swing):
    found = measure(swing, hides=lambda key: "the feet are cut off" if key == "base_width" else None)
    assert {one.row.key: one.why_not for one in found}["base_width"] == "the feet are cut off"


@pytest.fixture
def drawn(swing) -> Swing:
    noise = np.random.default_rng(1).normal(0.0, 0.01, (24, 1, *swing.points.shape[1:]))
    return replace(swing, draws=swing.points + noise)


def test_an_exact_swing_has_no_uncertainty_and_a_drawn_one_has(swing, drawn):
    assert all(one.sd == 0.0 for one in measure(swing))
    own = {row.key: float(row.of(FOREHAND.movement(drawn))) for row in FOREHAND.measures}
    found = spreads(drawn, FOREHAND, own, 0.0)
    assert found["contact_elbow_flexion"] > 1.0
    # Bodies that differ by the same shift at all times have their fastest moments at nearly the same time.
    assert found["hip_turn_peak"] < 10.0


def test_a_wider_error_of_contact_widens_what_is_taken_there(drawn):
    own = {row.key: float(row.of(FOREHAND.movement(drawn))) for row in FOREHAND.measures}
    near, far = (spreads(drawn, FOREHAND, own, sd) for sd in (0.0, 0.03))
    assert far["contact_shoulder_turn"] > 1.5 * near["contact_shoulder_turn"]
    assert far["hand_peak"] > near["hand_peak"] + 10.0


def table(monkeypatch, **rows: Certainty) -> None:
    monkeypatch.setattr(certainty, "certainties", lambda: {"forehand": rows})


def test_what_was_never_studied_is_not_reported(drawn, monkeypatch):
    table(monkeypatch)
    assert {one.why_not for one in measure(drawn) if not one.row.racket} == {UNSEEN}


def test_a_measure_is_shown_while_its_interval_is_narrower_than_what_is_useful(drawn, monkeypatch):
    row = next(row for row in FOREHAND.measures if row.key == "contact_elbow_flexion")
    for rest, shown in ((0.9 * row.useful / 1.645, True), (1.1 * row.useful / 1.645, False)):
        sides = {"right side": 1.0, "front": 2.0 * row.useful, "front left": 0.5}
        table(monkeypatch, contact_elbow_flexion=Certainty(0.0, rest, sides))
        found = {one.row.key: one for one in measure(drawn)}["contact_elbow_flexion"]
        assert found.visible == shown
        assert found.sides == (() if shown else ("front left", "right side"))
        low, high = found.interval
        assert high - low == pytest.approx(2 * 1.645 * rest)


def test_a_left_hander_is_told_the_sides_of_a_left_hander(drawn, monkeypatch):
    table(monkeypatch, contact_elbow_flexion=Certainty(0.0, 99.0, {"right side": 1.0, "front left": 0.5}))
    left = replace(drawn, points=mirror(drawn.points), draws=mirror(drawn.draws), hand="left", racket=None)
    found = {one.row.key: one for one in measure(left)}["contact_elbow_flexion"]
    assert found.sides == ("front right", "left side")


def test_a_gap_shorter_than_a_picture_is_never_reported(swing):
    """E20: at 30 pictures a second the hips' lead of 18 ms cannot be told."""
    slow = replace(swing, times=swing.times[::4], points=swing.points[::4], racket=swing.racket[::4])
    found = {one.row.key: one for one in measure(slow)}
    assert found["hip_turn_before_shoulder_turn_peak"].why_not == TOO_CLOSE
