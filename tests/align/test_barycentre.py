"""The typical swing: laws of an average, and another library's barycentre beside it."""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from dtaidistance.dtw_barycenter import dba_loop

from swingmatch.align import dtw
from swingmatch.align.barycentre import typical
from swingmatch.align.features import feature_matrix
from swingmatch.align.warp import RATE, align, distance
from swingmatch.body.skeleton import BONES, INDEX, SIDES, K, mirror
from swingmatch.errors import StrokeError
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.measure import measure
from swingmatch.stroke.swing import Swing
from swingmatch.study.captured import strokes
from swingmatch.synth.build import Build
from swingmatch.synth.forehand import perform
from swingmatch.synth.style import ForehandStyle

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
REPEATS = 5
BONE_GROUPS = ("upper_arm", "forearm", "palm", "thigh", "shank")


def warped(size, rate):
    return lambda t: t + size * np.sin(rate * t)


@pytest.fixture(scope="module")
def repeats(movers):
    """Repeats that differ in tempo and by some degrees a joint, and start anywhere on their clocks."""
    rng = np.random.default_rng(0)
    return [
        movers.swing(
            warped(0.05 * rng.normal(), rng.uniform(2.0, 6.0)), style=rng.normal(0.0, 4.0, 8), contact=3.0 * i
        )
        for i in range(REPEATS)
    ]


@pytest.fixture(scope="module")
def average(repeats):
    return typical(repeats)


def bones(points, group):
    return np.array([np.linalg.norm(points[:, a] - points[:, b], axis=1) for a, b, g in BONES if g == group])


def with_racket(swing):
    """A racket held straight on in the line of the hitting forearm, face upright."""
    hand, wrist = (swing.points[:, INDEX[f"{swing.hand}_{part}"]] for part in ("hand", "wrist"))
    shaft = (hand - wrist) / np.linalg.norm(hand - wrist, axis=1, keepdims=True)
    across = np.cross(shaft, [0.0, 1.0, 0.0])
    across = 0.07 * across / np.linalg.norm(across, axis=1, keepdims=True)
    middle = hand + 0.26 * shaft
    marks = [hand - 0.04 * shaft, hand + 0.15 * shaft, hand + 0.35 * shaft, middle - across, middle + across]
    return replace(swing, racket=np.stack(marks, axis=1))


def test_the_average_of_equal_swings_is_the_swing(repeats):
    one = with_racket(repeats[0])
    for swings in ([one], [one] * 3):
        found = typical(swings)
        np.testing.assert_allclose(found.points, one.at(found.times + one.contact), atol=1e-9)
        np.testing.assert_allclose(found.racket, one.racket, atol=1e-9)
        assert found.events == pytest.approx({n: t - one.contact for n, t in one.events.items()})
        assert found.contact == 0.0
        assert found.draws is None


def test_the_order_does_not_matter(repeats, average):
    other = typical(repeats[::-1])
    np.testing.assert_allclose(other.times, average.times, atol=1e-9)
    np.testing.assert_allclose(other.points, average.points, atol=1e-9)
    assert other.events == pytest.approx(average.events)


def test_mirrored_repeats_have_the_mirrored_average(repeats, average):
    left = [
        replace(swing, points=mirror(swing.points), hand="left", camera_azimuth=-80.0) for swing in repeats
    ]
    found = typical(left)
    assert found.hand == "left"
    assert found.camera_azimuth == pytest.approx(-80.0)
    np.testing.assert_allclose(mirror(found.points), average.points, atol=1e-9)


def test_it_is_nearer_to_the_repeats_than_any_of_them(repeats, average):
    def apart(swing):
        return np.mean([distance(one, swing) for one in repeats])

    assert apart(average) < min(apart(swing) for swing in repeats)


