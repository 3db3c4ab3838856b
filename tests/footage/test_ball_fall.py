"""The ball's fall: closed forms, honest uncertainty, and drawn pictures that play slower than life."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.track import Track
from swingmatch.errors import ClipError
from swingmatch.footage.ball_fall import Fall, fall_of, see_fall
from swingmatch.racket.spots import BALL, Path

HEIGHT = 240.0
GRAVITY = 9.81 / 1.75


def flight(times, *, across=-7.0, up=0.6, towards=0.0, gravity=GRAVITY, contact=0.0, away=4.0):
    """Pixels of a ball in free fall that is struck at ``contact`` and goes back: statures, ``away`` from the camera."""
    s = np.asarray(times) - contact
    back = s > 0
    x = np.where(back, -2.2 * across, across) * s
    y = np.where(back, 1.5, up) * s - 0.5 * gravity * s**2
    z = away + np.where(back, -2.0 * towards, towards) * s
    focal = away * HEIGHT
    return np.stack([320.0 + focal * x / z, 180.0 - focal * y / z], axis=1)


def path_of(times, places):
    return Path(np.asarray(times), places, np.tile([210.0, 230.0, 70.0], (len(places), 1)))


@pytest.mark.parametrize("towards", [-5.0, 0.0, 5.0])
@pytest.mark.parametrize("gravity", [GRAVITY, GRAVITY / 4, 0.0])
def test_free_fall_in_space_is_found(towards, gravity):
    times = np.linspace(-0.25, 0.0, 16)
    found = fall_of(path_of(times, flight(times, towards=towards, gravity=gravity)), HEIGHT)
    assert found.acceleration == pytest.approx(gravity, abs=0.05 * GRAVITY)


def test_slower_play_divides_by_the_square():
    times = np.linspace(-0.25, 0.0, 16)
    usual = fall_of(path_of(times, flight(times)), HEIGHT)
    slow = fall_of(path_of(2.0 * times, flight(times)), HEIGHT)
    assert slow.acceleration == pytest.approx(usual.slowed(2.0).acceleration, rel=0.05)
    assert usual.slowed(2.0) == Fall(usual.acceleration / 4.0, usual.sd / 4.0)


@pytest.mark.parametrize("across", [-7.0, -1.0])
def test_the_stated_uncertainty_is_that_of_repeated_looks(across):
    times = np.linspace(-0.15, 0.0, 10)
    places = flight(times, across=across, towards=-3.0)
    rng = np.random.default_rng(1)
    # Places wrong by 0.07 balls and 2 % of the way from one picture to the next (``ball_fall``).
    way = np.linalg.norm(np.diff(places, axis=0), axis=1).mean()
    sd = 0.07 * BALL * HEIGHT + 0.02 * way
    found = [fall_of(path_of(times, places + rng.normal(0, sd, places.shape)), HEIGHT) for _ in range(200)]
    off = np.array([(f.acceleration - GRAVITY) / f.sd for f in found])
    assert np.mean(np.abs(off) < 1.645) > 0.8
    assert np.std(off) > 0.4


def test_a_ball_that_comes_at_the_camera_tells_less():
    times = np.linspace(-0.15, 0.0, 10)
    side = fall_of(path_of(times, flight(times)), HEIGHT)
    front = fall_of(path_of(times, flight(times, across=-0.3, up=2.0, towards=-7.0)), HEIGHT)
    assert front.sd > 1.2 * side.sd


def drawn(factor, rate=60.0):
    """Pictures (shown ``rate`` a second) of a struck ball filmed ``factor`` times as fast, and the player's track."""
    times = np.arange(0.0, 0.9, 1.0 / (rate * factor))
    rng = np.random.default_rng(5)
    ground = cv2.GaussianBlur(rng.integers(60, 150, (360, 640, 3)).astype(np.uint8), (0, 0), 3)
    frames = []
    for time, place in zip(times, flight(times, contact=0.45), strict=True):
        picture = ground.copy()
        spot = tuple(int(v) for v in np.round(16 * place))
        cv2.circle(picture, spot, round(8 * BALL * HEIGHT), (210, 230, 70), -1, cv2.LINE_AA, shift=4)
        frames.append(SimpleNamespace(time=factor * time, image=picture))
    image = np.full((len(times), K, 2), 300.0)
    image[:, INDEX["right_hand"]] = (310.0, 190.0)
    track = Track(factor * times, image, np.zeros((len(times), K, 3)), np.ones((len(times), K)), (640, 360))
    return frames, track


@pytest.mark.parametrize("factor", [1.0, 2.0, 4.0])
def test_the_fall_in_pictures_that_play_slower(factor):
    frames, track = drawn(factor)

    def read(start, stop):
        return [frame for frame in frames if start <= frame.time <= stop]

    found = see_fall(read, track, "right", 0.43 * factor, factor, HEIGHT)
    assert found is not None
    assert abs(found.acceleration * factor**2 - GRAVITY) < 3.0 * found.sd * factor**2
    assert found.sd * factor**2 < 0.5 * GRAVITY


def test_no_ball_no_pictures_and_a_lost_clip_are_no_fall():
    frames, track = drawn(1.0)
    still = [SimpleNamespace(time=frame.time, image=frames[0].image) for frame in frames]
    assert see_fall(lambda a, b: still, track, "right", 0.45, 1.0, HEIGHT) is None
    assert see_fall(lambda a, b: still[:5], track, "right", 0.45, 1.0, HEIGHT) is None
    assert see_fall(lambda a, b: still, track, "right", 0.45, 1.0, 40.0) is None

    def lost(start, stop):
        raise ClipError("The file has gone.")

    assert see_fall(lost, track, "right", 0.45, 1.0, HEIGHT) is None
