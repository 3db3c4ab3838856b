"""The coach's marks: placed, removed, kept beside the clip, found again, damaged."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.errors import SwingmatchError
from swingmatch.racket.marks import (
    MARK_SD,
    Marks,
    MarksError,
    load_marks,
    marks_path,
    place,
    remove,
    save_marks,
)
from swingmatch.racket.points import NAMES


@pytest.fixture
def clip(tmp_path):
    path = tmp_path / "forehand.mp4"
    path.write_bytes(b"not a film, but content all the same")
    return path


def some() -> Marks:
    marks = place(Marks(), 1.6, "tip", 600.25, 280.5)
    marks = place(marks, 1.6, "butt", 512.0, 300.0)
    return place(marks, 0.4833333333333333, "left_edge", -3.0, 10.0)


def test_marks_come_back_as_they_were_kept(clip):
    path = save_marks(clip, some())
    assert path.parent == clip.parent
    assert load_marks(clip) == some()
    assert json.loads(path.read_text(encoding="utf-8"))["version"] == 1
    assert not list(clip.parent.glob("*.part"))


def test_nothing_marked_is_no_marks(clip):
    assert load_marks(clip) == Marks()


def test_marks_are_found_after_the_clip_was_renamed_and_by_its_copy(clip):
    save_marks(clip, some())
    renamed = clip.with_name("anna-monday.mp4")
    clip.rename(renamed)
    assert load_marks(renamed) == some()
    more = place(some(), 2.0, "throat", 1.0, 2.0)
    save_marks(renamed, more)
    assert len(list(renamed.parent.glob("*.racket.json"))) == 1
    copy = shutil.copy(renamed, renamed.with_name("copy.mp4"))
    assert load_marks(type(clip)(copy)) == more


def test_another_clip_has_none_of_them(clip):
    save_marks(clip, some())
    clip.write_bytes(b"another film under the same name")
    assert load_marks(clip) == Marks()


def test_marks_may_be_kept_in_another_folder(clip, tmp_path):
    folder = tmp_path / "kept" / "here"
    path = save_marks(clip, some(), folder)
    assert path.parent == folder
    assert load_marks(clip, folder) == some()
    assert load_marks(clip) == Marks()


def test_saving_no_marks_takes_the_file_away(clip):
    path = save_marks(clip, some())
    save_marks(clip, Marks())
    assert not path.exists()


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"[]",
        b"\xff\xfe",
        b'{"version": 2, "frames": []}',
        b'{"version": 1}',
        b'{"version": 1, "frames": [{"time": "x", "points": {"tip": [1, 2]}}]}',
        b'{"version": 1, "frames": [{"time": 1, "points": {"tip": [1]}}]}',
        b'{"version": 1, "frames": [{"time": 1, "points": {"nose": [1, 2]}}]}',
        b'{"version": 1, "frames": [{"time": NaN, "points": {"tip": [1, 2]}}]}',
    ],
)
def test_damaged_marks_are_said_in_one_sentence(clip, text):
    path = marks_path(clip)
    path.write_bytes(text)
    with pytest.raises(SwingmatchError) as caught:
        load_marks(clip)
    said = str(caught.value)
    assert path.name in said
    assert said.endswith(".")
    assert "\n" not in said
    assert path.read_bytes() == text


def test_a_clip_that_is_not_there_is_said(tmp_path):
    with pytest.raises(MarksError, match=r"gone\.mp4 cannot be read"):
        load_marks(tmp_path / "gone.mp4")


def test_a_point_is_moved_not_doubled_within_a_frame():
    marks = place(some(), 1.6004, "tip", 1.0, 2.0)
    assert set(marks.frames) == set(some().frames)
    assert marks.frames[1.6]["tip"] == (1.0, 2.0)
    assert some().frames[1.6]["tip"] == (600.25, 280.5)


@pytest.mark.parametrize(
    "wrong", [("nose", 1.0, 2.0), ("tip", float("nan"), 2.0), ("tip", 1.0, float("inf"))]
)
def test_what_is_no_mark_is_refused(wrong):
    with pytest.raises(MarksError):
        place(Marks(), 1.0, *wrong)


def test_points_and_frames_are_removed():
    one = remove(some(), 1.6, "tip")
    assert set(one.frames[1.6]) == {"butt"}
    assert set(remove(one, 1.6, "butt").frames) == {0.4833333333333333}
    assert set(remove(some(), 1.6).frames) == {0.4833333333333333}
    assert remove(some(), 9.0) == some()


@given(
    st.dictionaries(
        st.integers(0, 500).map(lambda n: n / 30.0),
        st.dictionaries(st.sampled_from(NAMES), st.tuples(*[st.floats(-1e4, 1e4)] * 2), min_size=1),
        max_size=6,
    )
)
def test_marks_as_points_hold_every_mark_and_nothing_else(frames):
    marks = Marks(frames)
    points = marks.points()
    assert list(points.times) == sorted(frames)
    assert points.known.sum() == sum(len(frame) for frame in frames.values())
    for row, time in enumerate(points.times):
        for name, at in frames[float(time)].items():
            assert np.array_equal(points.image[row, NAMES.index(name)], at)
            assert points.sd[row, NAMES.index(name)] == MARK_SD
