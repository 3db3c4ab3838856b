"""All measures of a clip sorted for the eye: by stroke, by part of the stroke, and what was left out and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from swingmatch.report.values import Told, tell
from swingmatch.stroke.definition import PARTS, Definition, Row
from swingmatch.stroke.measure import NO_RACKET, UNSEEN, Measure
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Swing


@dataclass(frozen=True)
class Sheet:
    """The measures of the swings of one kind of stroke.

    Attributes
    ----------
    definition : the stroke. numbers : places of the swings in the clip, from 0.
    parts : (part, what was measured in it), in order; parts of which nothing is told are left out.
    unseen : (camera sides that would show them, best first; rows) of what this view does not show.
    no_racket : rows that need the racket's place. others : (why, rows) of whatever else was left out.
    """

    definition: Definition
    numbers: tuple[int, ...]
    parts: tuple[tuple[str, tuple[Told, ...]], ...]
    unseen: tuple[tuple[tuple[str, ...], tuple[Row, ...]], ...]
    no_racket: tuple[Row, ...]
    others: tuple[tuple[str, tuple[Row, ...]], ...]


def sheets(swings: Sequence[Swing], measures: Sequence[Sequence[Measure]]) -> tuple[Sheet, ...]:
    """One sheet for each kind of stroke, in the order in which the clip first shows it."""
    kinds: dict[str, list[int]] = {}
    for number, swing in enumerate(swings):
        kinds.setdefault(swing.stroke, []).append(number)
    return tuple(_sheet(numbers, swings, measures) for numbers in kinds.values())


def _sheet(numbers: Sequence[int], swings: Sequence[Swing], measures: Sequence[Sequence[Measure]]) -> Sheet:
    contacts = [swings[i].contact for i in numbers]
    told: dict[str, list[Told]] = {}
    unseen: dict[tuple[str, ...], list[Row]] = {}
    others: dict[str, list[Row]] = {}
    for same in zip(*(measures[i] for i in numbers), strict=True):
        one = tell(same, contacts)
        if one is not None:
            told.setdefault(one.row.part, []).append(one)
            continue
        why = Counter(m.why_not for m in same).most_common(1)[0][0]
        row = same[0].row
        if why == UNSEEN:
            unseen.setdefault(next(m.sides for m in same if m.why_not == UNSEEN), []).append(row)
        else:
            others.setdefault(why, []).append(row)
    return Sheet(
        definition=definition_of(swings[numbers[0]]),
        numbers=tuple(numbers),
        parts=tuple((part, tuple(told[part])) for part in PARTS if part in told),
        unseen=tuple((sides, tuple(rows)) for sides, rows in sorted(unseen.items(), key=lambda u: not u[0])),
        no_racket=tuple(others.pop(NO_RACKET, ())),
        others=tuple((why, tuple(rows)) for why, rows in others.items()),
    )
