"""A struck ball of known flight, as spots and as drawn pictures."""

import numpy as np
import pytest

from swingmatch.racket.ball import ball_contact, join_paths
from swingmatch.racket.spots import BALL, Path, Spots, find_paths

HEIGHT = 240.0  # of the player, pixels


def spots_of(times, *balls):
    """Spots of the same yellow, one of each ball (T, 2) a picture."""
    colours = np.tile([210.0, 230.0, 70.0], (len(balls), 1))
    return [Spots(float(t), np.stack(places), colours) for t, *places in zip(times, *balls, strict=True)]


def frame_times(contact, rate=60.0):
    return np.arange(contact - 0.25, contact + 0.12, 1 / rate)


@pytest.mark.parametrize("towards", [-0.7, 0.0, 0.5])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.8])
def test_the_moment_between_two_pictures(flight, towards, phase):
    contact = 1.0 + phase / 60
    times = np.arange(0.75, 1.12, 1 / 60)
    places = flight(times, contact, towards=towards)
    spots = spots_of(times, places)
    found = join_paths(
        find_paths(spots, BALL * HEIGHT), times, np.tile([300.0, 200.0], (len(times), 1)), HEIGHT
    )
    assert found is not None
    assert found.time == pytest.approx(contact, abs=0.002)
    assert np.linalg.norm(found.place - (320.0, 180.0)) < 6.0
    # A picture at contact itself shows the end of one path and the start of the other.
    assert found.coming.times.max() < contact + 1e-6
    assert found.leaving.times.min() > contact - 1e-6


def test_a_ball_that_is_not_struck_is_no_contact():
    times = np.arange(0.0, 0.4, 1 / 60)
    past = np.stack([600 - 1400 * times, 180 + 60 * times], axis=1)
    spots = spots_of(times, past)
    hand = np.tile([320.0, 180.0], (len(times), 1))
    assert join_paths(find_paths(spots, BALL * HEIGHT), times, hand, HEIGHT) is None


def test_a_hand_out_of_reach_and_no_hand_at_all(flight):
    times = frame_times(1.0)
    spots = spots_of(times, flight(times, 1.0))
    paths = find_paths(spots, BALL * HEIGHT)
    assert join_paths(paths, times, np.full((len(times), 2), 20.0), HEIGHT) is None
    assert join_paths(paths, times, np.full((len(times), 2), np.nan), HEIGHT) is None
    assert join_paths([], times, np.tile([300.0, 200.0], (len(times), 1)), HEIGHT) is None


def test_spots_by_chance_make_no_contact():
    rng = np.random.default_rng(3)
    times = frame_times(1.0)
    spots = spots_of(times, *rng.uniform((150, 50), (490, 310), size=(12, len(times), 2)))
    hand = np.tile([320.0, 180.0], (len(times), 1))
    assert join_paths(find_paths(spots, BALL * HEIGHT), times, hand, HEIGHT) is None


def test_paths_keep_to_their_own_ball():
    times = np.arange(0.0, 0.3, 1 / 60)
    one = np.stack([100 + 900 * times, 100 + 0 * times], axis=1)
    other = np.stack([500 - 900 * times, 160 + 0 * times], axis=1)
    spots = spots_of(times, one, other)
    paths = find_paths(spots, BALL * HEIGHT)[:2]
    assert sorted(round(float(np.ptp(p.places[:, 1]))) for p in paths) == [0, 0]
    assert all(isinstance(p, Path) and len(p.times) == len(times) for p in paths)


@pytest.mark.parametrize("shake", [0.0, 2.0])
def test_contact_in_drawn_pictures(drawn, shake):
    contact = 1.0071
    times = frame_times(contact)
    hand = np.tile([300.0, 200.0], (len(times), 1))
    found = ball_contact(times, drawn(times, contact, shake=shake), hand, HEIGHT)
    assert found is not None
    assert found.time == pytest.approx(contact, abs=0.004)
    assert found.sd < 0.006


def test_without_a_ball_or_too_small_it_is_not_seen(drawn):
    times = frame_times(1.0)
    hand = np.tile([300.0, 200.0], (len(times), 1))
    assert ball_contact(times, drawn(times, 1.0, ball=False), hand, HEIGHT) is None
    assert ball_contact(times, drawn(times, 1.0), hand, 40.0) is None
    assert ball_contact(times[:3], drawn(times[:3], 1.0), hand[:3], HEIGHT) is None


def test_a_spot_of_another_thing_is_left_off_a_path(flight):
    times = np.arange(0.75, 0.98, 1 / 60)
    places = flight(times, 1.0)
    places[6] += (0.0, 0.55 * BALL * HEIGHT)
    (path,) = [p for p in find_paths(spots_of(times, places), BALL * HEIGHT) if p.spots > 8]
    assert path.times.tolist() == [t for i, t in enumerate(times) if i != 6]
