"""The measures of a clip as a table for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from swingmatch.findings.measured import Measured
from swingmatch.report.labels import sentence_case
from swingmatch.report.repeats import apart_sentences, contact_sentences, contact_words
from swingmatch.report.sheet import Sheet, sheets
from swingmatch.report.values import (
    HIP_TO_SHOULDER,
    Told,
    moment_words,
    short_labels,
    trade_word,
    unit_words,
)
from swingmatch.stroke.definition import Row
from swingmatch.stroke.measure import NO_RACKET, UNSEEN
from swingmatch.stroke.repeats import Scatter

#: Columns of the terminal that the table takes at most.
WIDTH = 100
_LABEL, _UNIT = 34, 16
#: Camera sides that are named for what this view does not show.
_SIDES = 2

ABOUT = (
    "± is the half-width of the 90 % interval of one swing's value, the error of the camera's view included."
)
ABOUT_SPREAD = "Spread is the standard deviation from swing to swing, n the swings in which it is visible."
_SEVERAL = (("mean", 7), ("", 7), ("spread", 7), ("n", 3))
_ONE = (("", 7), ("", 7))
_METRES = ("metres", 8)


def measures_table(measured: Measured) -> str:
    """Everything that was measured in a clip as text, at most ``WIDTH`` columns wide."""
    strokes = measured.strokes
    blocks = []
    for sheet in sheets(strokes.swings, measured.measures):
        told = [one for _, part in sheet.parts for one in part]
        metres = any(one.metres is not None for one in told)
        blocks += [
            _wrap(
                f"{measured.clip}: {counted(sheet)}, {strokes.hand}-handed, seen from the {measured.camera_side}."
            ),
            *(_part(part, rows, sheet, metres) for part, rows in sheet.parts),
            _wrap(" ".join(_legend(told, len(sheet.numbers) > 1))),
            *_repeats(sheet, measured.scatters.get(sheet.definition.name)),
            *left_out(sheet, measured.camera_side),
        ]
    if measured.notes:
        blocks.append("How sure\n" + "\n".join(_wrap(note, "  ") for note in measured.notes))
    return "\n\n".join(blocks) + "\n"


def _repeats(sheet: Sheet, scatter: Scatter | None) -> list[str]:
    """How well contact repeats, and which swings stand apart."""
    if scatter is None:
        return []
    lines = [*contact_sentences(scatter), *apart_sentences(sheet)]
    return [
        "\n".join(
            [
                f"From swing to swing ({contact_words(scatter)})",
                *(_wrap(line, "    ", first="  ") for line in lines),
            ]
        )
    ]


def _legend(told: Sequence[Told], several: bool) -> list[str]:
    if not told:
        return ["Nothing could be measured with enough certainty from this clip."]
    return [
        ABOUT,
        *([ABOUT_SPREAD] if several else []),
        *([HIP_TO_SHOULDER] if any(one.row.unit == "hip-to-shoulder" for one in told) else []),
    ]


def left_out(sheet: Sheet, camera_side: str) -> list[str]:
    """What is not reported, as short lists: what another side would show, what needs the racket, the rest."""
    out = []
    if sheet.unseen:
        lines = [
            _wrap(f"{sentence_case(where(sides, camera_side))}: {_names(rows)}.", "    ", first="  ")
            for sides, rows in sheet.unseen
        ]
        out.append("\n".join([f"{sentence_case(UNSEEN)}", *lines]))
    rest = [*([(NO_RACKET, sheet.no_racket)] if sheet.no_racket else []), *sheet.others]
    if rest:
        out.append(
            "\n".join(_wrap(f"{sentence_case(why)}: {_names(rows)}.", "    ", "") for why, rows in rest)
        )
    return out


def where(sides: Sequence[str], camera_side: str) -> str:
    """From where else to film, in words: "visible from the front or back"."""
    others = [side for side in sides if side != camera_side][:_SIDES]
    if others:
        return f"visible from the {' or '.join(others)}"
    return "visible from this side in a clearer clip" if sides else "visible from no side that was tried"


def _names(rows: Sequence[Row]) -> str:
    return "; ".join(short_labels(rows))


def counted(sheet: Sheet) -> str:
    """How many swings of which stroke: "3 forehands"."""
    count, name = len(sheet.numbers), sheet.definition.name
    return f"{count} {name}{'' if count == 1 else 's'}"


def _part(part: str, told: Sequence[Told], sheet: Sheet, metres: bool) -> str:
    several = len(sheet.numbers) > 1
    columns = [*(_SEVERAL if several else _ONE), *([_METRES] if metres else [])]
    widths = [width for _, width in columns]
    lines = [_line([sentence_case(part)], [name for name, _ in columns], widths, [], [])]
    for one in told:
        word = trade_word(sheet.definition, one)
        unit = ", ".join(w for w in (unit_words(one.row.unit), word) if w)
        cells = [one.number, one.give_or_take]
        if several:
            cells += [one.from_swing_to_swing, str(one.swings)]
        if metres:
            cells.append(one.in_metres)
        lines.append(
            _line(
                _fold(f"  {one.row.label}", _LABEL, "    "),
                cells,
                widths,
                _fold(unit, _UNIT),
                _fold(moment_words(one), WIDTH - _LABEL - _UNIT - sum(widths) - 3),
            )
        )
    return "\n".join(lines)


def _fold(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    ) or [""]


def _line(
    label: Sequence[str],
    cells: Sequence[str],
    widths: Sequence[int],
    unit: Sequence[str],
    when: Sequence[str],
) -> str:
    """One row of the table; what is too long for its column goes on below itself."""
    numbers = "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
    out = []
    for i in range(max(len(label), len(unit), len(when))):
        name, of, at = (column[i] if i < len(column) else "" for column in (label, unit, when))
        figures = numbers if i == 0 else " " * len(numbers)
        out.append(f"{name:<{_LABEL}}{figures}  {of:<{_UNIT}} {at}".rstrip())
    return "\n".join(out)


def _wrap(text: str, indent: str = "", first: str | None = None) -> str:
    return textwrap.fill(
        " ".join(text.split()),
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
