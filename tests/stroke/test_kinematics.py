"""Speeds, moments, paths, base and scatter: against closed forms, brute force and the laws that must hold."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.polynomial import Polynomial
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.stroke import kinematics as kin

seeds = st.integers(0, 2**32 - 1)


def uneven(rng, count, step=1 / 60):
    return np.cumsum(rng.uniform(0.5, 1.5, count) * step)


# Speeds -------------------------------------------------------------------------------------------------


@given(seeds, st.floats(-400, 400), st.floats(-2000, 2000))
def test_turn_rate_is_exact_for_an_evenly_accelerated_turn(seed, speed, acceleration):
    t = uneven(np.random.default_rng(seed), 40)
    assume(np.abs(speed + acceleration * t).max() < 3000)
    turn = 170.0 + speed * t + 0.5 * acceleration * t**2
    wrapped = 180.0 - (180.0 - turn) % 360.0
    want = (speed + acceleration * t)[1:-1]
    np.testing.assert_allclose(kin.turn_rate(t, wrapped)[1:-1], want, atol=1e-6)


def test_turn_rate_keeps_holes():
    t = np.arange(10) / 50
    turn = 100.0 * t
    turn[4] = np.nan
    rate = kin.turn_rate(t, turn)
    assert np.isnan(rate[[3, 5]]).all()
    np.testing.assert_allclose(rate[[0, 1, 2, 6, 7, 8, 9]], 100.0)
    assert np.isnan(kin.turn_rate(t, np.full(10, np.nan))).all()


@given(seeds, st.floats(10, 2500))
def test_segment_rate_of_an_even_turn_about_any_axis(seed, speed):
    rng = np.random.default_rng(seed)
    t = uneven(rng, 20)
    axis, start = np.linalg.qr(rng.normal(size=(3, 3)))[0][:2]
    turned = Rotation.from_rotvec(np.radians(speed) * t[:, None] * axis).apply(start)
    length = rng.uniform(0.1, 3.0, (20, 1))  # stretching is no turning
    np.testing.assert_allclose(kin.segment_rate(t, length * turned), speed, rtol=1e-7)


def test_segment_rate_knows_no_twist_and_no_segment_without_length():
    t = np.arange(6) / 100
    still = np.tile([0.0, 1.0, 0.0], (6, 1))
    np.testing.assert_array_equal(kin.segment_rate(t, still), 0.0)
    still[3] = 0.0
    assert np.flatnonzero(np.isnan(kin.segment_rate(t, still))).tolist() == [2, 3, 4]


# Moments ------------------------------------------------------------------------------------------------


@given(seeds, st.floats(0.1, 0.5), st.floats(-3, 3), st.floats(-500, -1))
def test_peak_of_a_parabola(seed, at, height, bend):
    t = uneven(np.random.default_rng(seed), 40)
    assume(t[1] < at < t[-2])
    time, value = kin.peak(t, height + bend * (t - at) ** 2)
    assert time == pytest.approx(at, abs=1e-7)
    assert value == pytest.approx(height, abs=1e-7)


def test_peak_at_an_end_beside_a_hole_level_or_nowhere():
    t = np.arange(5.0)
    assert kin.peak(t, np.array([5.0, 4, 3, 2, 1])) == (0.0, 5.0)
    assert kin.peak(t, np.array([0.0, 3, np.nan, 2, 1])) == (1.0, 3.0)
    assert kin.peak(t, np.ones(5)) == (0.0, 1.0)
    assert np.isnan(kin.peak(t, np.full(5, np.nan))).all()


def test_peak_is_nearer_than_the_sample():
    """A bell of 80 ms seen at 60 frames a second, at any phase: 8 ms at most by the sample, 1 ms by the parabola."""
    worst_sample, worst = 0.0, 0.0
    for phase in np.linspace(0, 1, 21):
        t = (np.arange(60) + phase) / 60
        values = np.exp(-0.5 * ((t - 0.5) / 0.08) ** 2)
        worst_sample = max(worst_sample, abs(t[np.argmax(values)] - 0.5))
        worst = max(worst, abs(kin.peak(t, values)[0] - 0.5))
    assert worst_sample > 0.008
    assert worst < 0.001


@given(seeds, st.floats(0.02, 0.95))
def test_onset_on_a_ramp(seed, share):
    """Still for 0.1 s, then evenly up: the share of the peak is passed at that share of the way."""
    t = uneven(np.random.default_rng(seed), 40)
    start, stop = t[10], t[30]
    values = np.interp(t, [start, stop], [0.0, 7.0])
    values[31:] = 1.0
    assert kin.onset(t, values, 30, share) == pytest.approx(start + share * (stop - start), abs=1e-9)


def test_onset_takes_the_last_rise_and_says_when_it_cannot_tell():
    t = np.arange(9) / 10
    two = np.array([0.0, 5, 0, 1, 2, 8, 10, 3, 0])
    assert kin.onset(t, two, 6, 0.1) == pytest.approx(0.3)
    assert kin.onset(t, two, 6, 0.5) == pytest.approx(0.45)
    assert np.isnan(kin.onset(t, two + 5.0, 6, 0.1))  # never that low
    two[4] = np.nan
    assert np.isnan(kin.onset(t, two, 6, 0.1))  # not known
    assert np.isnan(kin.onset(t, np.zeros(9), 6, 0.1))
    assert np.isnan(kin.onset(t, np.full(9, np.nan), 6, 0.1))


# Paths --------------------------------------------------------------------------------------------------

#: Minimum-jerk movement from 0 to 1 in unit time: Flash & Hogan 1985, J Neurosci 5:1688-1703 (*from memory*).
MINIMUM_JERK = Polynomial([0, 0, 0, 10, -15, 6])


def test_jerk_of_the_minimum_jerk_movement():
    """Derived here: x = 10 s^3 - 15 s^4 + 6 s^5, jerk 60 - 360 s + 360 s^2, its square sums to 720; the fastest is
    15/8 half way; 720 / (15/8)^2 = 204.8 and -ln 204.8 = -5.32203."""
    jerk = MINIMUM_JERK.deriv(3)
    assert jerk.coef.tolist() == [60, -360, 360]
    total = (jerk**2).integ()(1.0)
    assert total == pytest.approx(720.0)
    assert MINIMUM_JERK.deriv()(0.5) == 15 / 8
    want = -np.log(total / (15 / 8) ** 2)
    assert want == pytest.approx(-5.32203, abs=1e-5)
    t = np.linspace(0.0, 1.0, 61)
    path = MINIMUM_JERK(t)[:, None] * np.array([1.0, 2.0, -0.5])
    assert kin.log_dimensionless_jerk(t, path) == pytest.approx(want, abs=1e-4)


@settings(max_examples=30, deadline=None)
@given(seeds, st.floats(0.05, 20.0), st.floats(0.05, 20.0))
def test_jerk_does_not_depend_on_size_duration_place_and_direction(seed, size, duration):
    rng = np.random.default_rng(seed)
    t = uneven(rng, 40)
    path = np.stack([np.sin(3 * t), np.cos(2 * t), t**2], axis=1) + 0.3 * np.sin(9 * t + 1)[:, None]
    turned = Rotation.random(random_state=seed % 2**31).apply(size * path) + rng.normal(size=3)
    want = kin.log_dimensionless_jerk(t, path)
    assert kin.log_dimensionless_jerk(5.0 + duration * t, turned) == pytest.approx(want, abs=1e-5)


def test_jerk_falls_with_every_shake_and_is_nan_without_movement():
    t = np.linspace(0.0, 1.0, 121)
    calm = MINIMUM_JERK(t)
    values = [
        kin.log_dimensionless_jerk(t, (calm + shake * np.sin(40 * t))[:, None])
        for shake in (0.0, 0.003, 0.01, 0.03)
    ]
    assert values == sorted(values, reverse=True)
    assert values[0] - values[-1] > 1.0
    assert np.isnan(kin.log_dimensionless_jerk(t, np.ones((121, 3))))
    assert np.isnan(kin.log_dimensionless_jerk(t[:5], np.zeros((5, 3))))
    holed = calm[:, None].copy()
    holed[50] = np.nan
    assert np.isnan(kin.log_dimensionless_jerk(t, holed))


@given(seeds, st.floats(-89, 89), st.floats(-180, 180))
def test_path_angle_of_a_straight_path(seed, rise, heading):
    t = uneven(np.random.default_rng(seed), 30)
    a, b = np.radians(rise), np.radians(heading)
    way = np.array([np.cos(a) * np.cos(b), np.sin(a), np.cos(a) * np.sin(b)])
    path = 12.0 * t[:, None] * way + np.array([0.3, 1.0, -0.2])
    start, stop = t[5] + 0.001, t[20] + 0.003
    assert kin.path_angle(t, path, start, stop) == pytest.approx(rise, abs=1e-6)
    assert np.isnan(kin.path_angle(t, path, t[0] - 0.01, stop))
    assert np.isnan(kin.path_angle(t, path, stop, start))


def test_path_angle_is_that_of_the_mean_velocity():
    """A parabola from level to 45 degrees over even samples: the fitted line's slope is that of the middle, 1/2."""
    t = np.linspace(0.0, 0.1, 11)
    path = np.stack([t, 5.0 * t**2, np.zeros(11)], axis=1)
    assert kin.path_angle(t, path, 0.0, 0.1) == pytest.approx(np.degrees(np.arctan(0.5)), abs=1e-6)
    # Row A22: 15.4 m/s on the level and 5.18 m/s up are 18.6 degrees (Kwon et al. 2017, row A19).
    path = np.stack([15.4 * t, 5.18 * t, np.zeros(11)], axis=1)
    assert kin.path_angle(t, path, 0.0, 0.1) == pytest.approx(18.6, abs=0.05)
    assert np.isnan(kin.path_angle(t, np.ones((11, 3)), 0.0, 0.1))


