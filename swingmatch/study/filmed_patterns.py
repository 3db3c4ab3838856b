"""Planted faults through pictures: a player is filmed, and the clip goes through the whole review."""

from __future__ import annotations

from pathlib import Path

from swingmatch.errors import SwingmatchError
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.evidence import Evidence, gather
from swingmatch.findings.review import Review
from swingmatch.library.folder import Library, load_library
from swingmatch.pipeline import Options, review_clip
from swingmatch.study.planted import planted_player
from swingmatch.study.said import Outcome, look
from swingmatch.study.sample import Shot, camera_of, film, scene_of
from swingmatch.synth.look import Look


def shot_of(seed: int) -> Shot:
    """The clip of a player with planted faults; all but the player is as the study of accuracy draws it."""
    player = planted_player(seed)
    look_of = Look.of(seed, build=player.build.girth)
    return Shot(seed, player, camera_of(seed, seed, player.hand), look_of, scene_of(seed), 26.0)


def reviewed(seed: int, folder: Path) -> Outcome:
    """One player as the review of a film sees him; without views where the film cannot be used."""
    item = shot_of(seed)
    path, _ = film(item, folder)
    planted = dict(item.player.faults)  # type: ignore[attr-defined]
    library = load_library()
    try:
        review = review_clip(path, library, Options(stroke="forehand", hand="right"))
    except SwingmatchError:
        return Outcome(seed, planted, {})
    catalogue = load("forehand")
    evidence = evidence_of_review(review, library, dict(catalogue.floors))
    return Outcome(seed, planted, {review.camera_side: look(evidence, catalogue)})


def evidence_of_review(review: Review, library: Library, floors: dict[str, float]) -> Evidence:
    """The evidence behind a review of a right-hander's swings."""
    volunteer = next(v for v in library if v.label == review.model_name)
    return gather(
        [pair.player for pair in review.pairs],
        review.pairs[0].model.as_right_handed(),
        [pair.alignment for pair in review.pairs],
        volunteer.swings,
        list(review.measures),
        floors,
    )
