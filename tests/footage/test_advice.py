"""The note to the player: short, only what is lacking, and always the caution."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from swingmatch.footage.advice import CAUTION, MOST_LINES, note_to_player
from swingmatch.footage.check import Footage, Remark, unusable

#: A shortcoming, and a word that the note must hold for it.
WORDS = {
    "rate": "60 pictures a second",
    "sound": "sound on",
    "camera moves": "tripod",
    "in view": "whole body",
    "size": "nearer",
    "side": "right angles",
    "light": "behind the phone",
    "blur": "shutter",
    "soft": "lens",
    "people": "alone",
    "cuts": "uncut",
    "upside down": "upright",
    "slow": "slow motion",
    "strokes": "whole forehands",
    "nobody": "5 metres",
}


def footage_with(*kinds):
    return Footage(tuple(Remark(kind, "limits", "Something is so.") for kind in kinds))


@pytest.mark.parametrize(("kind", "word"), WORDS.items())
def test_each_shortcoming_is_asked_for_and_nothing_else(kind, word):
    note = note_to_player(footage_with(kind))
    assert word in note
    others = {w for k, w in WORDS.items() if k != kind}
    clauses = [line for line in note.splitlines() if line.startswith("- ")]
    assert len(clauses) == 1
    # "whole body" and "5 metres" belong to every sentence on where to stand.
    assert not any(w in note for w in others - {"whole body", "5 metres", "60 pictures a second"})


def test_fine_remarks_ask_for_nothing():
    note = note_to_player(Footage((Remark("rate", "fine", "60 pictures a second."),)))
    assert "same way" in note
    assert note.endswith(CAUTION)


def test_a_note_is_short_however_bad_the_clip():
    for count in (5, len(WORDS)):
        for kinds in itertools.islice(itertools.permutations(WORDS, count), 0, 4000, 400):
            lines = note_to_player(footage_with(*kinds)).splitlines()
            assert len(lines) <= MOST_LINES
            assert lines[-1] == CAUTION
            assert all(len(line) <= 120 for line in lines)


def test_the_gravest_comes_first():
    note = note_to_player(footage_with("sound", "soft", "rate", "camera moves", "upside down"))
    assert note.splitlines()[1].startswith("- turn the film upright")


def test_the_hand_names_the_side():
    assert "your left-hand side" in note_to_player(replace(footage_with("side"), hand="left"))
    assert "your hitting arm" in note_to_player(footage_with("side"))


def test_what_cannot_be_used_is_said_kindly():
    note = note_to_player(unusable("nobody", "Nobody was found."))
    assert note.startswith("Thanks for the clip! I cannot use it yet.")
    assert "whole body" in note


def test_held_sideways_is_asked_of_an_upright_clip_only():
    upright = Footage((Remark("in view", "limits", "Cut."), Remark("portrait", "fine", "Upright.")))
    assert "hold the phone sideways" in note_to_player(upright)
    assert "step back" in note_to_player(footage_with("in view"))