# Feet ---------------------------------------------------------------------------------------------------


def standing(right, left, toes=(0.15, 0.0)):
    """Feet (K, 3) with their middles at (x, z) and their toes that way from the heels; all else unknown."""
    points = np.full((K, 3), np.nan)
    for side, (x, z) in (("right", right), ("left", left)):
        for sign, part in ((-0.5, "heel"), (0.5, "toe")):
            points[INDEX[f"{side}_{part}"]] = (x + sign * toes[0], 0.01, z + sign * toes[1])
    return points


@pytest.mark.parametrize(
    ("left", "angle", "name"),
    [
        ((0.4, 0.0), 0.0, "neutral"),  # straight to the target
        ((0.4, -0.1), 14.04, "neutral"),
        ((0.4, -0.4), 45.0, "semi-open"),
        ((0.0, -0.4), 90.0, "open"),  # along the baseline
        ((-0.1, -0.4), 104.04, "open"),
        ((0.4, 0.3), -36.87, "closed"),  # stepped across to the ball's side
        ((-0.4, 0.1), -165.96, "open"),  # the back to the target: nobody's closed stance
    ],
)
def test_foot_line_and_stance(left, angle, name):
    points = standing((0.0, 0.0), left)
    assert kin.foot_line(points) == pytest.approx(angle, abs=0.005)
    assert kin.stance(float(kin.foot_line(points))) == name
    # The place does not matter, nor the size.
    assert kin.foot_line(2.5 * points + np.array([1.0, 0.2, 3.0])) == pytest.approx(angle, abs=0.005)


