"""The study's tables in Markdown, and the figures that ship with the analysis."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.direction import SIDES
from swingmatch.study.aims import Pool, aims, over_bare, percentile, share, stated_names
from swingmatch.study.measure import ANGLES, TURNS, Errors
from swingmatch.study.stated import coverage

_NOTHING = "–"


@dataclass(frozen=True)
class Row:
    """One line of a table: its label, and what stands in a cell for the clips of one column."""

    label: str
    cell: Callable[[Pool], str]


def spread(values: Iterable[float], digits: int = 1) -> str:
    """Median and 90th percentile of absolute values, or a dash."""
    known = list(values)
    if not known:
        return _NOTHING
    return f"{percentile(known, 50):.{digits}f} / {percentile(known, 90):.{digits}f}"


def _pool(all_errors: Pool, name: str) -> list[float]:
    return [value for errors in all_errors for value in getattr(errors, name)]


def _keyed(all_errors: Pool, name: str, key: str) -> list[float]:
    return [value for errors in all_errors for value in getattr(errors, name).get(key, [])]


def _total(all_errors: Pool, name: str) -> int:
    return sum(getattr(errors, name) for errors in all_errors)


def _percent(part: float, whole: float, digits: int = 1) -> str:
    value = share(part, whole)
    return _NOTHING if np.isnan(value) else f"{value:.{digits}f} %"


def _spread_row(label: str, name: str, digits: int = 1) -> Row:
    return Row(label, lambda pool: spread(_pool(pool, name), digits))


def _event_row(event: str) -> Row:
    def cell(pool: Pool) -> str:
        values = _keyed(pool, "events", event)
        return f"{spread(values, 0)} ({len(values)})" if values else _NOTHING

    return Row(f"{event.replace('_', ' ')}, ms (found)", cell)


def _angle_row(key: str, name: str, more: str = "") -> Row:
    label = f"{QUANTITIES[key].label.lower()}{more}, degrees"
    return Row(label, lambda pool: spread(_keyed(pool, name, key), 0))


def _stated_row(name: str) -> Row:
    def cell(pool: Pool) -> str:
        scaled = _keyed(pool, "stated", name)
        return f"{100.0 * coverage(scaled):.0f} % ({len(scaled)})" if scaled else _NOTHING

    return Row(f"90 % interval holds the truth (of): {name.replace('_', ' ')}", cell)


def rows(all_errors: Pool) -> list[Row]:
    """Everything that is tabled; failed clips count in the first lines and have no errors in the others."""
    out = [
        Row("clips; could not be used", lambda p: f"{len(p)}; {sum(bool(e.failed) for e in p)}"),
        Row("could not be used without sound", lambda p: str(sum(bool(e.failed_silent) for e in p))),
        Row("frames tracked", lambda p: _percent(_total(p, "found"), _total(p, "frames"))),
        Row(
            "swings found; false ones",
            lambda p: f"{_total(p, 'matched')} of {_total(p, 'swings')}; {_total(p, 'extra')}",
        ),
        Row("hitting hand told rightly", lambda p: f"{_total(p, 'hand_right')} of {len(p)}"),
        Row("stroke told rightly", lambda p: f"{_total(p, 'stroke_right')} of {_total(p, 'matched')}"),
        Row("court's lines seen", lambda p: f"{_total(p, 'court')} of {len(p)}"),
        Row(
            "frames with a limb on the other side",
            lambda p: _percent(_total(p, "astray"), _total(p, "found"), 2),
        ),
        Row(
            "frames with both limbs exchanged",
            lambda p: _percent(_total(p, "exchanged"), _total(p, "found"), 2),
        ),
        _spread_row("2-D, keypoint in view, % of stature", "image_seen"),
        _spread_row("2-D, keypoint hidden, % of stature", "image_hidden"),
        _spread_row("camera azimuth, degrees", "azimuth"),
        _spread_row("contact with sound, ms", "contact_sound"),
        _spread_row("contact without sound, ms", "contact_hand"),
    ]
    out += [_event_row(event) for event in dict.fromkeys(name for e in all_errors for name in e.events)]
    out += [_angle_row(key, "angles") for key in ANGLES]
    out += [_angle_row(key, "turns_given", " with the camera's place given") for key in TURNS]
    out.append(_spread_row("stance over shoulder width, %", "stance"))
    out += [_stated_row(name) for name in stated_names(all_errors)]
    return out


def table(title: str, lines: Sequence[Row], columns: Sequence[tuple[str, Pool]]) -> str:
    """A table with one column for each named group of clips."""
    out = [
        title,
        "",
        "| what | " + " | ".join(name for name, _ in columns) + " |",
        "|---" * (len(columns) + 1) + "|",
    ]
    out += [f"| {row.label} | " + " | ".join(row.cell(pool) for _, pool in columns) + " |" for row in lines]
    return "\n".join(out)


def by_side(all_errors: Pool) -> list[tuple[str, Pool]]:
    """Columns: the camera sides that occur, in the order of the circle, then all clips."""
    groups = [(side, [e for e in all_errors if e.side == side]) for _, side in SIDES]
    return [*((name, pool) for name, pool in groups if pool), ("all", all_errors)]


def by_rate(all_errors: Pool) -> list[tuple[str, Pool]]:
    """Columns: the frame rates that occur."""
    rates = sorted({e.rate for e in all_errors})
    return [(f"{rate:g} per second", [e for e in all_errors if e.rate == rate]) for rate in rates]


def by_stroke(all_errors: Pool) -> list[tuple[str, Pool]]:
    """Columns: the strokes that occur."""
    strokes = dict.fromkeys(e.stroke for e in all_errors)
    return [(stroke, [e for e in all_errors if e.stroke == stroke]) for stroke in strokes]


def summary(all_errors: Sequence[Errors]) -> str:
    """The study's report in Markdown: medians and 90th percentiles of absolute errors, and what is met."""
    failed = sum(bool(errors.failed) for errors in all_errors)
    parts = [
        f"{len(all_errors)} clips, {_total(all_errors, 'swings')} swings, {_total(all_errors, 'frames')} frames; "
        f"{failed} clips could not be used.",
        aims_table(all_errors),
    ]
    lines = rows(all_errors)
    title = "Each cell: median / 90th percentile of the absolute error"
    parts.append(table(f"{title}, by camera side (of the right-handed swing)", lines, by_side(all_errors)))
    if len(by_rate(all_errors)) > 1:
        parts.append(table(f"{title}, by frame rate", lines, by_rate(all_errors)))
    raw = [_angle_row(key, "raw_angles") for key in ANGLES]
    parts.append(table("The same angles from the pose model's own 3-D", raw, by_side(all_errors)))
    parts.append(_times(all_errors))
    sentences = [f"- could not be used: {e.failed}" for e in all_errors if e.failed]
    sentences += [
        f"- could not be used without sound: {e.failed_silent}" for e in all_errors if e.failed_silent
    ]
    sentences += [
        f"- could not be used with the true hand: {e.failed_told}" for e in all_errors if e.failed_told
    ]
    return "\n\n".join([*parts, "\n".join(sentences)]).rstrip()


