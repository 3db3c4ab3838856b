"""The review as a coach's note for the terminal."""

from __future__ import annotations

from swingmatch.findings.review import Finding, Review
from swingmatch.footage.check import Footage
from swingmatch.report.explanation_text import WIDTH, strengths_block, wrap
from swingmatch.words import say
from swingmatch.words.language import _, speaking

__all__ = ["WIDTH", "coach_note", "footage_note"]

#: How grave a remark is, at the start of its line.
_MARKS = {"fine": "+", "limits": "!", "unusable": "x"}


def footage_note(clip: str, footage: Footage) -> str:
    """What a clip can show, remark by remark, the gravest first; wrapped at 88 columns."""
    word = "can be used" if footage.usable else "cannot be used"
    lines = [wrap(r.sentence, "     ", first=f"  {_MARKS[r.severity]:<3}") for r in footage.remarks]
    return "\n".join([f"{clip} {word}.", *lines])


def coach_note(review: Review) -> str:
    """A short note: what works, what to change with the numbers, how sure; wrapped at 88 columns."""
    told = review.explanation
    with speaking("en" if told is None else told.language):
        side, model, made = review.camera_side, review.model_name, review.model_generated
        stroke = review.pairs[0].player.stroke if review.pairs else ""
        swings = say.strokes(stroke, len(review.pairs))
        blocks = [
            wrap(say.opening(review.player, swings, say.side(side), model, made)),
            strengths_block((one.title, one.sentence) for one in review.strengths),
            say.heading("change") + "\n" + (_changes(review.changes) or _nothing()),
        ]
        if told is not None:
            blocks += [
                "\n".join([say.heading(name), *(wrap(sentence, "  ") for sentence in sentences)])
                for name, sentences in (("since", told.since), ("settle", told.settle))
                if sentences
            ]
        sure = list(review.notes)
        if review.not_visible:
            sure.append(say.hidden_line([_(name) for name in review.not_visible]))
        if sure:
            blocks.append(say.heading("sure") + "\n" + "\n".join(wrap(s, "  ") for s in sure))
        blocks.append(wrap(say.caution()))
        return "\n\n".join(blocks) + "\n"


def _changes(changes: tuple[Finding, ...]) -> str:
    out = []
    for i, finding in enumerate(changes, 1):
        lines = [wrap(f"{finding.title}. {finding.sentence}", "     ", first=f"  {i}. ")]
        for name, text in (("think", finding.cue), ("practise", finding.drill)):
            if text:
                lines.append(wrap(f"{say.heading(name)}: {text}", "     "))
        out.append("\n".join(lines))
    return "\n".join(out)


def _nothing() -> str:
    return wrap(f"{say.nothing_certain()} {say.another_side()}", "  ")