def test_stance_changes_where_it_says_and_feet_together_have_none():
    assert [kin.stance(a) for a in (-22.6, -22.4, 22.4, 22.6, 67.4, 67.6, 180.0, -134.9)] == [
        "closed",
        "neutral",
        "neutral",
        "semi-open",
        "semi-open",
        "open",
        "open",
        "closed",
    ]
    together = standing((0.0, 0.0), (0.0, -0.06))
    assert np.isnan(kin.foot_line(together))
    assert kin.stance(float("nan")) is None
    assert kin.foot_line(np.stack([together] * 3)[None]).shape == (1, 3)


def test_a_mirrored_player_has_the_same_stance_from_the_other_foot():
    points = standing((0.0, 0.0), (0.3, 0.2))
    # After mirroring, what was the left foot is the right one: the line runs the other way and across.
    back = kin.foot_line(mirror(points))
    assert back == pytest.approx(np.degrees(np.arctan2(-0.2, -0.3)), abs=1e-6)


# Base ---------------------------------------------------------------------------------------------------


def brute_margin(corners, point, steps=2000):
    """By SciPy's hull and by walking along its edges in small steps."""
    shape = ConvexHull(corners)
    rim = []
    ring = corners[shape.vertices]
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        rim.append(a + np.linspace(0, 1, steps)[:, None] * (b - a))
    far = np.linalg.norm(np.concatenate(rim) - point, axis=1).min()
    within = (shape.equations[:, :2] @ point + shape.equations[:, 2] <= 0).all()
    return far if within else -far


