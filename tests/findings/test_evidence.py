"""Evidence: complete, the same whatever should not matter, silent where nothing is different."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from swingmatch.align.alignment import Alignment
from swingmatch.body.skeleton import mirror
from swingmatch.findings.columns import columns_of, spans_of
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import gather, measured
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.findings.timing import shifts
from swingmatch.findings.typical import typical_spread
from swingmatch.stroke.measure import UNSEEN, measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import mirror_racket
from swingmatch.study.captured import strokes
from swingmatch.study.recorded import HELD_OUT_PLAYERS
from swingmatch.study.typical import recorded, usual_spread, widened

pytestmark = pytest.mark.usefixtures("accuracy_table")

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
FLOORS = {
    "hand_front_com": 0.1,
    "contact_height": 0.2,
    "outside_knee_flexion": 12.0,
    "contact_shoulder_turn": 12.0,
    "drop_duration": 80.0,
    "face_at_contact": 10.0,
}
STYLE = np.array([5.0, -8, 3, 4, 6, -7, 5, 9])


def same_clock(first=-1.2, last=0.55):
    times = np.arange(round(first * 120), round(last * 120) + 1) / 120
    return Alignment(times, times, 0.0)


def of(players, model, repeats=None, floors=FLOORS, **more):
    return gather(
        players,
        model,
        [same_clock()] * len(players),
        repeats or [model, model],
        [measure(player) for player in players],
        floors,
        **more,
    )


def values(deviations):
    return {d.key: (d.value, d.peak, d.at, d.spread, d.error, d.chance) for d in deviations}


def same(one, other, tolerance=1e-6):
    assert one.keys() == other.keys()
    for key, row in one.items():
        assert other[key] == pytest.approx(row, abs=tolerance, nan_ok=True), key


@pytest.fixture
def model(movers):
    return replace(movers.swing(), camera_azimuth=90.0)


@pytest.fixture
def player(movers):
    return replace(movers.swing(style=STYLE), camera_azimuth=90.0)


def test_everything_that_can_be_compared_is_there(player, model):
    found = of([player, model], model)
    keys = {d.key for d in found.pooled}
    columns = columns_of("forehand")
    assert {f"{q}@{c}" for q in QUANTITIES for c in columns} <= keys
    assert {f"shift@{c}" for c in columns if c != "contact"} <= keys
    assert {key for key in keys if "@" not in key} == set(FLOORS) - {"face_at_contact"}  # there is no racket
    assert len(found.pooled) == len(keys)
    assert [len(one) for one in found.each] == [len(found.pooled)] * 2
    assert all(0.0 <= d.chance <= 1.0 for d in (*found.pooled, *found.each[0]))
    assert (found.stroke, found.camera_azimuth, found.floors) == ("forehand", 90.0, FLOORS)
    assert found["contact_height"].quantity == "contact_height"
    with pytest.raises(KeyError):
        found["contact_height@drop"]


def test_the_models_own_swing_says_nothing(model):
    found = of([model], model)
    assert found.each == (found.pooled,)
    for deviation in found.pooled:
        assert deviation.value == pytest.approx(0.0, abs=1e-6)
        assert deviation.chance > 0.999
        assert not deviation.counts


def test_a_left_handers_mirror_gives_the_same(player, model):
    left = replace(player, points=mirror(player.points), hand="left", camera_azimuth=-90.0)
    other = replace(model, points=mirror(model.points), hand="left", camera_azimuth=-90.0)
    plain = of([player], model)
    assert any(d.counts for d in plain.pooled)
    for mine, theirs in ((left, model), (left, other), (player, other)):
        mirrored = of([mine], theirs)
        same(values(plain.pooled), values(mirrored.pooled))
        assert mirrored.camera_azimuth == 90.0


@given(contact=st.floats(-5, 50), scale=st.floats(0.4, 2.5))
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_time_of_day_and_body_size_change_nothing(movers, model, player, contact, scale):
    moved = replace(movers.swing(style=STYLE, contact=contact, scale=scale), camera_azimuth=90.0)
    same(values(of([player], model).pooled), values(of([moved], model).pooled), 1e-5)


def test_the_order_of_the_swings_changes_nothing(movers, model):
    players = [replace(movers.swing(style=share * STYLE), camera_azimuth=90.0) for share in (0.5, 1.0, 1.4)]
    plain = of(players, model)
    shuffled = of([players[i] for i in (2, 0, 1)], model)
    same(values(plain.pooled), values(shuffled.pooled))
    for one, i in zip(shuffled.each, (2, 0, 1), strict=True):
        same(values(one), values(plain.each[i]))


def test_a_measure_is_the_mean_of_the_swings_and_its_error_is_shared(movers, model):
    players = [movers.swing(style=share * STYLE) for share in (0.5, 1.0, 1.4)]
    measures = [tuple(replace(m, sd=0.03) for m in measure(p)) for p in players]
    repeats = [model, movers.swing(style=0.1 * STYLE)]
    found = {d.key: d for d in measured(players, measures, repeats, FLOORS)}
    for key, deviation in found.items():
        mine = np.array([next(m.value for m in ms if m.row.key == key) for ms in measures])
        theirs = np.array([next(m.value for m in measure(r) if m.row.key == key) for r in repeats])
        assert deviation.value == pytest.approx(mine.mean() - theirs.mean())
        assert deviation.spread == pytest.approx(theirs.std(ddof=1))
        assert deviation.repeat == pytest.approx(mine.std(ddof=1))
        assert deviation.error == pytest.approx(0.03)
        assert deviation.swings == 3
        assert (deviation.phase, deviation.floor) == ("", FLOORS[key])


def test_the_moment_of_a_measure_is_counted_from_contact(movers, model):
    late = movers.swing(style=STYLE, contact=31.0)
    (found,) = measured([late], [measure(late)], [model], {"contact_height": 0.2})
    assert found.at == pytest.approx(0.0, abs=1e-9)


def test_whole_turns_of_a_measure_are_the_same_angle(model):
    turned = tuple(
        replace(m, value=m.value + 360.0) if m.row.key == "contact_shoulder_turn" else m
        for m in measure(model)
    )
    (found,) = measured([model], [turned], [model], {"contact_shoulder_turn": 12.0})
    assert found.value == pytest.approx(0.0, abs=1e-9)


def test_a_measure_that_most_swings_do_not_show_is_not_visible(model):
    hidden = tuple(replace(m, why_not=UNSEEN, sd=9.9) for m in measure(model))
    shown = tuple(replace(m, sd=0.01) for m in measure(model))
    (most,) = measured([model] * 3, [shown, hidden, shown], [model], {"contact_height": 0.2})
    assert (most.visible, most.swings) == (True, 2)
    assert most.error == pytest.approx(0.01)
    (few,) = measured([model] * 3, [shown, hidden, hidden], [model], {"contact_height": 0.2})
    assert not few.visible
    assert few.weight == 0.0


def with_racket(swing, up=0.0):
    """A racket that goes on along the forearm; ``up``: its tip is higher by so many statures."""
    wrist, hand = swing.points[:, 8], swing.points[:, 10]
    along = hand - wrist
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(along, [1.0, 0.0, 0.0])
    tip = hand + 0.35 * along + np.array([0.0, up, 0.0])
    racket = np.stack([hand, hand + 0.15 * along, tip, tip - 0.1 * across, tip + 0.1 * across], axis=1)
    return replace(swing, racket=racket)


def test_a_racket_is_compared_where_both_sides_know_it(player, model):
    both = of([with_racket(player)], with_racket(model))
    assert both["face_at_contact"].visible
    for mine, theirs in ((player, with_racket(model)), (with_racket(player), model)):
        assert "face_at_contact" not in {d.key for d in of([mine], theirs).pooled}
    left = with_racket(player)
    left = replace(
        left, points=mirror(left.points), racket=mirror_racket(left.racket), hand="left", camera_azimuth=-90.0
    )
    assert of([left], with_racket(model))["face_at_contact"].value == pytest.approx(
        both["face_at_contact"].value
    )


def test_strings_are_taken_alike_where_the_players_racket_was_not_seen(model):
    """The model's racket, where it is known, must not be set beside the place where a racket is only assumed."""
    key = "string_bed_height"
    (found,) = measured([model], [measure(model)], [with_racket(model, up=0.2)], {key: 0.1}, strung=False)
    assert found.value == pytest.approx(0.0, abs=1e-9)
    (mixed,) = measured([model], [measure(model)], [with_racket(model, up=0.2)], {key: 0.1}, strung=True)
    assert abs(mixed.value) > 0.05


