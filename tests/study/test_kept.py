"""Raw tracks kept beside the clips: the same comes back, and only for the same clip and the same code."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from swingmatch.body.track import Track
from swingmatch.study import kept as module
from swingmatch.study.kept import Tracked, kept, kept_path, tracking_version


@pytest.fixture
def clip(tmp_path):
    path = tmp_path / "clip.mp4"
    path.write_bytes(b"not really a film")
    return path


@pytest.fixture
def tracked(see, motion):
    track = see(motion, 30.0)
    track.image[3:6] = np.nan
    return Tracked(track, {"read": 1.5, "bare pose model": 2.0}, 70)


def same(one, other):
    for f in fields(Track):
        a, b = getattr(one, f.name), getattr(other, f.name)
        assert type(a) is type(b), f.name
        assert np.array_equal(a, b, equal_nan=np.asarray(a).dtype.kind == "f"), f.name
    return True


def test_the_second_time_nothing_is_tracked(clip, tracked):
    calls = []

    def make():
        calls.append(1)
        return tracked

    for _ in range(2):
        found = kept(clip, make)
        assert same(found.track, tracked.track)
        assert (found.seconds, found.runs) == (tracked.seconds, tracked.runs)
    assert calls == [1]
    assert [p.name for p in clip.parent.iterdir() if p != clip] == [kept_path(clip).name]


def test_another_clip_or_another_tracking_is_another_track(clip, tracked, monkeypatch):
    first = kept_path(clip)
    clip.write_bytes(b"another film")
    second = kept_path(clip)
    assert first != second
    monkeypatch.setattr(module, "tracking_version", lambda: "other")
    assert kept_path(clip) not in (first, second)


def test_the_version_is_of_the_tracking_code_alone(monkeypatch, tmp_path):
    """A copy of the code gives the same version; a change behind ``follow`` another, one in the lift does not."""
    tracking_version.cache_clear()
    real = tracking_version()
    for source in module._BODY.glob("*.py"):
        (tmp_path / source.name).write_bytes(source.read_bytes())
    monkeypatch.setattr(module, "_BODY", tmp_path)

    def version():
        tracking_version.cache_clear()
        return tracking_version()

    assert version() == real
    with (tmp_path / "lift.py").open("a") as file:
        file.write("# another word\n")
    assert version() == real
    with (tmp_path / "track.py").open("a") as file:
        file.write("# another word\n")
    assert version() != real
    monkeypatch.undo()
    tracking_version.cache_clear()


def test_a_damaged_track_is_made_again(clip, tracked):
    kept(clip, lambda: tracked)
    whole = kept_path(clip).read_bytes()
    for rubbish in (b"", b"rubbish", whole[: len(whole) // 2]):
        kept_path(clip).write_bytes(rubbish)
        assert same(kept(clip, lambda: tracked).track, tracked.track)
        assert kept_path(clip).read_bytes()[:2] == b"PK"


def test_a_failing_tracking_leaves_nothing(clip):
    def fails():
        raise RuntimeError("no")

    with pytest.raises(RuntimeError):
        kept(clip, fails)
    assert list(clip.parent.iterdir()) == [clip]
