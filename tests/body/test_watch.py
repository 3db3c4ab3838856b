"""A clip's player from its pictures: short clips whole, long ones around their swings, and what comes after a hole."""

import numpy as np
import pytest

from swingmatch.body.follow import join
from swingmatch.body.mend import mend
from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.body.watch import SHORT, watch
from swingmatch.errors import TrackError

RATE = 15.0


@pytest.fixture(scope="module")
def clip(bars):
    """Reads a clip of scenes; ``asked`` keeps the spans that were read."""

    def make(scene, length):
        times = np.arange(round(length * RATE)) / RATE

        def read(start, stop, tallest, every=None):
            read.asked.append((start, stop, every))
            for time in times[(times >= (start or 0.0)) & (times < (stop or np.inf))]:
                yield from bars.film([scene(time)], start=time)

        read.asked = []
        return read, times

    return make


def swinging(*strokes):
    """A hand that crosses a height within 0.2 s at given times, and goes back slowly."""

    def reach(time):
        return sum(float(np.interp(time - at, [-0.1, 0.1, 1.0, 2.6], [0, 1, 1, 0])) for at in strokes)

    return reach


def test_a_short_clip_is_followed_whole(bars, clip):
    read, times = clip(lambda t: [(200, 80, 90, bars.RED)], SHORT - 6.0)
    track = watch(read, times, bars.Bars())
    np.testing.assert_allclose(track.times, times)
    assert track.found.all()
    assert not track.skipped.any()
    assert track.people == 1
    assert len(read.asked) == 1


def test_a_long_clip_is_followed_around_its_swings_only(bars, clip):
    # Moves a little all the time, so that every look of the coarse pass is taken.
    read, times = clip(lambda t: [(200 + 8 * np.sin(t), 80, 90, bars.RED)], 40.0)
    model = bars.Bars({bars.RED: swinging(12.0, 30.0)})
    steps = []
    track = watch(read, times, model, progress=lambda step, share: steps.append((step, share)))
    looked = track.times[~track.skipped]
    assert looked.min() < 10.1
    assert ((looked < 14.5) | (looked > 27.5)).all()
    assert track.found[~track.skipped].all()
    assert track.skipped.sum() == 4  # before, between and after: one row at each edge of a hole
    assert np.isnan(track.image[track.skipped]).all()
    assert track.share_found == 1.0
    # The full rate inside, the coarse one over all, and little else.
    assert model.calls < len(looked) + 40 * 6 * 1.3 + 40
    assert list(dict.fromkeys(step for step, _ in steps)) == [
        "looking for the swings",
        "following the player",
    ]
    for name in ("looking for the swings", "following the player"):
        shares = [share for step, share in steps if step == name]
        assert shares == sorted(shares)
        assert shares[-1] == 1.0


def test_the_player_is_told_by_the_arms_in_a_long_clip(bars, clip):
    read, times = clip(lambda t: [(150, 90, 80, bars.RED), (350, 70, 120, bars.BLUE)], 20.0)
    track = watch(read, times, bars.Bars({bars.RED: swinging(10.0)}))
    np.testing.assert_allclose(bars.middles(track)[track.found], 150, atol=3.0)
    assert track.people == 2


def test_the_player_is_told_by_the_arms_in_a_short_clip(bars, clip):
    scene = lambda t: [(150, 90, 80, bars.RED), (350, 70, 120, bars.BLUE)]  # noqa: E731
    read, times = clip(scene, 5.0)
    model = bars.Bars({bars.RED: swinging(2.5)})
    track = watch(read, times, model)
    np.testing.assert_allclose(bars.middles(track), 150, atol=3.0)
    assert len(track.times) == len(times)
    assert track.people == 2
    np.testing.assert_allclose(bars.middles(watch(read, times, model, wanted="right")), 350, atol=3.0)


