"""Measures in words: values without false precision, units, moments, the trade's word for a number."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.report.labels import milliseconds, moment_label
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.measure import NINE_IN_TEN, Measure
from swingmatch.stroke.repeats import summary

#: Places after the decimal point that a unit never has more of, whatever the uncertainty.
_PLACES = {"deg": 0, "ms": 0, "deg/s": 0}
_MOST_PLACES = 2
#: What the unit "hip-to-shoulder" means.
HIP_TO_SHOULDER = "Hip–shoulder: 0 at the height of the hips, 1 at that of the shoulders."
#: Units as they are written after a number.
_UNITS = {
    "deg": "°",
    "deg/s": "°/s",
    "ms": "ms",
    "hip-to-shoulder": "hip–shoulder",
    "statures": "body heights",
    "statures/s": "body heights/s",
}


def unit_words(unit: str) -> str:
    """A unit as a coach reads it."""
    return _UNITS.get(unit, unit)


def places(unit: str, sd: float) -> int:
    """Decimal places to which a value with a standard deviation is written; negative for tens and hundreds.

    The last place written is that of the standard deviation's first digit, and one more where that digit is a 1.
    """
    most = _PLACES.get(unit, _MOST_PLACES)
    if not (math.isfinite(sd) and sd > 0.0):
        return most
    power = math.floor(math.log10(sd))
    one_more = 1 if sd / 10.0**power < 2.0 else 0
    return min(one_more - power, most)


def rounded(value: float, digits: int) -> str:
    """A value to so many decimal places (negative: to tens and hundreds), with a true minus sign."""
    near = round(value, digits) + 0.0
    text = f"{abs(near):.{max(digits, 0)}f}"
    return f"−{text}" if near < 0 and float(text) != 0.0 else text


@dataclass(frozen=True)
class Told:
    """One row's value over one swing or several, in the row's unit.

    Attributes
    ----------
    row : what was measured. value : of the one swing, or the mean over the swings in which it may be reported.
    sd : stated standard deviation of one swing's value (of several the root mean square).
    spread : standard deviation from swing to swing; NaN below two swings.
    swings : in how many swings it may be reported.
    metres : the value in metres where the player's height is known. ahead : mean seconds from contact.
    apart : places in ``same`` of the swings that are set apart from the others.
    """

    row: Row
    value: float
    sd: float
    spread: float
    swings: int
    metres: float | None
    ahead: float
    apart: tuple[int, ...] = ()

    @property
    def places(self) -> int:
        """Decimal places in which everything about it is written."""
        return places(self.row.unit, self.sd)

    @property
    def number(self) -> str:
        """The value."""
        return rounded(self.value, self.places)

    @property
    def give_or_take(self) -> str:
        """Half-width of the 90 % interval of one swing's value; "" for one that is exact."""
        return f"±{rounded(NINE_IN_TEN * self.sd, self.places)}" if self.sd > 0.0 else ""

    @property
    def from_swing_to_swing(self) -> str:
        """The spread over swings; "" below two."""
        return rounded(self.spread, self.places) if math.isfinite(self.spread) else ""

    @property
    def in_metres(self) -> str:
        """The value in metres; "" where the player's height is not known or it is no length."""
        if self.metres is None:
            return ""
        share = abs(self.metres / self.value) if self.value else 1.0
        return f"{rounded(self.metres, places('m', share * self.sd))} m"


def tell(same: Sequence[Measure], contacts: Sequence[float]) -> Told | None:
    """One row of several swings as one; None where no swing may report it.

    ``same`` is one row's measure in each swing, ``contacts`` the swings' contact times, seconds.
    """
    seen = [(m, c) for m, c in zip(same, contacts, strict=True) if m.visible]
    if not seen:
        return None
    (repeat,) = summary([[m] for m in same])
    # All swings are of one player, so of one stature.
    metres = [m.metres for m, _ in seen if m.metres is not None]
    return Told(
        row=repeat.row,
        value=repeat.mean,
        sd=repeat.error,
        spread=repeat.seen,
        swings=repeat.count,
        metres=float(np.mean(metres)) if len(metres) == len(seen) else None,
        ahead=float(np.mean([m.time - c for m, c in seen])),
        apart=repeat.outliers,
    )


def trade_word(definition: Definition, told: Told) -> str:
    """The trade's word for a value, such as the stance's name; both where its 90 % interval holds two; else ""."""
    suggests = definition.suggests.get(told.row.key)
    if suggests is not None:
        return suggests(told.value, told.sd)
    word = definition.words.get(told.row.key)
    if word is None:
        return ""
    half = NINE_IN_TEN * told.sd
    words = [w for w in (word(told.value - half), word(told.value + half)) if w]
    return " to ".join(dict.fromkeys(words))


def moment_words(told: Told) -> str:
    """When in the stroke a value is taken.

    An event ("end of take-back"), the end of the stretch that it needs ("up to contact"), or the time of what it finds
    itself, such as a largest value ("120 ms before contact").
    """
    row = told.row
    first, _, last = row.at.partition("..")
    if last and hasattr(row.of, "when") and math.isfinite(told.ahead):
        return milliseconds(told.ahead)
    return f"up to {moment_label(last)}" if last else moment_label(first)


def short_labels(rows: Iterable[Row]) -> list[str]:
    """Labels for a running text: lower case; without what stands in brackets, and with the part, where that is enough
    and where it is needed to tell one from another."""
    rows = list(rows)
    plain = [_lower(row.label.partition(" (")[0]) for row in rows]
    words = [
        word if plain.count(word) == 1 else _lower(row.label) for row, word in zip(rows, plain, strict=True)
    ]
    return [
        word if words.count(word) == 1 else f"{word} ({row.part})"
        for row, word in zip(rows, words, strict=True)
    ]


def _lower(label: str) -> str:
    return label[:1].lower() + label[1:]
