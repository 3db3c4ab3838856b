"""A full disk, a folder that is gone, a stop by the user: one clear sentence, and no half-written file."""

from __future__ import annotations

import errno
import os
import subprocess
import sys

import pytest

from swingmatch.errors import SwingmatchError
from swingmatch.report import save
from swingmatch.report.folder import write_note
from swingmatch.report.save import save_text


def test_a_text_is_written_and_replaced_whole(tmp_path):
    path = tmp_path / "a.txt"
    save_text("one −\n", path)
    save_text("two ±\n", path)
    assert path.read_text(encoding="utf-8") == "two ±\n"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("code", "said"),
    [(errno.ENOSPC, "disk is full"), (errno.EDQUOT, "disk is full"), (errno.EROFS, "check the folder")],
)
def test_a_disk_that_takes_no_more(tmp_path, monkeypatch, code, said):
    path = tmp_path / "a.txt"
    save_text("before", path)

    def full(*_):
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(save.os, "replace", full)
    with pytest.raises(SwingmatchError, match=said) as caught:
        save_text("after", path)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)
    assert path.read_text() == "before"
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_a_sentence(tmp_path):
    with pytest.raises(SwingmatchError, match="could not be written"):
        save_text("x", tmp_path / "none" / "a.txt")


_LIMITED = """
import resource, sys
from pathlib import Path
import numpy as np
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import SwingmatchError
from swingmatch.report.save import save_text
folder = Path(sys.argv[1])
save_text("whole", folder / "old.html")
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
for write in (
    lambda: save_text("x" * 100_000, folder / "old.html"),
    lambda: save_text("x" * 100_000, folder / "new.html"),
    lambda: film(folder / "film.mp4"),
):
    def film(path):
        rng = np.random.default_rng(1)
        with FilmWriter(path, (320, 240), 30, crf=10) as out:
            for _ in range(60):
                out.write(rng.integers(0, 255, (240, 320, 3), dtype=np.uint8))
    try:
        write()
    except SwingmatchError as error:
        print(error)
    else:
        print("written")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such limit on Windows")
def test_no_room_for_the_file_leaves_nothing_behind(tmp_path):
    """The true system refuses to let a file grow, as a full disk does."""
    done = subprocess.run(
        [sys.executable, "-c", _LIMITED, str(tmp_path)], capture_output=True, text=True, check=False
    )
    lines = done.stdout.splitlines()
    assert len(lines) == 3, done.stderr
    assert all("could not be written" in line and line.endswith(".") for line in lines)
    assert "Traceback" not in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["old.html"]
    assert (tmp_path / "old.html").read_text() == "whole"


def test_notes_are_named_after_their_clips_and_replace_no_clip(tmp_path):
    clip = tmp_path / "anna.mov"
    first = write_note("one\n", clip, tmp_path / "notes")
    assert first.name == "anna-note.txt"
    assert write_note("again\n", clip, tmp_path / "notes") == first
    second = write_note("two\n", tmp_path / "anna.mp4", tmp_path / "notes", keep=[first])
    assert second.name == "anna-note-2.txt"
    assert first.read_text() == "again\n"
    (tmp_path / "file").write_text("")
    with pytest.raises(SwingmatchError, match="not a folder"):
        write_note("x", clip, tmp_path / "file")
