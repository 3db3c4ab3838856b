"""The command line: words into calls, errors into one sentence each. The analysis itself is a stub here."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from types import SimpleNamespace

import pytest

from swingmatch import cli
from swingmatch.errors import ClipError, LibraryError, SetupError
from swingmatch.library.folder import load_library, write_volunteer
from swingmatch.report.folder import Written

COMMANDS = ("demo", "compare", "explain", "measure", "check", "models")


class Estimator:
    closed = 0

    def close(self):
        self.closed += 1


@pytest.fixture
def stub(monkeypatch):
    """Stands for the analysis: remembers what it was asked, fails for a clip named "bad", writes a word a file."""
    calls = SimpleNamespace(reviews=[], keeps=[], estimator=Estimator(), models=[])

    def review_clip(path, library, options, *, estimator, progress):
        assert estimator is calls.estimator
        assert estimator.closed == 0
        calls.reviews.append((path, options, len(library)))
        progress("following the player", 1.0)
        if path.stem == "bad":
            raise ClipError("The file bad.mp4 is not a video.")
        if path.stem == "stop":
            raise KeyboardInterrupt
        return SimpleNamespace(player=options.player or path.stem)

    def write_review(review, clip, folder, progress, *, keep):
        calls.keeps.append(list(keep))
        folder.mkdir(parents=True, exist_ok=True)
        written = Written(folder / f"{review.player}.html", folder / f"{review.player}.mp4")
        written.page.write_text("page")
        written.film.write_text("film")
        return written

    def make_estimator(model=None):
        calls.models.append(model)
        return calls.estimator

    monkeypatch.setattr("swingmatch.pipeline.review_clip", review_clip)
    monkeypatch.setattr("swingmatch.report.folder.write_review", write_review)
    monkeypatch.setattr("swingmatch.report.note.coach_note", lambda review: f"A note on {review.player}.")
    monkeypatch.setattr("swingmatch.body.estimator.make_estimator", make_estimator)
    return calls


def one_sentence(err):
    """The lines of swingmatch's own on the error stream, without the progress."""
    assert "Traceback" not in err
    return [line for line in err.splitlines() if line.startswith("swingmatch: ")]


@pytest.mark.parametrize("words", [["--help"], *([command, "--help"] for command in COMMANDS)])
def test_help(words, capsys):
    with pytest.raises(SystemExit) as stop:
        cli.main(words)
    assert stop.value.code == 0
    out = capsys.readouterr().out
    assert "usage: swingmatch" in out
    if words == ["--help"]:
        assert all(command in out for command in COMMANDS)
        assert "not medical advice" in out
        assert "parents' consent" in " ".join(out.split())


def test_help_needs_none_of_the_heavy_libraries():
    code = (
        "import sys\nfrom swingmatch import cli\n"
        "try:\n    cli.main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'mediapipe', 'cv2', 'plotly', 'scipy'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "required"),
        (["frobnicate"], "invalid choice"),
        (["compare"], "CLIP"),
        (["compare", "a.mp4", "--hand", "both"], "invalid choice: 'both'"),
        (["compare", "a.mp4", "--camera", "above"], "invalid choice: 'above'"),
    ],
)
def test_words_that_are_not_understood(words, said, capsys, stub):
    with pytest.raises(SystemExit) as stop:
        cli.main(words)
    assert stop.value.code == 2
    assert said in capsys.readouterr().err
    assert stub.reviews == []


def test_models_lists_every_volunteer(capsys):
    assert cli.main(["models"]) == 0
    lines = capsys.readouterr().out.splitlines()
    library = load_library()
    assert [line.split()[0] for line in lines] == [v.label for v in library]
    assert all("generated" in line and "swings:" in line for line in lines)


