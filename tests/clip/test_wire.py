"""Messages and the ring by themselves."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.clip import ring, wire
from swingmatch.clip.child import end_children
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.writer import FilmWriter

headers = st.dictionaries(st.text(), st.text() | st.integers() | st.booleans() | st.lists(st.integers()))


@given(st.lists(st.tuples(headers, st.binary())))
def test_messages_there_and_back(messages: list[tuple[dict[str, object], bytes]]) -> None:
    stream = io.BytesIO()
    for header, block in messages:
        wire.send(stream, header, block)
    stream.seek(0)
    assert [wire.receive(stream) for _ in messages] == messages
    assert wire.receive(stream) is None


@given(headers, st.binary(), st.integers(min_value=1))
def test_a_message_that_breaks_off_is_no_message(header: dict[str, object], block: bytes, lost: int) -> None:
    stream = io.BytesIO()
    wire.send(stream, header, block)
    size = stream.tell()
    assert wire.receive(io.BytesIO(stream.getvalue()[: size - 1 - (lost - 1) % size])) is None


def test_a_name_in_no_encoding_survives() -> None:
    name = os.fsdecode(b"aufschlag-\xff\xfe.mp4")
    stream = io.BytesIO()
    wire.send(stream, {"path": name})
    stream.seek(0)
    assert wire.receive(stream) == ({"path": name}, b"")


@given(st.integers(0, 8192 * 8192 * 3))
def test_a_ring_has_two_places_and_keeps_to_its_budget(size: int) -> None:
    slots = ring.slots_for(size)
    assert 2 <= slots <= 20
    assert slots == 2 or slots * size <= ring.BUDGET


def film(path: Path) -> Path:
    with FilmWriter(path, (64, 48), 30) as writer:
        for i in range(20):
            writer.write(np.full((48, 64, 3), 10 * i, np.uint8))
    return path


def forbidden(name: str) -> int:
    raise OSError(1, "Operation not permitted")


@pytest.mark.parametrize("patch", [lambda m: m.delattr(os, "memfd_create", raising=False), None])
def test_without_memory_files_an_unlinked_one_serves(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    leftovers: Callable[[], set[str]],
    patch: Callable[[pytest.MonkeyPatch], None] | None,
) -> None:
    end_children()
    if patch is None:
        monkeypatch.setattr(os, "memfd_create", forbidden, raising=False)
    else:
        patch(monkeypatch)
    stream = frames(open_clip(film(tmp_path / "a.mp4")))
    levels = [round(float(next(stream).image.mean())) for _ in range(3)]
    assert leftovers() == set()  # in mid-stream, too
    levels += [round(float(f.image.mean())) for f in stream]
    np.testing.assert_allclose(levels, np.arange(0, 200, 10), atol=3)
    end_children()


def test_a_film_whose_name_is_in_no_encoding(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"aufschlag-\xff.mp4")
    film(tmp_path / "a.mp4").rename(path)
    assert open_clip(path).frame_count == 20
    assert len(list(frames(open_clip(path)))) == 20
