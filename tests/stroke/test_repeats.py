"""Across the swings of a clip: laws of mean, spread and outliers, and how well a planted contact repeats."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX, SIDES, middle, mirror
from swingmatch.errors import StrokeError
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.measure import UNSEEN, Measure, measure
from swingmatch.stroke.repeats import (
    NOT_FROM_HERE,
    REPEATS_WELL,
    TOO_FEW,
    VARIES,
    WANDERING,
    WANDERS,
    WELL,
    Spread,
    contact_scatter,
    spread_of,
    summary,
    word_for,
)
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import perform
from swingmatch.synth.style import ForehandStyle

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
ROWS = {row.key: row for row in FOREHAND.measures}
ANGLE, LENGTH = ROWS["contact_elbow_flexion"], ROWS["hand_front_com"]
HAND = INDEX["right_hand"]


def player(variation: float, swings: int, contact_spread: float = 0.03) -> tuple[Swing, ...]:
    """Repeats of a generated right-hander, 120 samples a second."""
    style = ForehandStyle(contact_spread=contact_spread)
    motion = perform(style, Build(), swings=swings, variation=variation, seed=3, rest=0.2)
    out = []
    for truth in motion.swings:
        near = np.abs(motion.times - truth.events["contact"] + 0.2) < 1.4
        out.append(
            Swing(
                motion.times[near][::4],
                motion.points[near][::4] / motion.stature,
                truth.events,
                "right",
                90.0,
                racket=motion.racket[near][::4] / motion.stature,
            )
        )
    return tuple(out)


@pytest.fixture(scope="module")
def usual() -> tuple[Swing, ...]:
    return player(1.0, 5)


def without_racket(swings):
    return [replace(swing, racket=None) for swing in swings]


def measures(row, values, sds=None, hidden=()):
    """One measure of several swings, as ``summary`` takes it."""
    sds = np.zeros(len(values)) if sds is None else sds
    return [
        (Measure(row, v, s, 0.0, why_not=UNSEEN if i in hidden else ""),)
        for i, (v, s) in enumerate(zip(values, sds, strict=True))
    ]


# Measures -----------------------------------------------------------------------------------------------

VALUES = st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=9)


@settings(deadline=None, max_examples=40)
@given(VALUES, st.floats(0.0, 0.5), st.randoms())
def test_mean_and_spread_are_numpys_and_do_not_depend_on_the_order(values, sd, random):
    (found,) = summary(measures(LENGTH, values, np.full(len(values), sd)))
    assert found.mean == pytest.approx(np.mean(values), abs=1e-12)
    assert found.seen == pytest.approx(np.std(values, ddof=1), abs=1e-12)
    assert 0.0 <= found.own <= found.seen
    assert found.own**2 == pytest.approx(max(found.seen**2 - sd**2, 0.0), abs=1e-9)
    mixed = random.sample(values, len(values))
    (other,) = summary(measures(LENGTH, mixed, np.full(len(values), sd)))
    assert (other.mean, other.seen, other.own) == pytest.approx((found.mean, found.seen, found.own), abs=1e-9)
    assert sorted(mixed[i] for i in other.outliers) == sorted(values[i] for i in found.outliers)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.floats(-50.0, 50.0), min_size=1, max_size=6),
    st.lists(st.integers(-2, 2), min_size=6, max_size=6),
)
def test_whole_turns_do_not_spread_angles(values, turns):
    turned = [v + 360.0 * n for v, n in zip(values, turns, strict=False)]
    (found,) = summary(measures(ANGLE, turned))
    assert np.cos(np.radians(found.mean - np.mean(values))) == pytest.approx(1.0, abs=1e-9)
    if len(values) > 1:
        assert found.seen == pytest.approx(np.std(values, ddof=1), abs=1e-6)


def test_what_is_not_visible_or_not_known_is_left_out():
    (found,) = summary(measures(LENGTH, [0.1, 9.0, np.nan, 0.3], hidden=(1,)))
    assert (found.mean, found.count) == (pytest.approx(0.2), 2)
    (nothing,) = summary(measures(LENGTH, [0.1, 0.2], hidden=(0, 1)))
    assert nothing.count == 0
    assert np.isnan([nothing.mean, nothing.seen, nothing.own]).all()
    (one,) = summary(measures(LENGTH, [0.1]))
    assert (one.mean, one.count) == (0.1, 1)
    assert np.isnan(one.seen)
    assert summary([]) == ()


def test_an_outlier_is_found_by_its_place_among_all_swings():
    values = [np.nan, 50.0, 52.0, 51.0, 49.0, 90.0, 50.5]
    (found,) = summary(measures(ANGLE, values))
    assert found.outliers == (5,)


def test_an_outlier_must_be_outside_by_error_and_by_a_clear_difference():
    values = [50.0, 52.0, 51.0, 49.0, 90.0, 50.5]
    (unsure,) = summary(measures(ANGLE, values, [1.0, 1.0, 1.0, 1.0, 40.0, 1.0]))
    assert unsure.outliers == ()
    (small,) = summary(measures(ANGLE, [50.0 + 0.01 * (v - 50.0) for v in values]))
    assert small.outliers == ()
    (few,) = summary(measures(ANGLE, [50.0, 50.0, 50.0, 90.0]))
    assert few.outliers == ()


def test_usual_swings_are_seldom_called_outliers():
    """One clip in twenty at most has a measure's outlier when all swings come from one normal distribution."""
    rng = np.random.default_rng(0)
    for count in (5, 8):
        clips = rng.normal(0.0, 20.0 * ANGLE.useful, size=(400, count))
        # Values far apart would be turned by whole circles as angles.
        row = replace(ANGLE, unit="ms")
        called = np.mean([bool(summary(measures(row, clip))[0].outliers) for clip in clips])
        # Four standard errors of 400 clips.
        assert called < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 400), count


