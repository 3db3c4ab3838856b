"""What holds for every stroke's definition."""

from __future__ import annotations

import pytest

from swingmatch.stroke.definition import PARTS
from swingmatch.stroke.strokes import STROKES

ALL = pytest.mark.parametrize("stroke", STROKES.values(), ids=list(STROKES))
SPECIAL = {"mid_hip", "mid_shoulder", "centre_of_mass", "racket", "string_bed"}
UNITS = {
    "deg", "deg/s", "ms", "arm lengths", "shoulder widths", "hip-to-shoulder", "leg lengths", "statures",
    "statures/s", "",
}  # fmt: skip


@ALL
def test_every_measure_has_a_key_of_its_own(stroke):
    keys = [row.key for row in stroke.measures]
    assert len(keys) == len(set(keys))


@ALL
def test_every_measure_says_what_it_is(stroke):
    for row in stroke.measures:
        assert len(row.definition) > 30, row.key
        assert row.part in PARTS, row.key
        assert row.unit in UNITS, row.key
        assert row.useful > 0.0, row.key


@ALL
def test_measures_are_taken_at_events_of_the_stroke(stroke):
    for row in stroke.measures:
        assert set(row.at.split("..")) <= set(stroke.events), row.key
    for _, first, last in stroke.phases:
        assert stroke.events.index(first) < stroke.events.index(last)


@ALL
def test_what_a_measure_shows_is_on_the_body(stroke):
    from swingmatch.body.skeleton import KEYPOINTS

    known = set(KEYPOINTS) | SPECIAL
    for row in stroke.measures:
        for name in row.shows:
            side, _, part = name.partition("_")
            plain = f"right_{part}" if side in ("hitting", "other") else name
            assert plain in known, (row.key, name)


def test_contact_is_an_event_of_every_stroke():
    assert all("contact" in stroke.events for stroke in STROKES.values())
