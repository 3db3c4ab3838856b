"""Change between two reviews: the published formula, its laws, and what it does on simulated repeats."""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.findings import change as c
from swingmatch.findings.change import FaultTold, Reviewed, Told, change, compare_reviews, series
from swingmatch.findings.deviation import Deviation


def a_told(player=0.0, **changes):
    facts = {"key": "k@drop", "unit": "ms", "player": player, "model": 0.0, "spread": 0.0, "error": 2.0}
    facts |= {"repeat": 3.0, "swings": 9, "floor": 5.0, "visible": True}
    return Told(**(facts | changes))


def test_the_published_formula():
    """Row E12 of the check values (PMC6558857 table 1): SEM = SD_diff / sqrt 2, and 1.96 SD_diff = 1.96 sqrt 2 SEM."""
    sd_of_differences = 3.7
    sem = sd_of_differences / math.sqrt(2.0)
    assert c.smallest_change(sem) == pytest.approx(1.96 * sd_of_differences)


def test_a_published_worked_example():
    """Row E10: manual angles in running, SEM up to 1.6 deg within a rater and MDC up to 4.3 deg (Guadagnin 2025).

    And 2.6 deg between raters with MDC up to 7.2 deg. The published figures are rounded to a tenth.
    """
    for sem, published in ((1.6, 4.3), (2.6, 7.2)):
        low, high = c.smallest_change(sem - 0.05), c.smallest_change(sem + 0.05)
        assert low - 0.05 <= published <= high + 0.05


def test_a_change_is_told_by_that_formula_where_the_error_is_known():
    """One view error of 2 and no spread of the player: from two sides the formula itself."""
    still = a_told(repeat=0.0)
    found = change(still, still, from_same_side=False)
    assert found.smallest == pytest.approx(c.smallest_change(2.0), rel=1e-4)
    # What both share cancels: with half of it shared, the variance of the difference is half.
    same = change(still, still, from_same_side=True, shared=0.5)
    assert same.smallest == pytest.approx(c.smallest_change(2.0) / math.sqrt(2.0), rel=1e-4)
    assert change(still, still, from_same_side=True, shared=1.0).smallest == 0.0


numbers = st.floats(-100.0, 100.0)
widths = st.floats(0.0, 20.0)
one_told = st.builds(
    a_told,
    player=numbers,
    spread=widths,
    error=widths,
    repeat=widths,
    swings=st.integers(1, 20),
    visible=st.booleans(),
)
SWAPPED = {c.BETTER: c.WORSE, c.WORSE: c.BETTER}


@given(one_told, one_told, st.booleans())
def test_swapping_before_and_after_turns_the_sign(one, two, side):
    there, back = change(one, two, from_same_side=side), change(two, one, from_same_side=side)
    assert back.difference == pytest.approx(-there.difference, abs=1e-9)
    assert (back.low, back.high) == pytest.approx((-there.high, -there.low), abs=1e-6)
    assert back.smallest == pytest.approx(there.smallest)
    assert back.verdict == SWAPPED.get(there.verdict, there.verdict)


@given(one_told, st.booleans())
def test_the_same_review_again_is_no_change(one, side):
    found = change(one, one, from_same_side=side)
    assert found.difference == 0.0
    assert found.low <= 0.0 <= found.high
    assert found.verdict in (c.HELD, c.NO_CHANGE, c.NOT_COMPARABLE)


@given(one_told, one_told)
def test_a_side_in_common_never_widens(one, two):
    # Of many swings: the own spread of two alone is known so badly that Welch's t may outgrow what cancels.
    one, two = replace(one, swings=10**6), replace(two, swings=10**6)
    same, other = (change(one, two, from_same_side=side).smallest for side in (True, False))
    assert same <= other + 1e-9


@pytest.mark.parametrize(
    ("was", "now", "verdict"),
    [
        (60.0, 10.0, c.BETTER),
        (-60.0, -10.0, c.BETTER),
        (60.0, 1.0, c.BETTER),
        (10.0, 60.0, c.WORSE),
        (60.0, 58.0, c.NO_CHANGE),
        (3.0, 2.0, c.HELD),
        (40.0, -2.0, c.BETTER),  # past the model, but as good as on it
        (30.0, -28.0, c.BEYOND),
        (3.0, -40.0, c.WORSE),
    ],
)
def test_verdicts(was, now, verdict):
    assert change(a_told(was), a_told(now), from_same_side=True).verdict == verdict


