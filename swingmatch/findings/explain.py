"""From patterns to what is said: what works, at most three changes, what was left out, what is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from swingmatch.findings.catalogue.fault import Catalogue
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.explanation import Change, Cited, Explanation, Praise
from swingmatch.findings.patterns.pattern import Pattern, Priority, Strength
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.findings.review import Finding
from swingmatch.stroke.definition import Row
from swingmatch.stroke.repeats import Scatter
from swingmatch.stroke.strokes import STROKES
from swingmatch.words import say
from swingmatch.words.language import _, language
from swingmatch.words.units import HANDS

#: No more than this many things to change, and to praise; sentences of evidence for each.
MOST_CHANGES, MOST_STRENGTHS, MOST_EVIDENCE = 3, 4, 3
#: Below this probability a pattern's neighbours in the catalogue are named beside it.
_SURE_ALONE = 0.8
#: A pattern left out is said to be less important from this probability on, else not certain enough.
_CERTAIN = 0.5


@dataclass(frozen=True)
class About:
    """Whose swings these are, and what they were set beside.

    Attributes
    ----------
    player, model : names. generated : whether the model is a generated figure. stroke : as in ``STROKES``.
    camera_side : as in ``stroke.direction.SIDES``. swings : how many. hand : "right" or "left".
    """

    player: str
    model: str
    generated: bool
    stroke: str
    camera_side: str
    swings: int
    hand: str = "right"


def explain(
    about: About,
    patterns: Sequence[Pattern],
    priorities: Sequence[Priority],
    strengths: Sequence[Strength],
    *,
    catalogue: Catalogue | None = None,
    scatter: Scatter | None = None,
    since: Sequence[str] = (),
    settle: Sequence[str] = (),
) -> Explanation:
    """What a coach would say, in the language that is spoken (``words.language.speaking``).

    Parameters
    ----------
    about : who and what. patterns : all that were found, those without a name (``fault`` None) too.
    priorities : all of them, most important first; the first three are what is to be changed.
    strengths : what works, best first; four at most are taken.
    catalogue : gives the titles of what a pattern must not be confused with; such hints are left out without it.
    scatter : how well contact repeats, where the stroke was played more than once.
    since : sentences on what changed since the last review (``findings.since``).
    settle : sentences on which footage would settle what is open.
    """
    first = tuple(priorities[:MOST_CHANGES])
    chosen = {one.pattern.fault.id for one in first if one.pattern.fault is not None}
    ranked = {
        one.pattern.fault.id: place for place, one in enumerate(priorities) if one.pattern.fault is not None
    }
    rest = [pattern for pattern in patterns if pattern.fault is not None and pattern.fault.id not in chosen]
    rest.sort(key=lambda pattern: ranked.get(pattern.fault.id if pattern.fault else "", len(ranked)))
    titles = {fault.id: fault.title for fault in catalogue.faults} if catalogue else {}
    nameless = [pattern for pattern in patterns if pattern.fault is None]
    changes = tuple(_priority(place, one, about.stroke, titles) for place, one in enumerate(first, 1))
    return Explanation(
        language=language(),
        player=about.player,
        model=about.model,
        generated=about.generated,
        stroke=about.stroke,
        camera_side=about.camera_side,
        swings=about.swings,
        opening=say.opening(
            about.player,
            say.strokes(about.stroke, about.swings),
            say.side(about.camera_side),
            about.model,
            about.generated,
        ),
        strengths=tuple(
            Praise(_(one.virtue.title), cited(one.deviation, about.stroke, praise=True), one.sure)
            for one in strengths[:MOST_STRENGTHS]
        ),
        priorities=changes,
        left_out=tuple(
            _change(
                pattern,
                about.stroke,
                titles,
                reason=say.left_out_why("less" if pattern.sure >= _CERTAIN else "unsure"),
            )
            for pattern in rest
        ),
        unnamed=tuple(_nameless(i, pattern, about.stroke) for i, pattern in enumerate(nameless, 1)),
        repeatability=repeats(scatter),
        since=tuple(since),
        settle=tuple(settle),
        cautions=(say.caution(), *((say.caution_load(),) if any(c.caution for c in changes) else ())),
    )


def cited(deviation: Deviation, stroke: str, praise: bool = False) -> Cited:
    """A deviation as a sentence of evidence."""
    return Cited(evidence_sentence(deviation, stroke, praise), deviation)


def evidence_sentence(deviation: Deviation, stroke: str = "forehand", praise: bool = False) -> str:
    """One sentence: what and when, how far from the model, the figures, how sure, and where to look."""
    row = row_of(deviation.quantity, stroke)
    phase = deviation.phase
    # What has no phase has its own moment, which its label often names already.
    if row is not None and not phase and not row.key.endswith("duration"):
        named = row.label.lower()
        phase = "" if row.part in named or "contact" in named else row.part
    return say.evidence(
        label=label_of(deviation, stroke),
        key=deviation.quantity,
        phase=phase,
        unit=deviation.unit,
        player=deviation.player,
        model=deviation.model,
        doubt=deviation.doubt,
        floor=deviation.floor,
        at=deviation.at,
        swings=deviation.swings,
        praise=praise,
    )


def row_of(key: str, stroke: str) -> Row | None:
    """The measure of a stroke that has a key, or None. A quantity of the comparison goes before."""
    if key in QUANTITIES or stroke not in STROKES:
        return None
    return next((row for row in STROKES[stroke].measures if row.key == key), None)


def label_of(deviation: Deviation, stroke: str = "forehand") -> str:
    """Label of what a deviation is about, as in the source's language."""
    if not deviation.phase and stroke in STROKES:
        for row in STROKES[stroke].measures:
            if row.key == deviation.quantity:
                return row.label
    known = QUANTITIES.get(deviation.quantity)
    return known.label if known else deviation.quantity.replace("_", " ").capitalize()


