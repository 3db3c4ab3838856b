"""The study of fault patterns: what is planted, what is kept, and that its tables count right."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from swingmatch.findings.catalogue.fault import Drill, Fault, Sign
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.stroke.strokes import STROKES
from swingmatch.study import pattern_tables as tables
from swingmatch.study.planted import (
    RACKET_ONLY,
    SCATTER_ONLY,
    SIZES,
    Filmed,
    Taken,
    draw_faults,
    film_all,
    moved,
    planted_player,
)
from swingmatch.study.said import Outcome, Said, View, flat, shown
from swingmatch.synth.cast import TUNING
from swingmatch.synth.faults import EVERY_FAULT
from tests import movers


def view(*said: Said, seeable: tuple[str, ...] = ("a", "b", "c"), every: tuple[Said, ...] = ()) -> View:
    return View(tuple(said), every, frozenset(seeable), tuple(said))


def said(fault: str, sure: float = 0.9, under: str = "") -> Said:
    return Said(fault, sure, 1.0, under)


#: One player with two faults seen from two sides, and a sound one with a false alarm from one of two sides.
OUTCOMES = (
    Outcome(
        1,
        {"a": 0.9, "b": 0.4},
        {
            "front": view(said("a"), said("b", under="a")),
            "back": view(said("c"), said("a"), seeable=("a", "c")),
        },
    ),
    Outcome(2, {}, {"front": view(), "back": view(said("c"))}),
)


def test_recall_leaves_out_what_a_side_cannot_show():
    assert sorted(tables.recalled(OUTCOMES)) == [True, True, True]
    assert sorted(tables.recalled(OUTCOMES, alone=True)) == [False, True, True]
    assert tables.recalled(OUTCOMES, lambda fault, size: size < 0.5) == [True]


def test_precision_and_false_alarms_count_what_is_said():
    assert sorted(tables.precise(OUTCOMES)) == [False, False, True, True, True]
    assert sorted(tables.precise(OUTCOMES, alone=True)) == [False, False, True, True]
    assert sorted(tables.alarms(OUTCOMES)) == [False, True]


def test_sides_agree_where_both_can_see():
    # "c" comes first from the back, and the front could see it as well: no agreement; "a" is in both top threes.
    assert tables.agreement(OUTCOMES) == [False]
    assert tables.agreement(OUTCOMES, loose=True) == [True]
    blind = Outcome(3, {"a": 0.9}, {"front": view(said("a")), "back": view(seeable=("b",))})
    assert tables.agreement([blind]) == []
    silent = Outcome(4, {"a": 0.9}, {"front": view(said("a")), "back": view()})
    assert tables.agreement([silent]) == [False]


def test_calibration_and_confusion_are_counted():
    doubtful = view(said("c", 0.75), every=(said("c", 0.75), said("a", 0.1)))
    table = tables.calibration([Outcome(1, {"a": 0.8}, {"front": doubtful})])
    assert "| 70 to 80 % | 75 % | 0 % (0 of 1) |" in table
    assert "| 5 to 20 % | 10 % | 100 % (1 of 1) |" in table
    assert "| a | 1 | c 1 |" in tables.confusion([Outcome(1, {"a": 0.8}, {"front": doubtful})])


def test_the_summary_says_met_and_not_met():
    lines = tables.summary(OUTCOMES).splitlines()
    assert any("recall" in line and line.endswith("| met |") for line in lines)
    assert any("precision" in line and line.endswith("| not met |") for line in lines)
    assert "60 % (3 of 5)" in tables.summary(OUTCOMES)
    assert tables.text(OUTCOMES, ["a", "b"]).count("##") == 5


def test_halves_count_pairs_that_say_something():
    table = tables.halves({"front": [(view(said("a")), view(said("a"))), (view(), view())]})
    assert "| front | 100 % (1 of 1) | 100 % (1 of 1) | 1 |" in table


def test_every_fault_of_the_catalogue_that_can_be_planted_is():
    names = {fault.id for fault in load("forehand").faults}
    # The chest that opens early and hips that are torn loose are one movement in this generator.
    assert names - {"chest_opens_early"} == set(EVERY_FAULT)


def test_planted_faults_do_not_undo_each_other():
    drawn = [draw_faults(np.random.default_rng([seed, 92])) for seed in range(300)]
    assert {len(one) for one in drawn} == {0, 1, 2, 3}
    assert set().union(*drawn) == set(EVERY_FAULT) - set(RACKET_ONLY) - set(SCATTER_ONLY)
    for one in drawn:
        assert all(SIZES[0] <= size <= SIZES[1] for size in one.values())
        parameters = [name for fault in one for name in moved(fault)]
        assert len(parameters) == len(set(parameters))


def test_a_player_is_always_the_same_and_of_known_seeds():
    assert planted_player(TUNING[101]) == planted_player(TUNING[101])
    with pytest.raises(ValueError, match="seed"):
        planted_player(5_000_000)


def test_what_is_kept_is_read_again(tmp_path):
    film = Filmed((), ((Taken("finish_height", 1.0, 0.1, 0.2, "", ()),),))
    (tmp_path / "swings-7.pkl").write_bytes(pickle.dumps({"front": film}))
    assert film_all("7", [], {}, [7], tmp_path) == {"front": film}


def test_kept_measures_get_their_rows_back():
    film = Filmed((movers.swing(),), ((Taken("finish_height", 1.0, 0.1, 0.2, "", ()),),))
    ((measure,),) = film.measures
    assert measure.row in STROKES["forehand"].measures
    assert measure.row.key == "finish_height"
    assert measure.visible


def deviation(key: str, visible: bool) -> Deviation:
    return Deviation(key, "", "deg", 1.0, 0.0, 0.1, 0.1, 0.1, 1.0, 1, 0.0, visible)


def test_a_fault_is_shown_by_the_share_of_its_signature():
    drill = Drill("Words.", ("One.",), "Ten.")
    signs = (Sign("x", (), 2.0), Sign("y", (), 1.0))
    fault = Fault(
        "a", "forehand", "A", signs, "Costs.", "Cause.", (), {}, "Cue.", drill, "", 1.0, 1.0, 0.5, "none"
    )
    evidence = Evidence((deviation("x", True), deviation("y", False)), (), 0.0, "forehand", {})
    assert shown(fault, evidence) == pytest.approx(0.8)
    symptom = Pattern(fault, 1.0, 0.1, 0.7, (), 3, 3)
    unnamed = Pattern(None, 1.0, 0.1, 0.7, (), 3, 3)
    cause = Pattern(fault, 1.0, 0.1, 0.9, (), 3, 3, explains=(symptom,))
    assert [(s.sure, s.under) for s in flat([cause, unnamed])] == [(0.9, ""), (0.7, "a")]
