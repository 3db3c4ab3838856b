"""Events on exact movement: each where its definition puts it, in order, and shifted with the clock."""

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, middle, mirror, swap_sides
from swingmatch.errors import StrokeError
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
        bridged=None,
        skipped=None,
    )
    with pytest.raises(StrokeError, match="from its preparation to its follow-through"):
        find_swings(short, None)


def test_events_of_a_closed_form_stroke_from_their_definitions(movers):
    """Farthest back, lowest, a tenth of the forward speed, 15 % of the peak: worked out here from the formula."""
    fine = np.arange(-1.3, 0.8, 1 / 2000)
    body = movers.points(fine)
    hand = body[:, INDEX["right_hand"]]
    before = (fine >= -0.9) & (fine <= -0.08)
    back = (hand - middle(body, "hip"))[:, 0]
    take_back = fine[before][np.argmin(back[before])]
    drop = (fine >= take_back) & (fine <= 0)
    lowest = fine[drop][np.argmin(hand[drop, 1])]
    ahead = np.gradient(hand[:, 0], fine)
    forward = fine[drop][ahead[drop] < 0.1 * ahead[drop].max()].max()
    against = np.linalg.norm(np.gradient(hand - middle(body, "shoulder"), fine, axis=0), axis=1)
    peak = against[np.abs(fine - 0.025) < 0.125].max()
    stop = fine[(fine > 0.08) & (against < 0.15 * peak)].min()

    times = np.arange(-1.3, 0.8, 1 / 240)
    events = forehand_events(times, movers.points(times), 0.0)
    # One sample at 240 Hz on either side.
    assert events["end_of_take_back"] == pytest.approx(take_back, abs=0.0085)
    assert events["lowest_hand"] == pytest.approx(lowest, abs=0.0085)
    assert events["forward_start"] == pytest.approx(forward, abs=0.0085)
    assert events["end_of_follow_through"] == pytest.approx(stop, abs=0.0085)


def mirrored(track):
    """What the camera would have seen in a mirror."""
    flip = np.array([-1.0, 1.0, 1.0])
    return replace(
        track,
        image=swap_sides(track.image) * flip[:2] + np.array([track.size[0], 0.0]),
        world=swap_sides(track.world) * flip,
    )


def test_the_mirrored_clip_gives_the_mirrored_swing(motion, see):
    track = see(motion, 60.0, depth_gain=0.7, noise=2.0)
    right, left = find_swings(track, None), find_swings(mirrored(track), None)
    assert (right.hand, left.hand) == ("right", "left")
    assert left.camera_azimuth == pytest.approx(-right.camera_azimuth, abs=1e-4)
    a, b = right.swings[0], left.swings[0]
    assert b.events == pytest.approx(a.events)
    np.testing.assert_allclose(b.points, mirror(a.points), atol=1e-5)
    np.testing.assert_allclose(b.as_right_handed().points, a.points, atol=1e-5)


def test_a_keypoint_seen_late_does_not_hold_the_others_still(motion, see):
    track = see(motion, 80.0)
    whole = find_swings(track, None).swings[0]
    image, world = track.image.copy(), track.world.copy()
    late = track.times < whole.times[0] + 1.1
    image[late, INDEX["left_ear"]] = np.nan
    world[late, INDEX["left_ear"]] = np.nan
    holed = find_swings(replace(track, image=image, world=world), None).swings[0]
    hand = INDEX["right_hand"]
    assert np.linalg.norm(holed.points[:, hand] - whole.points[:, hand], axis=1).max() < 0.05


def test_a_keypoint_never_seen_is_one_sentence(motion, see):
    track = see(motion, 80.0)
    image = track.image.copy()
    image[:, INDEX["left_heel"]] = np.nan
    with pytest.raises(StrokeError, match="No swing is in view"):
        find_swings(replace(track, image=image), None)
