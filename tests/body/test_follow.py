"""Following a player with a stand-in for the pose model: coloured bars for people."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.body.estimator import Pose
from swingmatch.body.follow import follow, join
from swingmatch.body.skeleton import K
from swingmatch.body.track import Track
from swingmatch.body.window import Window, search_levels
from swingmatch.errors import TrackError


@pytest.fixture(scope="module")
def clip(bars):
    """Frames of one red bar: places are (middle x, top, height)."""
    return lambda places: bars.film([[(*place, bars.RED)] for place in places])


def test_a_walking_player_is_followed_within_a_pixel_or_two(bars, clip):
    places = [(60 + 5 * i, 80, 90) for i in range(70)]
    seen = []
    track = follow(clip(places), bars.Bars(), on_frame=seen.append)
    assert track.found.all()
    np.testing.assert_allclose(bars.middles(track), [x for x, _, _ in places], atol=2.0)
    np.testing.assert_allclose(track.times, np.arange(70) / 30)
    np.testing.assert_allclose(seen, track.times)
    assert track.size == (480, 240)
    assert track.people == 1


def test_a_small_player_is_found_by_looking_closer(bars, clip):
    track = follow(clip([(300, 150, 38)] * 6), bars.Bars())
    assert track.found.all()
    np.testing.assert_allclose(bars.middles(track), 300, atol=2.0)


def test_lost_and_found_again(bars, clip):
    places = [(100, 80, 90)] * 10 + [(100, 80, 0)] * 8 + [(150, 80, 90)] * 25
    track = follow(clip(places), bars.Bars())
    assert track.found[:10].all()
    assert not track.found[10:18].any()
    assert track.found[-10:].all()
    np.testing.assert_allclose(bars.middles(track)[-10:], 150, atol=2.0)


def test_an_empty_picture_is_not_searched_at_every_frame(bars, clip):
    model = bars.Bars()
    with pytest.raises(TrackError, match="Nobody was found"):
        follow(clip([(0, 0, 0)] * 31), model)
    # Every tenth frame is searched, one look a window.
    assert model.calls == 4 * sum(len(level) for level in search_levels(480, 240))


def test_no_pictures(bars):
    with pytest.raises(TrackError, match="no pictures"):
        follow([], bars.Bars())


def test_a_followed_player_costs_one_look_a_frame(bars, clip):
    counts = []
    for length in (20, 50):
        model = bars.Bars()
        follow(clip([(200, 80, 90)] * length), model)
        counts.append(model.calls)
    assert counts[1] - counts[0] == 30


def test_others_are_counted_now_and_then(bars):
    alone = [[(200, 80, 90, bars.RED)]] * 45
    joined = [[(200, 80, 90, bars.RED), (380, 90, 80, bars.BLUE)]] * 45
    assert follow(bars.film(alone + joined), bars.Bars()).people == 2
    assert follow(bars.film(alone + joined), bars.Bars(), count=False).people == 1


def test_somebody_larger_who_walks_across_in_front_is_not_followed(bars):
    """The model shows whoever is tallest in its window, and goes over to the passer-by."""
    scenes = [[(220, 80, 90, bars.RED), (20 + 6 * i, 70, 130, bars.BLUE)] for i in range(75)]
    track = follow(bars.film(scenes), bars.Bars(), wanted=(220 / 480, 0.5))
    hidden = np.array([abs(20 + 6 * i - 220) < 16 for i in range(75)])
    np.testing.assert_allclose(bars.middles(track)[track.found], 220, atol=8.0)
    # Hidden frames stay empty, all others but those next to them are found.
    assert not track.found[hidden].any()
    near = np.array([abs(20 + 6 * i - 220) < 70 for i in range(75)])
    assert track.found[~near].all()
    assert track.people == 2


def test_no_hop_to_a_bystander_when_the_player_goes(bars):
    scenes = [[(150, 80, 90, bars.RED), (300, 85, 80, bars.GREEN)]] * 20 + [[(300, 85, 80, bars.GREEN)]] * 60
    track = follow(bars.film(scenes), bars.Bars(), wanted="left")
    assert track.found[:20].all()
    assert not track.found[20:].any()


def test_the_player_comes_back_and_the_bystander_stays_unfollowed(bars):
    gone = [[(300, 85, 80, bars.GREEN)]] * 30
    scenes = [[(150, 80, 90, bars.RED), (300, 85, 80, bars.GREEN)]] * 20
    track = follow(bars.film(scenes + gone + scenes * 2), bars.Bars(), wanted="left")
    assert not track.found[20:50].any()
    assert track.found[-20:].all()
    np.testing.assert_allclose(bars.middles(track)[-20:], 150, atol=2.0)


@pytest.mark.parametrize(
    ("wanted", "x"), [(None, 300), ("biggest", 300), ("left", 100), ("right", 400), ((0.2, 0.6), 100)]
)
def test_the_coach_says_whom(wanted, x, bars):
    scenes = [[(100, 90, 70, bars.RED), (300, 80, 110, bars.BLUE), (400, 90, 80, bars.GREEN)]] * 5
    np.testing.assert_allclose(
        bars.middles(follow(bars.film(scenes), bars.Bars(), wanted=wanted)), x, atol=2.0
    )


@given(
    st.integers(320, 1920),
    st.integers(320, 1920),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.floats(0.02, 0.4),
)
def test_search_windows_show_a_small_player_whole_wherever_it_stands(width, height, x, y, share):
    """In portrait and landscape: a box of up to four tenths of the smallest window lies inside one of them."""
    windows = [*search_levels(width, height)][-1]
    side = share * windows[-1].side
    left, top = x * (width - side), y * (height - side)
    assert any(
        w.left <= left + 1e-6
        and left + side <= w.left + w.side + 1e-6
        and w.top <= top + 1e-6
        and top + side <= w.top + w.side + 1e-6
        for w in windows
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


def test_a_player_who_leaves_the_picture_is_lost_and_nothing_breaks(bars, clip):
    class Leaving(bars.Bars):
        """Guesses the player beyond the picture's edge, as the model does for somebody who walks out."""

        def estimate(self, picture, time):
            pose = super().estimate(picture, time)
            away = np.array([3000.0 if time > 0.3 else 0.0, 0.0])
            return pose and Pose(pose.image + away, pose.world, pose.visibility)

    track = follow(clip([(200, 80, 90)] * 40), Leaving())
    assert track.found[:10].all()
    assert not track.found[14:].any()