def test_what_cannot_be_compared():
    hidden = change(a_told(60.0), a_told(0.0, visible=False), from_same_side=True)
    assert (hidden.verdict, hidden.reason) == (c.NOT_COMPARABLE, "not visible now")
    rough = a_told(60.0, error=7.0), a_told(0.0, error=7.0)
    other = change(*rough, from_same_side=False)
    assert (other.verdict, other.reason) == (c.NOT_COMPARABLE, "filmed from another side")
    assert change(*rough, from_same_side=True).verdict == c.BETTER


def test_another_model_is_no_change_of_the_player():
    found = change(a_told(20.0, model=0.0), a_told(20.0, model=15.0), from_same_side=True)
    assert found.difference == 0.0
    assert found.after == 5.0


def test_angles_go_the_short_way_round():
    found = change(a_told(179.0, unit="deg"), a_told(-179.0, unit="deg"), from_same_side=True)
    assert found.difference == pytest.approx(2.0)


def test_one_swing_borrows_the_spread_of_the_other_review():
    one = a_told(repeat=0.0, swings=1)
    assert (
        change(one, a_told(repeat=10.0), from_same_side=True).smallest
        > change(one, a_told(repeat=1.0), from_same_side=True).smallest
    )
    unknown = change(replace(one, spread=math.inf), replace(one, spread=math.nan), from_same_side=True)
    assert unknown.smallest > change(one, one, from_same_side=True).smallest
    assert math.isfinite(unknown.smallest)
    alone = change(one, replace(one, spread=4.0), from_same_side=True)
    assert alone.smallest > change(one, one, from_same_side=True).smallest


def simulated(swings, shared, trials=6000, step=0.0, seed=1):
    """Reviews before and after of a player who changed by ``step``, with own spread 6 and a view error of 3."""
    rng = np.random.default_rng(seed)
    common = 3.0 * math.sqrt(shared) * rng.normal(size=(trials, 1))
    apart = 3.0 * math.sqrt(1.0 - shared) * rng.normal(size=(trials, 2))
    bias = common + apart
    for row in range(trials):
        sides = []
        for k, count in enumerate(swings):
            values = step * k + bias[row, k] + rng.normal(0.0, 6.0, count)
            sides.append(
                a_told(float(values.mean()), error=3.0, repeat=float(values.std(ddof=1)), swings=count)
            )
        yield change(*sides, from_same_side=True, shared=shared)


@pytest.mark.parametrize("swings", [(3, 3), (4, 10), (12, 12)])
@pytest.mark.parametrize("shared", [0.0, 0.5])
def test_the_interval_covers_nine_in_ten_and_one_in_twenty_is_a_false_alarm(swings, shared):
    found = list(simulated(swings, shared))
    covered = np.mean([one.low <= 0.0 <= one.high for one in found])
    alarms = np.mean([abs(one.difference) > one.smallest for one in found])
    # Three standard errors of a share over 6000 trials; Welch's approximation errs to the safe side a little.
    assert 0.9 - 0.012 <= covered <= 0.9 + 0.025
    assert 0.05 - 0.025 <= alarms <= 0.05 + 0.009


def test_a_true_change_is_inside_the_interval_as_often():
    found = list(simulated((6, 6), 0.5, step=11.0, seed=2))
    assert np.mean([one.low <= 11.0 <= one.high for one in found]) == pytest.approx(0.9, abs=0.02)


def test_from_another_side_what_is_not_shared_is_not_taken_off():
    """Errors that are not shared, compared as if they were: more than one false alarm in twenty. So sides matter."""
    rng = np.random.default_rng(4)
    errors = rng.normal(0.0, 3.0, (4000, 2))
    pairs = [(a_told(a, error=3.0, repeat=0.0), a_told(b, error=3.0, repeat=0.0)) for a, b in errors]
    wrong, right = (
        np.mean(
            [
                abs(found.difference) > found.smallest
                for one, two in pairs
                for found in [change(one, two, from_same_side=side)]
            ]
        )
        for side in (True, False)
    )
    assert right == pytest.approx(0.05, abs=0.012)
    assert wrong > 0.1


