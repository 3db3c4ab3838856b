"""Model swings on disk: what is written comes back, and a damaged file says what is wrong with it."""

import json
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, KEYPOINTS
from swingmatch.errors import LibraryError
from swingmatch.library.folder import load_library, read_volunteer, slug, write_volunteer
from swingmatch.library.format import GENERATED, Volunteer


@pytest.fixture
def volunteer(movers):
    first = movers.swing()
    racket = np.stack([first.points[:, INDEX["right_hand"]] + 0.1 * k for k in range(5)], axis=1)
    return Volunteer(
        label="Test Figure",
        hand="right",
        swings=(replace(first, racket=racket), movers.swing(contact=3.0, style=np.full(8, 4.0))),
        stature=1.74,
        generated=True,
        licence="none",
        sex="female",
        level="club",
        style={"stance": "open", "loop": 0.2},
        style_words=("open stance",),
        proportions={"thigh": 0.245},
    )


@pytest.fixture
def folder(tmp_path, volunteer):
    return write_volunteer(tmp_path, volunteer)


def edit(folder, change):
    path = folder / "volunteer.json"
    text = json.loads(path.read_text())
    change(text)
    path.write_text(json.dumps(text))


def rewrite(folder, **changes):
    with np.load(folder / "swing_1.npz") as stored:
        arrays = dict(stored)
    for name, value in changes.items():
        if value is None:
            del arrays[name]
        else:
            arrays[name] = value(arrays[name])
    np.savez(folder / "swing_1.npz", **arrays)


def test_what_is_written_comes_back(folder, volunteer):
    back = read_volunteer(folder)
    for name in (
        "label",
        "hand",
        "stature",
        "generated",
        "licence",
        "consent",
        "source",
        "sex",
        "level",
        "stroke",
    ):
        assert getattr(back, name) == getattr(volunteer, name)
    assert back.style == volunteer.style
    assert back.style_words == volunteer.style_words
    assert back.proportions == volunteer.proportions
    assert back.source == GENERATED
    for read, written in zip(back.swings, volunteer.swings, strict=True):
        # float32 keeps 24 bits: 1 m to 0.06 micrometres
        np.testing.assert_allclose(read.points, written.points, rtol=1e-6, atol=1e-7)
        np.testing.assert_allclose(read.times, written.times - written.contact, atol=1e-6)
        assert read.contact == 0.0
        assert read.events == pytest.approx(
            {n: t - written.contact for n, t in written.events.items()}, abs=5e-5
        )
        assert (read.racket is None) == (written.racket is None)
    np.testing.assert_allclose(back.swings[0].racket, volunteer.swings[0].racket, rtol=1e-6, atol=1e-7)


def test_holes_come_back_as_holes(tmp_path, volunteer):
    points = volunteer.swings[0].points.copy()
    points[3:7, INDEX["nose"]] = np.nan
    points[:, INDEX["left_heel"]] = np.nan
    written = replace(volunteer, swings=(replace(volunteer.swings[0], points=points),))
    back = read_volunteer(write_volunteer(tmp_path, written))
    np.testing.assert_array_equal(np.isnan(back.swings[0].points), np.isnan(points))


def test_the_same_volunteer_makes_the_same_bytes(tmp_path, volunteer):
    one, two = (write_volunteer(tmp_path / name, volunteer) for name in "ab")
    for path in one.iterdir():
        assert path.read_bytes() == (two / path.name).read_bytes()


def test_a_person_can_read_the_text(folder):
    text = json.loads((folder / "volunteer.json").read_text())
    assert text["source"] == "generated; no person was recorded"
    assert text["consent"] is None
    assert text["consent_note"]
    assert text["units"]["points"] == "metres"
    assert text["keypoints"] == list(KEYPOINTS)
    assert text["swings"][0]["events"]["contact"] == 0.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.pop("format"), "does not describe model swings"),
        (lambda t: t.update(version=2), "version 2"),
        (lambda t: t["keypoints"].remove("left_knee"), "left_knee is missing"),
        (lambda t: t["keypoints"].reverse(), "order"),
        (lambda t: t.update(hand="both"), "hand"),
        (lambda t: t.update(label=" "), "label"),
        (lambda t: t["build"].update(stature_m=174), "stature_m"),
        (lambda t: t.update(build=None), "stature_m"),
        (lambda t: t["units"].update(points="feet"), "units"),
        (lambda t: t["axes"].update(y="down"), "axes"),
        (lambda t: t.update(swings=[]), "no swings"),
        (lambda t: t["swings"][0].update(file="../../elsewhere.npz"), "outside"),
        (lambda t: t["swings"][0].update(file="gone.npz"), "gone.npz is missing"),
        (lambda t: t["swings"][0]["events"].pop("contact"), "no contact time"),
        (lambda t: t["swings"][0]["events"].update(contact=float("nan")), "no contact time"),
        (lambda t: t["swings"][0]["events"].update(contact=9.5), "in order|does not hold its contact"),
        (lambda t: t["swings"][0].update(events={"contact": 9.5}), "does not hold its contact"),
        (lambda t: t["swings"][0]["events"].update(smash=0.1), "smash"),
        (lambda t: t["swings"][0]["events"].update(ready=0.1), "not in order"),
        (lambda t: t.update(generated=False), "no consent"),
        (lambda t: t.update(consent="yes, signed"), "claims a consent"),
        (lambda t: t.pop("licence"), "licence"),
    ],
)
def test_wrong_text_is_named(folder, change, words):
    edit(folder, change)
    with pytest.raises(LibraryError, match=words) as caught:
        read_volunteer(folder)
    assert "\n" not in str(caught.value)


