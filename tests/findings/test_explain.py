"""What is said of patterns, and in which words; the JSON against its schema."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.findings.catalogue.load import load
from swingmatch.findings.columns import COLUMNS
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.explain import About, evidence_sentence, explain, finding_of, not_visible
from swingmatch.findings.explanation_json import as_json, json_text, schema_text
from swingmatch.findings.patterns.pattern import Pattern, Strength
from swingmatch.findings.patterns.priorities import prioritise
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.report.explanation_text import WIDTH, explanation_text
from swingmatch.stroke.strokes import STROKES
from swingmatch.words.language import LANGUAGES, speaking

ABOUT = About("Ada", "Bram", True, "forehand", "right side", 3)
LATE = Deviation(
    quantity="hand_in_front", phase="contact", unit="arm lengths", player=0.459, model=0.614, spread=0.0,
    error=0.07, repeat=0.0, floor=0.15, swings=1, at=0.0, visible=True,
)  # fmt: skip
KNEE = replace(LATE, quantity="outside_knee_flexion", phase="drop", unit="deg", player=22.6, model=46.4, error=5.0,
               floor=12.0, swings=3, at=-0.28)  # fmt: skip


@pytest.fixture(scope="module")
def catalogue():
    return load("forehand")


def pattern(fault, sure=0.95, evidence=(LATE, KNEE), **more):
    return Pattern(fault, 1.2, 0.2, sure, evidence, 3, 3, **more)


def explained(catalogue, ids=("late_contact", "straight_legs"), sure=0.95, **more):
    patterns = [pattern(catalogue[name], sure) for name in ids]
    first, rest = prioritise(patterns)
    strengths = [Strength(virtue, 0.9, LATE) for virtue in catalogue.virtues]
    return explain(ABOUT, patterns, (*first, *rest), strengths, catalogue=catalogue, **more)


def test_the_sentence_says_what_when_how_far_and_how_sure():
    assert evidence_sentence(LATE) == (
        "Hand in front of the hips at contact: about one hand width further back than the model "
        "(0.45 against 0.60 arm lengths, give or take 0.15; one swing; look at contact)."
    )
    assert evidence_sentence(KNEE) == (
        "Bend of the outside knee in the drop: clearly straighter than the model "
        "(25° against 45°, give or take 10°; mean of 3 swings; look 0.28 s before contact)."
    )
    with speaking("de"):
        assert "etwa eine Handbreit weiter hinten als beim Vorbild (0,45 gegen 0,60" in evidence_sentence(
            LATE
        )


@given(
    st.sampled_from([(key, column, row.unit, row.floor) for key, row in QUANTITIES.items() for column in COLUMNS]
                    + [(row.key, "", row.unit, row.useful) for one in STROKES.values() for row in one.measures]
                    + [("shift", "drop", "ms", 40.0), ("duration", "drop", "ms", 80.0)]),
    st.floats(-400, 400), st.floats(-400, 400), st.floats(0, 50), st.sampled_from(sorted(LANGUAGES)),
)  # fmt: skip
def test_every_deviation_gives_one_whole_line(of, player, model, error, language):
    key, column, unit, floor = of
    one = replace(
        LATE, quantity=key, phase=column, unit=unit, player=player, model=model, error=error, floor=floor
    )
    with speaking(language):
        sentence = evidence_sentence(one, "serve")
    assert sentence.endswith(").")
    assert "\n" not in sentence
    assert "{" not in sentence
    assert not re.search(r"(?<![a-z])-\d|[-−]0([.,]0+)?(?![.,]?\d)", sentence), sentence


def test_a_moment_is_named_once():
    hand = replace(LATE, quantity="hand_highest", phase="", unit="hip-to-shoulder", player=1.7, model=1.1)
    assert evidence_sentence(hand).startswith("Take-back hand: about 3 hand widths higher than the model")
    knee = replace(hand, quantity="inside_knee_flexion", phase="drop", unit="deg")
    assert evidence_sentence(knee).startswith("Bend of the inside knee in the drop:")
    low = replace(hand, quantity="lowest_hand_height")
    assert evidence_sentence(low).startswith("Lowest hand in the drop:")


def test_figures_are_no_finer_than_the_doubt():
    vague = replace(KNEE, error=12.0)
    assert "(20° against 50°, give or take 20°" in evidence_sentence(vague)
    sharp = replace(KNEE, error=0.4)
    assert "(23° against 46°, give or take 1°" in evidence_sentence(sharp)


def test_no_more_than_three_changes_and_four_strengths(catalogue):
    ids = [fault.id for fault in catalogue.faults[:7]]
    told = explained(catalogue, ids)
    assert len(told.priorities) == 3
    assert len(told.strengths) == 4
    assert {one.id for one in told.priorities + told.left_out} == set(ids)
    assert all(one.reason == "three changes are enough at a time" for one in told.left_out)


def test_a_symptom_stands_under_its_cause(catalogue):
    hips = pattern(catalogue["hips_late"], explains=(pattern(catalogue["arm_only"]),))
    first, rest = prioritise([hips])
    told = explain(ABOUT, [hips], (*first, *rest), [])
    assert [one.title for one in told.priorities[0].symptoms] == [catalogue["arm_only"].title]
    text = " ".join(explanation_text(told).split())
    assert f"Explained by it: {catalogue['arm_only'].title}." in text


def test_neighbours_are_named_only_where_it_is_not_sure(catalogue):
    assert explained(catalogue, ("hips_late",), sure=0.95).priorities[0].confused == ()
    hints = explained(catalogue, ("hips_late",), sure=0.65).priorities[0].confused
    assert len(hints) == len(catalogue["hips_late"].confused)
    assert catalogue["arm_only"].title in " ".join(hints)


def test_this_coachs_weight_is_shown(catalogue):
    patterns = [pattern(catalogue["late_contact"])]
    first, _ = prioritise(patterns, {"late_contact": 0.75})
    told = explain(ABOUT, patterns, first, [])
    assert "weighed 0.75 times" in told.priorities[0].reason
    assert told.priorities[0].parts["coach"] == 0.75


def test_a_pattern_without_a_name_is_shown_for_naming(catalogue):
    told = explain(ABOUT, [pattern(None)], [], [])
    assert told.priorities == told.left_out == ()
    assert len(told.unnamed) == 1
    assert "without a name" in explanation_text(told)


def test_nothing_certain_says_so_and_what_would_settle_it(catalogue):
    text = explanation_text(explain(ABOUT, [], [], [], settle=["A clip from the front would show it."]))
    assert "Nothing stands out from this view with certainty" in text
    assert text.index("What would settle it") < text.index("A clip from the front would show it.")


def test_the_order_of_the_text_and_its_width(catalogue):
    text = explanation_text(explained(catalogue))
    assert max(map(len, text.splitlines())) <= WIDTH
    places = [text.index(word) for word in ("What already works", "What to change", "Think:", "Practise:")]
    assert places == sorted(places)
    flat = " ".join(text.split())
    assert "see a professional" in flat
    # Late contact brings load: the caution of the entry and the general one are both there.
    assert "Take care:" in flat
    assert "licensed professional" in flat


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_json_keeps_to_the_schema(catalogue, language):
    schema = json.loads(schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    ids = [fault.id for fault in catalogue.faults[:7]]
    with speaking(language):
        told = explained(catalogue, ids, sure=0.65)
    jsonschema.validate(json.loads(json_text(told)), schema)
    assert as_json(told)["language"] == language
    broken = as_json(told) | {"priorities": [as_json(told)["priorities"][0]] * 4}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


def test_page_and_film_get_title_cue_and_evidence(catalogue):
    change = explained(catalogue, ("late_contact",)).priorities[0]
    finding = finding_of(change)
    assert (finding.title, finding.cue, finding.deviation) == (change.title, change.cue, LATE)


def test_not_visible_names_a_quantity_once_and_only_if_no_column_shows_it():
    rows = [
        replace(LATE, quantity="hip_turn", phase="drop", visible=False),
        replace(LATE, quantity="hip_turn", phase="contact", visible=False),
        replace(LATE, quantity="base_width", phase="drop", visible=False),
        replace(LATE, quantity="base_width", phase="contact"),
    ]
    assert not_visible(rows) == ("Hip turn",)
