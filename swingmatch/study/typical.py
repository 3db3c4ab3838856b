"""How much a sound player usually varies from swing to swing: ``python -m swingmatch.study.typical``.

Writes ``findings/typical.json``: for every stroke, the root mean square, over players, of the standard deviation of
their repeats, of everything that is compared with a model. Forehands are those of the volunteers that ship; no others
ship, so the other strokes are those of generated players of the tuning seeds. What varies from swing to swing here is
what the generator lets vary, which was set by its maker (see ``synth``).
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from swingmatch.findings import typical
from swingmatch.findings.columns import INSTANT_NAMES, mean, means, near, spans_of
from swingmatch.findings.curves import curves_of
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.library.folder import load_library
from swingmatch.stroke.measure import measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study.sample import PLAYERS
from swingmatch.synth.cast import TUNING
from swingmatch.synth.volunteers import REPEATS, swings_of

_FILE = Path(typical.__file__).with_name("typical.json")
#: Generated players of a stroke of which no volunteers ship.
_PLAYERS = 24


def compared(swing: Swing) -> dict[str, tuple[float, str]]:
    """Everything of a swing that is compared with a model: ``Deviation.key`` -> value and unit."""
    spans = spans_of(swing)
    curves = curves_of(swing)
    out = {
        f"{key}@{column}": (value, quantity.unit)
        for key, quantity in QUANTITIES.items()
        for column, value in means(curves.values[key], curves.clock, spans, spans).items()
    }
    for column, (start, stop) in spans.items():
        if column not in INSTANT_NAMES:
            out[f"duration@{column}"] = (1000.0 * (stop - start), "ms")
        if column != "contact":
            out[f"shift@{column}"] = (500.0 * (start + stop), "ms")
    return out | {one.row.key: (one.value, one.row.unit) for one in measure(swing)}


def usual_spread(players: Sequence[Sequence[Swing]]) -> dict[str, float]:
    """Key -> root mean square over players of the standard deviation (divisor n - 1) of their repeats."""
    variances: dict[str, list[float]] = defaultdict(list)
    for repeats in players:
        taken = [compared(swing) for swing in repeats]
        for key, (_, unit) in taken[0].items():
            values = np.array([one[key][0] for one in taken if key in one])
            values = values[np.isfinite(values)]
            if len(values) > 1:
                values = near(values, values[0]) if unit == "deg" else values
                variances[key].append(float(np.var(values, ddof=1)))
    return {key: float(f"{mean(np.array(found)) ** 0.5:.4g}") for key, found in sorted(variances.items())}


def _repeats(stroke: str) -> Iterator[Sequence[Swing]]:
    shipped = [volunteer.swings for volunteer in load_library() if volunteer.stroke == stroke]
    if shipped:
        yield from shipped
        return
    for seed in TUNING[:_PLAYERS]:
        motion = PLAYERS[stroke](seed).perform(swings=REPEATS)
        yield [replace(swing, stroke=stroke) for swing in swings_of(motion)]


def main() -> None:
    """Write the table."""
    about = (
        "Usual standard deviation between the repeats of one sound player, by stroke and by what is compared; written "
        "by: python -m swingmatch.study.typical"
    )
    spread = {stroke: usual_spread(list(_repeats(stroke))) for stroke in STROKES}
    _FILE.write_text(json.dumps({"about": about, "spread": spread}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