def test_all_that_is_wrong_is_said_at_once(folder):
    edit(folder, lambda t: t.update(hand="both", licence=""))
    with pytest.raises(LibraryError, match=r"licence.*") as caught:
        read_volunteer(folder)
    assert "hand" in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"points": None}, 'no array named "points"'),
        ({"times": lambda a: a[::-1]}, "do not rise"),
        ({"times": lambda a: np.where(a < 0, np.nan, a)}, "do not rise"),
        ({"points": lambda a: a[:, :20]}, "shape"),
        ({"points": lambda a: a.astype(int)}, "decimal"),
        ({"points": lambda a: np.where(a > 1, np.inf, a)}, "infinite"),
        ({"racket": lambda a: a[:, :3]}, "shape"),
        (
            {"points": lambda a: np.where(np.arange(21)[:, None] == INDEX["left_knee"], np.nan, a)},
            "lacks left knee",
        ),
    ],
)
def test_wrong_arrays_are_named(folder, changes, words):
    rewrite(folder, **changes)
    with pytest.raises(LibraryError, match=words):
        read_volunteer(folder)


@pytest.mark.parametrize("keep", [0, 10, 200, 5000])
def test_a_cut_off_file_is_called_damaged(folder, keep):
    path = folder / "swing_1.npz"
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(LibraryError, match=r"swing_1\.npz is damaged"):
        read_volunteer(folder)


def test_objects_are_never_unpacked(folder):
    np.savez(folder / "swing_1.npz", times=np.array([{"a": 1}], dtype=object), points=np.zeros(3))
    with pytest.raises(LibraryError, match="damaged"):
        read_volunteer(folder)


def test_damaged_text(folder):
    (folder / "volunteer.json").write_text('{"format": "swing')
    with pytest.raises(LibraryError, match="JSON"):
        read_volunteer(folder)
    (folder / "volunteer.json").unlink()
    with pytest.raises(LibraryError, match="missing"):
        read_volunteer(folder)


def test_one_bad_volunteer_does_not_stop_the_others(tmp_path, volunteer):
    write_volunteer(tmp_path, replace(volunteer, label="Bea"))
    write_volunteer(tmp_path, replace(volunteer, label="Al"))
    bad = write_volunteer(tmp_path, replace(volunteer, label="Cy"))
    (bad / "swing_2.npz").unlink()
    library = load_library(tmp_path)
    assert [v.label for v in library] == ["Al", "Bea"]
    assert len(library.problems) == 1
    assert "swing_2.npz is missing" in library.problems[0]


def test_an_empty_or_missing_library_is_said(tmp_path):
    with pytest.raises(LibraryError, match="holds no model swings"):
        load_library(tmp_path)
    with pytest.raises(LibraryError, match="no folder"):
        load_library(tmp_path / "nowhere")


def test_writing_replaces_whole_and_leaves_nothing_behind(tmp_path, volunteer):
    write_volunteer(tmp_path, volunteer)
    write_volunteer(tmp_path, replace(volunteer, swings=volunteer.swings[:1], level="county"))
    assert [path.name for path in tmp_path.iterdir()] == ["test-figure"]
    assert sorted(path.name for path in (tmp_path / "test-figure").iterdir()) == [
        "swing_1.npz",
        "volunteer.json",
    ]
    assert read_volunteer(tmp_path / "test-figure").level == "county"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"licence": ""}, "licence"),
        ({"swings": ()}, "no swings"),
        ({"stature": float("nan")}, "cannot be written"),
        ({"generated": False}, "no consent"),
        ({"label": "???"}, "no letter"),
    ],
)
def test_what_could_not_be_read_is_not_written(tmp_path, volunteer, change, words):
    write_volunteer(tmp_path, volunteer)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.*")}
    with pytest.raises(LibraryError, match=words):
        write_volunteer(tmp_path, replace(volunteer, **change))
    assert {path: path.read_bytes() for path in tmp_path.rglob("*.*")} == before


def test_a_person_with_consent_is_read(tmp_path, volunteer):
    consent = "An invented sentence for this test; no person stands behind it."
    written = replace(volunteer, generated=False, consent=consent, source="test of the format")
    back = read_volunteer(write_volunteer(tmp_path, written))
    assert not back.generated
    assert back.consent == consent


def test_folder_names():
    assert slug("Test Figure 2") == "test-figure-2"
    assert slug("Zoë") == "zoë"
