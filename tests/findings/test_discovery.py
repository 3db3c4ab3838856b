"""False discoveries: beside SciPy's own adjustment and a plain twin, and kept at the promised share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from swingmatch.findings.deviation import FALSE_SHARE, Deviation
from swingmatch.findings.discovery import alone, with_chances

PLAIN = Deviation("hip_turn", "drop", "deg", 0.0, 0.0, 0.0, 1.0, 0.0, 0.1, 1, 0.0, True)


def of(values, visible=None):
    visible = [True] * len(values) if visible is None else visible
    return [replace(PLAIN, player=float(v), visible=seen) for v, seen in zip(values, visible, strict=True)]


def by_hand(chances):
    """Benjamini and Hochberg (1995) as it is written: the k-th smallest times m / k, never above a later one."""
    m = len(chances)
    order = sorted(range(m), key=lambda i: chances[i])
    out = [0.0] * m
    least = 1.0
    for rank in range(m, 0, -1):
        i = order[rank - 1]
        least = min(least, chances[i] * m / rank)
        out[i] = least
    return out


@given(st.lists(st.tuples(st.floats(-6, 6), st.booleans()), min_size=1, max_size=40))
def test_chances_are_those_of_benjamini_and_hochberg_over_what_is_seen(rows):
    """Outside check: ``scipy.stats.false_discovery_control``; and the procedure written out."""
    values, visible = zip(*rows, strict=True)
    found = with_chances(of(values, visible))
    seen = [i for i, shown in enumerate(visible) if shown]
    plain = [2.0 * stats.norm.sf(abs(values[i])) for i in seen]
    got = [found[i].chance for i in seen]
    assert got == pytest.approx(by_hand(plain))
    if seen:
        assert got == pytest.approx(stats.false_discovery_control(plain, method="bh"))
    assert all(found[i].chance == 1.0 for i in range(len(rows)) if i not in seen)


def test_what_is_looked_at_beside_it_makes_one_less_sure():
    (by_itself,) = with_chances(of([2.5]))
    among = with_chances(of([2.5, *[0.1] * 99]))[0]
    assert by_itself.counts
    assert among.chance > by_itself.chance
    assert not among.counts
    # What the view cannot show was not looked at.
    hidden = with_chances(of([2.5, *[0.1] * 99], [True] + [False] * 99))[0]
    assert hidden.chance == pytest.approx(by_itself.chance)
    # Where all are as far out, none need be chance.
    assert all(deviation.counts for deviation in with_chances(of([2.5] * 100)))


def test_nothing_known_of_chance_asks_for_nothing():
    (one,) = of([2.5])
    assert np.isnan(one.chance)
    assert one.counts
    assert replace(one, chance=FALSE_SHARE - 1e-9).counts
    assert not replace(one, chance=FALSE_SHARE).counts


@pytest.mark.parametrize(("value", "chance"), [(0.0, 1.0), (1e-15, 1.0), (1e-3, 0.0), (-1e-3, 0.0)])
def test_a_difference_without_doubt(value, chance):
    assert alone(replace(PLAIN, player=value, error=0.0)) == pytest.approx(chance, abs=1e-6)


@pytest.mark.parametrize(
    "change", [{"error": np.inf}, {"spread": np.nan}, {"player": np.nan}, {"visible": False}]
)
def test_what_is_not_known_is_chance(change):
    assert alone(replace(PLAIN, **{"player": 5.0} | change)) == 1.0


def test_a_two_sided_normal_probability():
    # A normal value is beyond 1.96 standard deviations once in twenty times, either way.
    assert alone(replace(PLAIN, player=-1.959964)) == pytest.approx(0.05, abs=1e-6)


@pytest.mark.parametrize("correlation", [0.0, 0.6])
def test_the_share_of_false_ones_is_kept(correlation):
    """Twenty real differences among 80, also where all move together: on average at most one in ten is false."""
    rng = np.random.default_rng(4)
    shares, right = [], []
    for _ in range(60):
        noise = np.sqrt(correlation) * rng.normal() + np.sqrt(1 - correlation) * rng.normal(size=80)
        noise[:20] += 4.0
        counted = np.array([deviation.counts for deviation in with_chances(of(noise))])
        shares.append(counted[20:].sum() / max(counted.sum(), 1))
        right.append(counted[:20].mean())
    assert np.mean(shares) < FALSE_SHARE + 0.03
    assert np.mean(right) > 0.8