def test_limbs_keep_their_length_and_feet_the_floor(repeats, average):
    """Averaged as places, the same forearms would come out shorter."""
    for group in BONE_GROUPS:
        mine = bones(average.points, group)
        np.testing.assert_allclose(mine, np.broadcast_to(mine[:, :1], mine.shape), rtol=1e-9)
        # Straight lines between samples of 120 a second cut a little off a turning arm.
        np.testing.assert_allclose(mine, np.median(bones(repeats[0].points, group)), rtol=1e-4)
    at = average.times
    places = np.mean([swing.at(at + swing.contact) for swing in repeats], axis=0)
    assert bones(places, "forearm").min() < 0.99 * bones(average.points, "forearm").min()
    soles = [INDEX[f"{side}_{part}"] for side in SIDES for part in ("heel", "toe")]
    lows = np.array([swing.points[:, soles, 1].min() for swing in repeats])
    assert lows.min() <= average.points[:, soles, 1].min() <= lows.max() + 0.002


def test_contact_stays_and_events_are_where_they_are_on_average(repeats, average):
    assert average.contact == 0.0
    for name in average.events:
        mean = np.mean([swing.events[name] - swing.contact for swing in repeats])
        # Within half a frame of a film of 60 a second (E20).
        assert average.events[name] == pytest.approx(mean, abs=0.0083), name
    order = sorted(average.events, key=average.events.__getitem__)
    assert order == sorted(repeats[0].events, key=repeats[0].events.__getitem__)
    assert (np.diff(average.times) > 0.0).all()
    assert np.median(np.diff(average.times)) == pytest.approx(1.0 / RATE, rel=0.1)


def test_repeats_that_differ_in_tempo_alone_give_the_swing_in_its_mean_tempo(movers):
    clocks = [warped(0.08, 4.0), warped(-0.08, 4.0), warped(0.04, 5.0), warped(-0.04, 5.0)]
    found = typical([movers.swing(clock) for clock in clocks])
    plain = movers.swing()
    assert distance(found, plain) < 0.5
    warp = align(found, plain)
    stroke = warp.player_times > -0.6
    assert np.abs(warp.model_times - warp.player_times)[stroke].max() < 0.0167  # a frame at 60 a second (E20)


def test_places_and_rackets_are_averaged_too(repeats):
    shift = np.array([0.1, 0.0, 0.2])
    swings = [with_racket(swing) for swing in repeats[:3]]
    moved = [
        replace(s, points=s.points + i * shift, racket=s.racket + i * shift) for i, s in enumerate(swings)
    ]
    here, there = typical(swings), typical(moved)
    np.testing.assert_allclose(there.points, here.points + shift, atol=1e-9)
    np.testing.assert_allclose(there.racket, here.racket + shift, atol=1e-9)
    ends = here.racket[:, 2] - here.racket[:, 0]
    np.testing.assert_allclose(np.linalg.norm(ends, axis=1), 0.39, rtol=1e-3)
    assert typical([swings[0], replace(swings[1], racket=None)]).racket is None


def test_what_most_repeats_do_not_show_is_left_out(repeats):
    blind = [
        replace(s, events={n: t for n, t in s.events.items() if n != "hands_apart"}) for s in repeats[:3]
    ]
    assert "hands_apart" not in typical([*blind[:2], repeats[2]]).events
    assert "hands_apart" in typical([blind[0], *repeats[1:3]]).events
    hidden = [replace(s, points=s.points.copy()) for s in repeats[:3]]
    for swing in hidden:
        swing.points[:, INDEX["nose"]] = np.nan
    hidden[0].points[40:50, INDEX["left_wrist"]] = np.nan
    found = typical(hidden)
    assert np.isnan(found.points[:, INDEX["nose"]]).all()
    assert np.isfinite(np.delete(found.points, INDEX["nose"], axis=1)).all()
    assert found.points.shape[1:] == (K, 3)


def test_only_one_stroke_of_one_hand_is_averaged(repeats):
    with pytest.raises(StrokeError, match="no swing"):
        typical([])
    with pytest.raises(StrokeError, match="one hand"):
        typical([repeats[0], replace(repeats[1], hand="left")])


def squared(series, centre):
    """What a DTW barycentre makes small: the mean squared DTW distance, without a band."""
    return np.mean([dtw.distance(one, centre) ** 2 for one in series])


