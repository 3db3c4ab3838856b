"""A struck ball of known flight, as spots and as drawn pictures."""

import cv2
import numpy as np
import pytest

from swingmatch.racket.ball import ball_contact, join_paths
from swingmatch.racket.spots import BALL, Path, Spots, find_paths

HEIGHT = 240.0  # of the player, pixels
SIZE = (640, 360)
SCALE = HEIGHT / 1.75  # pixels a metre at the player


def flight(times, contact, *, towards=0.0, place=(320.0, 180.0)):
    """Places (T, 2) of a ball struck at ``contact``: 10 m/s in from the right, 27 m/s back, by plain perspective.

    ``towards`` turns the way out of the picture's plane: metres a second towards the camera per metre a second along.
    """
    s = times - contact
    along = np.where(s < 0, -10.0, 27.0)
    up = np.where(s < 0, 1.0, 4.0)
    depth = 6.0 - along * towards * s
    x = along * s * 6.0 / depth
    y = (up * s - 0.5 * 9.81 * s**2) * 6.0 / depth
    return np.stack([place[0] + SCALE * x, place[1] - SCALE * y], axis=1)


def spots_of(times, *balls):
    """Spots of the same yellow, one of each ball (T, 2) a picture."""
    colours = np.tile([210.0, 230.0, 70.0], (len(balls), 1))
    return [Spots(float(t), np.stack(places), colours) for t, *places in zip(times, *balls, strict=True)]


def frame_times(contact, rate=60.0):
    return np.arange(contact - 0.25, contact + 0.12, 1 / rate)


@pytest.mark.parametrize("towards", [-0.7, 0.0, 0.5])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.8])
def test_the_moment_between_two_pictures(towards, phase):
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


def test_a_hand_out_of_reach_and_no_hand_at_all():
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


def drawn(times, contact, *, ball=True, shake=0.0, seed=0):
    """Pictures (h, w, 3) of a textured wall with a swinging bar (the arm) and the ball as a streak of 1/500 s."""
    rng = np.random.default_rng(seed)
    wall = cv2.resize(
        rng.integers(60, 120, (24, 40, 3)).astype(np.uint8), (760, 480), interpolation=cv2.INTER_NEAREST
    )
    out = []
    for t in times:
        dx, dy = np.round(shake * rng.normal(size=2)).astype(int)
        picture = wall[60 + dy : 420 + dy, 60 + dx : 700 + dx].copy()
        angle = 2.0 + 12.0 * (t - contact)
        tip = (int(280 - dx + 60 * np.cos(angle)), int(180 - dy + 60 * np.sin(angle)))
        cv2.line(picture, (280 - dx, 180 - dy), tip, (200, 150, 120), 14, cv2.LINE_AA)
        if ball:
            a, b = flight(np.array([t - 0.001, t + 0.001]), contact) - (dx, dy)
            cv2.line(
                picture, tuple(np.round(16 * a).astype(int)), tuple(np.round(16 * b).astype(int)), (210, 230, 70),
                9, cv2.LINE_AA, 4,
            )  # fmt: skip
        noisy = picture + rng.normal(0.0, 3.0, picture.shape)
        out.append(np.clip(noisy, 0, 255).astype(np.uint8))
    return out


@pytest.mark.parametrize("shake", [0.0, 2.0])
def test_contact_in_drawn_pictures(shake):
    contact = 1.0071
    times = frame_times(contact)
    hand = np.tile([300.0, 200.0], (len(times), 1))
    found = ball_contact(times, drawn(times, contact, shake=shake), hand, HEIGHT)
    assert found is not None
    assert found.time == pytest.approx(contact, abs=0.004)
    assert found.sd < 0.006


def test_without_a_ball_or_too_small_it_is_not_seen():
    times = frame_times(1.0)
    hand = np.tile([300.0, 200.0], (len(times), 1))
    assert ball_contact(times, drawn(times, 1.0, ball=False), hand, HEIGHT) is None
    assert ball_contact(times, drawn(times, 1.0), hand, 40.0) is None
    assert ball_contact(times[:3], drawn(times[:3], 1.0), hand[:3], HEIGHT) is None
