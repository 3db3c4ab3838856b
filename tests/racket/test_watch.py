"""Looking for the ball in a film that is read again."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.track import Track
from swingmatch.clip.reader import open_clip
from swingmatch.clip.writer import FilmWriter
from swingmatch.racket.watch import ball_watcher, see_ball
from swingmatch.stroke.cut import body_height

CONTACT = 0.5071
TALL = 240.0


@pytest.fixture(scope="module")
def filmed(drawn, tmp_path_factory):
    """A clip of one struck ball and a track of someone ``TALL`` pixels tall whose right hand stands still."""
    path = tmp_path_factory.mktemp("filmed") / "ball.mp4"
    times = np.arange(54) / 60
    with FilmWriter(path, (640, 360), 60, crf=20, preset="ultrafast") as film:
        for time, picture in zip(times, drawn(times, CONTACT), strict=True):
            film.write(picture, time)
    image = np.tile([250.0, 150.0], (len(times), K, 1))
    image[:, INDEX["right_hand"]] = (300.0, 200.0)
    track = Track(times, image, np.zeros((len(times), K, 3)), np.ones((len(times), K)), (640, 360))
    return open_clip(path), track


@pytest.mark.parametrize("off", [-0.06, 0.08])
def test_the_ball_is_found_about_a_rough_guess(filmed, off):
    clip, track = filmed
    found = ball_watcher(clip, track, TALL)(CONTACT + off, "right")
    assert found is not None
    assert found.time == pytest.approx(CONTACT, abs=0.004)
    assert 0.0 < found.sd < 0.006
    assert np.linalg.norm(found.place - (320.0, 180.0)) < 8.0


def test_places_are_those_of_the_whole_picture_when_it_is_made_smaller(filmed):
    clip, track = filmed
    # A player said to be taller has a larger ball: the pictures are made smaller before they are searched.
    found = see_ball(clip, track, 1.25 * TALL, CONTACT, "right")
    assert found is not None
    assert np.linalg.norm(found.place - (320.0, 180.0)) < 10.0


def test_not_seen_is_none_not_a_guess(filmed):
    clip, track = filmed
    assert see_ball(clip, track, TALL, 0.05, "right") is None  # before the stroke
    assert see_ball(clip, replace(track, image=track.image * float("nan")), TALL, CONTACT, "right") is None
    assert see_ball(replace(clip, path=Path("gone.mp4")), track, TALL, CONTACT, "right") is None


def test_a_ball_that_is_hidden_as_it_leaves_gives_no_wrong_moment(rendered):
    """Of this rendered forehand the leaving ball is in view in two pictures only."""
    path, truth = rendered
    clip = open_clip(path)
    n = clip.frame_count
    visibility = truth.visible[:n].astype(float)
    track = Track(
        truth.times[:n], truth.image[:n], 0.0 * truth.points[:n], visibility, (clip.width, clip.height)
    )
    contact = truth.swings[0].events["contact"]
    found = see_ball(clip, track, body_height(track), contact, "right")
    assert found is None or abs(found.time - contact) < 0.01