def test_the_measures_of_swings_are_summed_up(usual):
    taken = [measure(swing) for swing in usual[:2]]
    found = {one.row.key: one for one in summary(taken)}
    assert list(found) == [row.key for row in FOREHAND.measures]
    both = [next(one.value for one in swing if one.row.key == "shoulder_turn") for swing in taken]
    assert found["shoulder_turn"].mean == pytest.approx(np.mean(both))
    assert found["shoulder_turn"].error == 0.0
    with pytest.raises(StrokeError, match="one kind of stroke"):
        summary([taken[0], taken[1][:-1]])


# How far repeats spread ---------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [3, 5, 8])
@pytest.mark.parametrize("sds", [(1.0,), (1.0, 0.5, 0.3)])
def test_the_interval_covers_the_truth_nine_times_in_ten(count, sds):
    """Also with an error of measuring that is as large as half the scatter."""
    rng = np.random.default_rng(1)
    scale = np.array(sds)
    truth = float(np.linalg.norm(scale))
    error = 0.25 * np.diag(scale**2)
    hits, tries = 0, 300
    for _ in range(tries):
        points = scale * (rng.normal(size=(count, len(sds))) + 0.5 * rng.normal(size=(count, len(sds))))
        found = spread_of(points, error, rng)
        hits += found.low <= truth <= found.high
    # Four standard errors of a share of 0.9 below it; the interval may be wider than it need be.
    assert hits / tries > 0.9 - 4 * np.sqrt(0.09 / tries)


def test_spread_is_the_root_mean_square_distance_and_turns_do_not_matter():
    rng = np.random.default_rng(2)
    points = rng.normal(size=(6, 3)) * [0.3, 0.1, 0.02]
    found = spread_of(points, np.zeros((3, 3)), np.random.default_rng(0))
    off = points - points.mean(axis=0)
    assert found.own == pytest.approx(np.sqrt((off**2).sum() / 5))
    assert found.low < found.own < found.high
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turned = spread_of(points @ turn + 7.0, np.zeros((3, 3)), np.random.default_rng(0))
    assert (turned.own, turned.low, turned.high) == pytest.approx((found.own, found.low, found.high))
    alone = spread_of(points[:1], np.eye(3), rng)
    assert alone.count == 1
    assert np.isnan([alone.own, alone.low, alone.high]).all()


