"""``Evidence``: all that is known of how a player's swings differ from the model's, before anything is named.

Beside the comparison's quantities it holds how much later the player is than the model, and every measure of the
stroke that has a floor: for all swings together, and for each alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.findings.accuracy import Hides, nothing_hidden
from swingmatch.findings.columns import near
from swingmatch.findings.compare import quantities
from swingmatch.findings.curves import curves_of
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.discovery import with_chances
from swingmatch.findings.timing import durations, shifts
from swingmatch.findings.typical import own_spread, spread_of
from swingmatch.stroke.definition import Row
from swingmatch.stroke.measure import Measure, measure
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Evidence:
    """Deviations of one player's swings from one model swing.

    Attributes
    ----------
    pooled : of all swings together. each : of every swing alone, in order.
    camera_azimuth : degrees, that of the right-handed swing; NaN for an unknown side.
    stroke : as in ``stroke.strokes.STROKES``.
    floors : key of a measure -> smallest difference that matters, in the measure's unit.
    """

    pooled: tuple[Deviation, ...]
    each: tuple[tuple[Deviation, ...], ...]
    camera_azimuth: float
    stroke: str
    floors: Mapping[str, float]

    def __getitem__(self, key: str) -> Deviation:
        """The pooled deviation of a ``Deviation.key``. Raises ``KeyError``."""
        for deviation in self.pooled:
            if deviation.key == key:
                return deviation
        raise KeyError(key)


def gather(
    players: Sequence[Swing],
    model: Swing,
    alignments: Sequence[Alignment],
    repeats: Sequence[Swing],
    measures: Sequence[Sequence[Measure]],
    floors: Mapping[str, float],
    hides: Hides = nothing_hidden,
) -> Evidence:
    """Everything in which a player's swings may be told from a model swing.

    Parameters
    ----------
    players, model, alignments, repeats, hides : as in ``compare``.
    measures : of each of ``players``, in order; may be empty. What footage hides is left out of them already.
    floors : key of a measure -> smallest difference that matters on court. A measure that is not here is left out.

    Returns
    -------
    Quantities, durations and shifts by column, then the measures; ``chance`` is filled in over all of them together,
    for the swings together and for each swing alone.
    """
    curves = [curves_of(player) for player in players]
    of_model = curves_of(model)
    of_repeats = [curves_of(repeat) for repeat in repeats]

    def of(places: Sequence[int]) -> tuple[Deviation, ...]:
        some = [players[i] for i in places]
        warps = [alignments[i] for i in places]
        taken = [measures[i] for i in places] if measures else [()] * len(places)
        strung = any(player.racket is not None for player in some)
        return with_chances(
            (
                *quantities([curves[i] for i in places], of_model, warps, of_repeats, hides),
                *durations(some, model, warps, repeats, hides),
                *shifts(some, model, warps, repeats, hides),
                *measured(some, taken, repeats, floors, strung),
            )
        )

    everything = range(len(players))
    pooled = of(everything)
    return Evidence(
        pooled=pooled,
        each=tuple(of([i]) for i in everything) if len(players) > 1 else (pooled,),
        camera_azimuth=players[0].as_right_handed().camera_azimuth,
        stroke=players[0].stroke,
        floors=dict(floors),
    )


def measured(
    players: Sequence[Swing],
    measures: Sequence[Sequence[Measure]],
    repeats: Sequence[Swing],
    floors: Mapping[str, float],
    strung: bool = True,
) -> tuple[Deviation, ...]:
    """One deviation for each measure that has a floor and that both sides know.

    ``measures`` are of each of ``players``, in order. The model's are taken from its ``repeats``, without their rackets
    where the player's was not tracked (``strung``), so that both are assumed alike. The stated error of a measure is
    shared by the swings of a clip: it does not shrink with their number, and is the root mean square over them. A
    measure counts as visible where most of the player's swings show it; only those are used then.
    """
    if not floors or not any(measures):
        return ()
    own = [{one.row.key: one for one in found} for found in measures]
    theirs = [{one.row.key: one for one in _of_model(repeat, strung)} for repeat in repeats]
    out = []
    for key, floor in floors.items():
        mine = [(one[key], player.contact) for one, player in zip(own, players, strict=True) if key in one]
        models = np.array([one[key].value for one in theirs if key in one])
        if mine and np.isfinite(models).any():
            out.append(_measured(mine, models[np.isfinite(models)], floor, players[0].stroke))
    return tuple(found for found in out if found is not None)


def _measured(
    mine: Sequence[tuple[Measure, float]], models: Array, floor: float, stroke: str
) -> Deviation | None:
    """The deviation of one measure; ``mine`` holds that of each swing with its time of contact."""
    row = mine[0][0].row
    shown = [pair for pair in mine if pair[0].visible]
    visible = 2 * len(shown) > len(mine)
    used = [pair for pair in (shown if visible else mine) if np.isfinite(pair[0].value)]
    if not used:
        return None
    models = _near(row, models, models[0])
    model = float(models.mean())
    values = _near(row, np.array([one.value for one, _ in used]), model)
    return Deviation(
        quantity=row.key,
        phase="",
        unit=row.unit,
        player=float(values.mean()),
        model=model,
        spread=spread_of(models, stroke, row.key),
        error=float(np.sqrt(np.mean([one.sd**2 for one, _ in used]))),
        repeat=own_spread(values),
        floor=floor,
        swings=len(values),
        at=float(np.median([one.time - contact for one, contact in used])),
        visible=visible,
    )


def _near(row: Row, values: Array, reference: float) -> Array:
    """Angles to the nearest whole turn of ``reference``: (N,)."""
    return near(values, reference) if row.unit == "deg" else values


class _Same:
    """A swing as a key: the same only as itself, whatever its arrays hold."""

    def __init__(self, swing: Swing) -> None:
        self.swing = swing

    def __hash__(self) -> int:
        return id(self.swing)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.swing is self.swing


#: Model swings whose measures are remembered: those of a few volunteers, a few hundred kilobytes each.
_REMEMBERED = 64


def _of_model(repeat: Swing, strung: bool) -> tuple[Measure, ...]:
    return _remembered(_Same(repeat), strung)


@lru_cache(maxsize=_REMEMBERED)
def _remembered(same: _Same, strung: bool) -> tuple[Measure, ...]:
    swing = same.swing
    return measure(swing if strung else replace(swing, racket=None, racket_seen=None, struck=None))
