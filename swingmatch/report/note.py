"""The review as a coach's note for the terminal."""

from __future__ import annotations

import textwrap

from swingmatch.findings.review import Finding, Review
from swingmatch.footage.check import Footage

WIDTH = 88


#: How grave a remark is, at the start of its line.
_MARKS = {"fine": "+", "limits": "!", "unusable": "x"}


def footage_note(clip: str, footage: Footage) -> str:
    """What a clip can show, remark by remark, the gravest first; wrapped at 88 columns."""
    word = "can be used" if footage.usable else "cannot be used"
    lines = [_wrap(r.sentence, "     ", first=f"  {_MARKS[r.severity]:<3}") for r in footage.remarks]
    return "\n".join([f"{clip} {word}.", *lines])


def coach_note(review: Review) -> str:
    """A short note: what works, what to change with the numbers, how sure; wrapped at 88 columns."""
    count = len(review.pairs)
    swings = f"{count} forehand{'' if count == 1 else 's'}"
    kind = " (generated figure)" if review.model_generated else ""
    blocks = [
        _wrap(
            f"{review.player}: {swings}, seen from the {review.camera_side}, beside {review.model_name}{kind}."
        ),
        "What already works\n"
        + (
            "\n".join(_point("+", s) for s in review.strengths)
            or _wrap("Nothing certain enough to say.", "  ")
        ),
        "What to change\n" + (_changes(review.changes) or _nothing()),
    ]
    sure = list(review.notes)
    if review.not_visible:
        sure.append("Not visible from this view: " + ", ".join(n.lower() for n in review.not_visible) + ".")
    if sure:
        blocks.append("How sure\n" + "\n".join(_wrap(s, "  ") for s in sure))
    blocks.append(
        _wrap("Feedback on movement, not medical advice. If something hurts, stop and see a professional.")
    )
    return "\n\n".join(blocks) + "\n"


def _changes(changes: tuple[Finding, ...]) -> str:
    out = []
    for i, finding in enumerate(changes, 1):
        lines = [_point(f"{i}.", finding)]
        if finding.cue:
            lines.append(_wrap(f"Think: {finding.cue}", "     "))
        if finding.drill:
            lines.append(_wrap(f"Practise: {finding.drill}", "     "))
        out.append("\n".join(lines))
    return "\n".join(out)


def _nothing() -> str:
    return _wrap("Nothing stands out from this view. A clip from another side may show more.", "  ")


def _point(mark: str, finding: Finding) -> str:
    return _wrap(f"{finding.title}. {finding.sentence}", "     ", first=f"  {mark:<3}")


def _wrap(text: str, indent: str = "", first: str | None = None) -> str:
    return textwrap.fill(
        " ".join(text.split()),
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