# Whole reviews ------------------------------------------------------------------------------------------

EARLY, LATE = date(2026, 3, 1), date(2026, 5, 1)


def reviewed(day=EARLY, azimuth=90.0, told=(), **changes):
    return Reviewed(day=day, azimuth=azimuth, model="A", told={one.key: one for one in told}, **changes)


def test_targets_of_both_reviews_are_compared_the_earlier_first():
    before = reviewed(told=[a_told(60.0, key="x"), a_told(1.0, key="y")], targets={"x": "Late"})
    after = reviewed(
        LATE, 100.0, told=[a_told(2.0, key="x"), a_told(70.0, key="y")], targets={"y": "Narrow", "z": "?"}
    )
    found = compare_reviews(before, after)
    assert [(one.key, one.title, one.verdict) for one in found.targets] == [
        ("x", "Late", c.BETTER),
        ("y", "Narrow", c.WORSE),
    ]
    assert found.same_side
    assert found.days == 61
    assert not compare_reviews(before, replace(after, azimuth=180.0)).same_side
    assert not compare_reviews(before, replace(after, azimuth=math.nan)).same_side


def test_sides_are_compared_round_the_circle():
    assert c.same_side(175.0, -175.0)
    assert not c.same_side(0.0, 45.0)


def test_a_target_that_is_out_of_sight_now_is_said_so():
    before = reviewed(told=[a_told(60.0)], targets={"k@drop": "Late"})
    (found,) = compare_reviews(before, reviewed(LATE)).targets
    assert (found.verdict, found.reason) == (c.NOT_COMPARABLE, "not visible now")


@pytest.mark.parametrize(
    ("sure", "visible", "verdict"),
    [
        (0.9, True, c.STILL),
        (0.35, True, c.OPEN),
        (0.1, True, c.GONE),
        (None, True, c.GONE),
        (0.0, False, c.NOT_COMPARABLE),
    ],
)
def test_whether_a_fault_is_gone(sure, visible, verdict):
    weights = {"x": 2.0, "y": -1.0}
    before = reviewed(
        faults={
            "late": FaultTold("late", "Late", 0.9, 1.4, weights),
            "dim": FaultTold("dim", "Dim", 0.3, 1.0, weights),
        }
    )
    faults = {} if sure is None else {"late": FaultTold("late", "Late", sure, 0.5, weights)}
    after = reviewed(LATE, told=[a_told(key="x", visible=visible), a_told(key="y")], faults=faults)
    (found,) = compare_reviews(before, after).faults
    assert (found.fault, found.verdict) == ("late", verdict)


def test_a_series_is_in_order_of_time():
    reviews = [
        reviewed(LATE, told=[a_told(20.0)], targets={"k@drop": "Late"}),
        reviewed(EARLY, told=[a_told(60.0, swings=1, repeat=0.0)]),
        reviewed(date(2026, 4, 1), told=[a_told(40.0, visible=False)]),
        reviewed(date(2026, 4, 2)),
    ]
    found = series(reviews, "k@drop")
    assert found.days == (EARLY, date(2026, 4, 1), LATE)
    assert found.values[::2] == (60.0, 20.0)
    assert math.isnan(found.values[1])
    assert found.title == "Late"
    # One swing is surer of nothing: its interval is wider.
    assert found.high[0] - found.low[0] > found.high[2] - found.low[2] > 0.0
    assert series(reviews, "other") is None


def test_a_deviation_keeps_what_counts():
    deviation = Deviation(
        *("hip_turn", "drop", "deg", 40.0, 30.0, 2.0, 4.0, 3.0, 8.0, 5, -0.3), visible=True, peak=20.0
    )
    found = c.told(deviation)
    assert found.key == "hip_turn@drop"
    assert (found.value, found.error, found.repeat, found.swings) == (10.0, 4.0, 3.0, 5)
