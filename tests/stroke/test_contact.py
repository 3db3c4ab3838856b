"""Contact from hand, sound and ball, and all of them together."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.clip.sound import Onsets
from swingmatch.series import resample
from swingmatch.stroke.contact import (
    SILENCE,
    SPEED_OF_SOUND,
    Contact,
    Strikes,
    from_ball,
    from_hand,
    from_hand_path,
    from_sound,
    fuse,
    strikes,
)
from swingmatch.stroke.direction import camera_to_court
from swingmatch.stroke.reconstruct import find_swings
from swingmatch.synth.cast import random_player


def find_contact(fastest, heard):
    """Contact from the hand's fastest moment and the sounds, as the strokes are read without pictures."""
    guess = from_hand(fastest)
    return fuse([guess, *from_sound(guess, heard)])


def one(time, sd, source="hand"):
    return Contact(time, sd, source, (source,))


def test_two_that_agree_are_averaged_by_their_certainty():
    # Weights 1/4 and 1/36: 1.000 + 0.004 * (1/36) / (1/4 + 1/36) = 1.0004; variance 1 / (1/4 + 1/36) = 3.6 ms^2.
    both = fuse([one(1.004, 0.006, "ball"), one(1.000, 0.002, "sound")])
    assert both.time == pytest.approx(1.0004)
    assert both.sd_ms == pytest.approx(3.6**0.5)
    assert (both.source, both.sources) == ("sound", ("sound", "ball"))


def test_one_that_a_surer_one_contradicts_is_left_out():
    both = fuse([one(1.2, 0.045), one(1.0, 0.005, "sound"), one(1.001, 0.004, "ball")])
    assert both.sources == ("ball", "sound")
    assert both.time == pytest.approx(1.0006, abs=2e-4)


@given(
    st.lists(st.tuples(st.floats(-0.01, 0.01), st.floats(0.001, 0.1)), min_size=1, max_size=4),
    st.floats(-50, 50),
)
def test_fusing_keeps_between_its_estimates_and_moves_with_the_clock(values, shift):
    estimates = [one(time, sd) for time, sd in values]
    fused = fuse(estimates)
    assert min(e.time for e in estimates) - 1e-9 <= fused.time <= max(e.time for e in estimates) + 1e-9
    assert fused.sd <= min(e.sd for e in estimates) + 1e-12
    moved = fuse([one(e.time + shift, e.sd) for e in estimates])
    if len(moved.sources) == len(fused.sources):
        assert moved.time == pytest.approx(fused.time + shift, abs=1e-6)


def test_nothing_to_fuse():
    with pytest.raises(ValueError, match="no estimate"):
        fuse([])


def test_the_farther_the_camera_the_less_sure_the_sound():
    onsets = Onsets(np.array([2.0]), np.array([50.0]))
    near, far = strikes(onsets, 4.0), strikes(onsets, 20.0)
    assert near.times[0] - far.times[0] == pytest.approx(16.0 / SPEED_OF_SOUND)
    assert near.sd < far.sd
    # 15 % of 20 m over 343 m/s is 8.7 ms.
    assert far.sd == pytest.approx(0.0087, rel=0.1)


def test_a_neighbours_strike_is_not_taken():
    guess = from_hand(1.0)
    # Louder but where the arm does not move; as loud a little off is the strike.
    heard = Strikes(np.array([guess.time - 0.3, guess.time + 0.02]), np.array([900.0, 200.0]))
    assert from_sound(guess, heard)[0].time == pytest.approx(guess.time + 0.02)
    # A faint one exactly there against a loud one 30 ms off.
    heard = Strikes(np.array([guess.time, guess.time + 0.03]), np.array([20.0, 200.0]))
    assert from_sound(guess, heard)[0].time == pytest.approx(guess.time + 0.03)
    assert from_sound(guess, Strikes(np.array([guess.time + 0.2]), np.array([900.0]))) == []
    assert from_sound(guess, SILENCE) == []


def test_without_sound_and_ball_it_is_the_hand():
    alone = find_contact(1.0, SILENCE)
    assert alone.sources == ("hand",)
    assert from_ball(None) == []


@pytest.mark.parametrize("seed", [30, 31, 32, 33])
@pytest.mark.parametrize("azimuth", [0.0, 90.0, 200.0])
def test_the_arms_path_in_space_tells_contact_whatever_the_side(seed, azimuth):
    player = random_player(seed)
    motion = player.perform(swings=1)
    contact = motion.swings[0].events["contact"]
    times = np.arange(contact - 1.6, contact + 1.2, 1 / 60)
    camera = resample(motion.points, motion.times, times) / motion.stature @ camera_to_court(azimuth)
    found = from_hand_path(times, camera, player.hand, contact - 0.1)
    assert abs(found.time - contact) < 0.09
    still = from_hand_path(times + 20.0, camera, player.hand, contact + 19.9)
    assert still.time == pytest.approx(found.time + 20.0, abs=1e-6)


def test_a_hand_that_is_nowhere_leaves_the_fastest_moment():
    times = np.arange(0.0, 2.0, 1 / 60)
    lost = np.full((len(times), 21, 3), np.nan)
    assert from_hand_path(times, lost, "right", 1.0) == from_hand(1.0)
    assert from_hand_path(times, lost, "right", 9.0) == from_hand(9.0)


@dataclass(frozen=True)
class Seen:
    time: float
    sd: float


def test_the_ball_makes_contact_sure_where_no_strike_is_heard(motion, see):
    track = see(motion, 90.0)
    contact = motion.swings[0].events["contact"]
    asked = []

    def ball(guess, hand):
        asked.append((guess, hand))
        return Seen(contact, 0.001)

    seen = find_swings(track, None, ball=ball)
    assert seen.swings[0].contact == pytest.approx(contact, abs=0.002)
    assert seen.contacts[0].source == "ball"
    assert seen.contacts[0].sd < 0.005
    assert [hand for _, hand in asked] == ["right"]
    assert find_swings(track, None, ball=lambda guess, hand: None).contacts[0].sources == ("hand",)
    # Heard, the ball need not be looked for.
    distance_late = 7.0 / SPEED_OF_SOUND
    heard = Onsets(np.array([contact + distance_late]), np.array([400.0]))
    assert find_swings(track, heard, ball=ball).contacts[0].source == "sound"
    assert len(asked) == 1
