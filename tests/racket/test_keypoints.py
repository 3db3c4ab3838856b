"""Finding the racket's points: the square, reading heat maps, and the network on pictures that it was not taught on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.racket import keypoints
from swingmatch.racket.crop import CHANNELS, SIDE, Square, arm_map, cut, grey, neighbours, square, stack
from swingmatch.racket.keypoints import RacketSight, racket_points, read, see_racket, worth
from swingmatch.study.sight.pictures import Studio
from swingmatch.study.sight.settings import CANVAS

EDGE = (CANVAS - SIDE) // 2


def hill(x: float, y: float, wide: float = 0.8) -> np.ndarray:
    """A heat map (40, 40) of a point at these pixels of the square, before the softmax."""
    at = (np.array([x, y]) + 0.5) / 4 - 0.5
    n = np.arange(40)
    return -((n - at[0]) ** 2 + (n[:, None] - at[1]) ** 2) / (2 * wide**2)


@given(st.floats(20, 140), st.floats(20, 140))
def test_a_place_is_read_to_a_part_of_a_pixel(x, y):
    places, sd = read(np.stack([hill(x, y)] * 5))
    np.testing.assert_allclose(places, [[x, y]] * 5, atol=0.05)
    assert (sd < 2).all()


def test_a_broad_hill_and_two_hills_are_unsure():
    sure, broad = read(np.stack([hill(80, 80)] * 5))[1], read(np.stack([hill(80, 80, 4.0)] * 5))[1]
    two = read(np.stack([np.logaddexp(hill(40, 80), hill(120, 80) - 0.2)] * 5))[1]
    assert (broad > 3 * sure).all()
    assert (two > 20).all()


@given(st.integers(-60, 300), st.integers(-60, 200), st.integers(20, 400))
def test_the_square_goes_in_and_out_again(left, top, side):
    where = Square(left, top, side)
    places = np.array([[3.0, 4.0], [200.5, 100.25]])
    np.testing.assert_allclose(where.outward(where.inward(places)), places, atol=1e-6)
    picture = np.full((120, 160, 3), 90, np.uint8)
    assert cut(picture, where).shape == (SIDE, SIDE, 3)


def test_what_is_cut_lies_where_the_square_says():
    picture = np.zeros((300, 400, 3), np.uint8)
    picture[148:153, 218:223] = 255
    for side in (120, 160, 240):
        where = square(np.array([200.0, 140.0]), side / 0.95)
        bright = cut(picture, where)[..., 0].astype(float)
        centre = np.array([(bright.sum(0) * np.arange(SIDE)).sum(), (bright.sum(1) * np.arange(SIDE)).sum()])
        np.testing.assert_allclose(where.outward(centre / bright.sum()), [220, 150], atol=0.3)


def test_neighbours_are_a_sixtieth_apart_where_they_can_be():
    assert neighbours(np.arange(20) / 240, 10) == (6, 14)
    assert neighbours(np.arange(20) / 30, 10) == (9, 11)
    assert neighbours(np.arange(20) / 60, 0) == (0, 1)
    assert neighbours(np.arange(20) / 60, 19) == (18, 19)


@pytest.fixture(scope="module")
def seen():
    """What is found in thirty generated pictures of a seed that no training used."""
    studio, sight, out = Studio(987_654, 4, 6), RacketSight(), []
    for _ in range(30):
        e = studio.example()
        p = e.planes[:, EDGE : EDGE + SIDE, EDGE : EDGE + SIDE]
        arm = arm_map(*(e.arm - EDGE).astype(float))
        out.append((e, sight.look(stack(p[:3].transpose(1, 2, 0), p[3], p[4], arm), Square(0, 0, SIDE))))
    return out


def test_points_are_found_and_missing_rackets_are_not(seen):
    off, right = [], []
    for e, look in seen:
        if e.present in (0.0, 1.0):
            right.append((look.present > 0.5) == bool(e.present))
        if e.present == 1.0:
            tip = e.points[2] - EDGE
            if ((tip > 0) & (tip < SIDE)).all() and e.shows[2]:
                off.append(np.linalg.norm(look.image[2] - tip))
    assert len(off) > 10
    assert np.median(off) < 3.0  # of a racket some 66 pixels long
    assert np.mean(right) > 0.85


def test_where_the_network_is_surer_it_errs_less(seen):
    rows = [
        (look.sd[k], np.linalg.norm(look.image[k] - (e.points[k] - EDGE)))
        for e, look in seen
        for k in range(3)
        if e.present == 1.0
    ]
    sd, off = np.array(rows).T
    order = np.argsort(sd)
    third = len(order) // 3
    assert np.median(off[order[-third:]]) > 1.5 * np.median(off[order[:third]])


def test_nothing_is_said_of_frames_without_a_hand_or_without_a_racket():
    times, pictures = np.arange(3) / 60, [np.full((240, 320, 3), 120, np.uint8)] * 3
    hand = np.array([[160.0, 120.0], [np.nan, np.nan], [161.0, 120.0]])
    points, present = racket_points(times, pictures, hand, hand - [0, 30], 150.0)
    assert not points.known.any()
    assert present[1] == 0.0
    assert (present < keypoints.LEAST_PRESENT).all()


def test_pictures_are_looked_at_more_often_near_contact():
    times = np.arange(480) / 240
    asked = times[worth(times, 0.3, 1.8, 1.2)]
    assert asked[0] >= 0.3
    assert asked[-1] <= 1.8
    near = (asked >= 0.85) & (asked <= 1.3)
    assert np.diff(asked[near]).max() < 0.009
    assert np.diff(asked[asked < 0.75]).min() > 0.029
    # At 60 a second every picture near contact, every second one elsewhere.
    slow = np.arange(120) / 60
    asked = slow[worth(slow, 0.3, 1.8, 1.2)]
    assert np.diff(asked[(asked > 0.85) & (asked < 1.3)]) == pytest.approx(1 / 60)
    assert np.diff(asked[asked < 0.75]) == pytest.approx(1 / 30)


@pytest.mark.parametrize("rate", [25, 60, 240])
def test_pictures_that_pass_by_are_looked_at_with_the_same_neighbours_as_when_all_are_held(rate):
    times = np.arange(20) / rate
    pictures = [np.full((60, 60, 3), 10 * k, np.uint8) for k in range(20)]
    seen = []

    class Sight:
        def look(self, planes, where):
            seen.append(tuple(np.round((planes[[0, 3, 4], 5, 5] + 0.5) * 25.5).astype(int)))
            return keypoints.Look(np.zeros((5, 2)), np.ones(5), 1.0)

    hand = np.full((20, 2), 30.0)
    racket_points(times, iter(pictures), hand, hand, 50.0, Sight())
    assert seen == [(k, *neighbours(times, k)) for k in range(20)]


def test_planes_have_the_shape_that_the_network_wants():
    blank = np.zeros((SIDE, SIDE, 3), np.uint8)
    planes = stack(blank, grey(blank), grey(blank), arm_map(np.array([np.nan, 0]), np.array([1.0, 2.0])))
    assert planes.shape == (CHANNELS, SIDE, SIDE)
    assert not planes[5].any()
    heat, present = RacketSight().answer(planes)
    assert heat.shape == (5, 40, 40)
    assert 0.0 <= present <= 1.0


def test_the_weights_are_small():
    assert keypoints._WEIGHTS.stat().st_size < 8_000_000
    assert callable(see_racket)
