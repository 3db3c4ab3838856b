"""Measures beside the truth: what uncertainty is stated for them, and the table of a report."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.stroke.certainty import Certainty
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.swing import Swing
from swingmatch.study import certainty
from swingmatch.study.measure import Errors
from swingmatch.study.measures import Taken, certainties, fit, pool, table, taken
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import perform
from swingmatch.synth.style import ForehandStyle


def simulated(count: int, factor: float, rest: float, seed: int = 0) -> list[Taken]:
    """Errors of which (factor * spread)^2 + rest^2 is the variance."""
    rng = np.random.default_rng(seed)
    spread = rng.uniform(1.0, 10.0, count)
    return [
        Taken(float(e), float(s))
        for e, s in zip(rng.normal(0.0, np.hypot(factor * spread, rest)), spread, strict=True)
    ]


@pytest.mark.parametrize(("factor", "rest"), [(1.0, 0.5), (2.0, 0.5), (1.5, 6.0)])
def test_what_is_stated_holds_nine_of_ten_errors_of_others(factor, rest):
    shares = []
    for seed in range(8):
        f, r = fit(simulated(100, factor, rest, seed))
        shares += [abs(e) <= 1.645 * np.hypot(f * s, r) for e, s in simulated(2000, factor, rest, 100 + seed)]
    assert np.mean(shares) == pytest.approx(0.9, abs=0.025)


def test_a_measure_is_never_surer_than_its_drawn_bodies():
    factor, _ = fit(simulated(200, 0.2, 0.0))
    assert factor == 1.0


def test_a_spread_that_is_too_narrow_is_widened():
    assert fit(simulated(400, 3.0, 0.01))[0] == pytest.approx(3.0, rel=0.15)


def test_a_measure_that_was_seen_too_seldom_has_no_certainty():
    pooled = {"a": {"front": simulated(11, 1.0, 1.0)}, "b": {"front": simulated(12, 1.0, 1.0)}}
    assert set(certainties(pooled)) == {"b"}


def test_unknown_errors_are_left_out():
    some = [*simulated(30, 1.0, 1.0), Taken(float("nan"), 1.0), Taken(1.0, float("nan"))]
    assert certainties({"a": {"front": some}})["a"].factor == pytest.approx(fit(some[:30])[0])


def test_each_side_has_its_usual_standard_deviation():
    pooled = {"a": {"front": [Taken(0.1, 1.0)] * 20, "back": [Taken(0.4, 4.0)] * 20}}
    row = certainties(pooled)["a"]
    assert row.sides["back"] > 2.0 * row.sides["front"]


def test_clips_are_pooled_by_side():
    one, two = Taken(1.0, 1.0), Taken(2.0, 1.0)
    assert pool([("front", {"a": [one]}), ("front", {"a": [two]}), ("back", {"a": [one]})]) == {
        "a": {"front": [one, two], "back": [one]}
    }


def test_the_table_tells_error_coverage_and_how_often_a_measure_is_shown():
    useful = next(row.useful for row in FOREHAND.measures if row.key == "shoulder_turn")
    found = {
        "shoulder_turn": {
            "front": [Taken(-3.0, 1.0), Taken(5.0, 1.0)],
            "back": [Taken(9.0, 1.0), Taken(1.0, 1.0)],
        }
    }
    lines = table("forehand", found, {"shoulder_turn": Certainty(2.0, 0.0, {})}).splitlines()
    assert useful > 1.645 * 2.0
    row = next(line for line in lines if line.startswith("| Shoulder turn |"))
    front, back, every = (cell.strip() for cell in row.strip("|").split("|")[2:])
    assert front == "4 / 5; 50 %; shown 100 %"
    assert back == "5 / 8; 50 %; shown 100 %"
    assert every == "4 / 8; 50 %; shown 100 %"


def test_a_swing_beside_itself_has_no_errors():
    motion = perform(ForehandStyle(), Build(), swings=1, variation=0.0)
    events = motion.swings[0].events
    points = motion.points[::4] / motion.stature
    true = Swing(motion.times[::4], points, events, "right", 90.0, racket=motion.racket[::4] / motion.stature)
    near = np.abs(true.times - true.contact + 0.2) < 1.5
    noise = np.random.default_rng(0).normal(0.0, 0.002, (3, 1, *points.shape[1:]))
    found = Swing(true.times[near], points[near], events, "right", 90.0, draws=points[near] + noise)
    errors = taken(found, true, 0.004)
    assert not {row.key for row in FOREHAND.measures if row.racket} & errors.keys()
    for key in ("shoulder_turn", "contact_elbow_flexion", "hand_front_com", "hip_turn_peak", "back_foot_way"):
        assert errors[key].error == pytest.approx(0.0, abs=1.5), key
        assert errors[key].spread > 0.0, key


def test_the_rackets_measures_are_taken_where_it_was_seen():
    motion = perform(ForehandStyle(), Build(), swings=1, variation=0.0)
    events = motion.swings[0].events
    points, racket = (way[::4] / motion.stature for way in (motion.points, motion.racket))
    true = Swing(motion.times[::4], points, events, "right", 90.0, racket=racket)
    near = np.abs(true.times - true.contact + 0.2) < 1.5
    times = true.times[near]
    draws = np.repeat(points[near][None], 2, axis=0)
    found = Swing(times, points[near], events, "right", 90.0, draws=draws, racket=racket[near])
    early = replace(found, racket_seen=times < true.contact - 0.5)
    errors = taken(found, true, 0.0)
    for key in ("face_in_drop", "face_at_contact", "racket_speed", "tip_below_hand"):
        assert errors[key].error == pytest.approx(0.0, abs=1.5), key
    assert not {"face_at_contact", "racket_speed", "pronation"} & taken(early, true, 0.0).keys()


def test_calibration_writes_the_strokes_that_were_studied_and_keeps_the_others(tmp_path, monkeypatch):
    file = tmp_path / "certainty.json"
    file.write_text(
        json.dumps({"strokes": {"serve": {"kept": 1}, "forehand": {"gone": 1}}}), encoding="utf-8"
    )
    monkeypatch.setattr(certainty, "CERTAINTY", file)
    errors = Errors(side="front", measures={"shoulder_turn": simulated(20, 1.0, 1.0)})
    certainty.write_certainty([errors])
    strokes = json.loads(file.read_text(encoding="utf-8"))["strokes"]
    assert strokes["serve"] == {"kept": 1}
    assert set(strokes["forehand"]) == {"shoulder_turn"}
    assert set(strokes["forehand"]["shoulder_turn"]) == {"factor", "rest", "sides"}
