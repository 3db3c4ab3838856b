"""Events on exact movement: each where its definition puts it, in order, and shifted with the clock."""

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.series import resample
from swingmatch.stroke.direction import wrap
from swingmatch.stroke.events import forehand_events
from swingmatch.stroke.reconstruct import find_swings
from swingmatch.stroke.swing import EVENTS


@pytest.fixture(scope="module")
def exact(motion):
    contact = motion.swings[0].events["contact"]
    times = np.arange(contact - 1.5, contact + 1.3, 1 / 120)
    return times, resample(motion.points, motion.times, times) / motion.stature, contact


def test_all_events_in_order(exact):
    events = forehand_events(*exact)
    assert set(events) == set(EVENTS)
    assert list(events.values()) == sorted(events.values())
    assert events["contact"] == exact[2]


@pytest.mark.parametrize(
    ("event", "tolerance"),
    [
        # Same kinematic definition on both sides: two samples at 120 Hz.
        ("end_of_take_back", 0.017),
        ("lowest_hand", 0.017),
        ("forward_start", 0.025),
        ("end_of_follow_through", 0.025),
        # Definitions differ (a rise against a fixed threshold): two frames at 30 per second.
        ("turn_start", 0.067),
        ("hands_apart", 0.067),
    ],
)
def test_against_the_generators_own_events(exact, motion, event, tolerance):
    assert forehand_events(*exact)[event] == pytest.approx(motion.swings[0].events[event], abs=tolerance)


def test_the_clock_may_start_anywhere(exact):
    times, points, contact = exact
    later = forehand_events(times + 50.0, points, contact + 50.0)
    for name, time in forehand_events(times, points, contact).items():
        assert later[name] == pytest.approx(time + 50.0, abs=1e-6)


def test_size_and_place_do_not_matter(exact):
    times, points, contact = exact
    moved = forehand_events(times, 0.8 * points + np.array([1.0, 0.0, 2.0]), contact)
    found = forehand_events(times, points, contact)
    # "Still" is a speed in statures, so ready may move a little; the others are shares of the movement itself.
    for name in set(found) - {"ready"}:
        assert moved[name] == pytest.approx(found[name], abs=1e-6)


@pytest.mark.parametrize("azimuth", [90.0, 50.0])
@pytest.mark.parametrize("who", ["right", "left"])
def test_from_a_track_to_swings(motion, left_motion, see, azimuth, who):
    made = motion if who == "right" else left_motion
    side = azimuth if who == "right" else -azimuth
    track = see(made, side, depth_gain=0.7, noise=2.0)
    strokes = find_swings(track, None)
    contact = made.swings[0].events["contact"]
    assert strokes.hand == who
    assert len(strokes.swings) == 1
    assert abs(wrap(strokes.camera_azimuth - side)) < 15
    # From the hand alone: the published peak is 38 ms before contact; players and smoothing add as much.
    assert strokes.swings[0].contact == pytest.approx(contact, abs=0.08)
    assert strokes.contacts[0].source == "hand"
    told = find_swings(track, None, hand=who, azimuth=12.0)
    assert told.camera_azimuth == 12.0


def test_hidden_and_cut_off_strokes_are_left_out(motion, see):
    track = see(motion, 90.0)
    contact = motion.swings[0].events["contact"]
    early = track.times < contact + 0.05
    short = replace(
        track,
        times=track.times[early],
        image=track.image[early],
        world=track.world[early],
        visibility=track.visibility[early],
    )
    from swingmatch.errors import StrokeError

    with pytest.raises(StrokeError, match="from its preparation to its follow-through"):
        find_swings(short, None)
