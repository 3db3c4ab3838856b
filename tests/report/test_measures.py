"""The measures as numbers in words, as a table for the terminal and as files."""

from __future__ import annotations

import csv
import errno
import math
import os
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.errors import ClipError
from swingmatch.report import save
from swingmatch.report.folder import write_measures
from swingmatch.report.measures_files import COLUMNS, records, write_csv, write_parquet
from swingmatch.report.measures_table import WIDTH, measures_table, where
from swingmatch.report.repeats import apart_sentences, contact_sentences
from swingmatch.report.sheet import sheets
from swingmatch.report.values import (
    Told,
    moment_words,
    places,
    rounded,
    short_labels,
    tell,
    trade_word,
)
from swingmatch.stroke.definition import PARTS
from swingmatch.stroke.measure import NO_RACKET, UNSEEN, Measure
from swingmatch.stroke.repeats import Spread
from swingmatch.stroke.strokes import STROKES

FOREHAND = STROKES["forehand"]
ROWS = {row.key: row for row in FOREHAND.measures}


def told(key, value, sd, **other):
    return Told(
        ROWS[key], value, sd, **{"spread": math.nan, "swings": 1, "metres": None, "ahead": 0.0, **other}
    )


@pytest.mark.parametrize(
    ("key", "value", "sd", "text"),
    [
        ("shoulder_turn", 82.34, 5.2, "82 ±9"),
        ("shoulder_turn", 82.34, 0.02, "82 ±0"),  # no tenths of a degree, however sure
        ("hip_speed", 434.0, 55.0, "430 ±90"),
        ("hip_speed", 434.0, 15.0, "434 ±25"),
        ("hand_behind", 0.3141, 0.07, "0.31 ±0.12"),
        ("base_width", 1.234, 0.3, "1.2 ±0.5"),
        ("hand_behind", -0.3141, 0.0, "−0.31 "),
        ("hand_behind", -0.001, 0.01, "0.00 ±0.02"),
    ],
)
def test_a_value_is_written_as_far_as_it_is_known(key, value, sd, text):
    one = told(key, value, sd)
    assert f"{one.number} {one.give_or_take}" == text


@given(st.floats(1e-4, 1e4), st.floats(-1e4, 1e4))
def test_rounding_costs_no_more_than_half_a_standard_deviation(sd, value):
    digits = places("statures", sd)
    written = float(rounded(value, digits).replace("−", "-"))
    assert abs(written - value) <= max(0.5 * sd, 0.00501)


def test_several_swings_are_told_by_their_mean_and_spread():
    row = ROWS["stance_angle"]
    same = [Measure(row, value, 4.0, 2.0 + i) for i, value in enumerate((20.0, 30.0))]
    hidden = Measure(row, 900.0, 80.0, 9.0, why_not=UNSEEN)
    one = tell([*same, hidden], [2.5, 3.5, 9.5])
    assert (one.value, one.sd, one.swings) == (25.0, 4.0, 2)
    assert one.spread == pytest.approx(np.std([20, 30], ddof=1))
    assert one.ahead == pytest.approx(-0.5)
    assert tell([hidden], [9.5]) is None
    # Across the turn from 180 to -180 degrees the mean is not zero.
    turned = tell([replace(same[0], value=v) for v in (178.0, -178.0)], [0.0, 0.0])
    assert abs(turned.value) == pytest.approx(180.0)


def test_a_word_is_given_alone_only_where_the_interval_holds_no_other():
    assert trade_word(FOREHAND, told("stance_angle", 45.0, 2.0)) == "semi-open"
    assert trade_word(FOREHAND, told("stance_angle", 60.0, 8.0)) == "semi-open to open"
    assert trade_word(FOREHAND, told("shoulder_turn", 60.0, 8.0)) == ""


def test_moments_in_words():
    assert moment_words(told("shoulder_turn", 1, 1, ahead=-0.4)) == "end of take-back"
    assert moment_words(told("loop_size", 1, 1, ahead=-0.4)) == "up to end of take-back"
    assert moment_words(told("shoulder_speed", 1, 1, ahead=-0.025)) == "25 ms before contact"


def test_short_labels_tell_all_rows_of_every_stroke_apart():
    for definition in STROKES.values():
        words = short_labels(definition.measures)
        assert len(set(words)) == len(words), [w for w in words if words.count(w) > 1]