def test_what_the_footage_hides_never_counts(player, model):
    found = of([player], model, hides=lambda key, column: "Cut off." if column == "drop" else None)
    assert not any(d.visible for d in found.pooled if d.phase == "drop")
    assert any(d.counts for d in found.pooled)


# --- time ------------------------------------------------------------------------------------------------------------


def test_a_shift_is_how_much_later_the_player_is(movers, model):
    """Everything before contact twice as slow: twice as long before it, so earlier by as much."""
    times = np.arange(-144, 67) / 120
    warp = Alignment(np.where(times < 0, 2 * times, times), times, 0.0)
    slow = movers.swing(lambda t: np.where(t < 0, 0.5 * t, t))
    found = {d.phase: d for d in shifts([slow], model, [warp], [model])}
    assert "contact" not in found
    for column, (start, stop) in spans_of(model).items():
        if column == "contact":
            continue
        middle = 500.0 * (start + stop)
        assert found[column].model == pytest.approx(middle)
        assert found[column].value == pytest.approx(min(middle, 0.0), abs=1e-6)
    assert found["drop"].value < 0.0


def test_the_error_of_a_shift_adds_up_towards_contact(model, accuracy_table):
    """Durations of 20 ms each: half a phase, and those between it and contact, in quadrature."""
    found = {d.phase: d.error for d in shifts([model], model, [same_clock()], [model])}
    assert found["forward swing"] == pytest.approx(10.0)
    assert found["follow-through"] == pytest.approx(10.0)
    assert found["drop"] == pytest.approx(20.0 * np.sqrt(0.25 + 1.0))
    assert found["end of take-back"] == pytest.approx(20.0 * np.sqrt(2.0))
    assert found["preparation"] == pytest.approx(20.0 * np.sqrt(0.25 + 3.0))
    # The study's own figure is taken where there is one.
    accuracy_table["shift"] = {"drop": {"right side": 7.0}}
    (drop,) = [d for d in shifts([model], model, [same_clock()], [model]) if d.phase == "drop"]
    assert drop.error == 7.0