def test_an_answer_far_too_small_for_its_window_does_not_count(bars, clip):
    class Shrinking(bars.Bars):
        def estimate(self, picture, time):
            pose = super().estimate(picture, time)
            if pose is None or time < 0.3:
                return pose
            middle = pose.image.mean(axis=0)
            return Pose(middle + 0.2 * (pose.image - middle), pose.world, pose.visibility)

    track = follow(clip([(200, 80, 90)] * 30), Shrinking())
    assert track.found[:9].all()
    assert not track.found[9:].any()


def part(start, count, rate=10.0):
    times = start + np.arange(count) / rate
    return Track(times, np.ones((count, K, 2)), np.ones((count, K, 3)), np.ones((count, K)), (64, 48))


def test_parts_are_joined_with_an_empty_row_at_each_edge_of_a_hole():
    times = np.arange(100) / 10
    track = join([part(1.0, 5), part(4.0, 3)], times)
    np.testing.assert_allclose(track.times, [0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 3.9, 4.0, 4.1, 4.2, 4.3])
    assert track.skipped.tolist() == [True, *[False] * 5, True, True, *[False] * 3, True]
    assert (track.found == ~track.skipped).all()
    assert track.share_found == 1.0


@pytest.mark.parametrize(("start", "rows"), [(1.5, 0), (1.6, 1), (1.7, 2), (1.8, 2)])
def test_small_holes_have_no_row_twice(start, rows):
    """Parts that touch have no hole; a hole of one frame has one edge."""
    times = np.arange(30) / 10
    track = join([part(1.0, 5), part(start, 3)], times)
    assert (np.diff(track.times) > 0.05).all()
    inside = (track.times > 1.45) & (track.times < start - 0.05)
    assert inside.sum() == rows
    assert track.skipped[inside].all()


def test_the_stretch_around_a_time():
    track = join([part(1.0, 5), part(4.0, 3)], np.arange(100) / 10)
    for time, stretch in (
        (1.2, (1.0, 1.4)),
        (0.0, (1.0, 1.4)),
        (2.0, (1.0, 1.4)),
        (3.9, (4.0, 4.2)),
        (9.0, (4.0, 4.2)),
    ):
        assert track.stretch(time) == pytest.approx(stretch)
    assert part(1.0, 5).stretch(1.2) == pytest.approx((1.0, 1.4))
