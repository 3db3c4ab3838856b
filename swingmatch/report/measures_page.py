"""The review's section on measures: each visible one with its value and the picture in which it was taken.

Every picture is in the page once, as a symbol; each measure draws its own marks over it.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from swingmatch.findings.review import Review
from swingmatch.report.film import ClipFrames
from swingmatch.report.labels import milliseconds, sentence_case
from swingmatch.report.marks import Body, Line, Shape, bones, marks, plan
from swingmatch.report.measures_table import counted, where
from swingmatch.report.repeats import apart_sentences, contact_sentences, contact_words
from swingmatch.report.sheet import Sheet, sheets
from swingmatch.report.shots import Shot, nearest_frame, take_shots
from swingmatch.report.values import (
    HIP_TO_SHOULDER,
    Told,
    moment_words,
    short_labels,
    tell,
    trade_word,
    unit_words,
)
from swingmatch.stroke.definition import Row
from swingmatch.stroke.measure import NO_RACKET, UNSEEN, Measure
from swingmatch.stroke.repeats import Scatter

#: Side of the view from above, pixels.
_PLAN = 120
#: Units that stand close to their number.
_CLOSE = ("deg", "deg/s")


@dataclass(frozen=True)
class _Shown:
    """One measure as it is shown: over all swings, in the one swing, and that swing's measure and place."""

    told: Told
    own: Told
    measure: Measure
    swing: int


def measures_section(review: Review, clip_frames: ClipFrames | None) -> str:
    """The section's HTML; "" where nothing was measured.

    ``clip_frames`` gives the clip's pictures between two times; without it the skeleton stands alone.
    """
    if not review.measures:
        return ""
    swings = [pair.player for pair in review.pairs]
    all_sheets = sheets(swings, review.measures)
    shown = [_shown(sheet, review) for sheet in all_sheets]
    wanted = {_frame(one, review) for parts in shown for _, ones in parts for one in ones}
    shots = take_shots(review.track, {frame for frame in wanted if frame is not None}, clip_frames)
    body = "".join(
        _stroke(sheet, parts, review, shots, alone=len(all_sheets) == 1)
        for sheet, parts in zip(all_sheets, shown, strict=True)
    )
    return (
        "<section aria-labelledby='measured' class='measured'><h2 id='measured'>What was measured</h2>"
        f"{_symbols(review, shots)}{body}</section>"
    )


def _shown(sheet: Sheet, review: Review) -> list[tuple[str, list[_Shown]]]:
    """What is shown of each part: from the swing that is shown first where it can, else from the first that can."""
    order = sorted(sheet.numbers, key=lambda number: number != review.best)
    by_key = {number: {m.row.key: m for m in review.measures[number]} for number in order}
    out = []
    for part, told in sheet.parts:
        ones = []
        for one in told:
            number = next(i for i in order if by_key[i][one.row.key].visible)
            measure = by_key[number][one.row.key]
            own = tell([measure], [review.pairs[number].player.contact])
            assert own is not None
            ones.append(_Shown(one, own, measure, number))
        out.append((part, ones))
    return out


def _frame(one: _Shown, review: Review) -> int | None:
    """Row of the track at which a measure is shown; None where its moment is not known."""
    return nearest_frame(review.track, one.measure.time) if one.measure.time == one.measure.time else None


def _stroke(
    sheet: Sheet,
    parts: Sequence[tuple[str, list[_Shown]]],
    review: Review,
    shots: dict[int, Shot],
    *,
    alone: bool,
) -> str:
    head = "" if alone else f"<h3>{escape(sentence_case(counted(sheet)))}</h3>"
    if not parts:
        text = "<p>Nothing could be measured with enough certainty from this clip.</p>"
    else:
        text = _about(sheet, parts, review) + "".join(
            _part(part, ones, sheet, review, shots) for part, ones in parts
        )
    repeats = _repeats(sheet, review.scatters.get(sheet.definition.name))
    return head + text + repeats + _left_out(sheet, review.camera_side)


def _repeats(sheet: Sheet, scatter: Scatter | None) -> str:
    """How well contact repeats, and which swings stand apart."""
    if scatter is None:
        return ""
    lines = [*contact_sentences(scatter), *apart_sentences(sheet)]
    said = "".join(f"<p>{escape(line)}</p>" for line in lines)
    return (
        "<details class='part'><summary><h3>From swing to swing</h3>"
        f"<span class='under'>{escape(contact_words(scatter))}</span></summary>{said}</details>"
    )


