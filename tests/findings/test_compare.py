"""Deviations: what is planted comes out, in the right quantity, phase, size and sign; what is the same says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from swingmatch.align.alignment import Alignment
from swingmatch.align.warp import align
from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.findings.columns import COLUMNS, INSTANTS, columns_of, moments
from swingmatch.findings.compare import compare, joint_differences
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke import measures as m
from swingmatch.stroke.swing import phase_bounds
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import perform
from swingmatch.synth.style import ForehandStyle
from swingmatch.synth.volunteers import swings_of

pytestmark = pytest.mark.usefixtures("accuracy_table")
PHASES_COMPARED = [column for column in COLUMNS if column not in dict(INSTANTS)]


def same_clock(swing, first=-1.2, last=0.55):
    """Both swings at the same moment at the same time."""
    times = np.arange(round(first * 120), round(last * 120) + 1) / 120
    return Alignment(times, times, 0.0)


def by_place(deviations):
    return {(d.quantity, d.phase): d for d in deviations}


def against(player, model, alignment=None, repeats=None):
    """``repeats``: by default a volunteer who does the same again and again."""
    alignment = alignment or same_clock(player)
    return by_place(compare([player], model, [alignment], repeats or [model, model]))


def edited(swing, edit, start, stop):
    """``edit(points) -> points`` on the moments from ``start`` to ``stop``, seconds from contact."""
    clock = swing.times - swing.contact
    inside = (clock >= start) & (clock <= stop)
    points = swing.points.copy()
    points[inside] = edit(points[inside])
    return replace(swing, points=points)


def bent(points, side, degrees):
    """The knee bent further in the plane of the leg: ankle, heel and toe turned about the knee (Rodrigues)."""
    hip, knee, ankle = (points[:, INDEX[f"{side}_{part}"]] for part in ("hip", "knee", "ankle"))
    axis = np.cross(knee - hip, ankle - knee)
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    angle = np.radians(degrees)
    out = points.copy()
    for part in ("ankle", "heel", "toe"):
        arm = points[:, INDEX[f"{side}_{part}"]] - knee
        out[:, INDEX[f"{side}_{part}"]] = (
            knee
            + arm * np.cos(angle)
            + np.cross(axis, arm) * np.sin(angle)
            + axis * (axis * arm).sum(1, keepdims=True) * (1 - np.cos(angle))
        )
    return out


@pytest.fixture
def model(movers):
    return replace(movers.swing(), camera_azimuth=90.0)


def test_a_swing_against_itself_is_zero_everywhere(model):
    found = against(model, model, align(model, model))
    assert {key for key, _ in found} == {*QUANTITIES, "duration"}
    assert {column for _, column in found} == set(COLUMNS)
    for deviation in found.values():
        assert deviation.value == pytest.approx(0.0, abs=1e-6)
        assert not deviation.counts


def test_columns_are_in_order_of_time(model):
    middles = {name: sum(span) for name, span in moments(dict(model.events)).items()}
    assert sorted(middles, key=middles.get) == list(COLUMNS)


def test_a_left_handers_mirror_gives_the_same(movers, model):
    player = replace(movers.swing(style=[5, -8, 3, 4, 6, -7, 5, 9]), camera_azimuth=60.0)
    left = replace(player, points=mirror(player.points), hand="left", camera_azimuth=-60.0)
    left_model = replace(model, points=mirror(model.points), hand="left")
    expected = compare([player], model, [same_clock(player)], [model] * 2)
    assert any(d.counts for d in expected)
    assert compare([left], model, [same_clock(left)], [model] * 2) == expected
    assert compare([left], left_model, [same_clock(left)], [left_model] * 2) == expected


@given(contact=st.floats(-5, 50), scale=st.floats(0.4, 2.5))
@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_time_of_day_and_body_size_change_nothing(movers, model, contact, scale):
    style = np.array([5, -8, 3, 4, 6, -7, 5, 9])
    plain = against(movers.swing(style=style), model)
    # The sampling grid stays the same against contact, so nothing but size and shift differs.
    moved = movers.swing(style=style, contact=contact, scale=scale)
    other = against(moved, model)
    assert other.keys() == plain.keys()
    for place, deviation in plain.items():
        assert other[place].value == pytest.approx(deviation.value, abs=1e-6)
        assert other[place].at == pytest.approx(deviation.at, abs=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("degrees", [15.0, -15.0])
def test_a_knee_bent_more_in_the_drop(model, side, degrees):
    start, stop = phase_bounds(model.events)["drop"]
    player = edited(model, lambda p: bent(p, side, degrees), start, stop)
    found = against(player, model)
    key = "outside_knee_flexion" if side == "right" else "inside_knee_flexion"
    assert found[key, "drop"].value == pytest.approx(degrees, abs=1e-6)
    assert found[key, "drop"].counts
    assert start <= found[key, "drop"].at <= stop
    # Only the interval between two samples at the border is shared with the columns beside it.
    for column in ("preparation", "take-back", "forward swing", "contact", "follow-through"):
        assert abs(found[key, column].value) < 1.5
    others = {"hitting_elbow_flexion", "shoulder_turn", "hip_turn", "hand_in_front", "trunk_side_lean"}
    assert all(abs(found[other, "drop"].value) < 1e-9 for other in others)


@pytest.mark.parametrize(("axis", "quantity"), [(0, "hand_in_front"), (1, "hand_height"), (2, "hand_aside")])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_hand_moved_at_contact(model, axis, quantity, sign):
    arm = m.arm_length(model.points)

    def moved(points):
        out = points.copy()
        out[:, INDEX["right_hand"], axis] += sign * 0.2 * arm
        return out

    found = against(edited(model, moved, -0.02, 0.02), model)
    trunk = np.linalg.norm(
        model.points[0, [INDEX["left_hip"], INDEX["right_hip"]]].mean(0)
        - model.points[0, [INDEX["left_shoulder"], INDEX["right_shoulder"]]].mean(0)
    )
    expected = sign * (0.2 * arm / trunk if quantity == "hand_height" else 0.2)
    assert found[quantity, "contact"].value == pytest.approx(expected, rel=1e-6)
    assert found[quantity, "end of take-back"].value == pytest.approx(0.0, abs=1e-9)
    for other in {"hand_in_front", "hand_height", "hand_aside"} - {quantity}:
        assert found[other, "contact"].value == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("fault", "quantity", "column", "sign"),
    [
        ("late_contact", "hand_in_front", "contact", -1),
        ("cramped_contact", "hitting_elbow_flexion", "contact", +1),
        ("straight_legs", "outside_knee_flexion", "drop", -1),
        ("narrow_base", "base_width", "drop", -1),
        ("little_shoulder_turn", "shoulder_turn", "end of take-back", -1),
        ("high_take_back", "hand_height", "take-back", +1),
        ("falling_back", "trunk_forward_lean", "contact", -1),
        ("low_finish", "hand_height", "follow-through", -1),
    ],
)
def test_planted_faults_come_out_through_the_warp(fault, quantity, column, sign):
    """Two exact performances, aligned as the tool aligns them; the true values give the expected size."""

    def performed(faults):
        motion = perform(ForehandStyle(), Build(1.8, "male"), swings=1, faults=faults, variation=0.0, seed=3)
        return replace(swings_of(motion)[0], camera_azimuth=90.0)

    sound, faulty = performed({}), performed({fault: 0.9})
    found = against(faulty, sound, align(faulty, sound))[quantity, column]
    assert found.value * sign > 0
    assert found.counts

    def true(swing):
        start, stop = moments({k: t - swing.contact for k, t in swing.events.items()})[column]
        inside = (swing.times >= start) & (swing.times <= stop)
        return float(np.mean(QUANTITIES[quantity].compute(swing.points)[inside]))

    expected = true(faulty) - true(sound)
    assert found.value == pytest.approx(
        expected, abs=max(0.2 * abs(expected), QUANTITIES[quantity].floor / 3)
    )


def test_durations_are_in_milliseconds_and_signed(movers, model):
    # The player takes twice as long over everything up to contact.
    slow = movers.swing(lambda t: np.where(t < 0, 0.5 * t, t))
    model_times = np.arange(-144, 67) / 120
    alignment = Alignment(np.where(model_times < 0, 2 * model_times, model_times), model_times, 0.0)
    found = against(slow, model, alignment)
    for name, (start, stop) in phase_bounds(model.events).items():
        if name == "recovery":
            continue
        expected = 1000 * (stop - start) if stop <= 0 else 0.0
        deviation = found["duration", name]
        assert deviation.unit == "ms"
        assert deviation.model == pytest.approx(1000 * (stop - start))
        assert deviation.value == pytest.approx(expected, abs=1e-6)


def test_instants_have_no_duration_and_lie_at_their_event(model):
    found = against(model, model)
    for label, event in INSTANTS:
        assert ("duration", label) not in found
        assert found["hand_in_front", label].at == pytest.approx(model.events[event])
    assert [c for q, c in found if q == "duration"] == PHASES_COMPARED


def test_a_phase_that_the_warp_does_not_reach_is_left_out(model):
    """Cut short, "preparation" would be another part of the stroke, and its time would look rushed."""
    found = against(model, model, same_clock(model, first=-1.0))
    assert {column for _, column in found} == set(COLUMNS) - {"preparation"}
    found = against(model, model, same_clock(model, last=0.3))
    assert {column for _, column in found} == set(COLUMNS) - {"follow-through"}


def test_whole_turns_are_the_same_angle(model, monkeypatch):
    """A turn is only known up to whole turns: what the player's track calls 350 degrees may be the model's -10."""
    true = QUANTITIES["shoulder_turn"]
    plain = against(model, model)["shoulder_turn", "contact"]
    player = replace(model, points=model.points + 1e-12)

    def a_turn_on(points):
        return true.compute(points) + (360.0 if points is not model.points else 0.0)

    monkeypatch.setitem(QUANTITIES, "shoulder_turn", replace(true, compute=a_turn_on))
    found = against(player, model)["shoulder_turn", "contact"]
    assert found.value == pytest.approx(0.0, abs=1e-6)
    assert found.model == pytest.approx(plain.model)
    # ... also between the model's own repeats, where it would look like a wild spread.
    found = against(model, model, repeats=[model, player, model])["shoulder_turn", "contact"]
    assert found.spread == pytest.approx(0.0, abs=1e-6)
    assert found.value == pytest.approx(0.0, abs=1e-6)


def test_several_swings_are_averaged_and_spread_is_of_the_repeats(movers, model):
    players = [movers.swing(style=[0, 0, 0, 0, 0, 0, 0, bend]) for bend in (8.0, 12.0)]
    repeats = [model, movers.swing(style=[0, 0, 0, 0, 0, 0, 0, 2.0])]
    found = by_place(compare(players, model, [same_clock(p) for p in players], repeats))
    # In this figure the knee's flexion is one and a half times the pose's bend.
    deviation = found["outside_knee_flexion", "contact"]
    assert deviation.swings == 2
    assert deviation.value == pytest.approx(1.5 * (10.0 - 1.0), abs=1e-6)
    assert deviation.spread == pytest.approx(1.5 * np.std([0, 2], ddof=1), abs=1e-6)
    assert deviation.repeat == pytest.approx(1.5 * np.std([8, 12], ddof=1), abs=1e-6)


def test_what_the_view_cannot_show_is_not_visible(model, accuracy_table):
    key = "outside_knee_flexion"
    accuracy_table[key]["drop"]["right side"] = 2.0 * QUANTITIES[key].floor
    del accuracy_table["duration"]["drop"]
    found = against(model, model)
    assert not found[key, "drop"].visible
    assert found[key, "contact"].visible
    assert not found["duration", "drop"].visible
    assert found["duration", "drop"].weight == 0.0
    # The side is that of the right-handed swing.
    elsewhere = against(replace(model, camera_azimuth=-90.0), model)
    assert elsewhere[key, "drop"].visible


def test_missing_keypoints_are_silence_not_zero(model):
    points = model.points.copy()
    points[:, INDEX["right_ankle"]] = np.nan
    found = against(replace(model, points=points), model)
    columns = {column for quantity, column in found if quantity == "outside_knee_flexion"}
    assert columns == set()
    assert ("inside_knee_flexion", "drop") in found


def test_joint_differences(movers, model, accuracy_table):
    same = joint_differences(model, model, same_clock(model))
    assert same.shape == (len(same_clock(model).player_times), K)
    known = np.isfinite(same)
    assert known.any()
    assert np.nanmax(same) < 1e-5
    assert not known[:, [INDEX["left_ear"], INDEX["right_ear"], INDEX["left_heel"]]].any()

    player = edited(model, lambda p: bent(p, "right", 20.0), -2.0, 2.0)
    bent_leg = joint_differences(player, model, same_clock(model))
    assert bent_leg[:, INDEX["right_ankle"]] == pytest.approx(20.0)
    assert np.nanmax(bent_leg[:, [INDEX["right_knee"], INDEX["left_ankle"], INDEX["right_wrist"]]]) < 1e-5

    # A left-hander sees it on his own, the left, leg; the camera on his other side is the same view.
    left = replace(player, points=mirror(player.points), hand="left", camera_azimuth=-90.0)
    left_model = replace(model, points=mirror(model.points), hand="left")
    flipped = joint_differences(left, left_model, same_clock(model))
    assert flipped[:, INDEX["left_ankle"]] == pytest.approx(20.0)
    assert np.nanmax(flipped[:, INDEX["right_ankle"]]) < 1e-5

    accuracy_table["outside_knee_flexion"]["forward swing"]["right side"] = np.inf
    hidden = joint_differences(player, model, same_clock(model))
    assert np.isnan(hidden[:, INDEX["right_ankle"]]).all()
    assert np.isfinite(hidden[:, INDEX["left_ankle"]]).all()
    hidden = joint_differences(left, left_model, same_clock(model))
    assert np.isnan(hidden[:, INDEX["left_ankle"]]).all()
    assert np.isfinite(hidden[:, INDEX["right_ankle"]]).all()


# --- peaks ------------------------------------------------------------------------------------------------------------


def naive_gaps(players, model, alignments, compute, span):
    """Mean difference and the players' median time, moment by moment, with numpy's own interpolation."""
    start, stop = span
    out = []
    for step in range(32):
        at = start + (step + 0.5) / 32 * (stop - start)
        theirs = np.interp(at, model.times - model.contact, compute(model.points))
        gaps, times = [], []
        for player, alignment in zip(players, alignments, strict=True):
            own = np.interp(at, alignment.model_times, alignment.player_times)
            gaps.append(np.interp(own, player.times - player.contact, compute(player.points)) - theirs)
            times.append(own)
        out.append((float(np.mean(gaps)), float(np.median(times))))
    return out


def test_peaks_are_those_of_the_naive_twin(movers, model):
    styles = ([5, -8, 3, 4, 6, -7, 5, 9], [3, 2, -3, 9, 1, -2, 5, 4], [0, 5, 3, 1, 6, 8, 5, 2])
    slower = (1.0, 1.15, 0.9)
    players = [
        movers.swing(lambda t, by=by: t / by, style=style) for style, by in zip(styles, slower, strict=True)
    ]
    times = np.arange(-144, 67) / 120
    warps = [Alignment(by * times, times, 0.0) for by in slower]
    found = by_place(compare(players, model, warps, [model]))
    spans = moments(dict(model.events))
    for (quantity, column), deviation in found.items():
        if quantity == "duration" or column in dict(INSTANTS):
            assert np.isnan([deviation.peak, deviation.peak_at]).all()
            continue
        gaps = naive_gaps(players, model, warps, QUANTITIES[quantity].compute, spans[column])
        most = max(abs(gap) for gap, _ in gaps)
        assert abs(deviation.peak) == pytest.approx(most, abs=1e-9)
        # Where the difference is the same throughout, any of its moments will do.
        assert any(
            gap == pytest.approx(deviation.peak, abs=1e-9)
            and at == pytest.approx(deviation.peak_at, abs=1e-9)
            for gap, at in gaps
        )


@pytest.mark.parametrize("degrees", [25.0, -25.0])
def test_a_short_departure_has_its_peak_where_it_is(model, degrees):
    """A hump of 60 ms within the drop: the mean hardly shows it, the peak has its size, sign and time."""
    start, stop = phase_bounds(model.events)["drop"]
    centre = 0.7 * stop + 0.3 * start
    clock = model.times - model.contact
    hump = degrees * np.clip(1.0 - np.abs(clock - centre) / 0.03, 0.0, None)
    player = replace(model, points=bent(model.points, "right", hump[:, None]))
    found = against(player, model)["outside_knee_flexion", "drop"]
    assert found.peak == pytest.approx(degrees, rel=0.15)
    assert found.peak_at == pytest.approx(centre, abs=0.01)
    assert abs(found.value) < 0.3 * abs(degrees)


def test_a_peak_lies_within_its_phase_and_is_no_smaller_than_the_mean(movers, model):
    player = movers.swing(style=[5, -8, 3, 4, 6, -7, 5, 9])
    spans = moments(dict(model.events))
    for (quantity, column), deviation in against(player, model).items():
        if quantity == "duration" or column in dict(INSTANTS):
            continue
        assert spans[column][0] < deviation.peak_at < spans[column][1]
        assert abs(deviation.peak) >= abs(deviation.value) - 1e-9


def test_a_peak_is_to_the_nearest_whole_turn(model, monkeypatch):
    true = QUANTITIES["shoulder_turn"]
    player = replace(model, points=model.points + 1e-12)

    def a_turn_on(points):
        return true.compute(points) + (350.0 if points is not model.points else 0.0)

    monkeypatch.setitem(QUANTITIES, "shoulder_turn", replace(true, compute=a_turn_on))
    assert against(player, model)["shoulder_turn", "drop"].peak == pytest.approx(-10.0, abs=1e-6)


# --- the other strokes ------------------------------------------------------------------------------------------------


def test_a_backhands_hitting_arm_is_the_one_that_hits(movers, model):
    """A forehand whose arms are called by each other's names, mirrored, has the arms and legs of a backhand."""
    events = {name: at for name, at in model.events.items() if name != "hands_apart"}
    player = movers.swing(style=[5, -8, 3, 4, 6, -7, 5, 9])
    forehand = against(player, model)

    order = np.arange(K)
    for part in ("shoulder", "elbow", "wrist", "hand"):
        one, other = INDEX[f"left_{part}"], INDEX[f"right_{part}"]
        order[[one, other]] = other, one

    def backhand(swing):
        points = mirror(swing.points[:, order])
        return replace(swing, points=points, stroke="two-handed backhand", events=events)

    found = against(backhand(player), backhand(model))
    for quantity, row in QUANTITIES.items():
        if row.arm or "knee" in quantity:
            assert found[quantity, "drop"].value == pytest.approx(forehand[quantity, "drop"].value)
    # The study knows the errors of a forehand's quantities alone.
    assert not any(deviation.visible for deviation in found.values())


