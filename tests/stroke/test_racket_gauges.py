"""Measures of the racket on rackets put where the answer is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.gauges import preparation, racket
from swingmatch.stroke.measure import NO_BALL, NO_RACKET, NOT_FOUND, RACKET_HIDDEN, measure
from swingmatch.stroke.movement import Movement
from swingmatch.stroke.racket_series import between
from swingmatch.stroke.swing import mirror_racket
from swingmatch.study.sample import PLAYERS
from swingmatch.synth.cast import TUNING

#: Length of the racket, from butt to the middle of the strings, width of the head: statures.
LENGTH, CENTRE, WIDTH = 0.39, 0.30, 0.15
TIMES = np.arange(-1.2, 0.7, 1.0 / 240.0)
EVENTS = {"end_of_take_back": -0.5, "forward_start": -0.3, "contact": 0.0, "end_of_follow_through": 0.45}


def unit(vectors):
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)


def marks(butt, shaft, face):
    """(T, 5, 3) of a racket whose striking face looks to ``face``, which need not be quite square to the shaft."""
    shaft = unit(np.broadcast_to(np.asarray(shaft, float), (len(TIMES), 3)))
    face = np.broadcast_to(np.asarray(face, float), (len(TIMES), 3))
    face = unit(face - (face * shaft).sum(axis=1)[:, None] * shaft)
    across = np.cross(face, shaft)
    butt = np.broadcast_to(np.asarray(butt, float), (len(TIMES), 3))
    middle = butt + CENTRE * shaft
    edges = (middle - 0.5 * WIDTH * across, middle + 0.5 * WIDTH * across)
    return np.stack([butt, butt + 0.2 * shaft, butt + LENGTH * shaft, *edges], axis=1)


@pytest.fixture(scope="module")
def body(movers):
    return movers.points(TIMES)


def movement(body, held, **more) -> Movement:
    return Movement(TIMES, body, EVENTS, racket=held, **more)


def tilted(degrees):
    """A direction towards the target that a face at ``degrees`` to the ground looks in (D6)."""
    up = np.radians(np.asarray(degrees, float) - 90.0)
    return np.stack([np.cos(up), np.sin(up), 0.0 * up], axis=-1)


@pytest.mark.parametrize(("angle", "word"), [(60.0, "down"), (90.0, "neutral"), (120.0, "open")])
def test_the_face_in_the_drop_and_its_word(body, angle, word):
    held = movement(body, marks([0.0, 0.5, 0.3], [0.0, 0.0, 1.0], tilted(angle)))
    assert racket.face_in_drop(held) == pytest.approx(angle)
    assert racket.drop_word(racket.face_in_drop(held)) == word


@pytest.mark.parametrize(("angle", "word"), [(80.4, "closed"), (90.0, "square"), (97.0, "open")])
def test_the_face_at_contact_is_less_than_ninety_when_closed(body, angle, word):
    """D6 and A20: 90 is upright; 80.4 was found with topspin."""
    found = float(
        movement(body, marks([0.0, 0.5, 0.3], [0.0, 0.0, 1.0], tilted(angle))).at(
            "contact", racket.face_angle(movement(body, marks([0, 0.5, 0.3], [0, 0, 1], tilted(angle))))
        )
    )
    assert found == pytest.approx(angle)
    assert racket.contact_word(found) == word


def test_the_tip_hangs_below_the_hand_by_the_part_of_the_racket_below_it(body):
    hand = body[:, INDEX["right_hand"]]
    shaft = np.array([-np.cos(np.radians(30.0)), -np.sin(np.radians(30.0)), 0.0])
    held = movement(body, marks(hand - 0.04 * shaft, shaft, [0.0, 0.0, 1.0]))
    expected = (LENGTH - 0.04) * np.sin(np.radians(30.0)) / held.arm
    assert preparation.tip_below_hand(held) == pytest.approx(expected, abs=1e-9)


def test_a_lowest_tip_is_not_told_where_most_of_the_drop_was_not_seen(body):
    held = marks([0.0, 0.5, 0.3], [0.0, 0.0, 1.0], tilted(90.0))
    held[(TIMES > -0.45) & (TIMES < -0.1)] = np.nan
    assert np.isnan(preparation.tip_below_hand(movement(body, held)))


@pytest.mark.parametrize("off", [-40.0, 0.0, 25.0])
def test_the_butt_cap_points_past_the_ball_by_what_it_is_turned_to_its_side(body, off):
    """At the start of the forward swing the butt is 1 behind the ball and on its line; then the racket goes there."""
    butt_at_start, struck = np.array([-0.5, 0.5, 0.5]), np.array([0.5, 0.6, 0.5])
    about = np.radians(off)
    points = -np.array([np.cos(about), 0.0, np.sin(about)])
    held = movement(body, marks(butt_at_start, points, [0.0, 0.0, 1.0]), struck=struck)
    assert racket.butt_to_ball(held) == pytest.approx(off)


def moving(velocity, speed=None):
    """A racket whose middle is at a place at contact and moves with ``velocity``, or along it with ``speed`` (T,)."""
    if speed is None:
        way = TIMES[:, None] * np.asarray(velocity, float)
    else:
        done = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(TIMES))])
        way = (done - np.interp(0.0, TIMES, done))[:, None] * unit(np.asarray(velocity, float))
    return marks(np.array([0.3, 0.5, 0.3]) + way, [0.0, 0.0, 1.0], tilted(85.0))


@pytest.mark.parametrize("slope", [-10.0, 0.0, 18.6])
def test_a_racket_that_rises_evenly_rises_by_its_slope(body, slope):
    held = movement(body, moving([8.0, 8.0 * np.tan(np.radians(slope)), 0.0]))
    assert racket.path_angle(held) == pytest.approx(slope)
    assert racket.path_at_contact(held) == pytest.approx(slope)


def test_the_head_is_fastest_where_it_is(body):
    speed = 12.0 - 400.0 * (TIMES + 0.04) ** 2
    held = movement(body, moving([1.0, 0.2, 0.0], np.maximum(speed, 1.0)))
    assert racket.HeadPeak()(held) == pytest.approx(40.0, abs=1.0)
    assert racket.HeadSpeed()(held) == pytest.approx(12.0, abs=0.02)


@pytest.mark.parametrize("rate", [60.0, 120.0, 240.0])
def test_a_head_that_stops_dead_at_contact_is_fastest_at_contact(body, rate):
    """E18: a curve through contact would slow the head before it: the peak would be early and low."""
    times = np.arange(-1.2, 0.7, 1.0 / rate)
    speed = np.where(TIMES <= 0.0, 12.0 + 4.0 * TIMES, 5.0)
    held = moving([1.0, 0.3, 0.0], np.maximum(speed, 1.0))
    seen = np.stack([held[np.argmin(np.abs(TIMES - t))] for t in times])
    dense = between(times, seen, TIMES, 0.0)
    found = movement(body, dense, frames=times)
    assert racket.HeadPeak()(found) <= 1000.0 / rate + 1e-6
    assert racket.HeadSpeed()(found) == pytest.approx(12.0, abs=0.15)


def carried(start, stop, what):
    """``what`` turned by the least turn from one direction to another, by another library."""
    axis = np.cross(start, stop)
    angle = np.arctan2(np.linalg.norm(axis), start @ stop)
    if np.linalg.norm(axis) < 1e-12:
        return what
    return Rotation.from_rotvec(angle * unit(axis)).apply(what)


@pytest.mark.parametrize("turn", [0.0, 35.0, 80.0])
def test_pronation_is_the_turn_about_the_forearm_and_not_what_carries_the_forearm(body, turn):
    forearm = unit(body[:, INDEX["right_wrist"]] - body[:, INDEX["right_elbow"]])
    level = unit(np.cross(forearm, [0.0, 1.0, 0.0]))
    about = np.radians(turn) * np.clip(TIMES / racket.COMES_OVER, 0.0, 1.0)
    # Carried along by the least turn of the forearm, then turned over it: a right palm goes down.
    start = np.argmin(np.abs(TIMES))
    face = np.stack([carried(forearm[start], f, level[start]) for f in forearm])
    side = np.cross(forearm, face)
    face = np.cos(about)[:, None] * face - np.sin(about)[:, None] * side
    held = movement(body, marks(body[:, INDEX["right_hand"]], forearm, face))
    assert racket.pronation(held) == pytest.approx(turn, abs=0.7)


def test_where_the_ball_meets_the_strings(body):
    held = marks([0.3, 0.5, 0.3], [0.0, 0.0, 1.0], tilted(80.0))
    middle = held[0, 3:].mean(axis=0)
    half = 0.5 * (held[0, 4] - held[0, 3])
    half = half if half[1] > 0 else -half
    ball = middle + 0.5 * (held[0, 2] - middle) - 0.25 * half
    found = movement(body, held, struck=ball)
    assert racket.struck_along(found) == pytest.approx(0.5)
    assert racket.struck_across(found) == pytest.approx(-0.25)


def gripped(body, grip):
    """A forehand's racket at right angles to the forearm, its wrist bent back, the face turned against the palm."""
    points = body.copy()
    forearm = unit(points[:, INDEX["right_wrist"]] - points[:, INDEX["right_elbow"]])
    shaft = unit(np.cross(forearm, [1.0, 0.3, 0.0]))
    palm = np.cross(shaft, forearm)
    palm = palm * np.sign(palm[:, :1] + 1e-9)
    bent = np.radians(40.0)
    hand = np.cos(bent) * forearm - np.sin(bent) * palm
    points[:, INDEX["right_hand"]] = points[:, INDEX["right_wrist"]] + 0.05 * hand
    looks = unit(palm * np.cos(0.5 * bent) + forearm * np.sin(0.5 * bent))
    about = -np.radians(grip)
    face = np.cos(about) * looks + np.sin(about) * np.cross(shaft, looks)
    return points, marks(points[:, INDEX["right_hand"]], shaft, face)