def _about(sheet: Sheet, parts: Sequence[tuple[str, list[_Shown]]], review: Review) -> str:
    several = len(sheet.numbers) > 1
    spread = (
        f" Values and pictures are of swing {review.best + 1} unless another one is named; the spread is the standard "
        "deviation from swing to swing."
        if several
        else ""
    )
    scale = (
        f" {HIP_TO_SHOULDER}"
        if any(one.own.row.unit == "hip-to-shoulder" for _, ones in parts for one in ones)
        else ""
    )
    return (
        "<p>Open a part of the stroke for its numbers, each with the picture in which it was taken; open a number for "
        f"its definition. ± is the half-width of the 90 % interval.{escape(spread + scale)}</p>"
    )


def _part(part: str, ones: Sequence[_Shown], sheet: Sheet, review: Review, shots: dict[int, Shot]) -> str:
    cards = "".join(_cards(ones, sheet, review, shots))
    count = f"{len(ones)} measure{'' if len(ones) == 1 else 's'}"
    return (
        f"<details class='part'{' open' if part == 'contact' else ''}><summary><h3>{escape(sentence_case(part))}</h3>"
        f"<span class='under'>{count}</span></summary><div class='taken'>{cards}</div></details>"
    )


def _cards(ones: Sequence[_Shown], sheet: Sheet, review: Review, shots: dict[int, Shot]) -> Iterator[str]:
    """One card a picture with the same marks, with all that is read from it."""
    groups: dict[tuple[int | None, str], list[_Shown]] = {}
    pictures: dict[tuple[int | None, str], _Picture] = {}
    for one in ones:
        picture = _pictures(one, sheet, review, shots)
        # Without marks or picture there is nothing to share.
        key = (_frame(one, review), picture.marks or one.own.row.key)
        groups.setdefault(key, []).append(one)
        if not pictures.get(key, picture).plan:
            pictures[key] = picture
        pictures.setdefault(key, picture)
    for key, same in groups.items():
        rows = "".join(_row(one, sheet) for one in same)
        figure = _figure(pictures[key], same, review)
        yield f"<article>{figure}<div>{rows}{_from_above(pictures[key])}</div></article>"


@dataclass(frozen=True)
class _Picture:
    """What a card shows: which shot, and what is drawn on it and on the ground."""

    shot: Shot | None
    marks: str
    plan: str


def _pictures(one: _Shown, sheet: Sheet, review: Review, shots: dict[int, Shot]) -> _Picture:
    frame = _frame(one, review)
    shot = None if frame is None else shots.get(frame)
    if shot is None:
        return _Picture(None, "", "")
    body = Body(review.pairs[one.swing].player, sheet.definition, review.track, shot)
    row = one.own.row
    return _Picture(shot, _drawn(marks(row, body)), _drawn(plan(row, body, _PLAN)))


def _figure(picture: _Picture, same: Sequence[_Shown], review: Review) -> str:
    one = same[0]
    contact = review.pairs[one.swing].player.contact
    when = moment_words(one.own)
    time = milliseconds(one.measure.time - contact) if one.own.row.at != "contact" else "at contact"
    caption = sentence_case(when if time == when else f"{when}, {time}" if time != "at contact" else time)
    if one.swing != review.best:
        caption += f" (swing {one.swing + 1})"
    if picture.shot is None:
        return "<figure></figure>"
    labels = ", ".join(short_labels(m.own.row for m in same))
    alt = f"The player, {caption[:1].lower()}{caption[1:]}, with marks for: {labels}"
    w, h = picture.shot.size
    return (
        f"<figure><svg class='shot' viewBox='0 0 {w} {h}' role='img' aria-label='{escape(alt, quote=True)}'>"
        f"<use href='#shot-{picture.shot.frame}'/>{picture.marks}</svg>"
        f"<figcaption class='under'>{escape(caption)}</figcaption></figure>"
    )


def _from_above(picture: _Picture) -> str:
    if not picture.plan:
        return ""
    return (
        f"<svg class='plan' viewBox='0 0 {_PLAN} {_PLAN}' role='img' aria-label='The same from above, the target up'>"
        f"<use href='#target'/>{picture.plan}</svg>"
    )


