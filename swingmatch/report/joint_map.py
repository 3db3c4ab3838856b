"""The joint-by-phase map: every quantity against every part of the stroke."""

from __future__ import annotations

import textwrap
from html import escape
from typing import Any

from swingmatch.findings.columns import COLUMNS
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.review import Review
from swingmatch.report.labels import moment_label, number, quantity_label, sentence_case
from swingmatch.report.palette import PUOR, colour_scale

HIDDEN_WORDS = "not visible from this view"
#: Weight at which the map's colours are at their ends: three times what counts.
FULL_WEIGHT = 3.0


def signed_weight(deviation: Deviation) -> float:
    """Weight with the sign of player minus model."""
    return deviation.weight if deviation.value >= 0 else -deviation.weight


def grid(review: Review) -> tuple[list[str], list[str], dict[tuple[str, str], Deviation]]:
    """Row keys, column keys and the deviation of each filled cell.

    Rows keep the order in which the quantities come; columns are in the order of the stroke. Where a cell has
    several deviations the heaviest is shown.
    """
    cells: dict[tuple[str, str], Deviation] = {}
    for deviation in review.deviations:
        key = (deviation.quantity, deviation.phase)
        if key not in cells or deviation.weight > cells[key].weight:
            cells[key] = deviation
    rows = list(dict.fromkeys(q for q, _ in cells))
    present = dict.fromkeys(p for _, p in cells)
    columns = [c for c in COLUMNS if c in present] + [p for p in present if p not in COLUMNS]
    return rows, columns, cells


def hover(deviation: Deviation) -> str:
    """Hover text of one cell, as Plotly's small HTML."""
    when = sentence_case(moment_label(deviation.phase))
    head = f"<b>{escape(quantity_label(deviation.quantity))}</b><br>{escape(when)}"
    if not deviation.visible:
        return f"{head}<br>{sentence_case(HIDDEN_WORDS)}"
    unit = deviation.unit
    lines = (
        f"Player {number(deviation.player, unit)}, model {number(deviation.model, unit)}",
        f"Difference {number(deviation.value, unit, signed=True)}, give or take {number(2 * deviation.doubt, unit)}",
        f"Matters from {number(max(deviation.floor, 2 * deviation.doubt), unit)}: "
        + ("it counts" if deviation.counts else "it does not count"),
        f"From {deviation.swings} swing{'' if deviation.swings == 1 else 's'}",
    )
    return head + "".join(f"<br>{escape(line)}" for line in lines)


def cell_text(deviation: Deviation) -> str:
    """What stands in the cell: the difference, short."""
    if not deviation.visible:
        return ""
    text = number(deviation.value, deviation.unit, signed=True)
    return text if deviation.unit in ("deg", "ms") else text.split(" ")[0]


def map_figure(review: Review) -> dict[str, Any]:
    """Plotly data and layout of the map."""
    rows, columns, cells = grid(review)
    z: list[list[float | None]] = []
    veil: list[list[float | None]] = []
    text: list[list[str]] = []
    hovers: list[list[str]] = []
    words: list[list[str]] = []
    shapes: list[dict[str, Any]] = []
    for r, quantity in enumerate(rows):
        z.append([])
        veil.append([])
        text.append([])
        hovers.append([])
        words.append([])
        for c, phase in enumerate(columns):
            cell = cells.get((quantity, phase))
            shown = cell is not None and cell.visible
            z[-1].append(round(signed_weight(cell), 3) if cell is not None and shown else None)
            veil[-1].append(1.0 if cell is not None and not shown else None)
            words[-1].append("not visible<br>from this view" if cell is not None and not shown else "")
            text[-1].append("" if cell is None else cell_text(cell))
            hovers[-1].append("" if cell is None else hover(cell))
            if cell is not None and not shown:
                shapes += _hatch(c, r)
            elif cell is not None and cell.counts:
                shapes.append(
                    {"type": "rect", "x0": c - 0.5, "x1": c + 0.5, "y0": r - 0.5, "y1": r + 0.5,
                     "line": {"color": "#1B1B1B", "width": 3}, "layer": "above"}
                )  # fmt: skip
    common = {
        "type": "heatmap",
        "x": list(range(len(columns))),
        "y": list(range(len(rows))),
        "hovertext": hovers,
        "hoverinfo": "text",
        "xgap": 2,
        "ygap": 2,
        "hoverongaps": False,
    }
    data = [
        {**common, "z": veil, "name": "hidden", "text": words, "texttemplate": "%{text}",
         "textfont": {"size": 11, "color": "#4A4A42"},
         "showscale": False, "zmin": 0, "zmax": 1,
         "colorscale": [[0, "#D9D6CC"], [1, "#D9D6CC"]]},
        {**common, "z": z, "name": "differences", "zmin": -FULL_WEIGHT, "zmax": FULL_WEIGHT, "zmid": 0,
         "colorscale": colour_scale(PUOR), "text": text, "texttemplate": "%{text}",
         "textfont": {"size": 14},
         "colorbar": {"title": {"text": "Difference in units of what counts", "side": "top"},
                      "orientation": "h", "x": 0.5, "y": -0.02, "yanchor": "top", "len": 0.6, "thickness": 12,
                      "tickvals": [-3, -1, 0, 1, 3],
                      "ticktext": ["−3 less than the model", "−1", "0", "+1", "more than the model +3"]}},
    ]  # fmt: skip
    layout = {
        "height": 126 + 46 * len(rows),
        "margin": {"l": 10, "r": 10, "t": 56, "b": 70},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": "#26302B", "size": 15},
        "hoverlabel": {"align": "left", "font": {"size": 14}, "bgcolor": "#FFFDF7"},
        "dragmode": False,
        "shapes": shapes,
        "xaxis": {"side": "top", "tickvals": list(range(len(columns))), "fixedrange": True, "showgrid": False,
                  "zeroline": False, "range": [-0.5, max(len(columns), 1) - 0.5], "tickangle": 0, "ticks": "",
                  "ticktext": [_wrapped(sentence_case(moment_label(c)), 12) for c in columns]},
        "yaxis": {"autorange": False, "range": [max(len(rows), 1) - 0.5, -0.5], "automargin": True, "ticks": "",
                  "tickvals": list(range(len(rows))), "fixedrange": True, "showgrid": False, "zeroline": False,
                  "ticktext": [_wrapped(quantity_label(q), 26) for q in rows]},
    }  # fmt: skip
    return {"data": data, "layout": layout}


def _wrapped(text: str, width: int) -> str:
    return "<br>".join(escape(line) for line in textwrap.wrap(text, width))


def _hatch(column: int, row: int) -> list[dict[str, Any]]:
    """Slanted lines over one cell: grey alone could be taken for a small difference."""
    lines: list[dict[str, Any]] = []
    left, top = column - 0.47, row - 0.44
    for share in (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75):
        a, b = max(share - 1, 0.0), min(share, 1.0)
        lines.append(
            {"type": "line", "x0": left + 0.94 * a, "y0": top + 0.88 * (share - a), "x1": left + 0.94 * b,
             "y1": top + 0.88 * (share - b), "line": {"color": "#B9B5A7", "width": 1}, "layer": "above"}
        )  # fmt: skip
    return lines
