"""Labels, numbers and the note for the terminal."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.findings.columns import COLUMNS
from swingmatch.report.joint_map import grid, map_figure, signed_weight
from swingmatch.report.labels import milliseconds, number
from swingmatch.report.note import WIDTH, coach_note
from swingmatch.report.text import fit_text, put_text, text_width


@pytest.mark.parametrize(
    ("value", "unit", "signed", "text"),
    [
        (27.4, "deg", True, "+27°"),
        (-6.0, "deg", True, "−6°"),
        (-0.2, "deg", True, "0°"),
        (0.184, "arm lengths", False, "0.18 arm lengths"),
        (-35.2, "ms", True, "−35 ms"),
        (float("nan"), "deg", True, "unknown"),
    ],
)
def test_number(value, unit, signed, text):
    assert number(value, unit, signed=signed) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (-0.12, "120 ms before contact"),
        (0.0, "at contact"),
        (0.0004, "at contact"),
        (0.45, "450 ms after contact"),
    ],
)
def test_milliseconds(seconds, text):
    assert milliseconds(seconds) == text


def test_columns_of_the_map_stand_in_the_order_of_the_stroke(scene):
    _, columns, _ = grid(scene.review)
    known = [column for column in COLUMNS if column in columns]
    assert columns[: len(known)] == known
    assert COLUMNS.index("take-back") < COLUMNS.index("end of take-back") < COLUMNS.index("drop")
    assert COLUMNS.index("forward swing") < COLUMNS.index("contact") < COLUMNS.index("follow-through")


def test_note_says_what_works_what_to_change_and_how_sure(scene):
    note = coach_note(scene.review)
    assert max(map(len, note.splitlines())) <= WIDTH
    flat = " ".join(note.split())
    for part in (
        scene.review.strengths[0].title,
        scene.review.changes[0].sentence,
        scene.review.changes[1].cue,
        "Not visible from this view: shoulder turn",
        "not medical advice",
    ):
        assert part in flat
    assert flat.index("What already works") < flat.index("What to change") < flat.index("How sure")


def test_note_without_changes_says_so(scene):
    assert "Nothing stands out from this view" in coach_note(replace(scene.review, changes=()))


@given(st.text(max_size=200))
def test_note_takes_any_name(name):
    from swingmatch.findings.review import Review

    bare = Review(name, "", None, "side", "m", (), True, (), 0, (), (), (), (), ())  # type: ignore[arg-type]
    assert isinstance(coach_note(bare), str)


def test_map_signs_and_outlines(scene):
    rows, columns, cells = grid(scene.review)
    assert len(cells) == len(scene.review.deviations)
    assert columns == ["take-back", "drop", "forward swing", "contact"]
    assert (
        signed_weight(cells["hand_in_front", "contact"])
        < -1
        < 1
        < signed_weight(cells["outside_knee_flexion", "take-back"])
    )
    figure = map_figure(scene.review)
    outlined = {
        (round(s["x0"] + 0.5), round(s["y0"] + 0.5))
        for s in figure["layout"]["shapes"]
        if s["type"] == "rect"
    }
    counted = {(columns.index(p), rows.index(q)) for (q, p), d in cells.items() if d.counts}
    assert outlined == counted
    assert len(counted) == 4
    z = figure["data"][1]["z"]
    assert z[rows.index("shoulder_turn")][columns.index("take-back")] is None


def test_type_with_accents_leaves_ink_and_fits():
    canvas = np.zeros((60, 300, 3), np.uint8)
    put_text(canvas, "José Ğ –20°", 10, 30, 30, (255, 255, 255))
    assert canvas.max() > 200
    assert text_width(fit_text("A very long name indeed", 30, 120), 30) <= 120
    put_text(canvas, "off the edge", 290, 58, 30, (255, 255, 255))
