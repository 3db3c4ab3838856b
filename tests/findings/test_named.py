"""What counts, what is said of it, and in which words."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import replace
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.findings.accuracy import error_of
from swingmatch.findings.compare import COLUMNS, INSTANTS
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.named import _topic, amount, changes, label_of, not_visible, strengths
from swingmatch.findings.phrases import PHRASES, PRAISE, name_of
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.direction import SIDES

KEYS = (*QUANTITIES, "duration")
FLOORS = {key: row.floor for key, row in QUANTITIES.items()} | {"duration": 80.0}
UNITS = {key: row.unit for key, row in QUANTITIES.items()} | {"duration": "ms"}


def deviation(quantity="hand_in_front", phase="contact", value=0.0, error=0.0, model=1.0, **more):
    """A deviation of ``value`` floors, measured to ``error`` floors."""
    floor = FLOORS[quantity]
    fields = {
        "player": model + value * floor,
        "model": model,
        "spread": 0.0,
        "error": error * floor,
        "repeat": 0.0,
        "floor": floor,
        "swings": 1,
        "at": 0.0,
        "visible": True,
    }
    return Deviation(quantity=quantity, phase=phase, unit=UNITS[quantity], **(fields | more))


sizes = st.floats(0.0, 4.0)
anything = st.builds(
    deviation,
    quantity=st.sampled_from(KEYS),
    phase=st.sampled_from(COLUMNS),
    value=st.floats(-6.0, 6.0),
    error=sizes,
    spread=sizes,
    repeat=sizes,
    swings=st.integers(1, 5),
    visible=st.booleans(),
)


@given(anything)
def test_it_counts_only_above_the_floor_and_twice_the_doubt(d):
    expected = d.visible and abs(d.value) > d.floor and abs(d.value) > 2 * d.doubt
    # A hair either way on the border itself.
    if abs(abs(d.value) / max(d.floor, 2 * d.doubt) - 1.0) > 1e-9:
        assert d.counts == expected
    assert d.counts == (d.weight > 1.0)


@given(anything, st.floats(1.0, 3.0))
def test_more_doubt_never_makes_it_count(d, factor):
    for name in ("error", "spread", "repeat", "floor"):
        assert replace(d, **{name: factor * getattr(d, name)}).weight <= d.weight


@given(anything)
def test_doubt_adds_up_and_only_the_players_own_part_shrinks_with_swings(d):
    assert d.doubt == pytest.approx((d.spread**2 + d.error**2 + d.repeat**2 / d.swings) ** 0.5)
    assert replace(d, swings=100).doubt >= (d.spread**2 + d.error**2) ** 0.5 - 1e-12


def test_unknown_accuracy_counts_for_nothing():
    d = deviation(value=50.0, error=float("inf"))
    assert d.weight == 0.0
    assert not d.counts


@given(st.lists(anything, max_size=60, unique_by=lambda d: (d.quantity, d.phase)))
def test_changes_and_strengths_keep_their_promises(deviations):
    to_change, good = changes(deviations), strengths(deviations)
    assert len(to_change) <= 3
    assert len(good) <= 4
    topics = [_topic(finding.deviation) for finding in to_change]
    assert len(set(topics)) == len(topics)
    assert len({finding.title for finding in to_change}) == len(to_change)
    for finding in to_change:
        assert finding.deviation.counts
        assert finding.cue
        assert finding.drill
        assert name_of(finding.deviation).title == finding.title
    for finding in good:
        d = finding.deviation
        assert d.visible
        assert d.doubt < d.floor
        assert abs(d.value) < d.floor
        assert _topic(d) not in topics
    # Whatever is worth a name is said, unless there are three already or its topic or phrase has been said.
    if len(to_change) < 3:
        named = [d for d in deviations if d.counts and name_of(d)]
        titles = {finding.title for finding in to_change}
        assert all(_topic(d) in topics or name_of(d).title in titles for d in named)


def test_nothing_to_say_says_nothing():
    assert changes([]) == strengths([]) == not_visible([]) == ()
    small = [deviation(q, c, value=0.9, error=0.6) for q in QUANTITIES for c in COLUMNS]
    assert changes(small) == ()
    assert strengths(small) == ()


def test_the_weightiest_comes_first_and_importance_weighs():
    late = deviation("hand_in_front", "contact", value=-2.0)
    knee = deviation("outside_knee_flexion", "drop", value=-2.0)
    base = deviation("base_width", "drop", value=-2.0)
    assert [f.deviation for f in changes([base, knee, late])] == [late, knee, base]
    worse = replace(base, player=base.model - 5 * base.floor)
    assert changes([late, worse])[0].deviation == worse


def test_one_fault_seen_in_two_phases_is_said_once():
    drop = deviation("outside_knee_flexion", "drop", value=-3.0)
    forward = deviation("outside_knee_flexion", "forward swing", value=-2.0)
    assert [f.deviation for f in changes([forward, drop])] == [drop]


def test_one_family_is_said_once_before_contact_but_again_after():
    turn = deviation("shoulder_turn", "end of take-back", value=-3.0)
    apart = deviation("separation", "drop", value=-2.0)
    open_early = deviation("hip_turn", "contact", value=-2.0)
    said = {f.deviation for f in changes([turn, apart, open_early])}
    assert said == {turn, open_early}


def test_no_praise_where_the_same_topic_is_to_change():
    """ "The outside leg stays too straight" beside "You get down with the legs" would puzzle anybody."""
    knee = deviation("outside_knee_flexion", "drop", value=-3.0)
    hips = deviation("hip_drop", "drop", value=0.0)
    assert len(strengths([hips])) == 1
    assert strengths([hips, knee]) == ()


def test_no_praise_where_the_measurement_is_in_doubt():
    assert len(strengths([deviation(value=0.1, error=0.9)])) == 1
    assert strengths([deviation(value=0.1, error=1.1)]) == ()
    assert strengths([deviation(value=0.1, visible=False)]) == ()


def test_not_visible_names_a_quantity_once_and_only_if_no_column_shows_it():
    rows = [
        deviation("hip_turn", "drop", visible=False),
        deviation("hip_turn", "contact", visible=False),
        deviation("base_width", "drop", visible=False),
        deviation("base_width", "contact"),
    ]
    assert not_visible(rows) == ("Hip turn",)


@pytest.mark.parametrize("phrase", PHRASES, ids=lambda p: f"{p.quantity} {p.sign:+d} {p.phases[0]}")
def test_every_phrase_is_sound(phrase):
    assert phrase.quantity in KEYS
    assert phrase.phases
    assert set(phrase.phases) <= set(COLUMNS)
    assert phrase.sign in (-1, 1)
    assert phrase.importance > 0
    if phrase.quantity == "duration":
        assert not set(phrase.phases) & set(dict(INSTANTS))
    # It is the one that is found for what it claims: no row above hides it.
    for phase in phrase.phases:
        assert name_of(deviation(phrase.quantity, phase, value=2.0 * phrase.sign)) is phrase
        assert name_of(deviation(phrase.quantity, phase, value=-2.0 * phrase.sign)) is not phrase
    assert name_of(deviation(phrase.quantity, phrase.phases[0], value=0.0)) is None


def test_praise_names_what_exists():
    for quantity, column in PRAISE:
        assert quantity in QUANTITIES
        assert column in COLUMNS
        # What may be praised may also be found wanting, or the praise would be cheap.
        assert (
            any(p.quantity == quantity and column in p.phases for p in PHRASES) or quantity == "off_arm_raise"
        )
    assert len(set(PRAISE.values())) == len(PRAISE)


#: Words that would tell a player to hurt himself or to bear it; common caution, no source.
HARMFUL = (
    r"pain|hurt|force|push through|grit|as (hard|far|deep) as|maximum|until it burns|snap|jerk|heavy|weight"
)
#: Trade words that a club player need not know.
JARGON = r"kinetic|flexion|abduct|pronat|unit turn|split step|neutral stance|shadow|feed to|off arm|off hand"


@pytest.mark.parametrize("phrase", PHRASES, ids=lambda p: p.title)
def test_words_are_safe_plain_and_whole_sentences(phrase):
    for text in (phrase.cue, phrase.drill):
        assert text.endswith(".")
        assert text[0].isupper()
        assert len(re.findall(r"[.!?](?: |$)", text)) == 1, f"more than one sentence: {text}"
        assert len(text) <= 110
    assert phrase.title[0].isupper()
    assert not phrase.title.endswith(".")
    assert len(phrase.title) <= 50
    words = f"{phrase.title} {phrase.cue} {phrase.drill}"
    assert not re.search(HARMFUL, words, re.IGNORECASE), words
    assert not re.search(JARGON, words, re.IGNORECASE), words


def test_opposite_faults_do_not_share_their_words():
    for one, other in itertools.combinations(PHRASES, 2):
        assert one.title != other.title
        if one.quantity == other.quantity and one.sign != other.sign:
            assert one.cue != other.cue


def test_the_sentence_carries_the_figures_and_adds_up():
    late = deviation("hand_in_front", "contact", model=0.614, player=0.459, error=0.5, value=0)
    assert changes([late])[0].sentence == (
        "Hand in front of the hips at contact: 0.46 arm lengths, 0.15 less than the model's 0.61 "
        "(one swing, give or take 0.15)."
    )
    # 22.6 against 46.4 differ by 23.8, but who reads 23 and 46 takes one from the other.
    knee = deviation("outside_knee_flexion", "drop", player=22.6, model=46.4, swings=3)
    assert changes([knee])[0].sentence == (
        "Bend of the outside knee in the drop: 23°, 23° less than the model's 46° "
        "(mean of 3 swings, give or take 0°)."
    )
    rushed = deviation("duration", "take-back", player=200.0, model=400.0)
    assert changes([rushed])[0].sentence == (
        "Time taken by the take-back: 200 ms, 200 less than the model's 400 (one swing, give or take 0)."
    )
    height = deviation("hand_height", "contact", player=0.501, model=0.499)
    assert strengths([height])[0].sentence.startswith(
        "Hand height at contact: 0.50 of the way from hip to shoulder, the same as the model's ("
    )


@given(anything)
def test_every_sentence_is_one_line_with_a_true_minus(d):
    from swingmatch.findings.named import _evidence

    sentence = _evidence(d)
    assert sentence.endswith(").")
    assert "\n" not in sentence
    assert not re.search(r"(?<![a-z])-\d|[-−]0(\.0+)?(?!\.?\d)", sentence), sentence


def test_amounts_and_labels():
    assert amount(-0.2, "deg") == "0°"
    assert amount(-12.4, "deg") == "−12°"
    assert amount(0.284, "arm lengths") == "0.28 arm lengths"
    assert label_of(deviation("duration", "drop")) == "Time taken by the drop"
    for row in QUANTITIES.values():
        amount(1.0, row.unit)
        assert row.floor > 0


def test_accuracy_by_side(accuracy_table):
    accuracy_table["hip_turn"]["drop"] = {"right side": 4.0, "front": 9.0}
    assert error_of("hip_turn", "drop", 80.0) == 4.0
    assert error_of("hip_turn", "drop", -10.0) == 9.0
    assert error_of("hip_turn", "drop", 180.0) == float("inf")
    assert error_of("hip_turn", "drop", float("nan")) == 9.0
    assert error_of("hip_turn", "recovery", 80.0) == float("inf")
    assert error_of("no such thing", "drop", 80.0) == float("inf")


def test_the_shipped_accuracy_is_what_the_study_writes():
    text = resources.files("swingmatch.findings").joinpath("accuracy.json").read_text(encoding="utf-8")
    shipped = json.loads(text)
    if not shipped["rms_error"]:
        pytest.skip("the study has not been run yet")
    assert "generated" in shipped["about"]
    assert set(shipped["rms_error"]) == set(KEYS)
    sides = {name for _, name in SIDES}
    for quantity, columns in shipped["rms_error"].items():
        assert set(columns) <= set(COLUMNS)
        for by_side in columns.values():
            assert set(by_side) <= sides
            # Nothing is measured without error, and an angle is wrong by half a turn at most.
            assert all(error > 0 for error in by_side.values())
            assert UNITS[quantity] != "deg" or all(error <= 180 for error in by_side.values())
    seen = {side for columns in shipped["rms_error"].values() for row in columns.values() for side in row}
    # A side on which too few clips were read rightly has no figures, and is then never judged.
    assert {"right side", "left side", "front left"} <= seen <= sides
