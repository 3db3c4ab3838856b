"""The coarse pass: everybody a few times a second, and where somebody swings."""

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.people import Person
from swingmatch.body.scan import AFTER, BEFORE, SCAN_RATE, scan_people, swing_spans
from swingmatch.body.window import place_of_points
from swingmatch.clip.clip import Frame
from swingmatch.clip.sound import Onsets
from swingmatch.stroke import cut


def xs(person):
    return np.array([place.x for place in person.places])


def test_the_clip_is_looked_at_a_few_times_a_second(bars):
    model, times = bars.Bars(), []
    scan = scan_people(
        bars.film([[(200 + i, 80, 90, bars.RED)] for i in range(120)], rate=60), model, on_frame=times.append
    )
    np.testing.assert_allclose(np.diff(scan.times), 1 / SCAN_RATE, atol=0.02)
    assert len(times) == 120
    (person,) = scan.people
    np.testing.assert_allclose(xs(person), 200 + 60 * person.times, atol=2.0)
    assert scan.most == 1
    assert scan.size == person.size == (480, 240)


def test_two_people_are_two_and_who_walks_across_in_front_stays_themselves(bars):
    scenes = [[(220, 80, 90, bars.RED), (20 + 3 * i, 70, 130, bars.BLUE)] for i in range(140)]
    scan = scan_people(bars.film(scenes, rate=30), bars.Bars())
    assert scan.most == 2
    assert len(scan.people) == 2
    player = next(p for p in scan.people if np.ptp(xs(p)) < 20)
    passer = next(p for p in scan.people if p is not player)
    # Bars that touch are one to the stand-in, with a middle off by up to half of the passer-by's width.
    for person, truth in ((player, np.full(len(player.times), 220)), (passer, 20 + 90 * passer.times)):
        off = np.abs(xs(person) - truth)
        assert np.median(off) < 1.0
        assert off.max() < bars.WIDTH * 130 / 2


def test_whoever_comes_back_is_the_same_person(bars):
    here, gone = [(150, 80, 90, bars.RED)], []
    scenes = [here] * 60 + [gone] * 90 + [here] * 60
    scan = scan_people(bars.film(scenes), bars.Bars())
    (person,) = scan.people
    assert person.times[-1] > 6.0
    assert np.diff(person.times).max() > 2.5


def test_somebody_else_who_comes_later_is_somebody_else(bars):
    scenes = [[(150, 80, 90, bars.RED)]] * 60 + [[]] * 60 + [[(150, 80, 90, bars.BLUE)]] * 60
    assert len(scan_people(bars.film(scenes), bars.Bars()).people) == 2


def test_nobody_at_all(bars):
    scan = scan_people(bars.film([[]] * 60), bars.Bars())
    assert scan.people == ()
    assert scan.most == 0


def test_a_still_picture_costs_few_looks(bars):
    moving, still = bars.Bars(), bars.Bars()
    scan_people(bars.film([[(150 + i, 80, 90, bars.RED)] for i in range(150)]), moving)
    scan = scan_people(bars.film([[(150, 80, 90, bars.RED)]] * 150), still)
    assert still.calls < 0.7 * moving.calls
    assert len(scan.people[0].times) == len(scan.times)


@pytest.mark.parametrize("moment", [3.0, 3.1, 3.2, 3.3, 3.4])
def test_between_two_looks_a_quick_arm_is_looked_at_in_every_moment(bars, moment):
    """Two looks at somebody who moves are half a second apart; an arm that crosses a height in 0.2 s is not missed."""
    model = bars.Bars({bars.RED: lambda time: float(np.interp(time - moment, [-0.1, 0.1], [0.0, 1.0]))})
    scenes = [[(200 + 30 * (i % 10) / 10, 80, 90, bars.RED)] for i in range(180)]
    (person,) = scan_people(bars.film(scenes), model).people
    speeds, moments = person.hand_speeds()
    assert speeds.max() > 2.5
    assert moments[np.argmax(speeds)] == pytest.approx(moment, abs=0.2)


def test_memory_does_not_grow_with_the_clip(bars):
    """Peak of Python's own count of what is allocated, over 150 s of which all pictures would take 300 MB."""
    tracemalloc.start()
    times = np.arange(900) / 6
    frames = (Frame(i, t, bars.picture((200 + i % 40, 80, 90, bars.RED))) for i, t in enumerate(times))
    scan = scan_people(frames, bars.Bars())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert scan.times[-1] > 149.0
    assert peak < 20e6


@pytest.fixture(scope="module")
def swinger(bars):
    """Somebody seen for a minute, six times a second, whose hand crosses a height in 0.2 s at given times."""

    def make(strokes, length=60.0, phase=0.0):
        times = np.arange(phase, length, 1 / 6)
        reach = np.zeros(len(times))
        for time in strokes:
            reach += np.interp(times, [time - 0.1, time + 0.1, time + 1.0, time + 1.8], [0.0, 1.0, 1.0, 0.0])
        image = np.stack([bars.points_of(200, 80, 100, r) for r in reach])
        return Person(times, image, tuple(map(place_of_points, image)), np.zeros((0, 3)), (480, 240))

    return make


@settings(max_examples=25, deadline=None)
@given(phase=st.floats(0.0, 1 / 6), stroke=st.floats(5.0, 55.0))
def test_a_stroke_is_found_however_the_looks_fall_and_kept_whole(swinger, phase, stroke):
    ((start, stop),) = swing_spans(swinger([stroke], phase=phase), None, 0.0, 60.0)
    # More than what a stroke is cut to.
    assert start < stroke - cut.BEFORE
    assert stop > stroke + cut.AFTER
    assert stop - start < BEFORE + AFTER + 2.0


def test_spans_are_apart_and_near_ones_joined(swinger):
    spans = swing_spans(swinger([10.0, 14.0, 30.0, 59.0]), None, 0.0, 60.0)
    assert len(spans) == 3
    assert spans[0][0] < 8.1
    assert spans[0][1] > 15.7
    assert spans[-1][1] == 60.0
    assert all(a[1] + 0.9 < b[0] for a, b in pairwise(spans))


def test_a_sound_needs_a_hand_that_moves_or_a_player_out_of_sight(swinger):
    still = swinger([], length=30.0)
    sounds = Onsets(np.array([10.0, 20.0]), np.array([50.0, 50.0]))
    away = (still.times < 19.0) | (still.times > 21.0)
    hidden = Person(
        still.times[away],
        still.image[away],
        tuple(np.array(still.places, dtype=object)[away]),
        still.colours,
        still.size,
    )
    ((start, stop),) = swing_spans(hidden, sounds, 0.0, 30.0)
    assert (start, stop) == pytest.approx((18.0, 21.8))


def test_where_nothing_is_fast_the_fastest_moment_is_taken(swinger):
    spans = swing_spans(swinger([], length=20.0), None, 0.0, 20.0)
    assert len(spans) == 1
