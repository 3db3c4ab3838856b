"""Each target over the months: a page with one chart a target, complete in itself, readable on a phone."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from html import escape
from importlib import resources
from typing import Any

from swingmatch.findings.change import Series, same_side
from swingmatch.report import palette
from swingmatch.report.values import unit_words

#: Nothing is fetched, whatever stands in a name.
_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"
_INK, _QUIET, _GRID = "#26302B", "#59645E", "#E6DFD0"
_ABOUT = (
    "Player less model, so the line at 0 is the model. In the shaded band the difference is too small to matter, or "
    "the model itself varies as much. Bars are 90 % intervals. Filled points are filmed from the side of the latest "
    "clip, open ones from another side."
)
_FOOTER = "Feedback on movement, not medical advice. Made on this computer; the page sends nothing anywhere."
_HEIGHT = 300
#: Share of the height that is left free above and below.
_MARGIN = 0.08


def chart(line: Series) -> dict[str, Any]:
    """One target as a Plotly figure: the model's band, the values with their 90 % intervals, a symbol for the side.

    A review in which the target was not visible has no point. The side of the latest review has filled points, and
    others open ones, because what the view adds differs between sides.
    """
    shown = [i for i, value in enumerate(line.values) if math.isfinite(value)]
    days = [line.days[i].isoformat() for i in shown]
    unit = unit_words(line.unit)
    latest = line.azimuths[shown[-1]] if shown else math.nan
    alike = [same_side(line.azimuths[i], latest) for i in shown]
    points = {
        "type": "scatter",
        "mode": "lines+markers",
        "x": days,
        "y": [line.values[i] for i in shown],
        "error_y": {
            "type": "data",
            "array": [line.high[i] - line.values[i] for i in shown],
            "color": palette.BLUE,
            "thickness": 1.4,
            "width": 5,
        },
        "line": {"color": palette.BLUE, "width": 1.2, "dash": "dot"},
        "marker": {
            "color": palette.BLUE,
            "size": 11,
            "symbol": ["circle" if same else "circle-open" for same in alike],
            "line": {"width": 2.4, "color": palette.BLUE},
        },
        "hovertemplate": f"%{{x|%d %b %Y}}: %{{y:.3~g}} {escape(unit)}<extra></extra>",
        "showlegend": False,
    }
    ends = [0.0, line.band, -line.band, *(line.low[i] for i in shown), *(line.high[i] for i in shown)]
    pad = _MARGIN * (max(ends) - min(ends))
    layout: dict[str, Any] = {
        "height": _HEIGHT,
        "margin": {"l": 52, "r": 12, "t": 10, "b": 40},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "#FFFDF7",
        "font": {"color": _INK, "size": 13},
        "xaxis": {"type": "date", "gridcolor": _GRID, "tickformat": "%d %b<br>%Y", "nticks": 5},
        "yaxis": {
            "gridcolor": _GRID,
            "zeroline": False,
            "title": {"text": escape("degrees" if line.unit == "deg" else unit), "standoff": 4},
            "range": [min(ends) - pad, max(ends) + pad],
        },
        "shapes": [
            {
                **{"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "y0": -line.band, "y1": line.band},
                **{"fillcolor": palette.MODEL, "opacity": 0.22, "line": {"width": 0}, "layer": "below"},
            },
            {
                **{"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": 0, "y1": 0, "layer": "below"},
                "line": {"color": palette.MODEL, "width": 2},
            },
        ],
        "annotations": [
            {
                **{"xref": "paper", "x": 0.01, "y": 0, "yanchor": "bottom", "xanchor": "left"},
                **{"text": "model", "showarrow": False, "font": {"color": _QUIET, "size": 12}},
            }
        ],
        "dragmode": False,
    }
    if len(set(days)) == 1:
        # One day alone would get an axis of milliseconds.
        layout["xaxis"] |= {"tickvals": days[:1]}
    return {"data": [points], "layout": layout, "config": {"displayModeBar": False, "responsive": True}}


def over_time_page(player: str, stroke: str, lines: Sequence[Series], sentences: Sequence[str] = ()) -> str:
    """The page as text: what is said since the last review, then one chart a target."""
    from plotly.offline import get_plotlyjs

    title = f"{player}: {stroke} over time"
    said = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    charts = "".join(
        f"<section class='target'><h2>{escape(line.title)}</h2>"
        f"<div class='chart' id='chart-{i}' role='img' aria-label='{escape(_in_words(line), quote=True)}'></div>"
        "</section>"
        for i, line in enumerate(lines)
    )
    figures = json.dumps([chart(line) for line in lines], separators=(",", ":")).replace("<", "\\u003c")
    style = resources.files("swingmatch.report").joinpath("page.css").read_text(encoding="utf-8")
    return (
        "<!DOCTYPE html><html lang='en'><head><meta charset='utf-8'>"
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(title)}</title><link rel='icon' href='data:,'><style>{style}"
        ".target h2 { font-size: 1.25rem; margin: 26px 0 4px; } ul.said li { margin-bottom: 4px; }</style></head>"
        f"<body><header class='top'><h1>{escape(title)}</h1></header><main>"
        + (f"<ul class='said'>{said}</ul>" if said else "")
        + f"<p class='facts'>{_ABOUT}</p>{charts}</main><footer>{_FOOTER}</footer>"
        f"<script>{get_plotlyjs()}</script><script type='application/json' id='figures'>{figures}</script>"
        "<script>JSON.parse(document.getElementById('figures').textContent).forEach(function (f, i) {"
        "Plotly.newPlot('chart-' + i, f.data, f.layout, f.config); });</script></body></html>\n"
    )


def _in_words(line: Series) -> str:
    """What the chart shows, for those who cannot see it."""
    shown = [
        f"{day.isoformat()} {value:.3g}"
        for day, value in zip(line.days, line.values, strict=True)
        if math.isfinite(value)
    ]
    return f"{line.title}, {unit_words(line.unit)} from the model: {'; '.join(shown) or 'nothing visible'}"