def test_the_side_that_would_show_it():
    assert where(("front", "back", "left side"), "right side") == "visible from the front or back"
    assert where(("right side", "back"), "right side") == "visible from the back"
    assert where(("right side",), "right side") == "visible from this side in a clearer clip"
    assert where((), "right side") == "visible from no side that was tried"


def test_every_measure_is_on_the_sheet_once(measured):
    (sheet,) = sheets(measured.strokes.swings, measured.measures)
    assert sheet.numbers == (0, 1, 2)
    keys = [one.row.key for _, part in sheet.parts for one in part]
    for rows in (*(rows for _, rows in sheet.unseen), sheet.no_racket, *(rows for _, rows in sheet.others)):
        keys += [row.key for row in rows]
    assert sorted(keys) == sorted(ROWS)
    names = [part for part, _ in sheet.parts]
    assert names == [part for part in PARTS if part in names]
    assert {row.key for row in sheet.no_racket} == {row.key for row in FOREHAND.measures if row.racket}


def test_swings_of_two_strokes_have_a_sheet_each(measured):
    swings = list(measured.strokes.swings)
    swings[1] = replace(swings[1], stroke="serve")
    serve = tuple(Measure(row, 1.0, 0.1, 0.0) for row in STROKES["serve"].measures)
    both = sheets(swings, [measured.measures[0], serve, measured.measures[2]])
    assert [(sheet.definition.name, sheet.numbers) for sheet in both] == [
        ("forehand", (0, 2)),
        ("serve", (1,)),
    ]


def test_the_table_reads_well(measured):
    text = measures_table(measured)
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert not any(line.endswith(" ") for line in lines)
    assert lines[0] == "clip.mp4: 3 forehands, right-handed, seen from the right side."
    heads = [line.split("  ")[0] for line in lines if line.split("  ")[0].lower() in PARTS]
    assert [head.lower() for head in heads] == [part for part in PARTS if part.capitalize() in heads]
    assert "mean" in text
    assert "spread" in text
    assert "Not visible from this view\n  Visible from " in text
    assert "\n  Visible from the front or back: " in text
    assert text.count("The racket was not seen: ") == 1
    assert "How sure\n  The camera looks from the side." in text
    row = next(line for line in lines if line.startswith("  Shoulder turn "))
    (sheet,) = sheets(measured.strokes.swings, measured.measures)
    turn = next(one for one in sheet.parts[0][1] if one.row.key == "shoulder_turn")
    assert re.split(r"\s{2,}", row.strip())[:3] == ["Shoulder turn", turn.number, turn.give_or_take]
    assert row.endswith("end of take-back")


def test_how_contact_repeats_stands_under_the_table(measured):
    scatter = measured.scatters["forehand"]
    text = " ".join(measures_table(measured).split())
    assert f"From swing to swing (contact: {scatter.word}) " in text
    assert f"From swing to swing the {scatter.of} at contact is " in text
    assert text.index("From swing to swing (") > text.index("± is the half-width")


def spread(own, low, high):
    return Spread(own=own, low=low, high=high, seen=own, seen_low=low, error=0.03, count=4)


def test_figures_of_a_spread_are_those_of_its_interval():
    few, lost, unknown = spread(0.1234, 0.05, 0.31), spread(0.0, 0.0, 72.5), spread(*[math.nan] * 3)
    made = SimpleNamespace(of="string bed", radius=few, metres=None, forward=lost, turn=unknown)
    words = " ".join(contact_sentences(made))
    assert "the string bed at contact is 0.12 arm lengths (0.05 to 0.31) from its mean" in words
    # A bound is not rounded down.
    assert "The time from the start of the forward swing to contact varies by less than 80 ms." in words
    assert "turn" not in words
    made.metres = spread(0.08, 0.03, 0.2)
    assert "(0.05 to 0.31), or 0.08 m (0.03 to 0.20), from its mean place" in " ".join(
        contact_sentences(made)
    )
    made.radius = made.forward = unknown
    assert contact_sentences(made) == []


def test_a_swing_that_stands_apart_is_named(measured):
    """Five swings alike and one with another stance."""
    one = tuple(replace(m, sd=0.5, why_not="") for m in measured.measures[0])
    odd = tuple(replace(m, value=m.value + 90.0) if m.row.key == "stance_angle" else m for m in one)
    swings = [measured.strokes.swings[0]] * 6
    (sheet,) = sheets(swings, [one, one, one, odd, one, one])
    assert apart_sentences(sheet) == ["Swing 4 stands apart in: stance: foot line to the target line."]
    (sheet,) = sheets(swings[:5], [one] * 5)
    assert apart_sentences(sheet) == []