@pytest.mark.parametrize(("turned", "name"), [(g, n) for n, g in racket.GRIPS])
def test_the_grip_is_the_turn_of_the_face_against_the_palm(body, turned, name):
    points, held = gripped(body, turned)
    found = racket.grip(movement(points, held))
    assert found == pytest.approx(turned, abs=1.0)
    odds = racket.grip_odds(found, 5.0)
    assert max(odds, key=odds.get) == name
    assert sum(odds.values()) == pytest.approx(1.0)
    assert racket.grip_words(found, 5.0).startswith(f"perhaps {name} (")
    assert max(racket.grip_odds(found, 60.0).values()) < odds[name]


# On the generator's exact truth -------------------------------------------------------------------------


def played(seed, stroke="forehand"):
    motion = PLAYERS[stroke](seed).perform(swings=1)
    events = motion.swings[0].events
    near = (motion.times > events["contact"] - 1.7) & (motion.times < events["contact"] + 1.3)
    points, held = (place[near][::2] / motion.stature for place in (motion.points, motion.racket))
    struck = motion.ball[np.argmin(np.abs(motion.times - events["contact"]))] / motion.stature
    if motion.hand == "left":
        points, held, struck = mirror(points), mirror_racket(held), struck * np.array([1.0, 1.0, -1.0])
    times = motion.times[near][::2] - events["contact"]
    at = {name: time - events["contact"] for name, time in events.items()}
    return PLAYERS[stroke](seed), Movement(times, points, at, racket=held, struck=struck)


