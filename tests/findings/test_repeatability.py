"""Whether contact repeats better than last time."""

import numpy as np
import pytest

from swingmatch.findings import repeatability as r
from swingmatch.stroke.repeats import spread_of


def told(rng, sd, count=8, error=0.03, of="hitting hand"):
    points = rng.normal(0.0, sd, (count, 3)) + rng.normal(0.0, error, (count, 3))
    radius = spread_of(points, error**2 * np.eye(3), np.random.default_rng(0))
    times = spread_of(points[:, :1] * 100.0, np.zeros((1, 1)), np.random.default_rng(0))
    return r.Repeatability(of, "varies", radius, None, times, times)


def test_swapping_turns_the_ratio_over():
    rng = np.random.default_rng(1)
    one, two = told(rng, 0.05), told(rng, 0.2)
    there, back = (r.compare_repeatability(*pair, from_same_side=True) for pair in ((one, two), (two, one)))
    assert back.ratio == pytest.approx(1.0 / there.ratio)
    assert (back.low, back.high) == pytest.approx((1.0 / there.high, 1.0 / there.low))
    assert (there.verdict, back.verdict) == (r.LESS_STEADY, r.STEADIER)


def test_equal_spreads_are_no_change():
    one = told(np.random.default_rng(2), 0.1)
    for side in (True, False):
        assert r.compare_repeatability(one, one, from_same_side=side).verdict == r.NO_CHANGE


@pytest.mark.parametrize("count", [4, 8])
def test_false_alarms_and_coverage(count):
    rng = np.random.default_rng(3)
    found = [
        r.compare_repeatability(told(rng, 0.1, count), told(rng, 0.1, count), from_same_side=True)
        for _ in range(300)
    ]
    # Nominally 5 % and 90 %; three standard errors over 300 trials are 4 % and 5 %.
    assert np.mean([one.verdict != r.NO_CHANGE for one in found]) <= 0.09
    assert np.mean([one.low <= 1.0 <= one.high for one in found]) >= 0.85


def test_from_another_side_only_a_clear_change_is_told():
    rng = np.random.default_rng(5)
    steady, wild, near = told(rng, 0.03, 12), told(rng, 0.3, 12), told(rng, 0.05, 12)
    assert r.compare_repeatability(wild, steady, from_same_side=False).verdict == r.STEADIER
    assert r.compare_repeatability(near, steady, from_same_side=False).verdict == r.NO_CHANGE


def test_what_cannot_be_compared():
    rng = np.random.default_rng(6)
    few, other, one = told(rng, 0.1, 1), told(rng, 0.1, of="string bed"), told(rng, 0.1)
    assert r.compare_repeatability(few, one, from_same_side=True).reason == "too few swings"
    assert "string bed" in r.compare_repeatability(one, other, from_same_side=True).reason
