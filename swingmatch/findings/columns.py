"""The columns of the comparison: the phases of a stroke and its key instants, and their way through the warp.

The phases are the model's, carried to the player by the warp: both sides of a difference are taken over the same part
of the stroke, and a player's stroke needs no events of its own beyond contact. All times are seconds from contact.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.series import resample
from swingmatch.stroke.forehand import FOREHAND
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]
Spans = dict[str, tuple[float, float]]

#: Instants of a forehand that get a column of their own beside the phases: label and event.
INSTANTS: tuple[tuple[str, str], ...] = FOREHAND.instants
#: Labels of all strokes' instants.
INSTANT_NAMES = frozenset(label for stroke in STROKES.values() for label, _ in stroke.instants)
#: The way back to waiting is not part of what is compared.
_NOT_COMPARED = "recovery"
#: Half-width of an instant, seconds: the frame before and after at 60 fps, which halves the noise of one frame.
INSTANT = 0.017
#: Moments at which a quantity is read within a column.
MOMENTS = 32
#: The warp must reach all of a column but this much, seconds; it starts and ends on samples, up to 1/120 s inside.
_UNREACHED = 0.02


def columns_of(stroke: str) -> tuple[str, ...]:
    """The columns of a stroke's comparison in order of time: a phase, then the instant at which it ends."""
    definition = STROKES[stroke]
    labels = {event: label for label, event in definition.instants}
    out: list[str] = []
    for name, _, last in definition.phases:
        if name != _NOT_COMPARED:
            out += [name, *([labels[last]] if last in labels else [])]
    return tuple(out)


#: Columns of the comparison of a forehand in order of time.
COLUMNS = columns_of("forehand")


def moments(events: Mapping[str, float], stroke: str = "forehand") -> Spans:
    """Start and end of every column, on the clock of ``events``; an instant is a short stretch around its event."""
    definition = STROKES[stroke]
    out = {name: span for name, span in definition.phase_bounds(events).items() if name != _NOT_COMPARED}
    for label, event in definition.instants:
        if event in events:
            out[label] = (events[event] - INSTANT, events[event] + INSTANT)
    return out


def spans_of(swing: Swing) -> Spans:
    """Start and end of every column of a swing, seconds from its contact."""
    return moments({name: time - swing.contact for name, time in swing.events.items()}, swing.stroke)


def carried(alignment: Alignment, spans: Spans) -> Spans:
    """The model's spans on the player's clock; instants keep their length.

    A span that the warp does not reach from end to end is left out: cut short, it would be another part of the stroke.
    """
    first, last = alignment.model_times[[0, -1]]
    out = {}
    for name, (start, stop) in spans.items():
        if start < first - _UNREACHED or stop > last + _UNREACHED:
            continue
        if name in INSTANT_NAMES:
            centre = float(alignment.to_player(np.array([0.5 * (start + stop)]))[0])
            out[name] = (centre - INSTANT, centre + INSTANT)
        else:
            a, b = alignment.to_player(np.array([start, stop]))
            out[name] = (float(a), float(b))
    return out


def spread_over(span: tuple[float, float]) -> Array:
    """``MOMENTS`` moments evenly spread within a span."""
    start, stop = span
    return start + (np.arange(MOMENTS) + 0.5) / MOMENTS * (stop - start)


def means(values: Array, clock: Array, spans: Spans, wanted: Collection[str]) -> dict[str, float]:
    """Mean of ``values`` (T,) at ``clock`` (T,) over the time of each span, NaN where nothing is known there.

    Taken over moments evenly spread within the span, not over the frames that happen to fall inside: a phase may be a
    few frames short, and one more or less at its border would show.
    """
    return {
        name: mean(resample(values, clock, spread_over(span)))
        for name, span in spans.items()
        if name in wanted
    }


def mean(values: Array) -> float:
    """Mean of what is known; NaN where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def near(values: Array, reference: float) -> Array:
    """Angles in degrees moved by whole turns to within half a turn of ``reference``."""
    return values - 360.0 * np.round((values - reference) / 360.0)