@pytest.fixture(scope="module")
def players():
    return [played(seed) for seed in TUNING[:8]]


def test_generated_faces_and_paths_are_what_their_styles_asked_for(players):
    """The generator solves for face and path at contact, so the gauges must give them back; a fault may move both."""
    sound = [(p, m) for p, m in players if "flat_path" not in p.faults]
    assert len(sound) >= 5
    for player, found in sound:
        face = float(found.at("contact", racket.face_angle(found)))
        assert face == pytest.approx(player.style.face, abs=4.0)
        assert racket.path_at_contact(found) == pytest.approx(player.style.path, abs=4.0)


def test_the_generated_forehand_lies_in_the_published_bands(players):
    """Kwon et al. 2017: racket angle at impact 80.4 +- 3.6 (A20), path 18.6 +- 4.3 (A19); Landlinger et al. 2010: the
    racket is fastest 2 to 3 ms before impact (A17)."""
    faces = [float(m.at("contact", racket.face_angle(m))) for _, m in players]
    assert np.median(faces) == pytest.approx(80.4, abs=2 * 3.6)
    paths = [racket.path_at_contact(m) for p, m in players if "flat_path" not in p.faults]
    assert np.median(paths) == pytest.approx(18.6, abs=2 * 4.3)
    assert np.median([racket.HeadPeak()(m) for _, m in players]) == pytest.approx(2.5, abs=3.0)


def test_the_generated_ball_is_met_in_the_middle_of_the_strings(players):
    for _, found in players:
        assert abs(racket.struck_along(found)) < 0.05
        assert abs(racket.struck_across(found)) < 0.05


# What is said where it cannot be told -------------------------------------------------------------------


@pytest.fixture(scope="module")
def swing(movers):
    made = movers.swing(rate=120.0)
    hand = made.points[:, INDEX["right_hand"]]
    shaft = unit(hand - made.points[:, INDEX["right_elbow"]])
    across = unit(np.cross([1.0, 0.0, 0.0], shaft)) * 0.5 * WIDTH
    middle = hand + 0.26 * shaft
    held = np.stack(
        [hand - 0.04 * shaft, hand + 0.16 * shaft, hand + 0.35 * shaft, middle - across, middle + across],
        axis=1,
    )
    return replace(made, racket=held, struck=middle[np.argmin(np.abs(made.times - made.contact))])


def reasons(swing):
    return {one.row.key: one.why_not for one in measure(swing)}


def test_a_racket_that_was_never_seen_says_so_in_every_row_that_needs_it(swing):
    found = reasons(replace(swing, racket=None))
    assert {found[row.key] for row in FOREHAND.measures if row.racket} == {NO_RACKET}