@settings(max_examples=30, deadline=None)
@given(seeds, st.integers(3, 6))
def test_margin_against_brute_force(seed, count):
    rng = np.random.default_rng(seed)
    corners, points = rng.normal(size=(5, count, 2)), rng.normal(size=(5, 2))
    got = kin.margin(corners, points)
    for c, p, value in zip(corners, points, got, strict=True):
        # A step is at most 8 / 2000 long; the foot of the perpendicular is half a step off, which counts near 0 only.
        assert value == pytest.approx(brute_margin(c, p), abs=3e-3)
    # The order of the corners, the place, a turn and a mirror do not matter.
    order = rng.permutation(count)
    turn = Rotation.from_euler("z", rng.uniform(0, 360), degrees=True).as_matrix()[:2, :2]
    np.testing.assert_allclose(
        kin.margin(corners[:, order] @ turn + 3.0, points @ turn + 3.0), got, atol=1e-9
    )
    flip = np.array([1.0, -1.0])
    np.testing.assert_allclose(kin.margin(corners * flip, points * flip), got, atol=1e-9)
    # A corner more that lies inside, or twice in the same place, changes nothing.
    inner = np.concatenate([corners, corners.mean(axis=1, keepdims=True), corners[:, :1]], axis=1)
    np.testing.assert_allclose(kin.margin(inner, points), got, atol=1e-9)


@pytest.mark.parametrize(
    ("corners", "point", "want"),
    [
        ([(0, 0), (1, 0), (1, 1), (0, 1)], (0.5, 0.5), 0.5),
        ([(0, 0), (1, 0), (1, 1), (0, 1)], (0.5, 0.9), 0.1),
        ([(0, 0), (1, 0), (1, 1), (0, 1)], (2.0, 2.0), -(2**0.5)),
        ([(0, 0), (1, 0), (1, 1), (0, 1)], (1.0, 0.5), 0.0),
        ([(0, 0), (1, 1), (1, 0), (0, 1)], (0.5, 0.5), 0.5),  # crossed order
        ([(0, 0), (1, 0), (2, 0), (3, 0)], (1.0, 2.0), -2.0),  # on a line
        ([(0, 0), (1, 0), (2, 0), (3, 0)], (5.0, 0.0), -2.0),
        ([(0, 0), (1, 0), (2, 0), (3, 0)], (1.5, 0.0), 0.0),
        ([(1, 1)] * 4, (1.0, 3.0), -2.0),  # one point
        ([(0, 0), (1, 0), (1, 1), (0, np.nan)], (0.5, 0.5), np.nan),
    ],
)
def test_margin_by_hand(corners, point, want):
    got = kin.margin(np.array([corners], dtype=float), np.array([point]))[0]
    assert got == pytest.approx(want, abs=1e-12, nan_ok=True)


def test_balance_of_a_standing_body():
    """Feet 0.4 apart, 0.3 long: on both the middle is 0.15 inside, on the right foot alone 0.2 out, in the air none."""
    points = standing((0.0, 0.2), (0.0, -0.2), toes=(0.3, 0.0))
    feet = np.stack([kin.soles(points)] * 4)
    assert np.isfinite(feet).all()
    com = np.tile([0.0, 0.9, 0.0], (4, 1))
    both, right, none = [True] * 4, [False, False, True, True], [False] * 4
    np.testing.assert_allclose(kin.balance_margin(feet, com)[0], 0.15, atol=1e-12)
    got = kin.balance_margin(feet, com, np.array([both, right, none, both]))
    np.testing.assert_allclose(got, [0.15, -0.2, np.nan, 0.15], atol=1e-12)
    # An unknown point that is in the air does not matter, one that is down does.
    feet[1, 0] = feet[3, 0] = np.nan
    got = kin.balance_margin(feet, com, np.array([both, right, none, both]))
    np.testing.assert_allclose(got, [0.15, -0.2, np.nan, np.nan], atol=1e-12)