def _row(one: _Shown, sheet: Sheet) -> str:
    own, told = one.own, one.told
    word = trade_word(sheet.definition, own)
    unit = unit_words(own.row.unit)
    # A degree sign stands at every number, a word of a unit once behind them all.
    sign, behind = (unit, "") if own.row.unit in _CLOSE else ("", unit)
    value = [
        f"<strong>{own.number}{sign}</strong>",
        own.give_or_take and f"<span>{own.give_or_take}{sign}</span>",
        behind and f"<span class='under'>{escape(behind)}</span>",
        own.in_metres and f"<span class='under'>{own.in_metres}</span>",
        word and f"<em>{escape(word)}</em>",
    ]
    several = (
        f"<span class='under all'>{told.swings} swings: mean {told.number}{sign}, "
        f"spread {told.from_swing_to_swing}{sign}</span>"
        if told.swings > 1
        else ""
    )
    return (
        f"<details class='one'><summary><span class='name'>{escape(own.row.label)}</span>"
        f"<span class='value'>{' '.join(part for part in value if part)}</span>{several}</summary>"
        f"<p>{escape(own.row.definition)}</p></details>"
    )


def _left_out(sheet: Sheet, camera_side: str) -> str:
    """What is not reported, folded: what another side would show, what needs the racket, the rest."""
    lines = [f"{sentence_case(where(sides, camera_side))}: {_names(rows)}" for sides, rows in sheet.unseen]
    more = [*([(NO_RACKET, sheet.no_racket)] if sheet.no_racket else []), *sheet.others]
    lines += [f"{sentence_case(why)}: {_names(rows)}" for why, rows in more]
    if not lines:
        return ""
    count = sum(len(rows) for _, rows in (*sheet.unseen, *more))
    items = "".join(f"<li>{escape(line)}.</li>" for line in lines)
    return (
        f"<details class='part'><summary><h3>{sentence_case(UNSEEN)}</h3>"
        f"<span class='under'>{count} more</span></summary><ul>{items}</ul></details>"
    )


def _names(rows: Sequence[Row]) -> str:
    return "; ".join(short_labels(rows))


# --- drawing ----------------------------------------------------------------------------------------------------------


def _symbols(review: Review, shots: dict[int, Shot]) -> str:
    """Every picture once, with the skeleton, under a name; and the ground with the target."""
    out = []
    for shot in shots.values():
        w, h = shot.size
        picture = ""
        if shot.picture is not None:
            data = base64.b64encode(shot.picture).decode("ascii")
            picture = f"<image href='data:image/jpeg;base64,{data}' width='{w}' height='{h}'/>"
        lines = "".join(f"<path d='{_way(line)}'/>" for line in bones(review.track, shot))
        out.append(f"<g id='shot-{shot.frame}'>{picture}<g class='bones'>{lines}</g></g>")
    half = _PLAN / 2
    out.append(
        f"<g id='target' class='target'><path d='M{half} 17V5m-4 5 4-5 4 5'/>"
        f"<text x='{half + 7}' y='12'>target</text></g>"
    )
    return f"<svg class='store' aria-hidden='true' width='0' height='0'><defs>{''.join(out)}</defs></svg>"


def _drawn(shapes: Iterable[Shape]) -> str:
    """SVG of shapes: first everything's dark edge, then everything in its colour."""
    parts = [_path(shape) for shape in shapes]
    if not parts:
        return ""
    edge = "".join(f"<path d='{d}'/>" for d, _ in parts)
    ink = "".join(f"<path class='{'ref' if dashed else 'own'}' d='{d}'/>" for d, dashed in parts)
    return f"<g class='edge'>{edge}</g><g class='ink'>{ink}</g>"


def _path(shape: Shape) -> tuple[str, bool]:
    """An SVG path, and whether it is dashed."""
    if isinstance(shape, Line):
        return _way(shape), shape.dashed
    x, y, r = shape.at[0], shape.at[1], shape.radius
    d = f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0"
    if shape.crossed:
        d += f"M{x - r:.1f} {y:.1f}h{2 * r:.1f}M{x:.1f} {y - r:.1f}v{2 * r:.1f}"
    return d, False


def _way(line: Line) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line.points) + (_tip(line) if line.arrow else "")


def _tip(line: Line) -> str:
    """The head of an arrow at the end of a line."""
    (x1, y1) = line.points[-1]
    far = [(x, y) for x, y in line.points if (x - x1) ** 2 + (y - y1) ** 2 > 36.0]
    if not far:
        return ""
    x0, y0 = far[-1]
    size = 9.0 / ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    dx, dy = size * (x1 - x0), size * (y1 - y0)
    left = (x1 - dx + 0.5 * dy, y1 - dy - 0.5 * dx)
    right = (x1 - dx - 0.5 * dy, y1 - dy + 0.5 * dx)
    return f"M{left[0]:.1f} {left[1]:.1f}L{x1:.1f} {y1:.1f}L{right[0]:.1f} {right[1]:.1f}"