def repeats(scatter: Scatter | None) -> tuple[str, ...]:
    """Sentences on how well contact and the swing's timing repeat; none where one swing was seen."""
    if scatter is None:
        return ()
    radius, hands = scatter.radius, HANDS["arm lengths"]
    widths = (radius.own * hands, radius.low * hands, radius.high * hands)
    known = all(width == width for width in widths)
    out = [say.contact_scatter(scatter.word, widths if known else None, radius.count)]
    forward = scatter.forward
    if forward.own == forward.own and forward.high > 0:
        out.append(say.timing_scatter(forward.own, forward.low, forward.high))
    return tuple(out)


def finding_of(said: Change | Praise) -> Finding:
    """What page and film show of something said."""
    if isinstance(said, Praise):
        return Finding(said.title, said.evidence.sentence, "", "", said.evidence.deviation)
    return Finding(said.title, said.evidence[0].sentence, said.cue, said.drill, said.evidence[0].deviation)


def not_visible(deviations: Sequence[Deviation]) -> tuple[str, ...]:
    """Labels of the comparison's quantities that no column of this view can show."""
    compared = [deviation for deviation in deviations if deviation.quantity in QUANTITIES and deviation.phase]
    seen = {deviation.quantity for deviation in compared if deviation.visible}
    return tuple(dict.fromkeys(label_of(d) for d in compared if d.quantity not in seen))


def _priority(place: int, one: Priority, stroke: str, titles: Mapping[str, str]) -> Change:
    reason = say.reason(place, _outstanding(one), one.parts.get("coach"))
    return _change(one.pattern, stroke, titles, reason=reason, parts=one.parts)


def _outstanding(one: Priority) -> list[str]:
    """The one or two factors that lift a priority most, largest first; "sure" is worth a word only near certainty."""
    shares = {name: value for name, value in one.parts.items() if name != "coach"}
    lifted = sorted((name for name, value in shares.items() if value > 1.0), key=lambda name: -shares[name])
    if not lifted and shares:
        lifted = [max(shares, key=lambda name: shares[name])]
    return lifted[:2]


def _change(
    pattern: Pattern,
    stroke: str,
    titles: Mapping[str, str],
    *,
    reason: str = "",
    parts: Mapping[str, float] | None = None,
) -> Change:
    fault = pattern.fault
    assert fault is not None
    hints = fault.confused.items() if pattern.sure < _SURE_ALONE else ()
    return Change(
        id=fault.id,
        title=_(fault.title),
        sure=pattern.sure,
        sure_words=say.how_sure(pattern.sure),
        size=pattern.size,
        swings=pattern.swings,
        of=pattern.of,
        seen=say.how_many(pattern.swings, pattern.of),
        reason=reason,
        evidence=tuple(cited(deviation, stroke) for deviation in pattern.evidence[:MOST_EVIDENCE]),
        costs=_(fault.costs),
        cause=_(fault.cause),
        cue=_(fault.cue),
        drill=_(fault.drill.words),
        steps=tuple(_(step) for step in fault.drill.steps),
        dose=_(fault.drill.dose),
        caution=_(fault.caution),
        confused=tuple(say.confused_with(_(titles[name]), _(how)) for name, how in hints if name in titles),
        symptoms=tuple(
            _change(symptom, stroke, titles, reason=say.left_out_why("symptom"))
            for symptom in pattern.explains
            if symptom.fault is not None
        ),
        parts=dict(parts or {}),
        source=fault.source,
        own=fault.own,
    )


def _nameless(number: int, pattern: Pattern, stroke: str) -> Change:
    return Change(
        id="",
        title=say.unnamed_title(number),
        sure=pattern.sure,
        sure_words=say.how_sure(pattern.sure),
        size=pattern.size,
        swings=pattern.swings,
        of=pattern.of,
        seen=say.unnamed(number, pattern.swings, pattern.of),
        reason="",
        evidence=tuple(cited(deviation, stroke) for deviation in pattern.evidence[:MOST_EVIDENCE]),
    )
