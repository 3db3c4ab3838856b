"""Following a player with a stand-in for the pose model."""

import numpy as np
import pytest

from swingmatch.body.estimator import Pose
from swingmatch.body.follow import follow
from swingmatch.body.skeleton import INDEX, K
from swingmatch.clip.clip import Frame
from swingmatch.errors import TrackError


class Stick:
    """Finds a white bar, head at its top and feet at its bottom, when it is a fifth of the picture's height or more."""

    def __init__(self):
        self.calls, self.restarts = 0, 0

    def estimate(self, picture, time):
        self.calls += 1
        rows, columns = np.nonzero(picture[..., 0] > 200)
        if len(rows) == 0 or np.ptp(rows) < 0.2 * picture.shape[0]:
            return None
        image = np.column_stack([np.full(K, columns.mean()), np.linspace(rows.min(), rows.max(), K)])
        image[INDEX["nose"]] = columns.mean(), rows.min()
        return Pose(image, np.zeros((K, 3)), np.ones(K))

    def restart(self):
        self.restarts += 1

    def close(self):
        pass


def picture(x, top, height, size=(240, 480)):
    out = np.zeros((*size, 3), np.uint8)
    if height:
        out[top : top + height, x - 3 : x + 4] = 255
    return out


def clip(places):
    return [Frame(i, i / 30, picture(*place)) for i, place in enumerate(places)]


def middles(track):
    return track.image[..., 0].mean(axis=1)


def test_a_walking_player_is_followed_within_a_pixel_or_two():
    places = [(60 + 5 * i, 80, 90) for i in range(70)]
    seen = []
    track = follow(clip(places), Stick(), on_frame=seen.append)
    assert track.found.all()
    np.testing.assert_allclose(middles(track), [x for x, _, _ in places], atol=2.0)
    np.testing.assert_allclose(track.times, np.arange(70) / 30)
    np.testing.assert_allclose(seen, track.times)
    assert track.size == (480, 240)


def test_a_small_player_is_found_by_looking_closer():
    stick = Stick()
    track = follow(clip([(300, 150, 38)] * 6), stick)
    assert track.found.all()
    np.testing.assert_allclose(middles(track), 300, atol=2.0)


def test_lost_and_found_again():
    places = [(100, 80, 90)] * 10 + [(100, 80, 0)] * 8 + [(350, 80, 90)] * 25
    track = follow(clip(places), Stick())
    assert track.found[:10].all()
    assert not track.found[10:18].any()
    assert track.found[-10:].all()
    np.testing.assert_allclose(middles(track)[-10:], 350, atol=2.0)


def test_an_empty_picture_is_not_searched_at_every_frame():
    stick = Stick()
    with pytest.raises(TrackError, match="Nobody was found"):
        follow(clip([(0, 0, 0)] * 100), stick)
    assert stick.calls < 1000


def test_no_pictures():
    with pytest.raises(TrackError, match="no pictures"):
        follow([], Stick())
