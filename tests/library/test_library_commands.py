"""``swingmatch library ...`` from the words to the store and back; swings come as tables, so no film is read."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from swingmatch.cli import main
from swingmatch.errors import LibraryError
from swingmatch.library.adding import Facts, plain, to_model
from swingmatch.library.folder import load_library
from swingmatch.library.model import make_model
from swingmatch.library.quality import judge, of_footage
from swingmatch.library.table import write_table


@pytest.fixture(scope="module")
def volunteers():
    return {v.label: v for v in load_library()}


@pytest.fixture
def tables(tmp_path, volunteers):
    """Three repeats of one shipped, generated volunteer, a table each."""
    out = []
    for number, swing in enumerate(volunteers["Wren"].swings, start=1):
        out.append(tmp_path / f"repeat_{number}.csv")
        out[-1].write_text(write_table(swing, volunteers["Wren"].stature), encoding="utf-8")
    return out


@pytest.fixture
def library(tmp_path, capsys):
    """Runs a command on a library of its own: return code, what was printed, what was said of errors."""

    def run(*words, home="home"):
        code = main(["library", words[0], "--home", str(tmp_path / home), *map(str, words[1:])])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_repeats_become_one_model_and_the_same_file_is_taken_in_once(library, tables):
    code, said, _ = library("add", *tables[:2], "--volunteer", "W1", "--generated", "--tag", "calm")
    assert code == 0
    assert "repeat_2.csv: W1, forehand, 2 swings in all" in said
    code, said, _ = library("add", *tables, "--volunteer", "W1", "--generated")
    assert code == 0
    assert said.count("in the library already") == 2
    code, said, _ = library("list", "--json")
    (model,) = json.loads(said)
    assert (model["volunteer"], model["repeats"], model["tags"]) == ("W1", 3, ["calm"])
    assert {m["name"] for m in model["media"] if m["kind"] == "other"} == {t.name for t in tables}
    assert model["stance"] in ("open", "semi-open", "neutral", "closed")


def test_nobody_enters_without_a_consent(library, tables):
    code, _, error = library("add", tables[0], "--volunteer", "V1")
    assert code == 1
    assert "no consent of V1 on record" in error
    assert library("consent", "add", "V1", "--show-students", "--until", "2999-01-31")[0] == 0
    assert library("add", tables[0], "--volunteer", "V1")[0] == 0
    code, said, _ = library("consent", "list", "--json")
    (consent,) = json.loads(said)
    assert (consent["code"], consent["until"], consent["show_students"]) == ("V1", "2999-01-31", True)
    assert consent["shared_set"] is False
    code, said, _ = library("consent", "withdraw", "V1")
    assert "Removed: 1 models" in said
    assert json.loads(library("list", "--json")[1]) == []


def test_a_minor_needs_a_guardian(library):
    code, _, error = library("consent", "add", "V2", "--minor")
    assert code == 1
    assert "guardian" in error
    assert library("consent", "add", "V2", "--minor", "--guardian", "G2")[0] == 0


def test_a_bad_file_costs_a_sentence_and_the_rest_goes_on(library, tables, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("time,nothing\n", encoding="utf-8")
    code, said, error = library("add", bad, tables[0], "--volunteer", "W1", "--generated")
    assert code == 1
    assert "bad.csv" in error
    assert "repeat_1.csv: W1" in said


def test_show_tag_check_and_forget(library, tables):
    library("add", *tables, "--volunteer", "W1", "--generated", "--label", "Calm one")
    code, said, _ = library("show", "Calm one")
    assert code == 0
    assert "right-handed forehand, 3 swings" in said
    assert "forward swing:" in said
    assert library("tag", "Calm one", "--add", "low ball")[1] == "Calm one has the tags low ball.\n"
    assert json.loads(library("list", "--json", "--tag", "low ball")[1])[0]["label"] == "Calm one"
    assert json.loads(library("list", "--json", "--tag", "other")[1]) == []
    assert library("tag", "Calm one", "--remove", "low ball")[1] == "Calm one has no tags.\n"
    assert library("check")[0] == 0
    shown = json.loads(library("show", "Calm one", "--json")[1])
    assert shown["spread_degrees"]["right_hand"]["forward swing"] > 0
    assert "1 models" in library("forget", shown["id"])[1]
    code, _, error = library("show", "Calm one")
    assert code == 1
    assert "There is no model" in error


def test_a_model_has_a_small_picture_that_goes_with_it(library, tables, tmp_path):
    """A drawn body at contact, one a model however many repeats; forgotten with the model."""
    library("add", tables[0], "--volunteer", "W1", "--generated")
    library("add", tables[1], "--volunteer", "W1", "--generated")
    (model,) = json.loads(library("list", "--json")[1])
    (kept,) = [m for m in model["media"] if m["kind"] == "thumbnail"]
    assert "in " + str(tmp_path / "w.png") in library("show", "W1", "--picture", tmp_path / "w.png")[1]
    picture = cv2.imread(str(tmp_path / "w.png"))
    assert picture.shape == (280, 200, 3)
    assert (np.abs(picture.astype(int) - picture[:1]).max(axis=2) > 60).mean() > 0.03
    assert (
        len([p for p in (tmp_path / "home" / "media").rglob("*") if p.name.startswith(kept["sha256"][:16])])
        == 1
    )
    library("forget", "W1")
    assert not [p for p in (tmp_path / "home" / "media").rglob("*") if p.is_file()]


def test_damage_is_found(library, tables, tmp_path):
    library("add", tables[0], "--volunteer", "W1", "--generated")
    kept = next(p for p in (tmp_path / "home" / "media").rglob("*") if p.is_file())
    kept.write_bytes(kept.read_bytes()[:-1] + b"?")
    code, said, _ = library("check")
    assert code == 1
    assert said.strip()


def test_a_set_goes_to_another_library_as_far_as_was_agreed(library, tables, tmp_path):
    library("consent", "add", "V1")
    library("consent", "add", "V2", "--shared-set")
    library("add", tables[0], "--volunteer", "V1")
    library("add", tables[1], "--volunteer", "V2")
    code, said, _ = library("export", tmp_path / "some.set")
    assert code == 0
    assert "holds V2" in said
    assert "V1 did not agree to a shared set" in said
    code, said, _ = library("import", tmp_path / "some.set", home="other")
    assert code == 0
    assert said == "Taken in: V2.\n"
    mine = json.loads(library("list", "--json", "--volunteer", "V2")[1])[0]
    theirs = json.loads(library("list", "--json", home="other")[1])[0]
    assert {k: v for k, v in mine.items() if k != "media"} == {
        k: v for k, v in theirs.items() if k != "media"
    }


def test_a_model_is_chosen_from_ones_own_and_the_shipped(library, tables):
    library("add", *tables, "--volunteer", "Wren", "--generated")
    code, said, _ = library("choose", tables[0], "--json", "--wish", "ignore tempo")
    assert code == 0
    (choice,) = json.loads(said)
    assert choice["model"] in ("Wren", "Wren (own)")
    assert {"Wren", "Wren (own)"} <= {score["label"] for score in choice["scores"]}
    assert set(choice["scores"][0]["parts"]) == {"build", "style", "view"}
    code, said, _ = library("choose", tables[0])
    assert "repeat_1.csv: " in said
    assert "this side" in said
    assert library("choose", tables[0], "--wish", "like nonsense")[0] == 1


def test_quality_speaks_against_anothers_swing_and_an_unknown_contact(volunteers):
    wren, other = volunteers["Wren"].swings, volunteers["Gil"].swings
    same = make_model(wren)
    assert judge(wren, same, [0.0] * 3).passed
    assert judge(wren, same, [0.0] * 3).doubts == ()
    assert "contact of swing 2" in judge(wren, same, [0.0, 0.2, 0.0]).against[0]
    assert "little of how much" in judge(wren[:1], make_model(wren[:1]), [0.0]).doubts[0]
    mixed = (*wren, other[0].as_right_handed())
    far = replace(make_model(mixed), apart=(1.0, 1.0, 1.0, 16.0))
    assert "swing 4" in judge(mixed, far, [0.0] * 4).against[0].casefold()


def test_what_is_not_in_the_picture_speaks_against_a_model(volunteers):
    """Cut limbs refuse a model, blur is a doubt, what is fine is not said."""
    remarks = [
        ("in view", "limits", "The feet are out of the picture."),
        ("blur", "limits", "The hand is blurred."),
        ("light", "fine", "The light is good."),
        ("rate", "unusable", "Too few pictures."),
    ]
    footage = of_footage(remarks)
    assert footage.against == ("The feet are out of the picture.", "Too few pictures.")
    assert footage.doubts == ("The hand is blurred.",)
    swings = volunteers["Wren"].swings
    with pytest.raises(LibraryError, match="The feet are out of the picture"):
        to_model(swings, [0.0] * 3, Facts(volunteer="W1", generated=True), footage=footage)
    model, _ = to_model(
        swings,
        [0.0] * 3,
        Facts(volunteer="W1", generated=True, despite="the arm is what matters"),
        footage=footage,
    )
    assert "The hand is blurred." in model.notes
    assert any("the arm is what matters" in note for note in model.notes)


def test_a_reason_overrules_quality_and_is_kept(volunteers):
    swings = volunteers["Wren"].swings
    facts = Facts(volunteer="W1", generated=True)
    with pytest.raises(Exception, match="contact of swing 1"):
        to_model(swings, [0.2, 0.0, 0.0], facts)
    model, _ = to_model(swings, [0.2, 0.0, 0.0], replace(facts, despite="seen on another film"))
    assert any("seen on another film" in note for note in model.notes)


def test_kept_swings_count_from_contact(volunteers):
    swing = volunteers["Wren"].swings[0]
    late = replace(
        swing, times=swing.times + 7.0, events={name: at + 7.0 for name, at in swing.events.items()}
    )
    assert np.allclose(plain(late).times, swing.times)
    assert plain(late).contact == 0.0