# --- spread that is not known ----------------------------------------------------------------------------------------


def test_one_repeat_has_the_usual_spread_and_never_none(player, model):
    found = of([player], model, [model])
    for deviation in found.pooled:
        assert deviation.spread == typical_spread("forehand", deviation.key), deviation.key
        assert 0.0 < deviation.spread < np.inf
        assert deviation.doubt > 0.0


def test_two_repeats_have_their_own(movers, player, model):
    repeats = [model, movers.swing(style=0.2 * STYLE)]
    found = of([player], model, repeats)
    knee = found["outside_knee_flexion@contact"]
    assert knee.spread == pytest.approx(1.5 * np.std([0.0, 0.2 * 9.0], ddof=1), abs=1e-6)


def test_an_unknown_spread_is_never_certain():
    assert typical_spread("forehand", "nothing") == np.inf
    assert typical_spread("no such stroke", "hip_turn@drop") == np.inf
    plain = Deviation("hip_turn", "drop", "deg", 50.0, 0.0, np.inf, 1.0, 0.0, 5.0, 1, 0.0, True)
    for unknown in (np.inf, np.nan):
        deviation = replace(plain, spread=unknown)
        assert not deviation.counts
        assert deviation.weight == 0.0


def test_every_stroke_has_a_usual_spread_of_what_is_compared():
    for stroke in STROKES:
        for column in columns_of(stroke):
            assert 0.5 < typical_spread(stroke, f"hitting_elbow_flexion@{column}") < np.inf
        assert 0.5 < typical_spread(stroke, "contact_elbow_flexion") < np.inf


def test_the_usual_spread_is_the_root_mean_square_of_the_players(movers):
    bends = [(0.0, 2.0), (5.0, 11.0)]
    players = [[movers.swing(style=[0.0] * 7 + [bend]) for bend in pair] for pair in bends]
    expected = 1.5 * np.sqrt(np.mean([np.var(pair, ddof=1) for pair in bends]))
    found = usual_spread(players)
    assert found["outside_knee_flexion@contact"] == pytest.approx(expected, rel=1e-3)
    assert found["hip_turn@contact"] == pytest.approx(0.0, abs=1e-6)


def test_what_was_not_recorded_is_widened_like_the_rest():
    found = widened({"a": 1.0, "b": 2.0, "c": 3.0, "racket": 5.0}, {"a": 2.0, "b": 8.0, "c": 9.0})
    assert found == {"a": 2.0, "b": 8.0, "c": 9.0, "racket": 15.0}
    # Nobody is steadier than a generated player, and what does not vary is not known.
    assert widened({"a": 1.0, "b": 2.0, "c": 0.0}, {"a": 0.1, "b": 4.0, "c": 0.0}) == {"a": 1.0, "b": 4.0}


@pytest.mark.mocap
@pytest.mark.skipif(not (FOLDER / "index.csv").is_file(), reason="no motion capture; set SWINGMATCH_MOCAP")
def test_the_usual_spread_is_that_of_other_recorded_players():
    """Outside check: the recorded players that the table was not made from vary about as much, in the median."""
    held = usual_spread(recorded(strokes(FOLDER), "forehand", HELD_OUT_PLAYERS))
    ratios = [
        held[f"{quantity}@{column}"] / typical_spread("forehand", f"{quantity}@{column}")
        for quantity in QUANTITIES
        for column in columns_of("forehand")
        if f"{quantity}@{column}" in held
    ]
    assert len(ratios) > 60
    assert 0.67 < np.median(ratios) < 1.5


# --- tolerance units -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "bound", "tolerance"),
    [
        ({"floor": 10.0, "error": 1.0, "spread": 2.0, "repeat": 2.0}, "floor", 10.0),
        ({"floor": 1.0, "error": 4.0, "spread": 3.0, "repeat": 0.0}, "error", 10.0),
        ({"floor": 1.0, "error": 3.0, "spread": 4.0, "repeat": 0.0}, "model's spread", 10.0),
        ({"floor": 1.0, "error": 0.0, "spread": 3.0, "repeat": 8.0}, "player's spread", 10.0),
    ],
)
def test_tolerance_units(parts, bound, tolerance):
    deviation = Deviation("hip_turn", "drop", "deg", -25.0, 0.0, swings=4, at=0.0, visible=True, **parts)
    assert deviation.tolerance == pytest.approx(tolerance)
    assert deviation.in_tolerances == pytest.approx(-2.5)
    assert deviation.weight == pytest.approx(2.5)
    assert deviation.bound == bound
    assert replace(deviation, visible=False).in_tolerances == 0.0
