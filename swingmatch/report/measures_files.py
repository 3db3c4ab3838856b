"""The measures of a clip as files for a spreadsheet (CSV) and for data frames (Parquet): one row a swing and measure.

A measure that is not visible keeps its row, says why, and has no value.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

from swingmatch.findings.measured import Measured
from swingmatch.report.save import save, save_text
from swingmatch.stroke.measure import Measure

#: Columns in order, each with its kind.
COLUMNS: dict[str, type] = {
    "clip": str,
    "swing": int,
    "stroke": str,
    "hand": str,
    "camera_side": str,
    "key": str,
    "label": str,
    "part": str,
    "unit": str,
    "value": float,
    "sd": float,
    "low": float,
    "high": float,
    "metres": float,
    "event": str,
    "clip_time_s": float,
    "visible": bool,
    "why_not": str,
    "visible_from": str,
    "definition": str,
}
#: What stands between two camera sides.
_AND = "; "


def records(measured: Measured) -> list[dict[str, Any]]:
    """One record a swing and measure, with the keys of ``COLUMNS``; None for what is not known or not visible.

    Swings are counted from 1; ``low`` and ``high`` bound the 90 % interval; ``clip_time_s`` is the moment on the clip's
    own clock, as a player of films shows it.
    """
    strokes = measured.strokes
    about = {"clip": measured.clip, "hand": strokes.hand, "camera_side": measured.camera_side}
    return [
        about | {"swing": number, "stroke": swing.stroke} | _record(measure, measured.slow)
        for number, (swing, measures) in enumerate(zip(strokes.swings, measured.measures, strict=True), 1)
        for measure in measures
    ]


def _record(measure: Measure, slow: float) -> dict[str, Any]:
    row = measure.row
    low, high = measure.interval
    told = {
        "value": measure.value,
        "sd": measure.sd,
        "low": low,
        "high": high,
        "metres": measure.metres,
    }
    return {
        "key": row.key,
        "label": row.label,
        "part": row.part,
        "unit": row.unit,
        **{name: _known(value) if measure.visible else None for name, value in told.items()},
        "event": row.at,
        "clip_time_s": _known(slow * measure.time),
        "visible": measure.visible,
        "why_not": measure.why_not or None,
        "visible_from": _AND.join(measure.sides) or None,
        "definition": row.definition,
    }


def _known(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def write_csv(measured: Measured, path: Path) -> None:
    """Write the records as CSV; an empty cell is what is not known. Raises ``ClipError``."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(COLUMNS), lineterminator="\n")
    writer.writeheader()
    for record in records(measured):
        writer.writerow({name: _cell(record[name]) for name in COLUMNS})
    # Without this mark spreadsheets take the file for one of the computer's old code page and spoil "–" and "ä".
    save_text("\ufeff" + out.getvalue(), path)


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else value


def write_parquet(measured: Measured, path: Path) -> None:
    """Write the records as Parquet; null is what is not known. Raises ``ClipError``."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {str: pa.string(), int: pa.int32(), float: pa.float64(), bool: pa.bool_()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in COLUMNS.items()])
    table = pa.Table.from_pylist(records(measured), schema=schema)
    save(path, lambda part: pq.write_table(table, part))
