"""A set of model swings as one file: nothing is lost, nothing leaves or comes in that must not."""

from __future__ import annotations

import json
import zipfile
from dataclasses import fields, replace
from datetime import date, datetime, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.errors import LibraryError
from swingmatch.library.exchange import (
    consent_from_json,
    consent_to_json,
    entry_from_json,
    entry_to_json,
    export_set,
    import_set,
)
from swingmatch.library.folder import load_library
from swingmatch.library.model import make_model
from swingmatch.library.records import Consent, Entry, Model, NewMedia
from swingmatch.library.store import open_store
from swingmatch.library.store.arrays import to_bytes

TODAY = date(2030, 5, 1)


@pytest.fixture(scope="module")
def model():
    """A generated swing under an invented code: for the store a volunteer like any other."""
    swings = next(v for v in load_library() if v.label == "Wren").swings
    made = make_model(swings)
    return Model(
        volunteer="T1", label="Test one", stroke="forehand", hand="right", generated=False, licence="test",
        source="test", swings=swings, mean=made.swing, spread=made.spread, apart=made.apart,
        tags=frozenset({"a b", "ö"}),
        notes=("A note.",), tempo=0.8, style={"stance": "open", "x": 0.25},
    )  # fmt: skip


def agreed(**more):
    return Consent(**{"code": "T1", "agreed_on": date(2030, 1, 1), "shared_set": True} | more)


@pytest.fixture
def home(tmp_path):
    with open_store(tmp_path / "one") as store:
        yield store


@pytest.fixture
def other(tmp_path):
    with open_store(tmp_path / "other") as store:
        yield store


def test_a_set_loses_nothing(home, other, model, tmp_path):
    home.add(
        model, agreed(show_face=True), [NewMedia(kind="clip", name="clip.mp4", source=b"film" * 99)], on=TODAY
    )
    out = export_set(home, tmp_path / "set.zip", on=TODAY)
    assert (out.models, out.left_out) == (("Test one",), ())
    taken = import_set(other, tmp_path / "set.zip", on=TODAY)
    assert [entry.label for entry in taken.added] == ["Test one"]
    back = other.model(model.id, on=TODAY)
    assert to_bytes(back) == to_bytes(model)
    np.testing.assert_array_equal(back.swings[0].points, model.swings[0].points)
    for f in fields(Entry):
        if f.name != "media":
            np.testing.assert_equal(getattr(back, f.name), getattr(home.model(model.id, on=TODAY), f.name))
    assert {(m.kind, m.name) for m in back.media} == {("clip", "clip.mp4"), ("swings", "swings.npz")}
    clip = next(m for m in back.media if m.kind == "clip")
    assert other.path_of(clip).read_bytes() == b"film" * 99
    assert other.consent("T1") == home.consent("T1")
    assert other.check() == []
    again = import_set(other, tmp_path / "set.zip", on=TODAY)
    assert (again.added, again.known) == ((), ("Test one",))


def test_what_was_not_agreed_stays(home, model, tmp_path):
    home.add(model, agreed(shared_set=False, name="Somebody"), on=TODAY)
    with pytest.raises(LibraryError, match="T1 did not agree to a shared set"):
        export_set(home, tmp_path / "set.zip", on=TODAY)
    assert list(tmp_path.glob("*set*")) == []


def test_an_ended_consent_passes_nothing_on(home, model, tmp_path):
    home.add(model, agreed(until=date(2030, 6, 1)), on=TODAY)
    with pytest.raises(LibraryError, match="nothing to pass on"):
        export_set(home, tmp_path / "set.zip", on=date(2030, 6, 2))


def test_no_face_and_no_name_leaves_unless_agreed(home, model, tmp_path):
    film = NewMedia(kind="clip", name="clip.mp4", source=b"film of a face")
    home.add(model, agreed(name="Some Body"), [film], on=TODAY)
    out = export_set(home, tmp_path / "set.zip", on=TODAY)
    assert "face" in out.left_out[0]
    with zipfile.ZipFile(tmp_path / "set.zip") as archive:
        everything = b"".join(archive.read(name) for name in archive.namelist())
    assert b"film of a face" not in everything
    assert b"Some Body" not in everything


def test_the_guardians_name_stays_and_other_files_are_called_so(home, model, tmp_path):
    other = NewMedia(kind="other", name="lab.c3d", source=b"Name Of Somebody")
    home.add(model, agreed(minor=True, guardian="Mother, Name Surname"), [other], on=TODAY)
    out = export_set(home, tmp_path / "set.zip", on=TODAY)
    assert out.left_out == (
        "The file lab.c3d of Test one stays here: a name or a face may be in it, and that was not agreed.",
    )
    with zipfile.ZipFile(tmp_path / "set.zip") as archive:
        everything = b"".join(archive.read(name) for name in archive.namelist())
        (consent,) = json.loads(archive.read("set.json"))["consents"]
    assert b"Surname" not in everything
    assert (consent["minor"], consent["guardian"]) == (True, "guardian of T1")


@pytest.mark.parametrize("code", ["G2", "7", "GU-014"])
def test_a_guardians_code_goes_along(home, model, tmp_path, code):
    home.add(model, agreed(minor=True, guardian=code), on=TODAY)
    export_set(home, tmp_path / "set.zip", on=TODAY)
    with zipfile.ZipFile(tmp_path / "set.zip") as archive:
        assert json.loads(archive.read("set.json"))["consents"][0]["guardian"] == code


