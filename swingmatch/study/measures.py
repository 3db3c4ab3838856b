"""The measures of a stroke beside the truth: their errors, and what uncertainty to state for them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from swingmatch.series import dense
from swingmatch.stroke.certainty import Certainty
from swingmatch.stroke.definition import Row
from swingmatch.stroke.direction import SIDES
from swingmatch.stroke.measure import NINE_IN_TEN, difference, spreads
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: What is kept of a true swing before and after contact, s, and how many samples a second it is measured with.
_BEFORE, _AFTER, _RATE = 1.7, 1.3, 240.0
#: Fewer swings than this say nothing of a measure's certainty.
_FEWEST = 12


class Taken(NamedTuple):
    """One measure of one swing: found minus true, and the spread of the drawn bodies, both in the measure's unit."""

    error: float
    spread: float


def taken(swing: Swing, true: Swing, contact_sd: float) -> dict[str, Taken]:
    """Every measure of a swing that was found beside the true one: key -> ``Taken``.

    Left out: what cannot be told of the true swing, and what needs the racket where it was not seen.
    """
    definition = STROKES[true.stroke]
    mine, theirs = definition.movement(swing), definition.movement(_around_contact(true))
    rows = [
        row
        for row in definition.measures
        if not ((row.racket and mine.racket is None) or (row.ball and mine.struck is None))
    ]
    with np.errstate(invalid="ignore", divide="ignore"):
        found = {row.key: float(row.of(mine)) for row in rows}
        truth = {row.key: float(row.of(theirs)) for row in rows}
    spread = spreads(swing, replace(definition, measures=tuple(rows)), found, contact_sd)
    return {
        row.key: Taken(difference(row, found[row.key], truth[row.key]), spread[row.key])
        for row in rows
        if np.isfinite(truth[row.key]) and not (row.racket and np.isnan(found[row.key]))
    }


def _around_contact(true: Swing) -> Swing:
    """The true swing as far as one would be cut out of a clip, with many samples a second."""
    near = (true.times >= true.contact - _BEFORE) & (true.times <= true.contact + _AFTER)
    times, points = dense(true.times[near], true.points[near], _RATE)
    racket = None if true.racket is None else dense(true.times[near], true.racket[near], _RATE)[1]
    return replace(true, times=times, points=points, racket=racket)


def fit(found: Sequence[Taken]) -> tuple[float, float]:
    """Factor and rest with which (factor * spread)^2 + rest^2 is the variance of the errors.

    The most likely ones for errors that are normal to three standard deviations, then both scaled so that nine of ten
    errors lie inside the 90 % interval. The factor is at least 1.
    """
    error = np.array([one.error for one in found])
    spread = np.array([one.spread for one in found])
    scale = float(np.median(np.abs(error))) + 1e-9

    def sd(x: Array) -> Array:
        return np.hypot(np.exp(x[0]) * spread, np.exp(x[1]) * scale)

    def unlikely(x: Array) -> float:
        s = sd(x)
        sizes = np.abs(error) / s
        # Huber: beyond three standard deviations an outlier counts by its size, not by its square.
        loss = np.where(sizes < 3.0, 0.5 * sizes**2, 3.0 * sizes - 4.5)
        # A weak pull to "as drawn, and nothing more" keeps the two apart where the data do not.
        return float(np.sum(np.log(s) + loss) + 0.5 * x[0] ** 2 + 0.1 * x[1] ** 2)

    best = minimize(unlikely, np.zeros(2), method="Nelder-Mead", bounds=[(-3.0, 3.0), (-6.0, 3.0)]).x
    # One more than the errors at hand: the next one is as likely to lie in any gap between them.
    share = min(0.9 * (1.0 + 1.0 / len(error)), 1.0)
    wider = float(np.quantile(np.abs(error) / sd(best), share)) / NINE_IN_TEN
    # Never surer than the drawn bodies: they know of what the generated players do not do, as sending the ball across.
    return max(wider * float(np.exp(best[0])), 1.0), wider * float(np.exp(best[1])) * scale


def certainties(pooled: dict[str, dict[str, list[Taken]]]) -> dict[str, Certainty]:
    """Measure key -> camera side -> errors gives what to state for each measure."""
    out = {}
    for key, sides in pooled.items():
        known = {
            side: [one for one in found if np.isfinite(one.error) and np.isfinite(one.spread)]
            for side, found in sides.items()
        }
        every = [one for found in known.values() for one in found]
        if len(every) < _FEWEST:
            continue
        factor, rest = fit(every)
        usual = {
            side: float(np.median([np.hypot(factor * one.spread, rest) for one in found]))
            for side, found in known.items()
            if found
        }
        out[key] = Certainty(factor, rest, usual)
    return out


def table(stroke: str, pooled: dict[str, dict[str, list[Taken]]], stated: dict[str, Certainty]) -> str:
    """Measure by camera side in Markdown.

    Each cell: median / 90th percentile of the absolute error; the share of swings whose 90 % interval holds the truth;
    the share of swings in which the measure is sure enough to be shown. ``stated`` is what the analysis states.
    """
    sides = [side for _, side in SIDES if any(side in found for found in pooled.values())]
    lines = [
        f"| {stroke}: measure | unit | " + " | ".join(sides) + " | all |",
        "|---" * (len(sides) + 3) + "|",
    ]
    for row in STROKES[stroke].measures:
        by_side = pooled.get(row.key)
        if by_side is None:
            continue
        every = [one for found in by_side.values() for one in found]
        cells = [_cell(row, by_side.get(side, []), stated) for side in sides]
        lines.append(
            f"| {row.label} | {row.unit or '1'} | " + " | ".join([*cells, _cell(row, every, stated)]) + " |"
        )
    return "\n".join(lines)


def _cell(row: Row, found: Sequence[Taken], stated: dict[str, Certainty]) -> str:
    known = [one for one in found if np.isfinite(one.error) and np.isfinite(one.spread)]
    if not known:
        return "–"
    sizes = np.abs([one.error for one in known])
    digits = 0 if row.unit in ("deg", "deg/s", "ms") else 2
    cell = f"{np.median(sizes):.{digits}f} / {np.percentile(sizes, 90):.{digits}f}"
    if row.key in stated:
        certain = stated[row.key]
        sd = np.array([np.hypot(certain.factor * one.spread, certain.rest) for one in known])
        shown = NINE_IN_TEN * sd <= row.useful
        cell += f"; {100.0 * np.mean(sizes <= NINE_IN_TEN * sd):.0f} %; shown {100.0 * shown.mean():.0f} %"
    return cell


def pool(all_found: Sequence[tuple[str, dict[str, list[Taken]]]]) -> dict[str, dict[str, list[Taken]]]:
    """(camera side, measure key -> errors) of every clip to measure key -> camera side -> errors."""
    out: dict[str, dict[str, list[Taken]]] = defaultdict(lambda: defaultdict(list))
    for side, measures in all_found:
        for key, found in measures.items():
            out[key][side] += found
    return {key: dict(sides) for key, sides in out.items()}