@given(seeds, st.integers(3, 12))
def test_hull_against_scipy(seed, count):
    corners = np.random.default_rng(seed).normal(size=(count, 2))
    got, want = kin.hull(corners), ConvexHull(corners)
    assert {tuple(row) for row in got} == {tuple(row) for row in corners[want.vertices]}
    edges = np.roll(got, -1, axis=0) - got
    turns = edges[:, 0] * np.roll(edges, -1, axis=0)[:, 1] - edges[:, 1] * np.roll(edges, -1, axis=0)[:, 0]
    assert (turns > 0.0).all()  # counter-clockwise


def test_hull_of_few_points():
    assert kin.hull(np.full((3, 2), np.nan)).shape == (0, 2)
    assert kin.hull(np.array([(1.0, 2.0), (1.0, 2.0)])).tolist() == [[1.0, 2.0]]
    line = kin.hull(np.array([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0)]))
    assert line.tolist() == [[0.0, 0.0], [2.0, 2.0]]


# Scatter ------------------------------------------------------------------------------------------------


def test_ellipsoid_by_hand():
    """Six points on the axes at 3, 2 and 1 either way: variances 2 x 9 / 5, 2 x 4 / 5, 2 x 1 / 5."""
    points = np.array(
        [sign * np.eye(3)[i] * size for i, size in enumerate((3, 1, 2)) for sign in (-1.0, 1.0)]
    )
    got = kin.ellipsoid(points + np.array([5.0, 6.0, 7.0]))
    np.testing.assert_allclose(got.centre, [5, 6, 7])
    np.testing.assert_allclose(got.sds**2, [3.6, 1.6, 0.4])
    np.testing.assert_allclose(np.abs(got.axes), np.eye(3)[[0, 2, 1]], atol=1e-12)
    assert got.volume == pytest.approx(4 / 3 * np.pi * np.sqrt(3.6 * 1.6 * 0.4))
    assert got.spread == pytest.approx(np.sqrt(28 / 5))  # the squares sum to 28
    assert got.count == 6


@settings(max_examples=30, deadline=None)
@given(seeds, st.integers(4, 30), st.floats(0.01, 50))
def test_ellipsoid_turns_and_grows_with_its_points(seed, count, size):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(count, 3)) * np.array([1.0, 0.5, 0.1])
    one = kin.ellipsoid(points)
    rotation = Rotation.random(random_state=seed % 2**31)
    other = kin.ellipsoid(rotation.apply(size * points) + 4.0)
    np.testing.assert_allclose(other.sds, size * one.sds, rtol=1e-6, atol=1e-12)
    assert other.volume == pytest.approx(size**3 * one.volume, rel=1e-5)
    if np.diff(-one.sds).min() > 0.02:  # axes of nearly equal length can be any
        same = np.abs((other.axes * rotation.apply(one.axes)).sum(axis=1))
        np.testing.assert_allclose(same, 1.0, atol=1e-5)
    rebuilt = sum(s**2 * np.outer(a, a) for s, a in zip(one.sds, one.axes, strict=True))
    np.testing.assert_allclose(rebuilt, one.covariance, atol=1e-12)


def test_ellipsoid_of_too_few_points_has_no_size():
    points = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [np.nan, 0, 0]])
    few = kin.ellipsoid(points)
    assert few.count == 3
    np.testing.assert_allclose(few.centre, [1 / 3, 1 / 3, 0])
    assert np.isnan(few.volume)
    assert np.isnan(few.spread)
    assert np.isnan(kin.ellipsoid(points[3:]).centre).all()
    flat = kin.ellipsoid(np.array(list(itertools.product((0.0, 1.0), (0.0, 1.0), (0.0,)))))
    assert flat.volume == pytest.approx(0.0, abs=1e-9)