def test_a_serve_has_columns_of_its_own(model):
    names = {"ready": "ready", "turn_start": "toss_release", "end_of_take_back": "loaded"}
    names |= {"forward_start": "racket_low", "contact": "contact"}
    names |= {"end_of_follow_through": "end_of_follow_through"}
    events = {new: model.events[old] for old, new in names.items()}
    serve = replace(model, stroke="serve", events=events)
    found = against(serve, serve)
    assert {column for _, column in found} == set(columns_of("serve"))
    assert columns_of("serve") == (
        "toss", "loading", "loaded", "drop", "upward swing", "contact", "follow-through"
    )  # fmt: skip


# --- what the footage cannot show -------------------------------------------------------------------------------------


def test_what_the_footage_hides_is_not_visible_and_never_counts(model):
    def hides(quantity, column):
        return (
            "Cut off." if quantity == "hip_turn" or (quantity, column) == ("hand_height", "contact") else None
        )

    far = edited(model, lambda points: points * np.array([1.0, 1.4, -1.0]), -2.0, 2.0)
    open_view = by_place(compare([far], model, [same_clock(far)], [model]))
    gated = by_place(compare([far], model, [same_clock(far)], [model], hides))
    assert open_view.keys() == gated.keys()
    for (quantity, column), deviation in gated.items():
        if hides(quantity, column):
            assert open_view[quantity, column].visible
            assert not deviation.visible
            assert not deviation.counts
        else:
            assert deviation == open_view[quantity, column]


