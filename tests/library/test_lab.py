"""A laboratory's files: written here by other programs' libraries or by hand, read back, and cut into swings."""

from __future__ import annotations

import json
from dataclasses import replace

import ezc3d
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, KEYPOINTS, mirror
from swingmatch.errors import LibraryError
from swingmatch.library.c3d import read_c3d
from swingmatch.library.folder import load_library
from swingmatch.library.lab import read_recording, to_swings
from swingmatch.library.markers import USUAL, read_marker_set
from swingmatch.library.table import parse_table, read_table, write_table

TALL = 1.69


@pytest.fixture(scope="module")
def swing():
    """A generated left-hander's forehand with a racket."""
    return next(v for v in load_library() if v.label == "Tova").swings[0]


def write_c3d(path, names, positions, rate=120.0, unit="mm", contact=None, first=0):
    """(T, M, 3) in ``unit``, written with ezc3d."""
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [rate]
    file["parameters"]["POINT"]["LABELS"]["value"] = tuple(names)
    file["parameters"]["POINT"]["UNITS"]["value"] = (unit,)
    data = np.ones((4, positions.shape[1], len(positions)))
    data[:3] = np.moveaxis(positions, (0, 1, 2), (2, 1, 0))
    file["data"]["points"] = data
    if first:
        file["header"]["points"]["first_frame"] = first
    if contact is not None:
        file.add_parameter("EVENT", "USED", [1])
        file.add_parameter("EVENT", "LABELS", ["Contact"])
        file.add_parameter("EVENT", "TIMES", np.array([[0.0], [contact]]))
    file.write(str(path))
    return path


def lab_axes(points):
    """From court axes to a laboratory's: Z up, Y away from the target, X the rest."""
    return points @ np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])


# C3D ----------------------------------------------------------------------------------------------------


def test_c3d_comes_back_as_it_was_written(tmp_path):
    positions = np.random.default_rng(0).normal(0.0, 900.0, (40, 3, 3))
    positions[7, 1] = np.nan
    markers = read_c3d(write_c3d(tmp_path / "a.c3d", ("A", "B", "C"), positions, rate=200.0, contact=0.125))
    assert markers.names == ("A", "B", "C")
    np.testing.assert_allclose(
        markers.positions, positions / 1000.0, atol=1e-6, equal_nan=True
    )  # 32-bit numbers
    np.testing.assert_allclose(markers.times, np.arange(40) / 200.0)
    assert markers.events == (("Contact", 0.125),)


def test_a_swing_through_c3d(tmp_path, swing):
    """Own names, a laboratory's axes that the marker set states: the swing comes back to 32-bit accuracy."""
    start = -swing.times[0]
    path = write_c3d(
        tmp_path / "a.c3d",
        KEYPOINTS,
        1000.0 * TALL * lab_axes(swing.points),
        1 / 0.00833333333,
        contact=start,
    )
    sets = tmp_path / "set.json"
    text = {"format": "swingmatch marker set", "version": 1, "up": "z", "target": "-y"}
    sets.write_text(json.dumps(text | {"keypoints": {name: [name] for name in KEYPOINTS}}))
    recording = read_recording(path, read_marker_set(sets))
    assert recording.court
    found = to_swings(recording, hand="left", stroke="forehand", stature=TALL)
    (back,) = found.swings
    assert found.notes == ()
    np.testing.assert_allclose(back.points, swing.points, atol=1e-6)
    np.testing.assert_allclose(back.times, swing.times, atol=1e-4)
    assert (back.hand, back.stroke, back.contact) == ("left", "forehand", 0.0)
    for event in ("turn_start", "end_of_take_back", "end_of_follow_through"):
        assert back.events[event] == pytest.approx(swing.events[event], abs=0.06)