def test_it_is_as_near_to_the_repeats_as_a_plain_dtw_barycentre(repeats, average):
    """dtaidistance's DTW barycentre averaging (Petitjean et al. 2011) on the same directions, every second sample.

    Its warps are free of any clock and it need not be a body, so it can only be nearer.
    """
    span = np.arange(-0.9, 0.5, 2.0 / RATE)
    series = [feature_matrix(swing, swing.contact + span) for swing in repeats]
    mine = feature_matrix(average, span)
    start = min(series, key=lambda one: squared(series, one))
    theirs = np.asarray(dba_loop(series, c=start.copy(), max_it=10, use_c=True))
    nearest, least = squared(series, start), squared(series, theirs)
    assert least < nearest
    # At least nine tenths of what it wins over the nearest repeat.
    assert squared(series, mine) < nearest - 0.9 * (nearest - least)
    assert dtw.distance(mine, theirs) < 0.5 * np.sqrt(least)


def test_it_is_the_plain_barycentre_where_all_have_one_clock(movers):
    """Repeats that differ by the same few degrees at all times: both averages lie in the middle of them.

    With twice the difference the other one starts to put poses earlier or later, as its warps have no clock to keep.
    """
    style = np.array([2.0, 3.0, 1.0, 2.5, 2.5, -2.0, 2.0, 2.5])
    swings = [movers.swing(style=sign * style) for sign in (-1.0, 0.0, 1.0)]
    span = np.arange(-0.9, 0.5, 2.0 / RATE)
    series = [feature_matrix(swing, span) for swing in swings]
    theirs = np.asarray(dba_loop(series, c=series[1].copy(), max_it=10, use_c=True))
    mine = feature_matrix(typical(swings), span)

    def apart(one, other):
        return np.sqrt(np.mean(np.sum((one - other) ** 2, axis=1)))

    assert min(apart(series[0], theirs), apart(series[2], theirs)) > 2.0
    # Directions are unit vectors; the mean of some three degrees apart is shorter by a thousandth.
    assert apart(mine, theirs) < 0.1


def test_a_generated_player_measures_on_the_typical_swing_what_the_swings_do_on_average():
    motion = perform(ForehandStyle(), Build(), swings=4, seed=3, rest=0.2)
    swings = []
    for truth in motion.swings:
        near = np.abs(motion.times - truth.events["contact"] + 0.2) < 1.4
        body, racket = (place[near][::4] / motion.stature for place in (motion.points, motion.racket))
        swings.append(Swing(motion.times[near][::4], body, truth.events, "right", 90.0, racket=racket))
    table = np.array([[one.value for one in measure(swing)] for swing in swings])
    mine = np.array([one.value for one in measure(typical(swings))])
    for row, each, value in zip(FOREHAND.measures, table.T, mine, strict=True):
        # Moments of peaks and first crossings jump from one peak or crossing to another; the rest moves evenly.
        if row.unit not in ("ms", ""):
            assert abs(value - each.mean()) < max(0.1 * row.useful, 0.5 * each.std(ddof=1)), row.key


@pytest.mark.mocap
@pytest.mark.skipif(not (FOLDER / "index.csv").is_file(), reason="no motion capture; set SWINGMATCH_MOCAP")
def test_a_recorded_players_typical_forehand_is_nearer_to_all_than_one_of_them(tmp_path):
    with (FOLDER / "index.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if (row["player"], row["stroke"]) == ("P3", "forehand")]
    with (tmp_path / "index.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, rows[0].keys())
        table.writeheader()
        table.writerows(rows)
    for row in rows:
        (tmp_path / row["file"]).symlink_to((FOLDER / row["file"]).resolve())
    swings = []
    for one in strokes(tmp_path)[:6]:
        points = FOREHAND.on_ball_side(one.points, "right") / 1.75
        events = FOREHAND.find_events(one.times, points, 0.0)
        swings.append(Swing(one.times, points, events, "right"))
    assert len(swings) == 6
    found = typical(swings)
    mine = np.mean([distance(swing, found) for swing in swings])
    others = [np.mean([distance(a, b) for b in swings if b is not a]) for a in swings]
    assert mine < 0.9 * min(others)
    for group in BONE_GROUPS:
        lengths = bones(found.points, group)
        np.testing.assert_allclose(lengths, np.broadcast_to(lengths[:, :1], lengths.shape), rtol=1e-9)
