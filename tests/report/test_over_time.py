"""The page of a player's months: complete in itself, true to the numbers, safe whatever is in a name."""

import json
import re
from datetime import date

import plotly.graph_objects as go
import pytest

from swingmatch.findings.change import Series
from swingmatch.report import palette
from swingmatch.report.over_time import chart, over_time_page

NAN = float("nan")


@pytest.fixture
def line():
    return Series(
        key="shift@contact",
        unit="ms",
        title="Contact is <late>",
        days=(date(2026, 3, 1), date(2026, 4, 1), date(2026, 5, 1), date(2026, 6, 1)),
        values=(80.0, NAN, 40.0, 10.0),
        low=(60.0, NAN, 25.0, -5.0),
        high=(100.0, NAN, 55.0, 25.0),
        azimuths=(90.0, 90.0, 180.0, 95.0),
        band=30.0,
    )


def test_points_intervals_band_and_sides(line):
    figure = chart(line)
    (points,) = figure["data"]
    assert points["x"] == ["2026-03-01", "2026-05-01", "2026-06-01"]
    assert points["y"] == [80.0, 40.0, 10.0]
    assert points["error_y"]["array"] == [20.0, 15.0, 15.0]
    assert points["marker"]["symbol"] == ["circle", "circle-open", "circle"]
    band = figure["layout"]["shapes"][0]
    assert (band["y0"], band["y1"], band["fillcolor"]) == (-30.0, 30.0, palette.MODEL)
    low, high = figure["layout"]["yaxis"]["range"]
    assert low < -30.0
    assert high > 100.0
    # Plotly itself finds nothing to object to.
    go.Figure(data=figure["data"], layout=figure["layout"])


def test_nothing_visible_is_an_empty_chart(line):
    from dataclasses import replace

    empty = replace(line, values=(NAN,) * 4, low=(NAN,) * 4, high=(NAN,) * 4)
    figure = chart(empty)
    assert figure["data"][0]["x"] == []
    json.dumps(figure, allow_nan=False)
    assert "nothing visible" in over_time_page("V07", "forehand", [empty])


def test_the_page_is_complete_in_itself_and_safe(line):
    page = over_time_page("</title><script>alert(1)</script>", "forehand", [line], ["Nearer <b>now</b>."])
    assert "<script>alert" not in page
    assert "<b>now" not in page
    assert "Contact is &lt;late&gt;" in page
    assert "2026-06-01 10" in page  # in words, for who cannot see the chart
    own = page.split("<script>", 1)[0]
    assert re.findall(r"(?:src|href)='(?!data:)[^']*'", own) == []
    assert "http:" not in own
    assert "https:" not in own
    figures = re.search(r"id='figures'>(.*?)</script>", page, re.S)
    assert len(json.loads(figures.group(1))) == 1