def test_a_joint_whose_measure_is_hidden_is_not_coloured(model):
    free = joint_differences(model, model, same_clock(model))
    gated = joint_differences(
        model, model, same_clock(model), lambda key, _: "Cut off." if key == "hip_turn" else None
    )
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    assert np.isfinite(free[:, hips]).all()
    assert np.isnan(gated[:, hips]).all()
    others = np.setdiff1d(np.arange(K), hips)
    assert np.array_equal(free[:, others], gated[:, others], equal_nan=True)


def test_a_gap_shorter_than_a_frame_never_counts(movers, model):
    """At 10 pictures a second 90 ms are less than the time between two pictures, though more than matters on court."""
    gaps, counted = [], []
    for rate in (120.0, 10.0):
        player = replace(movers.swing(rate=rate), camera_azimuth=90.0)
        times = same_clock(model).model_times
        # The player takes 90 ms longer over the forward swing, which takes 250 ms.
        begun = -0.25
        stretched = np.where(times < begun, times - 0.09, np.where(times < 0, times * (0.34 / 0.25), times))
        (found,) = [
            d
            for d in compare([player], model, [Alignment(stretched, times, 0.0)], [model] * 2)
            if (d.quantity, d.phase) == ("duration", "forward swing")
        ]
        gaps.append(found.value)
        counted.append(found.counts)
    assert gaps == pytest.approx([90.0, 90.0], abs=1.0)
    assert counted == [True, False]
