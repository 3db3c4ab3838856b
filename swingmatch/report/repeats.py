"""How well contact repeats, and which swings stand apart, in a coach's words."""

from __future__ import annotations

import math

from swingmatch.report.sheet import Sheet
from swingmatch.report.values import places, rounded, short_labels
from swingmatch.stroke.measure import NINE_IN_TEN
from swingmatch.stroke.repeats import Scatter, Spread

#: Measures that are named for one swing that stands apart.
_NAMED = 6

ABOUT = (
    "As far as it is known, the error of measuring is taken out; in brackets stands the 90 % interval, wide where the "
    "swings are few."
)


def contact_words(scatter: Scatter) -> str:
    """The short of it: "contact: repeats well", or why that cannot be told."""
    return f"contact: {scatter.word}"


def contact_sentences(scatter: Scatter) -> list[str]:
    """Where contact is and when it comes, swing to swing, as sentences with figures; none where nothing is known."""
    out = []
    if math.isfinite(scatter.radius.own):
        metres = "" if scatter.metres is None else f", or {_figures(scatter.metres, 'm')},"
        out.append(
            f"From swing to swing the {scatter.of} at contact is {_figures(scatter.radius, 'arm lengths')}{metres} "
            "from its mean place beside the centre of mass."
        )
    times = [
        f"{words} varies by {_figures(spread, 'ms')}"
        for words, spread in (
            ("the time from the start of the forward swing to contact", scatter.forward),
            ("the time from the start of the turn to contact", scatter.turn),
        )
        if math.isfinite(spread.own)
    ]
    if times:
        out.append(f"{', and '.join(times)}.".capitalize())
    return [*out, ABOUT] if out else []


def _figures(spread: Spread, unit: str) -> str:
    digits = places(unit, (spread.high - spread.low) / (2.0 * NINE_IN_TEN))
    low, own, high = (rounded(value, digits) for value in (spread.low, spread.own, spread.high))
    if float(own) == 0.0:
        # Once the error is taken out nothing is left: only the upper end says something, and is not rounded down.
        most = math.ceil(spread.high * 10.0**digits) / 10.0**digits
        return f"less than {rounded(most, digits)} {unit}"
    return f"{own} {unit} ({low} to {high})"


def apart_sentences(sheet: Sheet) -> list[str]:
    """One sentence for every swing that stands apart from the others: in which measures."""
    out = []
    for place, number in enumerate(sheet.numbers):
        rows = [one.row for _, told in sheet.parts for one in told if place in one.apart]
        if rows:
            names = short_labels(rows[:_NAMED])
            more = f" and {len(rows) - _NAMED} more" if len(rows) > _NAMED else ""
            out.append(f"Swing {number + 1} stands apart in: {', '.join(names)}{more}.")
    return out
