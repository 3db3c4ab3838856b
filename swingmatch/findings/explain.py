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


def amount(value: float, unit: str) -> str:
    """A value with its unit as a coach reads it, for instance ``"34°"`` or ``"0.28 arm lengths"``."""
    suffix, digits = _UNITS[unit]
    return f"{value:.{digits}f}{suffix}"


def label_of(deviation: Deviation) -> str:
    """Label of what a deviation is about."""
    if deviation.quantity == "duration":
        return f"Time of the {deviation.phase}"
    return QUANTITIES[deviation.quantity].label


def _family(quantity: str) -> str:
    return next((min(family) for family in _FAMILIES if quantity in family), quantity)


def _when(phase: str) -> str:
    return {"contact": "at contact", "end of take-back": "at the end of the take-back"}.get(
        phase, f"in the {phase}"
    )


def _evidence(deviation: Deviation) -> str:
    more = "more" if deviation.value > 0 else "less"
    swings = "one swing" if deviation.swings == 1 else f"the mean of {deviation.swings} swings"
    label = label_of(deviation)
    return (
        f"{label} {_when(deviation.phase)}: {amount(deviation.player, deviation.unit)} against "
        f"{amount(deviation.model, deviation.unit)} in the model, {amount(abs(deviation.value), deviation.unit)} "
        f"{more} ({swings}; measured to about ±{amount(2 * deviation.doubt, deviation.unit)})."
    )


def changes(deviations: Sequence[Deviation]) -> tuple[Finding, ...]:
    """The two or three named deviations that weigh most, one a family; fewer, or none, if no more count."""
    named: list[tuple[float, Deviation, Phrase]] = []
    for deviation in deviations:
        phrase = name_of(deviation) if deviation.counts else None
        if phrase is not None:
            named.append((deviation.weight * phrase.importance, deviation, phrase))
    named.sort(key=lambda row: -row[0])
    out: dict[str, Finding] = {}
    for _, deviation, phrase in named:
        family = f"{_family(deviation.quantity)}/{_part(deviation.phase)}"
        if family not in out and len(out) < MOST_CHANGES:
            out[family] = Finding(phrase.title, _evidence(deviation), phrase.cue, phrase.drill, deviation)
    return tuple(out.values())


def _part(phase: str) -> str:
    """Before, at or after contact: one quantity may be worth a word in each."""
    return {"contact": "contact", "forward swing": "contact", "follow-through": "after"}.get(phase, "before")


def strengths(deviations: Sequence[Deviation]) -> tuple[Finding, ...]:
    """What is as good as the model and measured well enough to say so, best first."""
    good = [
        deviation
        for deviation in deviations
        if (deviation.quantity, deviation.phase) in PRAISE
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