def test_a_racket_that_was_not_seen_at_contact_takes_the_rows_of_contact_with_it(swing):
    seen = np.abs(swing.times - swing.contact) > 0.03
    found = reasons(replace(swing, racket_seen=seen))
    assert found["face_at_contact"] == found["string_bed_from_com"] == RACKET_HIDDEN
    assert found["face_in_drop"] == ""
    assert found["racket_path_angle"] == ""


def test_without_the_ball_only_its_place_on_the_strings_is_not_told(swing):
    with_ball, without = reasons(swing), reasons(replace(swing, struck=None))
    changed = {key for key in with_ball if with_ball[key] != without[key]}
    assert changed == {"struck_along", "struck_across"}
    assert without["struck_along"] == NO_BALL


def test_a_moment_that_was_not_found_is_not_blamed_on_the_racket(swing):
    events = {name: time for name, time in swing.events.items() if name != "end_of_follow_through"}
    assert reasons(replace(swing, events=events))["finish_face"] == NOT_FOUND


def test_drawn_rackets_are_measured_with_their_own_bodies(swing, monkeypatch):
    """A face that is drawn 10 degrees either way is stated as that uncertain."""
    from swingmatch.stroke.measure import spreads

    axis = unit(swing.racket[:, 2] - swing.racket[:, 0])

    def turned(degrees):
        about = np.radians(degrees)
        middle = swing.racket[:, 3:].mean(axis=1, keepdims=True)
        edges = swing.racket[:, 3:] - middle
        edges = np.cos(about) * edges + np.sin(about) * np.cross(axis[:, None], edges)
        return np.concatenate([swing.racket[:, :3], middle + edges], axis=1)

    draws = np.stack([swing.points] * 4)
    rackets = np.stack([turned(d) for d in (10.0, -10.0, 10.0, -10.0)])
    drawn = replace(swing, draws=draws, racket_draws=rackets)
    own = {row.key: float(row.of(FOREHAND.movement(drawn))) for row in FOREHAND.measures}
    found = spreads(drawn, FOREHAND, own, 0.0)
    assert 3.0 < found["face_at_contact"] <= 10.1
    assert found["contact_elbow_flexion"] == pytest.approx(0.0, abs=1e-9)


def test_a_racket_is_mirrored_and_turned_with_its_body(swing):
    drawn = replace(
        swing,
        hand="left",
        draws=swing.points[None],
        racket_draws=swing.racket[None],
        struck_draws=swing.struck[None],
    )
    right = drawn.as_right_handed()
    np.testing.assert_allclose(right.racket_draws[0], right.racket)
    np.testing.assert_allclose(right.struck_draws[0], right.struck)
    np.testing.assert_allclose(right.racket[:, 3], swing.racket[:, 4] * [1.0, 1.0, -1.0])
    turned = drawn.turned(30.0)
    np.testing.assert_allclose(turned.racket_draws[0], turned.racket)
    gap = turned.points[:, INDEX["right_hand"]] - turned.racket[:, 0]
    np.testing.assert_allclose(
        np.linalg.norm(gap, axis=1),
        np.linalg.norm(swing.points[:, INDEX["right_hand"]] - swing.racket[:, 0], axis=1),
    )


@pytest.mark.parametrize("rate", [60.0, 240.0])
def test_a_racket_seen_up_to_contact_alone_is_carried_on_to_it_and_no_further(rate):
    times = np.arange(-1.0, 0.5, 1.0 / rate) + 0.3 / rate
    values = np.stack([3.0 * times, 1.0 - times], axis=1)
    values[times > 0.0] = np.nan
    at = np.arange(-0.2, 0.2, 0.002)
    found = between(times, values, at, 0.0)
    np.testing.assert_allclose(found[at <= 0.008, 0], 3.0 * at[at <= 0.008], atol=1e-9)
    assert np.isnan(found[at > 0.0101]).all()
    values[times > -0.1] = np.nan
    assert np.isnan(between(times, values, at, 0.0)[at > -0.05]).all()


def test_a_hole_in_the_racket_stays_a_hole_between_pictures():
    times = np.arange(0.0, 1.0, 1.0 / 30.0)
    values = np.stack([np.sin(times), times], axis=1)
    values[10:15] = np.nan
    at = np.linspace(-0.1, 1.1, 400)
    found = between(times, values, at, 0.6)
    inside = (at >= 0) & (at <= times[-1])
    hole = (at > times[9]) & (at < times[15])
    assert np.isnan(found[hole | ~inside]).all()
    assert np.isfinite(found[inside & ~hole]).all()
    np.testing.assert_allclose(found[inside & ~hole, 0], np.sin(at[inside & ~hole]), atol=2e-4)
