"""Following a player with a stand-in for the pose model."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.body.estimator import Pose
from swingmatch.body.follow import Window, _search_windows, follow
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
    # Every tenth frame is searched, one look a window.
    assert stick.calls == 10 * len(list(_search_windows(480, 240)))


def test_no_pictures():
    with pytest.raises(TrackError, match="no pictures"):
        follow([], Stick())


def test_a_followed_player_costs_one_look_a_frame():
    stick = Stick()
    follow(clip([(200, 80, 90)] * 50), stick)
    # Two looks to find the player, then one for each of the other 49 frames.
    assert stick.calls == 2 + 49


@given(
    st.integers(320, 1920),
    st.integers(320, 1920),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.floats(0.02, 0.4),
)
def test_search_windows_show_a_small_player_whole_wherever_it_stands(width, height, x, y, share):
    """In portrait and landscape: a box of up to four tenths of the smallest window lies inside one of them."""
    windows = list(_search_windows(width, height))
    side = share * windows[-1].side
    left, top = x * (width - side), y * (height - side)
    assert any(
        w.left <= left + 1e-6
        and left + side <= w.left + w.side + 1e-6
        and w.top <= top + 1e-6
        and top + side <= w.top + w.side + 1e-6
        for w in windows
        if w.side == windows[-1].side
    )


@given(st.floats(-2000, 2000), st.floats(-2000, 2000), st.floats(1, 1500))
def test_a_window_anywhere_cuts_what_lies_inside_the_picture(left, top, side):
    ramp = np.tile(np.arange(200, dtype=np.uint8), (120, 1))[..., None].repeat(3, axis=2)
    part, x0, y0, scale = Window(left, top, side).cut(ramp)
    height, width = part.shape[:2]
    if min(height, width) > 0:
        assert x0 + width / scale <= 200 + 1
        assert y0 + height / scale <= 120 + 1
        assert part[0, 0, 0] == ramp[int(y0), int(x0), 0]
    if min(height, width) >= 16:
        assert height >= 480


def test_a_player_who_leaves_the_picture_is_lost_and_nothing_breaks():
    class Leaving(Stick):
        """Guesses the player beyond the picture's edge, as the model does for somebody who walks out."""

        def estimate(self, picture, time):
            pose = super().estimate(picture, time)
            away = np.array([3000.0 if time > 0.3 else 0.0, 0.0])
            return pose and Pose(pose.image + away, pose.world, pose.visibility)

    track = follow(clip([(200, 80, 90)] * 40), Leaving())
    assert track.found[:10].all()
    assert not track.found[14:].any()


def test_an_answer_far_too_small_for_its_window_does_not_count():
    class Shrinking(Stick):
        def estimate(self, picture, time):
            pose = super().estimate(picture, time)
            if pose is None or time < 0.3:
                return pose
            middle = pose.image.mean(axis=0)
            return Pose(middle + 0.2 * (pose.image - middle), pose.world, pose.visibility)

    track = follow(clip([(200, 80, 90)] * 30), Shrinking())
    assert track.found[:9].all()
    assert not track.found[9:].any()
