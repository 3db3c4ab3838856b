"""Clips that cannot be used, or only in part, from their pixels: one clear sentence each."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.body.estimator import make_estimator
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.writer import FilmWriter
from swingmatch.footage.advice import note_to_player
from swingmatch.pipeline import check_clip


@pytest.fixture(scope="module")
def estimator():
    model = make_estimator()
    yield model
    model.close()


@pytest.fixture(scope="module")
def pictures(rendered):
    """All pictures of a clip of one forehand, and when contact is."""
    path, truth = rendered
    return [frame.image for frame in frames(open_clip(path))], truth.swings[0].events["contact"]


def film_of(path, images, fps=60):
    height, width = images[0].shape[:2]
    with FilmWriter(path, (width, height), fps) as film:
        for image in images:
            film.write(np.ascontiguousarray(image))
    return path


def grave(footage):
    """The one sentence on why a clip cannot be used."""
    (remark,) = [r for r in footage.remarks if r.severity == "unusable"]
    assert "\n" not in remark.sentence
    assert remark.sentence.endswith((".", "?"))
    return remark


def test_nobody_in_view(tmp_path, estimator):
    court = [np.full((90, 160, 3), (60, 110, 80), np.uint8)] * 2
    footage = check_clip(film_of(tmp_path / "a.mp4", court), estimator=estimator)
    assert grave(footage).kind == "nobody"
    assert "Nobody was found" in grave(footage).sentence
    assert "whole body in view" in note_to_player(footage)


def test_upside_down(tmp_path, estimator, pictures):
    images, _ = pictures
    path = film_of(tmp_path / "a.mp4", [image[::-1, ::-1] for image in images[:2]])
    footage = check_clip(path, estimator=estimator)
    assert grave(footage).kind == "upside down"
    assert "turn the film upright" in note_to_player(footage)


def test_somebody_who_makes_no_stroke(tmp_path, estimator, pictures):
    """As in a clip of another sport or of a break: a player is there, and no hand is as fast as in a stroke."""
    images, _ = pictures
    footage = check_clip(film_of(tmp_path / "a.mp4", images[:8] * 5), estimator=estimator)
    assert grave(footage).kind == "strokes"
    assert "No swing was found" in grave(footage).sentence
    assert "whole forehands" in note_to_player(footage)
    # What was seen of the footage is still told.
    assert {"size", "in view", "light"} <= {remark.kind for remark in footage.remarks}


def test_a_cut_within_the_swing(tmp_path, estimator, pictures):
    """Up to shortly before contact from one side, then from another place in other light."""
    images, contact = pictures
    cut = round((contact - 0.2) * 60)
    rest = [
        np.clip(0.6 * image[:, ::-1].astype(float) + 30, 0, 255).astype(np.uint8) for image in images[cut:]
    ]
    rest = [np.roll(image, 90, axis=0) for image in rest]
    footage = check_clip(film_of(tmp_path / "a.mp4", images[:cut] + rest), estimator=estimator)
    (remark,) = [r for r in footage.remarks if r.kind == "cuts"]
    assert "The film is cut at" in remark.sentence
    assert "uncut" in note_to_player(footage)
    assert not footage.usable  # its only swing is cut


def test_five_people(tmp_path, estimator, pictures):
    """The same player five times side by side: it is said, and one of them is taken for the player."""
    images, _ = pictures
    # The player stands still in the first pictures, a little left of the middle.
    people = [np.concatenate([image[:, 224:384]] * 5, axis=1) for image in images[:3]]
    footage = check_clip(film_of(tmp_path / "a.mp4", people), estimator=estimator)
    (remark,) = [r for r in footage.remarks if r.kind == "people"]
    assert remark.sentence.startswith("Five people are in view")
    assert "be alone in the picture" in note_to_player(footage)
