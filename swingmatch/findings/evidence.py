"""``Evidence``: all that is known of how a player's swings differ from the model's, before anything is named.

Beside the comparison's quantities it holds how much later the player is than the model, and every measure of the
stroke that has a floor: for all swings together, and for each alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.findings.compare import Hides, compare, nothing_hidden, shifts
from swingmatch.findings.deviation import Deviation
from swingmatch.stroke.definition import Row
from swingmatch.stroke.measure import Measure, difference, measure
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
    """
    own = [measure(repeat) for repeat in repeats] if measures and floors else []

    def of(places: Sequence[int]) -> tuple[Deviation, ...]:
        some = [players[i] for i in places]
        warps = [alignments[i] for i in places]
        taken = [measures[i] for i in places] if measures else []
        return (
            *compare(some, model, warps, repeats, hides),
            *shifts(some, model, warps, repeats, hides),
            *measured(taken, own, floors),
        )

    everything = range(len(players))
    return Evidence(
        pooled=of(everything),
        each=tuple(of([i]) for i in everything),
        camera_azimuth=players[0].as_right_handed().camera_azimuth,
        stroke=players[0].stroke,
        floors=dict(floors),
    )


def measured(
    players: Sequence[Sequence[Measure]], models: Sequence[Sequence[Measure]], floors: Mapping[str, float]
) -> tuple[Deviation, ...]:
    """One deviation for each measure that has a floor and that both sides know.

    ``players`` and ``models`` hold the measures of every swing. The stated error of a measure is shared by the swings
    of a clip, so it does not shrink with their number: it is the root mean square over them. A measure counts as
    visible where most of the player's swings show it; only those that show it are used then.
    """
    if not players or not models:
        return ()
    theirs = {key: [one[key] for one in map(_by_key, models) if key in one] for key in floors}
    mine = {key: [one[key] for one in map(_by_key, players) if key in one] for key in floors}
    found = [
        _measured(mine[key], theirs[key], floor) for key, floor in floors.items() if mine[key] and theirs[key]
    ]
    return tuple(d for d in found if d is not None and np.isfinite(d.value))


def _by_key(measures: Sequence[Measure]) -> dict[str, Measure]:
    return {one.row.key: one for one in measures}


def _measured(mine: Sequence[Measure], theirs: Sequence[Measure], floor: float) -> Deviation | None:
    row = mine[0].row
    shown = [one for one in mine if one.visible]
    visible = 2 * len(shown) > len(mine)
    used = [one for one in (shown if visible else mine) if np.isfinite(one.value)]
    models = [one.value for one in theirs if np.isfinite(one.value)]
    if not used or not models:
        return None
    model_values = _near(row, models, models[0])
    model = float(np.mean(model_values))
    values = _near(row, [one.value for one in used], model)
    return Deviation(
        quantity=row.key,
        phase="",
        unit=row.unit,
        player=float(np.mean(values)),
        model=model,
        spread=float(np.std(model_values, ddof=1)) if len(model_values) > 1 else 0.0,
        error=float(np.sqrt(np.mean([one.sd**2 for one in used]))),
        repeat=float(np.std(values, ddof=1)) if len(values) > 1 else 0.0,
        floor=floor,
        swings=len(values),
        at=float(np.median([one.time for one in used])),
        visible=visible,
    )


def _near(row: Row, values: Sequence[float], reference: float) -> Array:
    """Angles to the nearest whole turn of ``reference``: (N,)."""
    return np.array([reference + difference(row, value, reference) for value in values])
