"""How much a sound player usually varies from swing to swing: ``python -m swingmatch.study.typical --mocap FOLDER``.

Writes ``findings/typical.json``: for every stroke, the root mean square, over players, of the standard deviation of
their repeats, of everything that is compared with a model. It is that of the recorded players kept for tuning (see
``recorded``), who vary about four times as much as the generator lets its players vary: a volunteer with one repeat is
rather like them. What was not recorded, the racket above all, is that of generated players, widened by the median of
how much more the recorded ones vary in all else.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from swingmatch.body.skeleton import INDEX, SIDES, middle, mirror
from swingmatch.findings import typical
from swingmatch.findings.columns import INSTANT_NAMES, mean, means, near, spans_of
from swingmatch.findings.curves import curves_of
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.library.folder import load_library
from swingmatch.stroke.measure import measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study.captured import Stroke, strokes
from swingmatch.study.recorded import TUNING_PLAYERS
from swingmatch.study.sample import PLAYERS
from swingmatch.synth.cast import TUNING
from swingmatch.synth.volunteers import REPEATS, swings_of

_FILE = Path(typical.__file__).with_name("typical.json")
#: Generated players of a stroke of which no volunteers ship.
_PLAYERS = 24
#: Metres; the recordings do not say how tall the players are.
_STATURE = 1.75


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
        for key, unit in {key: unit for one in taken for key, (_, unit) in one.items()}.items():
            values = np.array([one[key][0] for one in taken if key in one])
            values = values[np.isfinite(values)]
            if len(values) > 1:
                values = near(values, values[0]) if unit == "deg" else values
                variances[key].append(float(np.var(values, ddof=1)))
    return {key: float(f"{mean(np.array(found)) ** 0.5:.4g}") for key, found in sorted(variances.items())}


def recorded(cut: Sequence[Stroke], stroke: str, players: Sequence[str]) -> list[list[Swing]]:
    """The recorded strokes of one kind of some players, at least three each, as swings of right-handers.

    Head and heels were not recorded and are put where they usually are; everybody is ``_STATURE`` tall.
    """
    definition = STROKES[stroke]
    out: dict[str, list[Swing]] = defaultdict(list)
    for one in cut:
        if one.kind != stroke or one.player not in players:
            continue
        points = (mirror(one.points) if definition.backhand else one.points) / _STATURE
        for side in SIDES:
            points[:, INDEX[f"{side}_ear"]] = middle(points, "shoulder") + np.array([0.0, 0.12, 0.0])
            points[:, INDEX[f"{side}_heel"]] = points[:, INDEX[f"{side}_ankle"]] - np.array([0.0, 0.03, 0.0])
        events = definition.find_events(one.times, definition.on_ball_side(points, "right"), 0.0)
        out[one.player].append(Swing(one.times, points, events, "right", stroke=stroke))
    return [repeats for repeats in out.values() if len(repeats) >= REPEATS]


def widened(generated: Mapping[str, float], real: Mapping[str, float]) -> dict[str, float]:
    """``real``, or ``generated`` where that is more; what is not in ``real`` is widened by the median of the ratios.

    What does not vary at all is left out: it is not known how much it does.
    """
    ratios = [real[key] / generated[key] for key in generated if key in real and generated[key] > 0.0]
    by = float(np.median(ratios)) if ratios else 1.0
    made = {key: float(f"{by * value:.4g}") for key, value in generated.items()}
    both = {key: max(value, generated.get(key, 0.0)) for key, value in (made | dict(real)).items()}
    return {key: value for key, value in sorted(both.items()) if value > 1e-9}


def _generated(stroke: str) -> Iterator[Sequence[Swing]]:
    shipped = [volunteer.swings for volunteer in load_library() if volunteer.stroke == stroke]
    if shipped:
        yield from shipped
        return
    for seed in TUNING[:_PLAYERS]:
        motion = PLAYERS[stroke](seed).perform(swings=REPEATS)
        yield [replace(swing, stroke=stroke) for swing in swings_of(motion)]


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.typical")
    parser.add_argument("--mocap", type=Path, required=True, help="the folder with the motion capture")
    cut = strokes(parser.parse_args().mocap)
    about = (
        "Usual standard deviation between the repeats of one player, by stroke and by what is compared; written by: "
        "python -m swingmatch.study.typical --mocap FOLDER"
    )
    spread = {}
    for stroke in STROKES:
        real = usual_spread(recorded(cut, stroke, TUNING_PLAYERS))
        spread[stroke] = widened(usual_spread(list(_generated(stroke))), real)
    _FILE.write_text(json.dumps({"about": about, "spread": spread}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