def aims_table(all_errors: Pool) -> str:
    """Every aim, the figure, and whether it is met."""
    out = ["| aim | bounds | figure | |", "|---|---|---|---|"]
    for aim in aims(all_errors):
        value = aim.value(all_errors)
        figure = _NOTHING if np.isnan(value) else f"{value:.2f}{aim.unit}"
        out.append(f"| {aim.label} | {aim.bounds} | {figure} | {aim.verdict(value)} |")
    return "\n".join(out)


def _times(all_errors: Pool) -> str:
    timed = [errors for errors in all_errors if errors.runs]
    steps = dict.fromkeys(step for errors in all_errors for step in errors.seconds)
    out = ["| step | clips | time over the bare pose model on the same frames |", "|---|---|---|"]
    for step in steps:
        ratio = over_bare(all_errors, step)
        if not np.isnan(ratio):
            out.append(f"| {step} | {sum(step in e.seconds for e in all_errors)} | {ratio:.2f} |")
    if timed:
        each = _total(timed, "runs") / max(_total(timed, "frames"), 1)
        out += ["", f"The pose model is asked {each:.2f} times for each frame tracked."]
    return "\n".join(out)


#: How many clips' worth of the other sides' errors a side's own figure is weighed with: few clips a side would
#: otherwise look better or worse than they are by luck.
_SHARED = 3.0


def accuracy(all_errors: Sequence[Errors]) -> dict[str, dict[str, dict[str, float]]]:
    """Root-mean-square error by quantity, column and camera side: what ``findings/accuracy.json`` holds.

    Each side's mean square is drawn towards that of all sides by ``_SHARED`` clips. A quantity that was measured on
    fewer than two clips of a side has no figure there, and is then not visible from it.
    """
    pool: dict[tuple[str, str], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for errors in all_errors:
        for key, values in errors.quantities.items():
            pool[key][errors.side] += values
    out: dict[str, dict[str, dict[str, float]]] = {}
    for (quantity, column), sides in sorted(pool.items()):
        overall = float(np.mean(np.square([v for values in sides.values() for v in values])))
        for side, values in sorted(sides.items()):
            if len(values) < 2:
                continue
            mean_square = (np.sum(np.square(values)) + _SHARED * overall) / (len(values) + _SHARED)
            out.setdefault(quantity, {}).setdefault(column, {})[side] = round(float(mean_square**0.5), 3)
    return out
