"""Causes, priorities, strengths."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made import ARM, CATALOGUE, HIPS, LEGS, deviation, fault

from swingmatch.findings.patterns.causes import flat, under_causes
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.findings.patterns.priorities import MOST, Overrules, learn, prioritise
from swingmatch.findings.patterns.strengths import inside, strengths


def pattern(of, size=1.0, sure=0.9):
    return Pattern(of, size, 0.2, sure, (), 3, 3)


def names(patterns):
    return [p.fault.id for p in patterns]


def test_a_chain_of_causes_hangs_under_the_first():
    a = pattern(fault("a", {"x": 1.0}, order=0.1))
    b = pattern(fault("b", {"x": 1.0}, causes=("a",), order=0.5))
    c = pattern(fault("c", {"x": 1.0}, causes=("missing", "b"), order=0.9))
    for rows in itertools.permutations([a, b, c]):
        (top,) = under_causes(rows)
        assert names(flat([top])) == ["a", "b", "c"]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sets(st.integers(0, 5)), min_size=6, max_size=6), st.permutations(range(6)))
def test_rings_of_causes_lose_nobody(causes, order):
    rows = [
        pattern(fault(f"f{i}", {"x": 1.0}, causes=[f"f{j}" for j in sorted(some)], order=i / 6))
        for i, some in enumerate(causes)
    ]
    tops = under_causes([rows[i] for i in order])
    assert sorted(names(flat(tops))) == [f"f{i}" for i in range(6)]


def test_two_that_cause_each_other_the_earlier_stays_on_top():
    early = pattern(fault("z_early", {"x": 1.0}, causes=("a_late",), order=0.2))
    late = pattern(fault("a_late", {"x": 1.0}, causes=("z_early",), order=0.8))
    assert names(under_causes([late, early])) == ["z_early"]


def test_never_more_than_three_and_the_others_are_kept():
    rows = [pattern(fault(f"f{i}", {"x": 1.0}), sure=0.5 + 0.05 * i) for i in range(6)]
    first, others = prioritise(rows)
    assert [p.pattern.fault.id for p in first] == ["f5", "f4", "f3"]
    assert [p.pattern.fault.id for p in others] == ["f2", "f1", "f0"]
    assert len(first) == MOST


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (pattern(fault("b", {}, consequence=1.5)), pattern(fault("a", {}))),
        (pattern(fault("b", {}), size=1.5), pattern(fault("a", {}))),
        (pattern(fault("b", {}), sure=0.95), pattern(fault("a", {}), sure=0.8)),
        (pattern(fault("b", {}, order=0.1)), pattern(fault("a", {}, order=0.9))),
        (pattern(fault("b", {}, teachable=1.4)), pattern(fault("a", {}))),
    ],
)
def test_each_part_counts(better, worse):
    first, _ = prioritise([worse, better])
    assert first[0].pattern is better
    score = 1.0
    for part in first[0].parts.values():
        score *= part
    assert first[0].score == pytest.approx(score)


def test_what_a_coach_drops_sinks_and_what_a_coach_raises_rises():
    rows = [pattern(fault("a", {})), pattern(fault("b", {}))]
    weights = learn({"a": Overrules(dropped=3), "b": Overrules(raised=2), "c": Overrules(kept=9)})
    assert weights == {"a": pytest.approx(4 / 7), "b": pytest.approx(1.5)}
    first, _ = prioritise(rows, weights)
    assert [(p.pattern.fault.id, p.parts["coach"]) for p in first] == [
        ("b", weights["b"]), ("a", weights["a"])
    ]  # fmt: skip


@given(st.integers(0, 500), st.integers(0, 500), st.integers(0, 500))
def test_a_habit_has_bounds_and_a_direction(kept, dropped, raised):
    weight = Overrules(kept, dropped, raised).weight
    assert 0.5 <= weight <= 2.0
    assert (
        Overrules(kept, dropped + 1, raised).weight <= weight <= Overrules(kept, dropped, raised + 1).weight
    )


def test_an_unnamed_pattern_is_no_change_to_work_on():
    unnamed = Pattern(None, 1.0, 0.0, 0.9, (), 3, 3)
    assert prioritise([unnamed]) == ((), ())
    assert under_causes([unnamed, pattern(ARM)]) == (unnamed, pattern(ARM))


def test_praise_is_for_what_is_surely_inside_and_no_topic_of_a_change():
    good = [deviation("knee@1", 0.1), deviation("head", 0.0, doubt=0.2)]
    assert [s.virtue.key for s in strengths(good, CATALOGUE, ())] == ["head", "knee@1"]
    # The knees are to be changed in another phase.
    assert [s.virtue.key for s in strengths(good, CATALOGUE, [pattern(LEGS)])] == ["head"]
    explained = under_causes([pattern(HIPS), pattern(fault("k", {"knee@4": 1.0}, causes=("hips",)))])
    assert [s.virtue.key for s in strengths(good, CATALOGUE, explained)] == ["head"]
    unsure = [deviation("knee@1", 0.0, doubt=2.0), deviation("head", 2.0)]
    assert strengths(unsure, CATALOGUE, ()) == ()


def test_inside_by_hand():
    # Limit one floor, one standard deviation of measurement: the share of a normal distribution within one.
    assert inside(deviation("x", 0.0, doubt=1.0)) == pytest.approx(0.6827, abs=1e-4)
    assert inside(deviation("x", 0.0, doubt=0.0)) == 1.0
    assert inside(deviation("x", 1.5, doubt=0.0)) == 0.0
    assert inside(deviation("x", 0.0, visible=False)) == 0.0