def test_a_swing_of_which_nothing_is_said(tmp_path, swing):
    """Axes, contact, hand, stroke and stature are told from the movement, and the notes say so."""
    path = write_c3d(tmp_path / "a.c3d", KEYPOINTS, 1000.0 * TALL * lab_axes(swing.points))
    found = to_swings(read_recording(path))
    (back,) = found.swings
    assert (back.hand, back.stroke) == ("left", "forehand")
    assert found.stature == pytest.approx(TALL, rel=0.03)
    assert -swing.times[0] == pytest.approx(-back.times[0], abs=0.03)  # contact, from the start of the file
    assert len(found.notes) == 3
    hand = INDEX["left_hand"]
    ways = [
        one.points[np.searchsorted(one.times, 0.03), hand]
        - one.points[np.searchsorted(one.times, -0.03), hand]
        for one in (back, swing)
    ]
    turned = np.degrees(np.arctan2(ways[0][2], ways[0][0]))
    assert abs(turned) < 5.0


def test_the_usual_markers_give_hips_inside_the_pelvis(tmp_path, swing):
    """Four pelvis markers about known joints (Bell et al. 1990): the joints come back."""
    points = TALL * swing.points
    names, positions = [], []
    marks = "shoulder SHO, elbow ELB, wrist WRA, wrist WRB, hand FIN, knee KNE, ankle ANK, heel HEE, toe TOE"
    for side, letter in (("left", "L"), ("right", "R")):
        for part, marker in (mark.split() for mark in marks.split(", ")):
            names.append(letter + marker)
            positions.append(points[:, INDEX[f"{side}_{part}"]])
    left, right = points[:, INDEX["left_hip"]], points[:, INDEX["right_hip"]]
    wide = np.linalg.norm(right - left, axis=1, keepdims=True) / 0.72
    across = (right - left) / np.linalg.norm(right - left, axis=1, keepdims=True)
    ahead = np.cross(np.array([0.0, 1.0, 0.0]), across)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    up = np.cross(across, ahead)
    shift = wide * (0.30 * up + 0.22 * ahead)
    fronts = left - 0.14 * wide * across + shift, right + 0.14 * wide * across + shift
    backs = [0.5 * (fronts[0] + fronts[1]) - 0.15 * ahead + way * 0.05 * across for way in (-1.0, 1.0)]
    names += ["LASI", "RASI", "LPSI", "RPSI"]
    path = write_c3d(
        tmp_path / "a.c3d", [f"P1:{n}" for n in names], 1000.0 * np.stack([*positions, *fronts, *backs], 1)
    )
    recording = read_recording(path)
    np.testing.assert_allclose(recording.points[:, INDEX["left_hip"]], left, atol=1e-5)
    np.testing.assert_allclose(recording.points[:, INDEX["right_hip"]], right, atol=1e-5)
    assert np.isnan(recording.points[:, INDEX["nose"]]).all()
    assert USUAL.pelvis


def test_missing_markers_are_named(tmp_path):
    path = write_c3d(tmp_path / "a.c3d", ("LSHO", "X"), np.zeros((9, 2, 3)))
    with pytest.raises(LibraryError, match=r"no markers for .*elbow.*its markers are LSHO, X.*--markers"):
        read_recording(path)


@pytest.mark.parametrize("damage", ["cut", "head", "noise", "empty", "text"])
def test_a_damaged_file_is_one_sentence_and_no_hang(tmp_path, damage, monkeypatch):
    monkeypatch.setattr("swingmatch.library.c3d.TIME_LIMIT", 5.0)
    data = write_c3d(tmp_path / "a.c3d", ("A", "B"), np.zeros((90, 2, 3))).read_bytes()
    path = tmp_path / "b.c3d"
    path.write_bytes(
        {
            "cut": data[:-600],
            "head": data[:700],
            "noise": data[:2] + np.random.default_rng(0).bytes(3000),
            "empty": b"",
            "text": b"P" * 2000,
        }[damage]
    )
    with pytest.raises(LibraryError, match=r"damaged|not a C3D") as caught:
        read_c3d(path)
    assert "\n" not in str(caught.value)