def test_a_damaged_volunteer_costs_a_sentence(tmp_path, capsys):
    write_volunteer(tmp_path, load_library().volunteers[0])
    broken = tmp_path / "zz"
    broken.mkdir()
    (broken / "volunteer.json").write_text("{")
    for path in tmp_path.glob("*/*.json"):
        if path.parent != broken:
            (broken / path.name).write_text("{")
    assert cli.main(["models", "--library", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 1
    assert len(one_sentence(err)) == 1


@pytest.mark.parametrize(("word", "meant"), [("left", "left"), ("0.25,0.6", (0.25, 0.6))])
def test_a_person_is_a_word_or_a_point(stub, tmp_path, word, meant):
    assert cli.main(["compare", "a.mp4", "--person", word, "--out", str(tmp_path / "o")]) == 0
    assert [options.person for _, options, _ in stub.reviews] == [meant]


def test_a_person_that_is_not_understood_is_one_sentence(stub, tmp_path, capsys):
    assert cli.main(["compare", "a.mp4", "--person", "me", "--out", str(tmp_path / "o")]) == 1
    assert "Say who the player is" in one_sentence(capsys.readouterr().err)[0]
    assert stub.reviews == []


def test_options_reach_the_analysis(stub, tmp_path):
    words = ["compare", "a.mp4", "--model", "gil", "--hand", "left", "--camera", "back-left"]
    words += ["--player", "Ann", "--out", str(tmp_path / "o"), "--pose-model", "p.task"]
    assert cli.main(words) == 0
    ((path, options, count),) = stub.reviews
    assert path.name == "a.mp4"
    assert (options.model, options.hand, options.azimuth, options.player) == ("gil", "left", -135.0, "Ann")
    assert count == len(load_library())
    assert stub.models[0].name == "p.task"
    assert stub.estimator.closed == 1


def test_camera_places_agree_with_the_names_of_the_sides():
    from swingmatch.stroke.direction import side_name

    for place, azimuth in cli.CAMERA_PLACES.items():
        assert side_name(azimuth).removesuffix(" side").replace(" ", "-") == place


def test_a_bad_clip_does_not_stop_the_batch(stub, tmp_path, capsys):
    assert cli.main(["compare", "bad.mp4", "good.mp4", "--out", str(tmp_path)]) == 1
    out, err = capsys.readouterr()
    assert one_sentence(err) == ["swingmatch: The file bad.mp4 is not a video."]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["good.html", "good.mp4"]
    assert "A note on good." in out
    assert str(tmp_path / "good.html") in out
    assert "not medical advice" in out
    assert stub.estimator.closed == 1


def test_what_was_written_and_the_clips_themselves_are_kept(stub, tmp_path):
    clips = [tmp_path / "a.mp4", tmp_path / "b.mp4"]
    assert cli.main(["compare", *map(str, clips), "--player", "Ann", "--out", str(tmp_path)]) == 0
    assert stub.keeps == [clips, [*clips, tmp_path / "Ann.html", tmp_path / "Ann.mp4"]]


def test_an_unknown_model_is_told_before_any_work(stub, tmp_path, capsys):
    assert cli.main(["compare", "a.mp4", "b.mp4", "--model", "Gill", "--out", str(tmp_path / "o")]) == 1
    (sentence,) = one_sentence(capsys.readouterr().err)
    assert 'no model "Gill"' in sentence
    assert 'Did you mean "Gil"' in sentence
    assert stub.reviews == stub.models == []


def test_a_missing_library_is_a_sentence(stub, tmp_path, capsys):
    assert cli.main(["compare", "a.mp4", "--library", str(tmp_path / "none")]) == 1
    assert len(one_sentence(capsys.readouterr().err)) == 1


@pytest.mark.parametrize("inside", ["", "deeper/still"])
def test_a_file_in_the_folders_place_is_told_before_any_work(stub, tmp_path, capsys, inside):
    (tmp_path / "out").write_text("mine")
    assert cli.main(["compare", "a.mp4", "--out", str(tmp_path / "out" / inside)]) == 1
    (sentence,) = one_sentence(capsys.readouterr().err)
    assert "is not a folder" in sentence
    assert "--out" in sentence
    assert stub.reviews == []
    assert (tmp_path / "out").read_text() == "mine"


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere"
)
def test_a_folder_that_may_not_be_written(stub, tmp_path, capsys):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    assert cli.main(["compare", "a.mp4", "--out", str(locked / "o")]) == 1
    assert "nothing may be written" in one_sentence(capsys.readouterr().err)[0]


def test_a_missing_clip_is_a_sentence(tmp_path, capsys, monkeypatch):
    """The true analysis up to its first step; only the pose model is a stub."""
    monkeypatch.setattr("swingmatch.body.estimator.make_estimator", lambda model=None: Estimator())
    assert cli.main(["compare", str(tmp_path / "none.mp4"), "--out", str(tmp_path / "o")]) == 1
    (sentence,) = one_sentence(capsys.readouterr().err)
    assert "none.mp4" in sentence
    assert not (tmp_path / "o").exists()


def test_stopped_by_the_user(stub, tmp_path, capsys):
    assert cli.main(["compare", "good.mp4", "stop.mp4", "never.mp4", "--out", str(tmp_path)]) == 130
    out, err = capsys.readouterr()
    (sentence,) = one_sentence(err)
    assert "stopped" in sentence
    assert "A note on good." in out
    assert [path.name for path, _, _ in stub.reviews] == ["good.mp4", "stop.mp4"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["good.html", "good.mp4"]
    assert stub.estimator.closed == 1


@pytest.mark.parametrize("error", [SetupError, LibraryError, ClipError])
def test_no_error_of_ours_shows_a_traceback(error, monkeypatch, capsys):
    def fails(path=None):
        raise error("What is wrong, and what to do.")

    monkeypatch.setattr("swingmatch.library.folder.load_library", fails)
    for words in (["models"], ["demo"], ["compare", "a.mp4"]):
        assert cli.main(words) == 1
        assert one_sentence(capsys.readouterr().err) == ["swingmatch: What is wrong, and what to do."]


def test_the_demo_reviews_the_shipped_clips_as_generated(stub, tmp_path, capsys, monkeypatch):
    folder = tmp_path / "clips"
    folder.mkdir()
    for name in ("juno", "kasper"):
        (folder / f"{name}.mp4").write_bytes(b"")
    monkeypatch.setattr("swingmatch.demo.clips._FOLDER", folder)
    assert cli.main(["demo", "--out", str(tmp_path / "o")]) == 0
    assert [o.player for _, o, _ in stub.reviews] == ["Juno (generated)", "Kasper (generated)"]
    assert "no person was recorded" in capsys.readouterr().out


def test_a_demo_without_its_clips_is_a_sentence(stub, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("swingmatch.demo.clips._FOLDER", tmp_path)
    assert cli.main(["demo", "--out", str(tmp_path / "o")]) == 1
    assert "install it again" in one_sentence(capsys.readouterr().err)[0]


def test_a_terminal_without_the_letters_costs_a_letter_not_the_review(stub, tmp_path, monkeypatch):
    """A note holds a true minus and a degree sign, which not every code page knows."""
    monkeypatch.setattr("swingmatch.report.note.coach_note", lambda review: "−8°")
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    assert cli.main(["compare", "a.mp4", "--out", str(tmp_path)]) == 0
    sys.stdout.flush()
    assert b"?8?" in raw.getvalue()


# --- check, and folders -----------------------------------------------------------------------------------------------


@pytest.fixture
def checker(monkeypatch, stub):
    """Stands for the check of footage: unusable for "nobody", no clip for "bad", good otherwise."""
    from swingmatch.footage.check import Footage, Remark, unusable

    asked = []

    def check_clip(path, options, *, estimator, progress):
        asked.append((path, options))
        if path.stem == "bad":
            raise ClipError("bad.txt holds text, no film; please send the clip itself.")
        if path.stem == "nobody":
            return unusable("nobody", "Nobody was found in the clip.")
        if path.stem == "silent":
            return Footage((Remark("sound", "limits", "The clip has no sound."),))
        return Footage((Remark("rate", "fine", "60 pictures a second."),))

    monkeypatch.setattr("swingmatch.pipeline.check_clip", check_clip)
    return asked


def folder_of(tmp_path, *names):
    folder = tmp_path / "clips"
    folder.mkdir()
    for name in names:
        (folder / name).write_bytes(b"x")
    return folder


def test_check_shows_remarks_and_the_note(checker, stub, capsys):
    assert cli.main(["check", "silent.mp4", "good.mp4"]) == 0
    out = capsys.readouterr().out
    assert "silent.mp4 can be used." in out
    assert "The clip has no sound." in out
    assert "leave the sound on" in out
    assert "the same way" in out
    assert out.count("Film minors only") >= 3
    assert stub.estimator.closed == 1


def test_check_goes_through_a_folder_and_past_bad_files(checker, stub, tmp_path, capsys):
    folder = folder_of(tmp_path, "bad.txt", "good.mp4", "nobody.mov", "silent.mkv", ".hidden")
    (folder / "deeper").mkdir()
    out = tmp_path / "notes"
    assert cli.main(["check", str(folder), "--out", str(out)]) == 1
    assert [path.name for path, _ in checker] == ["bad.txt", "good.mp4", "nobody.mov", "silent.mkv"]
    assert one_sentence(capsys.readouterr().err) == [
        "swingmatch: bad.txt holds text, no film; please send the clip itself."
    ]
    assert sorted(p.name for p in out.iterdir()) == ["good-note.txt", "nobody-note.txt", "silent-note.txt"]
    assert "leave the sound on" in (out / "silent-note.txt").read_text()
    assert len(list(folder.iterdir())) == 6


def test_check_of_what_cannot_be_used_fails(checker, stub):
    assert cli.main(["check", "good.mp4"]) == 0
    assert cli.main(["check", "nobody.mp4"]) == 1


def test_two_clips_of_one_name_keep_a_note_each(checker, stub, tmp_path):
    folder = folder_of(tmp_path, "a.mov", "a.mp4")
    assert cli.main(["check", str(folder), "--out", str(folder)]) == 0
    assert sorted(p.name for p in folder.glob("*.txt")) == ["a-note-2.txt", "a-note.txt"]


def test_compare_takes_a_folder_too(stub, tmp_path):
    folder = folder_of(tmp_path, "b.mp4", "a.mp4", "bad.mov")
    assert cli.main(["compare", str(folder), "c.mp4", "--out", str(tmp_path / "o")]) == 1
    assert [path.name for path, _, _ in stub.reviews] == ["a.mp4", "b.mp4", "bad.mov", "c.mp4"]


@pytest.mark.parametrize("command", ["check", "compare"])
def test_an_empty_folder_is_a_sentence(stub, checker, tmp_path, capsys, command):
    assert cli.main([command, str(folder_of(tmp_path))]) == 1
    assert "holds no files" in one_sentence(capsys.readouterr().err)[0]


@pytest.mark.parametrize("command", ["check", "compare"])
def test_slow_motion_by_the_coachs_word(stub, checker, tmp_path, capsys, command):
    assert cli.main([command, "good.mp4", "--slow", "8", "--out", str(tmp_path)]) == 0
    ((_, options),) = checker or [(path, options) for path, options, _ in stub.reviews]
    assert options.slow == 8.0
    assert cli.main([command, "good.mp4", "--slow", "0.25", "--out", str(tmp_path)]) == 1
    assert "--slow" in one_sentence(capsys.readouterr().err)[0]


def test_a_full_disk_costs_a_sentence_a_clip(checker, stub, tmp_path, capsys, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("swingmatch.report.save.os.replace", full)
    assert cli.main(["check", "good.mp4", "silent.mp4", "--out", str(tmp_path)]) == 1
    sentences = one_sentence(capsys.readouterr().err)
    assert len(sentences) == 2
    assert all("disk is full" in sentence for sentence in sentences)
    assert list(tmp_path.iterdir()) == []


# --- measure ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def measurer(monkeypatch, stub):
    """Stands for the measuring: remembers what it was asked, fails for "bad", gives a clip without swings."""
    from swingmatch.findings.measured import Measured
    from swingmatch.stroke.reconstruct import Strokes

    asked = []

    def measure_clip(path, options, *, estimator, progress):
        assert estimator is stub.estimator
        asked.append((path, options))
        progress("measuring", 1.0)
        if path.stem == "bad":
            raise ClipError("The file bad.mp4 is not a video.")
        return Measured(path.name, Strokes("right", 90.0, (), (), ()), (), (f"A note on {path.stem}.",))

    monkeypatch.setattr("swingmatch.pipeline.measure_clip", measure_clip)
    return asked


def test_measure_prints_and_writes_and_goes_past_a_bad_clip(measurer, stub, tmp_path, capsys):
    out = tmp_path / "o"
    assert cli.main(["measure", "bad.mp4", "good.mp4", "--out", str(out)]) == 1
    said, err = capsys.readouterr()
    assert one_sentence(err) == ["swingmatch: The file bad.mp4 is not a video."]
    assert "A note on good." in said
    assert "good-measures.csv" in said
    assert "not medical advice" in said
    assert sorted(p.name for p in out.iterdir()) == ["good-measures.csv", "good-measures.parquet"]
    assert stub.estimator.closed == 1


def test_measure_passes_on_what_the_coach_says(measurer, tmp_path):
    words = ["measure", "a.mp4", "--hand", "left", "--camera", "back", "--person", "biggest", "--slow", "4"]
    words += ["--height", "1.62", "--stroke", "two-handed-backhand", "--out", str(tmp_path)]
    assert cli.main(words) == 0
    ((_, options),) = measurer
    assert (options.hand, options.azimuth, options.person, options.slow) == ("left", 180.0, "biggest", 4.0)
    assert (options.stature, options.stroke) == (1.62, "two-handed backhand")


@pytest.mark.parametrize("command", ["measure", "compare"])
@pytest.mark.parametrize("height", ["178", "0.3", "nan"])
def test_a_height_that_nobody_has_is_one_sentence(measurer, stub, tmp_path, capsys, command, height):
    assert cli.main([command, "a.mp4", "--height", height, "--out", str(tmp_path)]) == 1
    (sentence,) = one_sentence(capsys.readouterr().err)
    assert "in metres, from 0.9 to 2.4" in sentence
    assert measurer == stub.reviews == []


def test_words_for_strokes_are_those_of_the_strokes():
    from swingmatch.stroke.strokes import STROKES

    assert list(cli.STROKE_WORDS.values()) == list(STROKES)
    assert all(word.replace("-", " ") == name.replace("-", " ") for word, name in cli.STROKE_WORDS.items())


def test_a_stroke_that_is_not_known_is_one_sentence():
    from swingmatch.errors import SwingmatchError
    from swingmatch.pipeline import Options

    with pytest.raises(SwingmatchError, match=r'no stroke "smash"; say forehand, .* or serve'):
        Options(stroke="smash")
