"""What the study says of the measures: the file that ships with the analysis, and tables for a report."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from swingmatch.stroke.certainty import certainties as shipped
from swingmatch.stroke.strokes import STROKES
from swingmatch.study.measure import Errors
from swingmatch.study.measures import certainties, pool, table

CERTAINTY = Path(__file__).parents[1] / "stroke" / "certainty.json"
_ABOUT = (
    "For each measure of each stroke: the stated variance is (factor * spread of the drawn bodies)^2 + rest^2; sides: "
    "usual standard deviation from each camera side of a right-hander. From generated clips (seeds kept for this "
    "alone); written by: python -m swingmatch.study calibrate"
)


def _of(all_errors: Sequence[Errors], stroke: str) -> list[Errors]:
    return [errors for errors in all_errors if errors.stroke == stroke]


def _short(value: float) -> float:
    return float(f"{value:.4g}")


def write_certainty(all_errors: Sequence[Errors]) -> None:
    """Write the strokes that were studied into the file; the others stay as they are."""
    text = json.loads(CERTAINTY.read_text(encoding="utf-8")) if CERTAINTY.is_file() else {"strokes": {}}
    text["about"] = _ABOUT
    for stroke in STROKES:
        found = _of(all_errors, stroke)
        if not found:
            continue
        rows = certainties(pool([(errors.side, errors.measures) for errors in found]))
        text["strokes"][stroke] = {
            key: {
                "factor": _short(row.factor),
                "rest": _short(row.rest),
                "sides": {side: _short(sd) for side, sd in row.sides.items()},
            }
            for key, row in rows.items()
        }
    CERTAINTY.write_text(json.dumps(dict(sorted(text.items())), indent=1) + "\n", encoding="utf-8")


def measures_tables(all_errors: Sequence[Errors]) -> str:
    """Measure by camera side for every stroke that was studied, against the shipped certainties; in Markdown."""
    out = []
    for stroke in STROKES:
        found = _of(all_errors, stroke)
        if found:
            pooled = pool([(errors.side, errors.measures) for errors in found])
            out.append(table(stroke, pooled, shipped().get(stroke, {})))
    return "\n\n".join(out)