# CSV ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("racket", [True, False])
def test_a_swing_through_csv(tmp_path, swing, racket):
    swing = swing if racket else replace(swing, racket=None)
    points = swing.points.copy()
    points[3, 4, 1] = np.nan
    swing = replace(swing, points=points)
    path = tmp_path / "a.csv"
    path.write_text(write_table(swing, TALL), encoding="utf-8")
    found = to_swings(read_recording(path))
    (back,) = found.swings
    assert (back.hand, back.stroke, found.stature, found.notes) == ("left", "forehand", TALL, ())
    np.testing.assert_array_equal(back.times, swing.times)
    np.testing.assert_allclose(back.points, swing.points, rtol=1e-14, equal_nan=True)
    if racket:
        np.testing.assert_allclose(back.racket, swing.racket, rtol=1e-14)
    assert back.events == dict(swing.events)
    assert (back.racket is not None) == racket
    # A table of a table is the same text: nothing is lost after the first rounding.
    table = read_table(path)
    np.testing.assert_array_equal(table.points[5], TALL * swing.points[5])


def test_a_plain_table_in_millimetres(swing):
    """Only what is needed, another order of columns, no word of anything else."""
    lines = write_table(mirrored_right(swing), 1000.0 * TALL).splitlines()
    body = [line for line in lines if not line.startswith("#")]
    table = parse_table("\n".join(["# units: mm", *body]))
    np.testing.assert_allclose(table.points, TALL * mirrored_right(swing).points, rtol=1e-12)
    assert (table.hand, table.stroke, table.stature, table.events) == (None, None, None, {})


def mirrored_right(swing):
    return replace(swing, points=mirror(swing.points), racket=None, hand="right")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda t: t.replace("left_wrist_x", "left_wrost_x"), "left_wrost_x"),
        (lambda t: t.replace("left_wrist_x", "left_elbow_x"), "twice"),
        (lambda t: t.replace("hand: left", "hand: both"), "say right or left"),
        (lambda t: t.replace("stature_m: 1.69", "stature_m: 169"), "between 0.8 and 2.5"),
        (lambda t: t.replace("event ready", "event reddy"), "reddy"),
        (lambda t: t.replace("version: 1", "version: 9"), "version 1"),
        (lambda t: t[: len(t) // 2], "cells"),
        (lambda t: t + "nan" + "," * 78 + "\n", "do not rise|cells"),
        (lambda t: "\n".join(t.splitlines()[:12]), "two moments"),
        (lambda t: "# units: miles\n" + t, "miles"),
    ],
)
def test_a_damaged_table_is_one_sentence(swing, change, says):
    text = write_table(replace(swing, racket=None), TALL)
    with pytest.raises(LibraryError, match=says) as caught:
        parse_table(change(text))
    assert "\n" not in str(caught.value)


def test_what_is_no_recording(tmp_path):
    for name in ("none.csv", "none.c3d", "none.bvh"):
        with pytest.raises(LibraryError, match=r"There is no"):
            read_recording(tmp_path / name)
    with pytest.raises(LibraryError, match=r"\.c3d, \.bvh"):
        read_recording(tmp_path / "a.txt")


def test_a_marker_set_that_is_not_understood(tmp_path):
    path = tmp_path / "set.json"
    good = {"format": "swingmatch marker set", "version": 1, "keypoints": {"nose": ["N"]}}
    for change, says in (
        ({"up": "w"}, "axis"),
        ({"keypoints": {"tail": ["T"]}}, "tail"),
        ({"pelvis": {"left_front": "L"}}, "pelvis"),
        ({"version": 2}, "no marker set"),
    ):
        path.write_text(json.dumps(good | change))
        with pytest.raises(LibraryError, match=says):
            read_marker_set(path)
    path.write_text("{")
    with pytest.raises(LibraryError, match="JSON"):
        read_marker_set(path)