def test_people_in_an_average_are_asked_too(home, model, tmp_path):
    home.record_consent(agreed(code="T2", shared_set=False))
    home.add(replace(model, contains=("T1", "T2")), agreed(), on=TODAY)
    with pytest.raises(LibraryError, match="T2 did not agree"):
        export_set(home, tmp_path / "set.zip", on=TODAY)


def test_somebody_who_withdrew_does_not_come_back(home, other, model, tmp_path):
    home.add(model, agreed(), on=TODAY)
    export_set(home, tmp_path / "set.zip", on=TODAY)
    import_set(other, tmp_path / "set.zip", on=TODAY)
    other.withdraw("T1", TODAY)
    taken = import_set(other, tmp_path / "set.zip", on=TODAY)
    assert taken.added == ()
    assert "withdr" in taken.refused[0]


def rewritten(path, change):
    """The archive with its parts changed by ``change(parts)``, a dict of names to bytes."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)


def text_changed(change):
    def apply(parts):
        text = json.loads(parts["set.json"])
        change(text)
        parts["set.json"] = json.dumps(text).encode()

    return apply


def arrays_of(parts):
    return next(name for name in parts if name.endswith("swings.npz"))


def renamed(name):
    def apply(parts):
        place = arrays_of(parts)
        parts[name] = parts.pop(place)
        text = json.loads(parts["set.json"])
        text["models"][0]["media"][0]["name"] = name.split("/", 2)[-1]
        parts["set.json"] = json.dumps(text).encode()

    return apply


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p.update({arrays_of(p): p[arrays_of(p)][:-1] + b"x"}), "not what was put in"),
        (lambda p: p.pop(arrays_of(p)), "lacks one"),
        (lambda p: p.update({"../evil": b"x"}), "strangely"),
        (lambda p: p.update({"/etc/evil": b"x"}), "strangely"),
        (lambda p: p.update({"models/more.txt": b"x"}), "does not list"),
        (renamed("models/" + "0" * 32 + "/../../evil"), "strangely|put in"),
        (lambda p: p.pop("set.json"), "no set of model swings"),
        (lambda p: p.update({"set.json": b"{"}), "damaged"),
        (lambda p: p.update({"bomb": bytes(60_000_000)}), "unpack"),
        (text_changed(lambda t: t.update(version=2)), "version 2"),
        (text_changed(lambda t: t.update(format="x")), "no set"),
        (text_changed(lambda t: t["models"][0].pop("hand")), "damaged"),
        (text_changed(lambda t: t["models"][0].update(id="../x")), "damaged"),
        (text_changed(lambda t: t["consents"][0].update(agreed_on="soon")), "damaged"),
        (text_changed(lambda t: t.update(models=7)), "damaged"),
    ],
)
def test_a_set_that_was_tampered_with_brings_nothing(home, other, model, tmp_path, change, says):
    home.add(model, agreed(), on=TODAY)
    path = tmp_path / "set.zip"
    export_set(home, path, on=TODAY)
    rewritten(path, change)
    with pytest.raises(LibraryError, match=says) as caught:
        import_set(other, path, on=TODAY)
    assert "\n" not in str(caught.value)
    assert other.models(TODAY) == ()
    assert other.consents() == ()


def test_a_set_without_the_consent_brings_nothing(home, other, model, tmp_path):
    home.add(model, agreed(), on=TODAY)
    export_set(home, tmp_path / "set.zip", on=TODAY)
    rewritten(tmp_path / "set.zip", text_changed(lambda t: t.update(consents=[])))
    taken = import_set(other, tmp_path / "set.zip", on=TODAY)
    assert taken.added == ()
    assert "no consent of T1" in taken.refused[0]


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 cut", b"text" * 99])
def test_what_is_no_archive(other, tmp_path, data):
    (tmp_path / "set.zip").write_bytes(data)
    with pytest.raises(LibraryError, match="no set"):
        import_set(other, tmp_path / "set.zip")
    with pytest.raises(LibraryError, match="no set"):
        import_set(other, tmp_path / "none.zip")


words = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12)
numbers = st.floats(allow_infinity=False, width=64)
days = st.dates(date(2000, 1, 1), date(2100, 1, 1))


consents = st.builds(
    Consent, code=words, agreed_on=days, until=st.none() | days, withdrawn_on=st.none() | days, minor=st.booleans(),
    guardian=st.none() | words, shared_set=st.booleans(), name=st.none(),
)  # fmt: skip


@given(consents)
def test_any_consent_comes_back(consent):
    assert consent_from_json(json.loads(json.dumps(consent_to_json(consent)))) == consent


entries = st.builds(
    Entry, volunteer=words, label=words, stroke=words, hand=st.sampled_from(("right", "left")),
    generated=st.booleans(),
    licence=words, stance=st.none() | words, grip=st.none() | words, tempo=numbers, stature=numbers, level=words,
    build=st.dictionaries(words, numbers, max_size=3), traits=st.dictionaries(words, numbers, max_size=3),
    style=st.dictionaries(words, words | numbers, max_size=3), tags=st.frozensets(words, max_size=3),
    notes=st.lists(words, max_size=2).map(tuple), contains=st.lists(words, max_size=2).map(tuple),
    repeats=st.integers(0, 99), added_at=st.datetimes(timezones=st.just(timezone.utc)),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(entries)
def test_any_entry_comes_back(entry):
    back = entry_from_json(json.loads(json.dumps(entry_to_json(entry, ()), allow_nan=False)))
    for f in fields(Entry):
        np.testing.assert_equal(getattr(back, f.name), getattr(entry, f.name))
    assert isinstance(back.added_at, datetime)