def test_what_error_explains_is_never_negative():
    points = np.random.default_rng(3).normal(size=(5, 3))
    found = spread_of(points, 100.0 * np.eye(3), np.random.default_rng(0))
    assert (found.own, found.low) == (0.0, 0.0)
    # That the error explains all of it does not make the player exact.
    exact = spread_of(points, np.zeros((3, 3)), np.random.default_rng(0))
    assert (found.high, found.seen_low) == (exact.high, exact.low)
    assert found.error == pytest.approx(np.sqrt(300.0))


def test_a_word_is_said_only_where_the_interval_supports_it():
    def word(low, high, seen_low=None, count=6):
        own = 0.5 * (low + high)
        return word_for(Spread(own, low, high, own, low if seen_low is None else seen_low, 0.0, count))

    assert word(0.04, REPEATS_WELL) == WELL
    assert word(REPEATS_WELL, WANDERS) == VARIES
    assert word(REPEATS_WELL, 2.0 * WANDERS) == VARIES
    assert word(WANDERS, 0.6) == WANDERING
    assert word(0.07, 0.2) == TOO_FEW
    assert word(0.04, 0.06, count=2) == TOO_FEW
    assert word(np.nan, np.nan, count=1) == TOO_FEW
    # If it were the player's own it would wander, but it may be the error.
    assert word(0.0, 0.6, seen_low=WANDERS) == NOT_FROM_HERE


# Contact ------------------------------------------------------------------------------------------------


def test_scatter_of_contact_grows_with_the_variation(usual):
    still, wild = player(0.0, 3), player(3.0, 3)
    found = [contact_scatter(swings, stature=1.78) for swings in (still, usual, wild)]
    radii = [one.radius.own for one in found]
    assert radii[0] < 0.01 < radii[1] < radii[2]
    # Exact repeats; one sample of 480 a second is 2 ms.
    assert found[0].forward.own < 2.1
    assert found[0].turn.own < 2.1
    assert [one.turn.own for one in found] == sorted(one.turn.own for one in found)
    assert found[0].word == WELL
    assert all(one.of == "string bed" for one in found)
    assert found[1].metres.own == pytest.approx(radii[1] * found[1].arm * 1.78)
    assert found[1].body.spread == pytest.approx(radii[1])
    # Build's own arm, shoulder to wrist, and the palm.
    build = Build()
    assert found[1].arm == pytest.approx((build.arm + build.palm) / build.stature, rel=1e-3)


def test_a_planted_wandering_contact_is_called_so(usual):
    wandering = contact_scatter(player(1.0, 5, contact_spread=0.25))
    assert wandering.word == WANDERING
    assert contact_scatter(usual).word in (WELL, TOO_FEW)
    assert contact_scatter(usual[:2]).word == TOO_FEW


def test_a_left_hander_scatters_as_the_mirrored_right_hander(usual):
    left = [
        replace(
            swing,
            points=mirror(swing.points),
            hand="left",
            racket=swing.racket[:, [0, 1, 2, 4, 3]] * np.array([1.0, 1.0, -1.0]),
        )
        for swing in usual
    ]
    mine, theirs = contact_scatter(left), contact_scatter(usual)
    np.testing.assert_allclose(mine.points, theirs.points, atol=1e-9)
    assert mine.radius == theirs.radius


def test_where_the_player_stands_does_not_matter(usual):
    away = [
        replace(s, points=s.points + np.array([i, 0, -i]), racket=s.racket + np.array([i, 0, -i]))
        for i, s in enumerate(usual)
    ]
    np.testing.assert_allclose(contact_scatter(away).points, contact_scatter(usual).points, atol=1e-9)