def test_somebody_who_joins_later_and_swings_is_the_player(bars, clip):
    """At first only a bystander is in view."""

    def scene(time):
        # Whoever swings does not stand still.
        player = [(150 + 8 * np.sin(3 * time), 90, 80, bars.RED)] if time > 1.5 else []
        return [(350, 70, 120, bars.BLUE), *player]

    read, times = clip(scene, 8.0)
    track = watch(read, times, bars.Bars({bars.RED: swinging(5.0)}))
    np.testing.assert_allclose(bars.middles(track)[track.found], 150, atol=12.0)
    assert not track.found[times < 1.4].any()
    assert track.found[times > 2.0].all()


@pytest.mark.parametrize("length", [3.0, 14.0])
def test_nobody_and_nothing_are_one_sentence(bars, clip, length):
    read, times = clip(lambda t: [], length)
    with pytest.raises(TrackError, match="Nobody was found"):
        watch(read, times, bars.Bars())
    with pytest.raises(TrackError):
        watch(lambda *_, **__: iter(()), times, bars.Bars())


def held(track, stop):
    """A track that ends at a time."""
    keep = track.times < stop
    return Track(
        *(getattr(track, name)[keep] for name in ("times", "image", "world", "visibility")), track.size
    )


def test_swings_come_out_the_same_on_both_sides_of_a_hole(seen_side):
    """Two strokes with a hole of 20 s between them: the same swings as of two clips, and nothing in the hole."""
    from swingmatch.stroke.reconstruct import find_swings

    first = seen_side
    times = np.arange(40 * 60) / 60
    later = Track(first.times + times[1500], first.image, first.world, first.visibility, first.size)
    track = smooth(mend(join([first, later], times)))
    alone = find_swings(smooth(mend(first)), None, hand="right", azimuth=90.0)
    both = find_swings(track, None, hand="right", azimuth=90.0)
    assert len(alone.swings) == 1
    assert len(both.swings) == 2
    for swing, shift in zip(both.swings, (0.0, times[1500]), strict=True):
        assert swing.contact - shift == pytest.approx(alone.swings[0].contact, abs=2e-3)
        assert (np.diff(swing.times) < 0.05).all()
        at = alone.swings[0].contact + np.linspace(-0.6, 0.3, 10)
        np.testing.assert_allclose(swing.at(at + shift), alone.swings[0].at(at), atol=0.02)
    assert not both.notes


def test_a_stroke_cut_by_a_hole_is_left_out_with_a_word(seen_side):
    """Where a span ends within a stroke, nothing is made up across the hole."""
    from swingmatch.errors import StrokeError
    from swingmatch.stroke.reconstruct import find_swings

    whole = find_swings(smooth(mend(seen_side)), None, hand="right", azimuth=90.0)
    first = held(seen_side, whole.swings[0].contact + 0.05)
    later = Track(
        seen_side.times + 25.0, seen_side.image, seen_side.world, seen_side.visibility, seen_side.size
    )
    track = smooth(mend(join([first, later], np.arange(40 * 60) / 60)))
    found = find_swings(track, None, hand="right", azimuth=90.0)
    for swing in found.swings:
        assert (np.diff(swing.times) < 0.05).all()
        assert swing.times[0] > 20.0
    with pytest.raises(StrokeError):
        find_swings(smooth(mend(first)), None, hand="right", azimuth=90.0)


@pytest.fixture(scope="module")
def seen_side(motion):
    from swingmatch.series import resample
    from swingmatch.synth.camera import Camera
    from swingmatch.synth.film import aimed

    camera = aimed(Camera(azimuth=90.0, distance=7.0, size=(1280, 720), shake=0.0), motion)
    times = np.arange(0.0, motion.times[-1], 1 / 60)
    points = resample(motion.points, motion.times, times)
    world = camera.to_camera(points, times)
    world = world - world[:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1, keepdims=True)
    return Track(times, camera.project(points, times), world, np.full((len(times), K), 0.95), (1280, 720))