def test_one_swing_has_no_mean_and_no_spread(measured):
    one = replace(
        measured,
        scatters={},
        strokes=replace(measured.strokes, swings=measured.strokes.swings[:1]),
        measures=measured.measures[:1],
    )
    text = measures_table(one)
    assert "1 forehand," in text
    assert "mean" not in text
    assert "pread" not in text


def test_metres_have_a_column_where_the_height_is_known(measured):
    assert "metres" not in measures_table(measured)
    taller = tuple(
        tuple(replace(m, metres=1.16 * m.value) if m.row.unit == "statures" else m for m in one)
        for one in measured.measures
    )
    text = measures_table(replace(measured, measures=taller))
    assert "metres" in text
    assert re.search(r"\d\.\d\d m  ", text)


def test_nothing_to_tell_is_said(measured):
    blind = tuple(
        tuple(replace(m, why_not=NO_RACKET if m.row.racket else UNSEEN, sides=()) for m in one)
        for one in measured.measures
    )
    text = measures_table(replace(measured, measures=blind))
    assert "Nothing could be measured with enough certainty from this clip." in text
    assert "±" not in text


def test_csv_and_parquet_hold_the_same_records(measured, tmp_path):
    rows = records(measured)
    assert len(rows) == 3 * len(ROWS)
    write_csv(measured, tmp_path / "a.csv")
    write_parquet(measured, tmp_path / "a.parquet")
    frame = pq.read_table(tmp_path / "a.parquet")
    assert frame.column_names == list(COLUMNS)
    assert frame.to_pylist() == rows
    with (tmp_path / "a.csv").open(encoding="utf-8-sig", newline="") as file:
        cells = list(csv.DictReader(file))
    assert len(cells) == len(rows)
    for cell, row in zip(cells, rows, strict=True):
        assert list(cell) == list(COLUMNS)
        for name in ("key", "label", "event", "definition", "why_not", "visible_from"):
            assert cell[name] == (row[name] or "")
        for name in ("value", "sd", "low", "high", "clip_time_s"):
            if row[name] is None:
                assert cell[name] == ""
            else:
                assert float(cell[name]) == pytest.approx(row[name], rel=1e-5, abs=1e-9)
        assert cell["visible"] == ("yes" if row["visible"] else "no")


def test_what_is_not_visible_has_a_row_but_no_value(measured):
    rows = records(measured)
    seen, hidden = ([row for row in rows if row["visible"] is flag] for flag in (True, False))
    assert seen
    assert hidden
    for row in hidden:
        assert row["why_not"]
        assert all(row[name] is None for name in ("value", "sd", "low", "high", "metres"))
    for row in seen:
        assert row["low"] <= row["value"] <= row["high"]
        assert row["why_not"] is None


def test_moments_are_on_the_clips_own_clock(measured):
    real, slow = records(measured), records(replace(measured, slow=4.0))
    at = next(i for i, row in enumerate(real) if row["event"] == "contact" and row["swing"] == 2)
    assert real[at]["clip_time_s"] == pytest.approx(measured.strokes.swings[1].contact)
    assert slow[at]["clip_time_s"] == pytest.approx(4.0 * real[at]["clip_time_s"])


def test_files_are_named_after_the_clip_and_replace_none_that_is_kept(measured, tmp_path):
    clip = tmp_path / "anna.mov"
    first = write_measures(measured, clip, tmp_path / "out")
    assert [path.name for path in first] == ["anna-measures.csv", "anna-measures.parquet"]
    assert write_measures(measured, clip, tmp_path / "out") == first
    second = write_measures(measured, tmp_path / "anna.mp4", tmp_path / "out", keep=first)
    assert [path.name for path in second] == ["anna-measures-2.csv", "anna-measures-2.parquet"]


def test_a_full_disk_leaves_nothing_behind(measured, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(save.os, "replace", full)
    for write in (write_csv, write_parquet):
        with pytest.raises(ClipError, match="disk is full"):
            write(measured, tmp_path / "a")
    assert list(tmp_path.iterdir()) == []
