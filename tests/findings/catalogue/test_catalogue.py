"""The shipped catalogue: every entry is whole, names what is measured, and says it as a coach would."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from swingmatch.findings.catalogue.entry import known_keys
from swingmatch.findings.catalogue.fault import Sign
from swingmatch.findings.catalogue.load import CatalogueError, load
from swingmatch.stroke.strokes import STROKES

#: At least so many named patterns of each stroke; the issue of the coach asks for them.
LEAST = {"forehand": 25, "two-handed backhand": 12, "one-handed backhand": 12, "serve": 12}
WRITTEN = tuple(STROKES)


def sentences(fault):
    """Prose that must be whole sentences: field -> words."""
    out = {"costs": fault.costs, "cause": fault.cause, "cue": fault.cue, "drill": fault.drill.words}
    out |= {f"step {i}": step for i, step in enumerate(fault.drill.steps)}
    out |= {f"confused {name}": words for name, words in fault.confused.items()}
    out |= {"dose": fault.drill.dose}
    return out | ({"caution": fault.caution} if fault.caution else {})


LONGEST = {"costs": 130, "cause": 130, "cue": 90, "drill": 130, "dose": 80, "caution": 150}


@pytest.mark.parametrize("stroke", WRITTEN)
def test_there_are_as_many_patterns_as_promised(stroke):
    catalogue = load(stroke)
    assert len(catalogue.faults) >= LEAST[stroke]
    assert len({fault.id for fault in catalogue.faults}) == len(catalogue.faults)
    assert len({fault.title for fault in catalogue.faults}) == len(catalogue.faults)
    assert len(catalogue.virtues) >= 6


@pytest.mark.parametrize("stroke", WRITTEN)
def test_signs_and_virtues_name_what_is_measured(stroke):
    catalogue, keys = load(stroke), known_keys(stroke)
    for fault in catalogue.faults:
        assert fault.weights, fault.id
        assert set(fault.weights) <= keys, fault.id
        assert all(0.3 <= abs(amount) <= 4.0 for amount in fault.weights.values()), fault.id
        # A fault that a coach would mention is over the floor somewhere.
        assert max(map(abs, fault.weights.values())) >= 0.8, fault.id
    for virtue in catalogue.virtues:
        assert virtue.key in keys
        assert "@" in virtue.key or virtue.key in catalogue.floors


@pytest.mark.parametrize("stroke", WRITTEN)
def test_no_floor_is_wider_than_what_is_useful(stroke):
    """A measure whose interval may be as wide as ``useful`` says nothing of differences much smaller than that."""
    useful = {row.key: row.useful for row in STROKES[stroke].measures}
    for key, floor in load(stroke).floors.items():
        assert 0.4 * useful[key] <= floor <= 1.6 * useful[key], key


@pytest.mark.parametrize("stroke", WRITTEN)
def test_prose_is_whole_plain_and_short(stroke):
    for fault in load(stroke).faults:
        assert len(fault.title) <= 60
        assert not fault.title.endswith(".")
        assert fault.title[0].isupper()
        for field, words in sentences(fault).items():
            where = f"{fault.id}, {field}: {words}"
            assert words.endswith((".", "!")), where
            assert words[0].isupper(), where
            assert len(words) <= LONGEST.get(field, 110), where
            assert "  " not in words, where
        assert 2 <= len(fault.drill.steps) <= 5, fault.id
        # A cue is one thing to think of, said positively.
        assert not re.search(r"\b(don't|do not|never|wrong|bad|stop being)\b", fault.cue, re.IGNORECASE), (
            fault.cue
        )


@pytest.mark.parametrize("stroke", WRITTEN)
def test_nothing_diagnoses_and_cautions_defer(stroke):
    banned = r"\b(injur\w*|tendinitis|impingement|tear of|diagnos\w*|syndrome|inflam\w*)\b"
    for fault in load(stroke).faults:
        prose = " ".join([fault.title, *sentences(fault).values()])
        assert not re.search(banned, prose, re.IGNORECASE), fault.id
        if fault.caution:
            assert re.search(r"doctor|physiotherapist", fault.caution), fault.id


@pytest.mark.parametrize("stroke", WRITTEN)
def test_no_two_faults_have_nearly_the_same_signature(stroke):
    """Signatures along one line could never be told apart."""
    faults = load(stroke).faults
    for i, one in enumerate(faults):
        for other in faults[i + 1 :]:
            assert cosine(one.weights, other.weights) < 0.9, (one.id, other.id)


def cosine(one, other):
    dot = sum(one[key] * other[key] for key in one.keys() & other.keys())
    size = [sum(v * v for v in w.values()) ** 0.5 for w in (one, other)]
    return dot / (size[0] * size[1])


def test_an_unknown_stroke_is_said_in_a_sentence():
    with pytest.raises(CatalogueError, match="no catalogue for volley"):
        load("volley")


def test_weights_are_by_key():
    fault = load("forehand")["late_contact"]
    assert fault.weights["hand_in_front@contact"] < -1.0
    one = Sign("hip_turn", ("drop", "contact"), -1.0)
    alone = replace(fault, signs=(one, Sign("com_speed", (), 0.5)))
    assert alone.weights == {"hip_turn@drop": -1.0, "hip_turn@contact": -1.0, "com_speed": 0.5}
    with pytest.raises(KeyError):
        load("forehand")["no such fault"]
