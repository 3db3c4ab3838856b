"""When the noises arrive, and how loud they are."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from swingmatch.synth.camera import Camera
from swingmatch.synth.motion import Motion
from swingmatch.synth.sound import RATE, bounces, footfalls, soundtrack

CONTACT = 0.25


@pytest.mark.parametrize("distance", [3.0, 8.0, 20.0])
def test_strike_arrives_after_the_sound_s_way(motion: Motion, distance: float) -> None:
    """343 m/s in air at 20 degrees Celsius (textbook value): onset at contact plus distance over that, to 1 ms."""
    camera = Camera(distance=distance)
    sound = soundtrack(motion, camera, 0.5, background=0.0005)
    sound = sosfilt(butter(2, 400, "highpass", fs=RATE, output="sos"), sound)
    onset = np.flatnonzero(np.abs(sound) > 0.25 * np.abs(sound).max())[0] / RATE
    at = motion.racket[round(CONTACT * 240), 1:3].mean(axis=0)
    expected = CONTACT + np.linalg.norm(at - camera.position) / 343.0
    assert onset == pytest.approx(expected, abs=1e-3)


def test_strike_is_the_loudest_thing(motion: Motion) -> None:
    sound = np.abs(soundtrack(motion, Camera(), 0.5))
    peak = sound.argmax() / RATE
    assert CONTACT < peak < CONTACT + 0.05
    assert sound[: int(CONTACT * RATE)].max() < 0.3 * sound.max()


def test_length_range_and_seed(motion: Motion) -> None:
    one, two, other = (soundtrack(motion, Camera(), 0.4, seed=s) for s in (1, 1, 2))
    assert one.shape == (round(0.4 * RATE),)
    assert np.abs(one).max() <= 1.0
    np.testing.assert_array_equal(one, two)
    assert np.abs(one - other).max() > 0.01


def test_background_has_its_level(motion: Motion) -> None:
    quiet = soundtrack(motion, Camera(), CONTACT - 0.01, background=0.01)
    assert np.sqrt(np.mean(quiet**2)) == pytest.approx(0.01, rel=0.2)


def test_bounce_where_the_ball_turns(motion: Motion) -> None:
    (bounce,) = bounces(motion)
    assert bounce[0] == pytest.approx(0.3, abs=1 / 240)


def test_nobody_steps_when_the_feet_are_still(motion: Motion) -> None:
    assert footfalls(motion) == []
