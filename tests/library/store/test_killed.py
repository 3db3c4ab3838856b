"""A kill at any point leaves the old state or the new one, nothing in between and nothing left over."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from swingmatch.library.store import disk

SCRIPT = Path(__file__).with_name("killed.py")
sys.path.insert(0, str(SCRIPT.parent))
import killed  # noqa: E402

#: Fewer points than these and something is no longer seen by the tracer.
AT_LEAST = {"add": 50, "replace": 70, "forget": 50, "review": 6}
#: Keeping a review is one transaction and touches no file of the store's own.
ANNOUNCED = {"add": 12, "replace": 12, "forget": 12, "review": 3}


def kill(place, action, every, how):
    home, url = place
    command = [
        sys.executable,
        "-W",
        "error::UserWarning",
        str(SCRIPT),
        str(home),
        url or "",
        action,
        str(every),
        how,
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout)


@pytest.mark.parametrize("action", AT_LEAST)
def test_a_kill_at_any_write_leaves_the_old_or_the_new(place, action):
    if not killed.traceable():
        pytest.skip("processes are traced on Linux on x86-64 only")
    # On PostgreSQL each point takes longer; the server keeps its own promises.
    every = 5 if action == "review" else 1 if place[1] is None else 3
    found = kill(place, action, every, "traced")
    print(action, found)
    assert found["problems"] == []
    assert found["points"] >= AT_LEAST[action]
    assert set(found["outcome"]) == {"old", "new"}
    files = ("write", "fsync", "rename", "unlink")
    database = ("write", "fsync") if place[1] is None else ("send",)
    for kind in database if action == "review" else files:
        assert found["kinds"][kind] > 0


@pytest.mark.parametrize("action", AT_LEAST)
def test_a_kill_at_any_announced_step_leaves_the_old_or_the_new(tmp_path, action):
    found = kill((tmp_path / "home", None), action, 1, "announced")
    assert found["problems"] == []
    assert found["tried"] == found["points"] >= ANNOUNCED[action]
    # The last step that keeping a review announces is its commit; before that it is not there.
    assert set(found["outcome"]) == ({"old"} if action == "review" else {"old", "new"})


def test_a_file_is_flushed_before_it_gets_its_name_and_the_folder_after(tmp_path, monkeypatch):
    steps = []
    monkeypatch.setattr(disk, "watch", steps.append)
    disk.write_whole(tmp_path / "name", b"content", tmp_path)
    assert steps == ["create", "write", "fsync", "rename", "fsync folder"]
    assert [p.name for p in tmp_path.iterdir()] == ["name"]


def test_a_write_that_fails_leaves_nothing(tmp_path):
    folder = disk.MediaFolder(tmp_path / "media", tmp_path)
    with pytest.raises(disk.LibraryError, match="changed while"):
        folder.put(b"content", "0" * 64)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []
