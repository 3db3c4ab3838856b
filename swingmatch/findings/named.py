"""From deviations to what is said: what works, and at most three things to change."""

from __future__ import annotations

from collections.abc import Sequence

from swingmatch.findings.deviation import Deviation
from swingmatch.findings.phrases import PRAISE, Phrase, name_of
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.findings.review import Finding

#: No more than this many things to change, and to praise.
MOST_CHANGES, MOST_STRENGTHS = 3, 4
#: A strength must agree with the model to within this share of the smallest difference that matters, and be measured
#: well enough to say so.
_AS_GOOD = 0.7

#: Quantities that speak of the same thing: only the weightiest of a family is said.
_FAMILIES: tuple[frozenset[str], ...] = (
    frozenset({"outside_knee_flexion", "inside_knee_flexion", "hip_drop"}),
    frozenset({"shoulder_turn", "hip_turn", "separation"}),
    frozenset({"off_elbow_flexion", "off_arm_raise"}),
    frozenset({"trunk_forward_lean", "trunk_side_lean"}),
    frozenset({"hand_aside", "hitting_elbow_flexion"}),
)

_UNITS = {
    "deg": ("°", 0),
    "arm lengths": (" arm lengths", 2),
    "shoulder widths": (" shoulder widths", 2),
    "hip-to-shoulder": (" of the way from hip to shoulder", 2),
    "leg lengths": (" leg lengths", 2),
    "ms": (" ms", 0),
}


def _rounded(value: float, unit: str) -> float:
    return round(value, _UNITS[unit][1]) + 0.0  # adding zero takes the sign off minus zero


def _digits(value: float, unit: str) -> str:
    """A value rounded for its unit, with a true minus sign and no minus zero."""
    return f"{_rounded(value, unit):.{_UNITS[unit][1]}f}".replace("-", "−")


def amount(value: float, unit: str) -> str:
    """A value with its unit as a coach reads it, for instance ``"34°"`` or ``"0.28 arm lengths"``."""
    return _digits(value, unit) + _UNITS[unit][0]


def label_of(deviation: Deviation) -> str:
    """Label of what a deviation is about."""
    if deviation.quantity == "duration":
        return f"Time taken by the {deviation.phase}"
    return QUANTITIES[deviation.quantity].label


def _when(phase: str) -> str:
    return {"contact": "at contact", "end of take-back": "at the end of the take-back"}.get(
        phase, f"in the {phase}"
    )


def _evidence(deviation: Deviation) -> str:
    """One sentence: what and when, the player's value, how far that is from the model's, and how sure."""
    unit = deviation.unit
    # Words after the comma explain a scale; a sentence carries the unit anyway.
    about = label_of(deviation).split(",")[0]
    if deviation.quantity != "duration":
        about += f" {_when(deviation.phase)}"
    degrees = "°" if unit == "deg" else ""
    # Of the rounded values, so that a reader who takes one from the other gets what is said.
    difference = _rounded(_rounded(deviation.player, unit) - _rounded(deviation.model, unit), unit)
    if difference == 0.0:
        against = "the same as the model's"
    else:
        more = "more" if difference > 0 else "less"
        size, model = _digits(abs(difference), unit), _digits(deviation.model, unit)
        against = f"{size}{degrees} {more} than the model's {model}{degrees}"
    swings = "one swing" if deviation.swings == 1 else f"mean of {deviation.swings} swings"
    return (
        f"{about}: {amount(deviation.player, unit)}, {against} "
        f"({swings}, give or take {_digits(2 * deviation.doubt, unit)}{degrees})."
    )


def _topic(deviation: Deviation) -> tuple[str, str]:
    """What a deviation speaks of: its family, and before, at or after contact, for one may be worth a word in each."""
    family = next((min(family) for family in _FAMILIES if deviation.quantity in family), deviation.quantity)
    part = {"contact": "contact", "forward swing": "contact", "follow-through": "after"}
    return family, part.get(deviation.phase, "before")


def changes(deviations: Sequence[Deviation]) -> tuple[Finding, ...]:
    """The two or three named deviations that weigh most, one a topic; fewer, or none, if no more count."""
    named: list[tuple[float, Deviation, Phrase]] = []
    for deviation in deviations:
        phrase = name_of(deviation) if deviation.counts else None
        if phrase is not None:
            named.append((deviation.weight * phrase.importance, deviation, phrase))
    named.sort(key=lambda row: -row[0])
    out: list[Finding] = []
    said: set[object] = set()
    for _, deviation, phrase in named:
        topic = _topic(deviation)
        # One phrase may hold in several phases; a coach says it once.
        if topic in said or phrase in said:
            continue
        said |= {topic, phrase}
        out.append(Finding(phrase.title, _evidence(deviation), phrase.cue, phrase.drill, deviation))
    return tuple(out[:MOST_CHANGES])


def strengths(deviations: Sequence[Deviation]) -> tuple[Finding, ...]:
    """What is as good as the model and measured well enough to say so, best first.

    Nothing is praised of a topic in which something is to be changed.
    """
    to_change = {_topic(finding.deviation) for finding in changes(deviations)}
    good = [
        deviation
        for deviation in deviations
        if (deviation.quantity, deviation.phase) in PRAISE
        and _topic(deviation) not in to_change
        and deviation.visible
        and abs(deviation.value) < _AS_GOOD * deviation.floor
        and deviation.doubt < deviation.floor
    ]
    good.sort(key=lambda deviation: (abs(deviation.value) + deviation.doubt) / deviation.floor)
    return tuple(
        Finding(PRAISE[deviation.quantity, deviation.phase], _evidence(deviation), "", "", deviation)
        for deviation in good[:MOST_STRENGTHS]
    )


def not_visible(deviations: Sequence[Deviation]) -> tuple[str, ...]:
    """Labels of quantities that no column of this view can show."""
    seen = {deviation.quantity for deviation in deviations if deviation.visible}
    return tuple(
        dict.fromkeys(label_of(deviation) for deviation in deviations if deviation.quantity not in seen)
    )