def drawn(swings, offsets):
    """Swings without racket whose drawn bodies have the hitting hand moved by ``offsets`` (N, S, 3)."""
    out = []
    for swing, mine in zip(without_racket(swings), offsets, strict=True):
        draws = np.repeat(swing.points[None], len(mine), axis=0)
        draws[:, :, HAND] += mine[:, None]
        out.append(replace(swing, draws=draws))
    return out


def test_error_of_measuring_is_taken_out_but_not_what_all_swings_share(usual):
    rng = np.random.default_rng(4)
    sd = 0.01
    own = sd * rng.normal(size=(len(usual), 16, 3))
    exact = contact_scatter(without_racket(usual))
    found = contact_scatter(drawn(usual, own))
    assert found.of == "hitting hand"
    # The hand's share in the centre of mass is half a per cent: within the error of 240 drawn numbers.
    assert found.radius.error == pytest.approx(np.sqrt(3) * sd / found.arm, rel=0.15)
    assert found.radius.own == pytest.approx(np.sqrt(exact.radius.own**2 - found.radius.error**2))
    assert found.body.spread == pytest.approx(found.radius.own)
    assert (found.body.sds >= 0.0).all()
    shared = contact_scatter(drawn(usual, np.repeat(own[:1], len(usual), axis=0)))
    assert shared.radius.error < 0.1 * found.radius.error


def test_not_knowing_the_time_of_contact_is_an_error_too(usual):
    still = drawn(usual, np.zeros((len(usual), 8, 3)))
    known = contact_scatter(still)
    late = contact_scatter(still, contact_sds=[0.004] * len(still))
    assert known.radius.error < 1e-9
    assert late.radius.error > 0.03
    with pytest.raises(ValueError, match="contact_sds"):
        contact_scatter(still, contact_sds=[0.004])


def test_only_one_stroke_of_one_hand_is_put_together(usual):
    with pytest.raises(StrokeError, match="one kind of stroke"):
        contact_scatter([usual[0], replace(usual[1], stroke="serve")])
    with pytest.raises(StrokeError, match="no swing"):
        contact_scatter([])


# Recorded players ---------------------------------------------------------------------------------------


def recorded(stroke) -> Swing:
    """A recorded stroke as a right-hander's swing; head and heels, not recorded, are put where they usually are."""
    definition, stature = STROKES[stroke.kind], 1.75
    own = definition.on_ball_side(stroke.points, "right") / stature
    for side in SIDES:
        own[:, INDEX[f"{side}_ear"]] = middle(own, "shoulder") + np.array([0.0, 0.12, 0.0])
        own[:, INDEX[f"{side}_heel"]] = own[:, INDEX[f"{side}_ankle"]] - [0.0, 0.03, 0.0]
    events = definition.find_events(stroke.times, definition.on_ball_side(own, "right"), 0.0)
    return Swing(stroke.times, own, events, "right", stroke=stroke.kind)


@pytest.mark.mocap
@pytest.mark.skipif(not (FOLDER / "index.csv").is_file(), reason="no motion capture; set SWINGMATCH_MOCAP")
def test_recorded_players_hit_serves_nearer_to_one_point_than_rallied_forehands():
    """Their own toss repeats better than balls that come from everywhere (*common practice, no source*)."""
    from swingmatch.study.captured import strokes

    found = strokes(FOLDER)
    radii = {}
    for kind in ("forehand", "serve"):
        for name in sorted({one.player for one in found if one.kind == kind}):
            mine = [recorded(one) for one in found if (one.player, one.kind) == (name, kind)]
            if len(mine) >= 5:
                radii[name, kind] = contact_scatter(mine).radius
    both = [
        (radii[n, "serve"].own, radii[n, "forehand"].own)
        for n, k in radii
        if k == "serve" and (n, "forehand") in radii
    ]
    assert len(both) >= 5
    assert np.median([serve for serve, _ in both]) < np.median([forehand for _, forehand in both])
    # A hand is not further from its usual contact than an arm is long.
    assert all(0.0 < one.own < 1.0 for one in radii.values())
