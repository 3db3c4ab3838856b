"""Slow motion: what metadata says, what movement and sound tell, and bringing times back."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.clip.sound import Onsets
from swingmatch.errors import SwingmatchError
from swingmatch.footage import slow_motion
from swingmatch.footage.ball_fall import Fall
from swingmatch.footage.slow_motion import (
    FACTORS,
    at_real_speed,
    clip_at_real_speed,
    detect,
    from_evidence,
    from_metadata,
    said,
    sound_at_real_speed,
)
from swingmatch.synth.cast import TUNING, random_player

AZIMUTHS = (90.0, 0.0, 135.0, -90.0, 45.0, 180.0)


def slowed(see, motion, factor, azimuth, *, shown=60.0, seed=0):
    """The track of a motion that was filmed ``factor`` times as fast as it is shown, with the estimator's noise.

    Two pixels on a player of some 250 are the 0.8 % of stature that are left of 1.6 % after cropping (see body.follow).
    """
    track = see(motion, azimuth, rate=shown * factor, noise=2.0, seed=seed)
    return smooth(replace(track, times=track.times * factor))


@pytest.fixture(scope="module")
def motions():
    return [random_player(TUNING[seed]).perform(swings=1) for seed in range(600, 606)]


# --- metadata ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("capture", "shown", "factor"),
    [
        (240, 30, 8),
        (120, 30, 4),
        (240.0, 29.97, 8),
        (119.88, 30.0, 4),
        (60, 60, 1),
        (59.94, 60, 1),
        (30, 60, 1),
    ],
)
def test_the_capture_rate_gives_the_factor(capture, shown, factor):
    answer = from_metadata(capture, shown)
    assert answer.factor == factor
    assert answer.confidence == 1.0
    assert answer.question == ""
    assert answer.why.endswith(".")


@pytest.mark.parametrize(("capture", "shown"), [(np.nan, 30), (0, 30), (240, np.nan), (-1, 30), (np.inf, 30)])
def test_no_capture_rate_is_no_answer(capture, shown):
    assert from_metadata(capture, shown) is None


def test_metadata_goes_before_evidence(see, motions):
    track = slowed(see, motions[0], 1, 90.0)
    clip = SimpleNamespace(capture_rate=240.0, measured_rate=60.0)
    assert detect(clip, track, None).factor == 4.0


# --- evidence ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("index", range(6))
def test_real_time_is_not_called_slow(see, motions, index):
    answer = from_evidence(slowed(see, motions[index], 1, AZIMUTHS[index], seed=index), None)
    assert answer.factor == 1.0
    assert answer.sure
    assert answer.question == ""


@pytest.mark.parametrize("factor", [4.0, 8.0])
@pytest.mark.parametrize("index", range(6))
def test_strongly_slowed_clips_are_not_taken_for_real_time(see, motions, index, factor):
    answer = from_evidence(slowed(see, motions[index], factor, AZIMUTHS[index], shown=30.0, seed=index), None)
    assert answer.factor in (4.0, 8.0)
    assert answer.chances[0] < 0.1
    # It is a guess, so the coach is asked, and told how to answer.
    assert "slow motion?" in answer.question
    assert f"--slow {answer.factor:g}" in answer.question
    assert "--slow 1" in answer.question


def test_twice_slowed_is_seldom_a_sure_mistake(see, motions):
    """A hard hit at half speed looks like an easy one: the right answer is then to ask."""
    answers = [
        from_evidence(slowed(see, m, 2.0, a, shown=30.0), None)
        for m, a in zip(motions, AZIMUTHS, strict=True)
    ]
    assert sum(answer.factor == 1.0 and answer.sure for answer in answers) <= 1
    assert sum(bool(answer.question) for answer in answers) >= 5


def test_chances_are_chances(see, motions):
    answer = from_evidence(slowed(see, motions[1], 2.0, 90.0), None)
    assert len(answer.chances) == len(FACTORS)
    assert sum(answer.chances) == pytest.approx(1.0)
    assert answer.confidence == answer.chances[FACTORS.index(answer.factor)]
    assert answer.factor == 1.0 or answer.chances[0] < 0.15


def test_nobody_falls_faster_than_gravity(see):
    """A hop with free fall in closed form: at real speed it is 1 g, so it cannot have been slowed."""
    times = np.arange(0.0, 2.0, 1 / 60)
    height = np.where(np.abs(times - 1.0) < 0.25, 0.5 * 9.81 * (0.25**2 - (times - 1.0) ** 2), 0.0)
    image = np.full((len(times), K, 2), 300.0)
    image[:, INDEX["nose"], 1] = 100.0
    image[:, [INDEX["left_ankle"], INDEX["right_ankle"]], 1] = 100.0 + 0.89 * 400.0
    pixels = 400.0 / 1.75  # a body height of 400 pixels is 1.75 m
    image[..., 1] -= pixels * height[:, None]
    hop = Track(times, image, np.zeros((len(times), K, 3)), np.ones((len(times), K)), (1280, 720))
    assert slow_motion._pull(hop) == pytest.approx(1.0, abs=0.12)
    assert slow_motion._pull_fits(4.0 * slow_motion._pull(hop)) < slow_motion._pull_fits(1.0) - 10.0


def test_the_time_of_the_strike_speaks_against_real_time(see, motions):
    """The strike follows the fastest hand by so many milliseconds of real time (A16) and the way of the sound."""
    for seed, motion in enumerate(motions[:3]):
        heard = motion.swings[0].events["contact"] + 6.0 / 343.0
        answers = [
            from_evidence(
                slowed(see, motion, factor, 90.0, shown=60.0 if factor == 1 else 30.0, seed=seed),
                Onsets(np.array([heard * factor]), np.array([50.0])),
            )
            for factor in (1.0, 8.0)
        ]
        assert answers[0].factor == 1.0
        assert answers[1].factor in (4.0, 8.0)
        silent = from_evidence(
            slowed(see, motion, 8.0, 90.0, shown=30.0, seed=seed), Onsets(np.zeros(0), np.zeros(0))
        )
        assert answers[1].chances[0] < silent.chances[0]


def test_a_silent_clip_is_a_little_likelier_to_be_slowed(see, motions):
    track = slowed(see, motions[2], 2.0, 90.0)
    silence = Onsets(np.zeros(0), np.zeros(0))
    assert from_evidence(track, None).chances[0] < from_evidence(track, silence).chances[0]


# --- the ball and the strike ------------------------------------------------------------------------------------------


def falls_at(factor, gravities=1.0, sd=0.3):
    """A ball that falls with so many gravities in a clip slowed ``factor`` times."""
    g = 9.81 / 1.75 / factor**2
    return lambda hand, fastest, tried: Fall(gravities * g, sd * g)


@pytest.mark.parametrize("gravities", [0.8, 1.2])
def test_the_ball_tells_twice_slowed_from_real(see, motions, gravities):
    """What tempo alone mostly takes for real: free fall at half speed is a quarter of gravity."""
    answers = [
        from_evidence(slowed(see, m, 2.0, a, shown=30.0), None, falls_at(2.0, gravities))
        for m, a in zip(motions[:4], AZIMUTHS, strict=False)
    ]
    assert sum(answer.factor == 2.0 for answer in answers) >= 3
    assert not any(answer.factor == 1.0 and answer.sure for answer in answers)
    assert any("ball" in answer.why for answer in answers)
    # It stays a guess, so the coach is asked.
    assert all(answer.question for answer in answers)


def test_the_ball_of_a_clip_at_real_speed_leaves_it_so(see, motions):
    for m, a in zip(motions[:3], AZIMUTHS, strict=False):
        answer = from_evidence(slowed(see, m, 1, a), None, falls_at(1.0, 1.2))
        assert answer.factor == 1.0
        assert answer.sure


def test_the_likelihood_of_a_fall_by_hand():
    """A ball seen to fall with 1.1 g to 0.1 g: by far the likeliest at real speed; one not seen says nothing."""
    fits = slow_motion._ball_fits(Fall(1.1 * 9.81 / 1.75, 0.1 * 9.81 / 1.75))
    assert int(np.argmax(fits)) == 0
    # At twice, 0.275 +- 0.13 g was to be expected: what is seen is then a thing that is no ball, one time in ten.
    twice = 0.1 * np.exp(-0.5 * (1.1**2) / (0.1**2 + 0.5**2)) / np.hypot(0.1, 0.5)
    once = 0.9 / np.hypot(0.1, 0.35) + 0.1 * np.exp(-0.5 * 1.1**2 / (0.1**2 + 2.0**2)) / np.hypot(0.1, 2.0)
    assert fits[0] - fits[1] == pytest.approx(np.log(once / twice), abs=0.05)
    assert not slow_motion._ball_fits(None).any()


def test_the_ball_is_not_looked_for_where_nothing_is_in_doubt(see, motions):
    asked = []

    def falls(hand, fastest, factor):
        asked.append((hand, factor))

    clear = 0
    for motion, azimuth in zip(motions[:4], AZIMUTHS, strict=False):
        heard = motion.swings[0].events["contact"] + 6.0 / 343.0
        strike = Onsets(np.array([heard]), np.array([50.0]), np.array([0.006]))
        sure = from_evidence(slowed(see, motion, 1, azimuth), strike, falls)
        clear += sure.chances[0] > 0.98
        assert sure.chances[0] < 0.98 or asked == []
        asked.clear()
    assert clear >= 1
    half = from_evidence(slowed(see, motions[0], 2.0, 90.0, shown=30.0), None, falls)
    assert half.chances == from_evidence(slowed(see, motions[0], 2.0, 90.0, shown=30.0), None).chances
    assert asked
    assert {hand for hand, _ in asked} == {motions[0].hand}


def test_a_strike_that_rings_long_speaks_for_slow_motion(see, motions):
    track = slowed(see, motions[1], 2.0, 90.0, shown=30.0)
    heard = 2.0 * (motions[1].swings[0].events["contact"] + 6.0 / 343.0)
    short, long = (
        from_evidence(track, Onsets(np.array([heard]), np.array([50.0]), np.array([decay])))
        for decay in (0.006, 0.015)
    )
    unknown = from_evidence(track, Onsets(np.array([heard]), np.array([50.0]), np.array([np.nan])))
    assert long.chances[0] < unknown.chances[0] < short.chances[0]


def test_no_movement_tells_nothing():
    times = np.arange(0.0, 1.0, 1 / 60)
    image = np.full((len(times), K, 2), np.nan)
    track = Track(times, image, np.full((len(times), K, 3), np.nan), np.zeros((len(times), K)), (640, 360))
    answer = from_evidence(track, None)
    assert answer.factor == 1.0
    assert not answer.sure


# --- applying it ------------------------------------------------------------------------------------------------------


@given(factor=st.sampled_from([1.0, 2.0, 3.5, 4.0, 8.0]))
def test_speeds_scale_and_come_back(factor):
    rng = np.random.default_rng(3)
    times = np.sort(rng.uniform(0, 3, 40)) + np.arange(40) * 1e-3
    track = Track(
        times, rng.normal(size=(40, K, 2)), rng.normal(size=(40, K, 3)), np.ones((40, K)), (640, 360)
    )
    real = at_real_speed(track, factor)
    assert np.allclose(real.times * factor, times)
    assert np.array_equal(real.image, track.image)
    speed = np.diff(real.image, axis=0) / np.diff(real.times)[:, None, None]
    assert np.allclose(speed, factor * np.diff(track.image, axis=0) / np.diff(times)[:, None, None])
    assert np.allclose(at_real_speed(real, 1.0 / factor).times, times)


def test_sound_and_clip_scale_too(tmp_path):
    from swingmatch.clip.clip import Clip

    onsets = Onsets(np.array([-0.4, 2.0, 8.0]), np.array([1.0, 2.0, 3.0]))
    assert sound_at_real_speed(onsets, 4.0).times.tolist() == [-0.1, 0.5, 2.0]
    assert sound_at_real_speed(None, 4.0) is None
    ringing = Onsets(np.array([2.0]), np.array([1.0]), np.array([0.02]))
    assert sound_at_real_speed(ringing, 4.0).decays.tolist() == [0.005]
    clip = Clip(tmp_path, 640, 360, np.arange(8) / 30.0, 8 / 30.0, 30.0, 30.0, False)
    real = clip_at_real_speed(clip, 8.0)
    assert real.measured_rate == 240.0
    assert real.duration == pytest.approx(8 / 240.0)
    assert np.median(np.diff(real.times)) == pytest.approx(1 / 240.0)
    assert clip_at_real_speed(clip, 1.0) is clip


@pytest.mark.parametrize("factor", [0.5, 0.0, -2.0, np.nan, 100.0])
def test_a_coach_cannot_say_nonsense(factor):
    with pytest.raises(SwingmatchError, match="--slow"):
        said(factor)


def test_what_the_coach_says_needs_no_question():
    assert said(4).factor == 4.0
    assert said(4).question == ""
    assert said(4).sure
