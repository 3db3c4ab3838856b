"""An explanation as text for the terminal: what a coach reads out."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from swingmatch.findings.explanation import Change, Explanation
from swingmatch.words import say

WIDTH = 88
_INDENT = "     "


def explanation_text(explanation: Explanation) -> str:
    """The whole of it, what works first; wrapped at 88 columns."""
    blocks = [wrap(explanation.opening), _strengths(explanation), _changes(explanation)]
    blocks += [
        _block(heading, sentences)
        for heading, sentences in (
            ("since", explanation.since),
            ("repeat", explanation.repeatability),
            ("settle", explanation.settle),
        )
    ]
    blocks.append(_block("also", [_short(one) for one in explanation.left_out], "  - "))
    blocks.append(_block("unnamed", [_short(one) for one in explanation.unnamed], "  - "))
    blocks.append("\n".join(wrap(sentence) for sentence in explanation.cautions))
    return "\n\n".join(block for block in blocks if block) + "\n"


def wrap(text: str, indent: str = "", first: str | None = None) -> str:
    """One paragraph at 88 columns."""
    return textwrap.fill(
        " ".join(text.split()),
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )


def strengths_block(points: Iterable[tuple[str, str]]) -> str:
    """What works: titles with their sentences, or a word where nothing is certain."""
    told = [wrap(f"{title}. {sentence}", _INDENT, first="  +  ") for title, sentence in points]
    return "\n".join([say.heading("works"), *(told or [wrap(say.nothing_to_praise(), "  ")])])


def _strengths(explanation: Explanation) -> str:
    return strengths_block((one.title, one.evidence.sentence) for one in explanation.strengths)


def _changes(explanation: Explanation) -> str:
    told = [_change(place, one) for place, one in enumerate(explanation.priorities, 1)]
    return say.heading("change") + "\n" + ("\n\n".join(told) or wrap(say.nothing_certain(), "  "))


def _change(place: int, one: Change) -> str:
    lines = [wrap(f"{one.title} ({one.sure_words}). {one.costs}", _INDENT, first=f"  {place}. ")]
    if one.reason:
        lines.append(wrap(one.reason, _INDENT))
    lines.append(wrap(one.seen, _INDENT))
    lines += [wrap(each.sentence, _INDENT + "  ", first=_INDENT + "- ") for each in one.evidence]
    for name, text in (("cause", one.cause), ("think", one.cue), ("practise", one.drill)):
        lines += _named(name, text)
    lines += [
        wrap(step, _INDENT + "   ", first=f"{_INDENT}{number}. ") for number, step in enumerate(one.steps, 1)
    ]
    lines += _named("dose", one.dose)
    if one.symptoms:
        lines += _named("under", f"{say.joined([each.title for each in one.symptoms])}.")
    lines += [wrap(text, _INDENT) for text in one.confused]
    lines += _named("care", one.caution)
    return "\n".join(lines)


def _named(name: str, text: str) -> list[str]:
    return [wrap(f"{say.heading(name)}: {text}", _INDENT)] if text else []


def _short(one: Change) -> str:
    """One line of what was seen but left out."""
    first = f" {one.evidence[0].sentence}" if one.evidence else ""
    why = f" ({one.sure_words}; {one.reason})" if one.reason else f" ({one.sure_words})"
    head = one.seen if not one.id else f"{one.title}{why}."
    return head + first


def _block(name: str, sentences: Iterable[str], mark: str = "  ") -> str:
    told = [wrap(sentence, " " * len(mark), first=mark) for sentence in sentences]
    return "\n".join([say.heading(name), *told]) if told else ""
