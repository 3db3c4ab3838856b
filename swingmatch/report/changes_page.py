"""The words of the changes on the page, and what stands beside them: seen but left out, what repeats, what is open."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from swingmatch.findings.deviation import Deviation
from swingmatch.findings.explain import label_of
from swingmatch.findings.explanation import Change, Explanation
from swingmatch.findings.review import Finding
from swingmatch.words import say
from swingmatch.words.language import language, speaking
from swingmatch.words.units import figure, unit_words


def spoken(explanation: Explanation | None) -> str:
    """The language of what is said."""
    return "en" if explanation is None else explanation.language


def section(name: str, heading: str, body: str) -> str:
    """A section in the language that is spoken."""
    other = "" if language() == "en" else f" lang='{language()}'"
    return f"<section aria-labelledby='{name}'{other}><h2 id='{name}'>{escape(heading)}</h2>{body}</section>"


def change_words(finding: Finding, said: Change | None) -> str:
    """The text of one change: what it costs, the evidence, cue, drill, and what hangs on it."""
    if said is None:
        advice = _pairs((("think", finding.cue), ("practise", finding.drill)))
        return f"<p class='lead'>{escape(finding.sentence)}</p>{_figures(finding.deviation)}{advice}"
    lead = f"<p class='lead'>{escape(said.costs)}</p>" if said.costs else ""
    why = " ".join(part for part in (said.reason, said.seen) if part)
    sure = f"{say.heading('sure')}: {said.sure_words}."
    more = [
        _list(one.sentence for one in said.evidence[1:]),
        _figures(finding.deviation),
        _pairs((("cause", said.cause),)),
        _list(said.confused),
    ]
    return (
        f"{lead}<p>{escape(finding.sentence)}</p><p class='under'>{escape(why)} {escape(sure)}</p>"
        f"{_pairs((('think', said.cue), ('practise', said.drill)))}"
        f"{_folded(say.heading('steps'), _steps(said))}"
        f"{_under(said)}"
        f"{_folded(say.heading('evidence'), ''.join(more))}"
        f"{f'<p class=caution>{escape(said.caution)}</p>' if said.caution else ''}"
    )


def more_sections(explanation: Explanation | None) -> str:
    """What stands beside the changes; all that was left out is folded away."""
    if explanation is None:
        return ""
    with speaking(explanation.language):
        parts = [
            section(name, say.heading(name), _list(sentences))
            for name, sentences in (
                ("since", explanation.since),
                ("repeat", explanation.repeatability),
                ("settle", explanation.settle),
            )
            if sentences
        ]
        rest = _also(explanation.left_out)
        if rest:
            count = len(explanation.left_out)
            parts.append(_folded(f"{say.heading('also')} ({count})", rest))
        if explanation.unnamed:
            parts.append(section("unnamed", say.heading("unnamed"), _also(explanation.unnamed)))
        return "".join(parts)


def _also(changes: Iterable[Change]) -> str:
    items = []
    for one in changes:
        why = "; ".join(part for part in (one.sure_words, one.reason) if part)
        head = f"<h3>{escape(one.title)}</h3><p class='under'>{escape(why)}</p>"
        first = one.evidence[0].sentence if one.evidence else one.seen
        items.append(
            f"<li>{head}<p>{escape(first)}</p>{f'<p>{escape(one.costs)}</p>' if one.costs else ''}"
            f"{_pairs((('think', one.cue), ('practise', one.drill)))}</li>"
        )
    return f"<ul class='plain works'>{''.join(items)}</ul>" if items else ""


def _under(said: Change) -> str:
    if not said.symptoms:
        return ""
    items = "".join(
        f"<li><strong>{escape(one.title)}</strong>. {escape(one.evidence[0].sentence if one.evidence else '')}</li>"
        for one in said.symptoms
    )
    return f"<p class='hangs'>{escape(say.heading('under'))}:</p><ul>{items}</ul>"


def _steps(said: Change) -> str:
    steps = "".join(f"<li>{escape(step)}</li>" for step in said.steps)
    dose = f"<p>{escape(say.heading('dose'))}: {escape(said.dose)}</p>" if said.dose else ""
    return (f"<ol>{steps}</ol>" if steps else "") + dose


def _folded(summary: str, body: str) -> str:
    return f"<details><summary>{escape(summary)}</summary>{body}</details>" if body else ""


def _pairs(rows: Iterable[tuple[str, str]]) -> str:
    told = "".join(
        f"<dt>{escape(say.heading(name))}</dt><dd>{escape(text)}</dd>" for name, text in rows if text
    )
    return f"<dl class=do>{told}</dl>" if told else ""


def _list(items: Iterable[str]) -> str:
    told = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<ul>{told}</ul>" if told else ""


def _figures(deviation: Deviation) -> str:
    unit, doubt = deviation.unit, deviation.doubt
    rows = (
        ("player", figure(deviation.player, unit, doubt, bare=True)),
        ("model", figure(deviation.model, unit, doubt, bare=True)),
        ("difference", figure(deviation.value, unit, doubt, bare=True)),
        ("doubt", figure(2.0 * doubt, unit, doubt, bare=True)),
        ("swings", str(deviation.swings)),
    )
    cells = "".join(
        f"<tr><th scope='row'>{escape(say.table_label(name))}</th><td class='n'>{escape(text)}</td></tr>"
        for name, text in rows
    )
    caption = say.about(label_of(deviation), deviation.quantity, deviation.phase)
    if unit and unit != "deg":
        caption = f"{caption}, {unit_words(unit)}"
    return f"<table class='figures'><caption class='under'>{escape(caption)}</caption><tbody>{cells}</tbody></table>"
