"""Strokes in a track: how many, by which hand, and which strike belongs to them."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX
from swingmatch.clip.sound import Onsets
from swingmatch.errors import StrokeError
from swingmatch.stroke.contact import (
    SPEED_OF_SOUND,
    WRIST_PEAK_BEFORE_CONTACT,
    Strikes,
    camera_distance,
    from_hand,
    from_sound,
    fuse,
    strikes,
)
from swingmatch.stroke.cut import body_height, find_strokes, hand_speed
from swingmatch.stroke.reconstruct import hitting_hand


def find_contact(fastest, heard):
    """Contact from the hand's fastest moment and the sounds, as the strokes are read without pictures."""
    guess = from_hand(fastest)
    return fuse([guess, *from_sound(guess, heard)])


SILENCE = Strikes(np.zeros(0), np.zeros(0))


@pytest.fixture(scope="module")
def track(motion, see):
    return see(motion, 90.0)


def contact_of(motion):
    return motion.swings[0].events["contact"]


@pytest.mark.parametrize("azimuth", [90.0, 45.0, 135.0, -135.0])
def test_one_swing_by_the_right_hand(motion, see, azimuth):
    track = see(motion, azimuth)
    assert hitting_hand(track) == "right"
    strokes = find_strokes(track, "right", SILENCE)
    assert len(strokes) == 1
    # Without sound a stroke is found to within the spread of the hand's peak between players (A16), in any view.
    assert abs(strokes[0].fastest - contact_of(motion)) < 0.12
    assert strokes[0].start < contact_of(motion) - 0.8


def test_a_left_hander_is_told(left_motion, see):
    assert hitting_hand(see(left_motion, -90.0)) == "left"


def test_three_strokes_after_each_other(track, motion):
    long = np.concatenate([track.image] * 3)
    times = np.arange(len(long)) / 60
    many = replace(
        track,
        times=times,
        image=long,
        world=np.concatenate([track.world] * 3),
        visibility=np.concatenate([track.visibility] * 3),
        bridged=None,
        skipped=None,
    )
    strokes = find_strokes(many, "right", SILENCE)
    assert len(strokes) == 3
    assert all(a.stop <= b.fastest and b.start >= a.fastest for a, b in itertools.pairwise(strokes))


def test_a_keypoint_that_jumps_is_no_stroke(track):
    image = np.repeat(track.image[:1], 120, axis=0)
    image[60, INDEX["left_wrist"]] += 300.0
    still = replace(
        track,
        times=np.arange(120) / 60,
        image=image,
        world=np.zeros((120, *track.world.shape[1:])),
        visibility=np.ones((120, track.visibility.shape[1])),
        bridged=None,
        skipped=None,
    )
    assert hand_speed(still, "left").max() < 2.0
    with pytest.raises(StrokeError, match="no hand moves as fast"):
        hitting_hand(still)
    with pytest.raises(StrokeError, match="never moves as fast"):
        find_strokes(still, "right", SILENCE)


def test_nobody_whole_in_view(track):
    with pytest.raises(StrokeError, match="whole body"):
        body_height(replace(track, image=np.full_like(track.image, np.nan)))


def test_a_loud_strike_moves_the_stroke_and_a_faint_one_does_not(track, motion):
    contact = contact_of(motion)
    heard = Strikes(np.array([contact - 0.6, contact]), np.array([100.0, 400.0]))
    assert find_strokes(track, "right", heard)[0].fastest == pytest.approx(
        contact - WRIST_PEAK_BEFORE_CONTACT
    )
    faint = Strikes(np.array([contact + 0.06, contact + 3.0]), np.array([10.0, 400.0]))
    silent = find_strokes(track, "right", SILENCE)[0].fastest
    assert find_strokes(track, "right", faint)[0].fastest == silent


def test_sound_is_brought_back_by_the_camera_distance():
    onsets = Onsets(np.array([2.0]), np.array([50.0]))
    assert strikes(onsets, 8.0).times[0] == pytest.approx(2.0 - 8.0 / SPEED_OF_SOUND)
    assert len(strikes(None, 8.0).times) == 0
    # 1.75 m, 245 px tall, focal length 0.78 of 1280 px: 0.78 * 1280 * 1.75 / 245 = 7.13 m.
    assert camera_distance(245.0, (1280, 720)) == pytest.approx(7.13, abs=0.01)
    assert camera_distance(245.0, (720, 1280)) == camera_distance(245.0, (1280, 720))


def test_contact_from_the_hand_alone_and_from_the_strike():
    alone = find_contact(1.0, SILENCE)
    # Landlinger et al. 2010: the wrist is fastest 0.037-0.040 s before impact (A16).
    assert 0.037 <= alone.time - 1.0 <= 0.040
    assert alone.source == "hand"
    heard = find_contact(1.0, Strikes(np.array([0.4, 1.05, 1.6]), np.array([900.0, 100.0, 900.0])))
    # The hand has a say by its certainty: (5 / 60)^2 of the 12 ms between them.
    assert heard.time == pytest.approx(1.05, abs=0.0003)
    assert heard.source == "sound"
    assert heard.sd < alone.sd
    assert find_contact(1.0, Strikes(np.array([1.5]), np.array([900.0]))).source == "hand"


@pytest.mark.parametrize("frames", [1, 2, 5])
def test_a_clip_of_a_few_frames_holds_no_swing(track, frames):
    part = replace(
        track,
        times=track.times[:frames],
        image=track.image[:frames],
        world=track.world[:frames],
        visibility=track.visibility[:frames],
        bridged=None,
        skipped=None,
    )
    with pytest.raises(StrokeError, match="No swing was found"):
        hitting_hand(part)
    with pytest.raises(StrokeError, match="No swing was found"):
        find_strokes(part, "right", SILENCE)


def test_of_two_loud_sounds_close_together_the_louder_is_the_strike(track, motion):
    contact = contact_of(motion)
    heard = Strikes(np.array([contact - 0.12, contact]), np.array([200.0, 400.0]))
    assert find_strokes(track, "right", heard)[0].fastest == pytest.approx(
        contact - WRIST_PEAK_BEFORE_CONTACT
    )


def test_a_loud_strike_stands_against_a_keypoint_that_jumps_for_longer(track, motion):
    contact = contact_of(motion)
    image = track.image.copy()
    lost = (track.times > contact - 0.5) & (track.times < contact - 0.35)
    image[lost, INDEX["right_wrist"]] += np.linspace(0, 900, lost.sum())[:, None]
    broken = replace(track, image=image)
    heard = Strikes(np.array([contact]), np.array([400.0]))
    assert find_strokes(broken, "right", SILENCE)[0].fastest < contact - 0.3
    assert find_strokes(broken, "right", heard)[0].fastest == pytest.approx(
        contact - WRIST_PEAK_BEFORE_CONTACT
    )


def test_a_hand_that_never_moves_fast_does_not_hit(see, motion):
    """Whatever the rest of the body looks like: here the right-hander's right arm hangs still."""
    track = see(motion, 90.0)
    image = track.image.copy()
    hips = 0.5 * (image[:, INDEX["left_hip"]] + image[:, INDEX["right_hip"]])
    for part in ("elbow", "wrist", "hand"):
        image[:, INDEX[f"left_{part}"]] = track.image[:, INDEX[f"right_{part}"]]
        image[:, INDEX[f"right_{part}"]] = hips
    assert hitting_hand(replace(track, image=image)) == "left"
