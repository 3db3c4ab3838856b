"""The coach's own file: laid over, saved without losing what was typed, and refused in a sentence when broken."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from swingmatch.findings.catalogue import load as loading
from swingmatch.findings.catalogue.entry import fault_of, table_of
from swingmatch.findings.catalogue.fault import Sign
from swingmatch.findings.catalogue.load import CatalogueError, load, own_faults, save_own
from swingmatch.stroke.strokes import STROKES


@pytest.fixture
def named():
    """A fault that the coach made of an unnamed cluster."""
    return replace(
        load("forehand")["flat_path"],
        id="scooped",
        title="The ball is scooped up",
        signs=(Sign("hand_height", ("contact",), -1.0), Sign("hand_path_angle", (), 1.5)),
        causes=("low_contact",),
        own=True,
    )


@pytest.mark.parametrize("stroke", list(STROKES))
def test_every_fault_survives_its_table(stroke):
    for fault in load(stroke).faults:
        assert fault_of(table_of(fault), stroke, "here") == fault


def test_a_new_entry_is_added_and_flagged(tmp_path, named):
    path = tmp_path / "deep" / "own.toml"
    assert load("forehand", path) == load("forehand")
    save_own(path, named)
    found = load("forehand", path)
    assert found["scooped"] == named
    assert found.faults[:-1] == load("forehand").faults
    assert load("serve", path) == load("serve")
    assert [p.name for p in path.parent.iterdir()] == ["own.toml"]


@pytest.mark.parametrize("stroke", list(STROKES))
def test_an_edited_entry_stands_in_place_of_the_shipped_one(tmp_path, stroke):
    path = tmp_path / "own.toml"
    shipped = load(stroke).faults
    edited = replace(shipped[2], cue="Quiet hands.", caution="")
    save_own(path, edited)
    found = load(stroke, path)
    assert [fault.id for fault in found.faults] == [fault.id for fault in shipped]
    assert found.faults[2] == replace(edited, own=True)
    assert not any(fault.own for fault in (*found.faults[:2], *found.faults[3:]))


def test_saving_keeps_comments_and_the_other_entries(tmp_path, named):
    path = tmp_path / "own.toml"
    save_own(path, named)
    other = replace(load("serve")["low_elbow"], cue="Elbow up.")
    save_own(path, other)
    typed = "# my own words\n" + path.read_text().replace('id = "scooped"', 'id = "scooped" # seen in May')
    path.write_text(typed)
    save_own(path, replace(named, cue="Through, not up.", drill=replace(named.drill, dose="Five minutes.")))
    after = path.read_text()
    assert after.startswith("# my own words\n")
    assert "# seen in May" in after
    assert after.count("[[forehand.fault]]") == 1
    (mine,) = own_faults(path, "forehand")
    assert (mine.cue, mine.drill.dose) == ("Through, not up.", "Five minutes.")
    assert own_faults(path, "serve") == (replace(other, own=True),)


def test_a_save_that_fails_leaves_the_old_file(tmp_path, named, monkeypatch):
    path = tmp_path / "own.toml"
    save_own(path, named)
    before = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CatalogueError, match=r"cannot be written \(No space left on device\)"):
        save_own(path, replace(named, cue="Other."))
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_what_could_not_be_read_again_is_not_saved(tmp_path, named):
    with pytest.raises(CatalogueError, match="elbow_hight"):
        save_own(tmp_path / "own.toml", replace(named, signs=(Sign("elbow_hight", (), 1.0),)))
    assert not (tmp_path / "own.toml").exists()


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('cue = "', "cue = ", "not valid TOML"),
        ('cue = "', 'cuee = "', "a field cuee"),
        ('title = "The ball is scooped up"', 'title = ""', "needs title in words"),
        ('id = "scooped"', 'id = "scooped up"', "needs an id of letters"),
        ('of = "hand_path_angle"', 'of = "hand_path"', "hand_path, which is not measured of a forehand"),
        ('when = ["contact"]', 'when = ["impact"]', "hand_height@impact, which is not measured"),
        ('when = ["contact"]', 'when = "contact"', "must be a list of words"),
        ("amount = 1.5", "amount = 0.0", "is 0 and says nothing"),
        ("amount = 1.5", 'amount = "much"', "must be a number from"),
        ('of = "hand_path_angle"', 'of = "stance_angle"', "for which no floor is known"),
        ('causes = ["low_contact"]', 'causes = ["nobody"]', "speaks of nobody, which is no other fault"),
        ('causes = ["low_contact"]', 'causes = ["scooped"]', "speaks of scooped, which is no other fault"),
        ("[[forehand.fault]]", "[[volley.fault]]", "names the stroke volley"),
        ("[[forehand.fault]]", "[[forehand.faults]]", "may hold faults only"),
        ("order = 0.56", "order = 3", "order must be a number from 0 to 1"),
    ],
)
def test_a_broken_file_is_said_in_one_sentence(tmp_path, named, before, after, says):
    path = tmp_path / "own.toml"
    save_own(path, named)
    text = path.read_text()
    assert before in text
    path.write_text(text.replace(before, after))
    with pytest.raises(CatalogueError, match=says) as caught:
        load("forehand", path)
    said = str(caught.value)
    assert said.endswith(".")
    assert "\n" not in said


def test_an_id_may_not_stand_twice(tmp_path, named):
    path = tmp_path / "own.toml"
    save_own(path, named)
    path.write_text(path.read_text() * 2)
    with pytest.raises(CatalogueError, match=r"stands twice|not valid TOML"):
        load("forehand", path)


def test_causes_may_not_go_in_a_circle(tmp_path):
    path = tmp_path / "own.toml"
    save_own(path, replace(load("forehand")["hips_late"], causes=("arm_only",)))
    with pytest.raises(CatalogueError, match="a cause of itself"):
        load("forehand", path)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CatalogueError, match="is not text"):
        load("forehand", path)
    with pytest.raises(CatalogueError, match="cannot be read"):
        own_faults(tmp_path, "forehand")
    assert loading.CatalogueError is CatalogueError
