"""The command ``explain``: what a coach would say of clips, as text or JSON; kept for the next time if asked to."""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from swingmatch import library_commands
from swingmatch.errors import SwingmatchError
from swingmatch.progress import Bar, silent
from swingmatch.words.language import LANGUAGES, choose, speaking

if TYPE_CHECKING:
    from swingmatch.body.estimator import PoseEstimator
    from swingmatch.findings.explanation import Explanation
    from swingmatch.findings.patterns.priorities import Overrules
    from swingmatch.findings.review import Review
    from swingmatch.library.folder import Library
    from swingmatch.library.own import OwnModels
    from swingmatch.pipeline import Options
    from swingmatch.players import Decision

_BLOCK = 1 << 20


def add_language(parser: argparse.ArgumentParser) -> None:
    """The language in which findings are told."""
    parser.add_argument(
        "--language",
        choices=tuple(LANGUAGES),
        help="language of the findings (default: SWINGMATCH_LANGUAGE, else the system's, else English)",
    )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What ``explain`` takes beside the clips and what is said of them."""
    parser.add_argument(
        "--json", action="store_true", help="JSON, one object a line for each clip, in place of text"
    )
    parser.add_argument("--schema", action="store_true", help="only print the schema of the JSON")
    parser.add_argument(
        "--no-keep",
        action="store_true",
        help="neither set the review beside the last one of the player nor keep it for the next (without --player it "
        "never is)",
    )
    add_language(parser)


def run(
    words: argparse.Namespace,
    options: Callable[[argparse.Namespace], Options],
    files: Callable[[Sequence[Path]], list[Path]],
) -> int:
    """Explain clip after clip; one that cannot be used costs a sentence and the rest goes on."""
    from swingmatch.findings.explanation_json import schema_text

    if words.schema:
        print(schema_text(), end="")
        return 0
    if not words.clips:
        raise SwingmatchError("Name at least one clip.")
    from swingmatch.setup_check import check_native_libraries

    check_native_libraries()
    from swingmatch.body.estimator import make_estimator
    from swingmatch.library.choose import find_label

    asked = with_own(
        replace(options(words), model=words.model, player=words.player, language=choose(words.language))
    )
    failed = 0
    with library_commands.models_of(words.library) as library:
        if asked.model is not None:
            find_label(library.names(), asked.model)
        estimator = make_estimator(words.pose_model)
        try:
            for clip in files(words.clips):
                try:
                    print(explained(clip, asked, library, estimator, words), flush=True)
                except SwingmatchError as error:
                    failed += 1
                    print(f"\nswingmatch: {error}", file=sys.stderr)
        finally:
            estimator.close()
    return 1 if failed else 0


def explained(
    clip: Path,
    options: Options,
    library: Library | OwnModels,
    estimator: PoseEstimator,
    words: argparse.Namespace,
) -> str:
    """What is said of one clip, as text or as one line of JSON. Raises ``SwingmatchError``."""
    import json

    from swingmatch.findings.explanation_json import as_json
    from swingmatch.pipeline import review_clip
    from swingmatch.report.explanation_text import explanation_text

    # A bar would stand in the way of whoever reads the JSON.
    bar = silent if words.json else Bar()
    review = review_clip(clip, library, options, estimator=estimator, progress=bar)
    assert review.explanation is not None
    with speaking(options.language):
        told = review.explanation
        if options.player is not None and not words.no_keep:
            told = beside_the_last(review, clip, options.player)
        if words.json:
            return json.dumps(as_json(told), ensure_ascii=False, allow_nan=False)
        return f"\n{explanation_text(told)}"


def beside_the_last(review: Review, clip: Path, player: str) -> Explanation:
    """The explanation with what changed since the player's last review; this one is kept for the next.

    Raises ``SwingmatchError`` where the player's reviews may not be kept.
    """
    from swingmatch.findings.change import compare_reviews
    from swingmatch.findings.explanation_json import as_json
    from swingmatch.findings.since import since
    from swingmatch.library.store import open_store
    from swingmatch.players import filmed_on, keep, last_review, review_of

    told, evidence = review.explanation, review.evidence
    assert told is not None
    assert evidence is not None
    day, known = filmed_on(clip)
    first = {one.id: one.evidence[0].deviation.key for one in told.priorities}
    now = review_of(
        player=player,
        clip=clip,
        clip_sha256=_hash(clip),
        stroke=told.stroke,
        hand=review.pairs[0].player.hand,
        camera_side=told.camera_side,
        azimuth=evidence.camera_azimuth,
        model=told.model,
        filmed_on=day,
        date_known=known,
        document=as_json(told),
        deviations=evidence.pooled,
        patterns=review.patterns,
        # By the titles of the source: the next review may be told in another language.
        targets={
            first[p.fault.id]: p.fault.title for p in review.patterns if p.fault and p.fault.id in first
        },
        scatter=review.scatters.get(told.stroke),
    )
    with open_store() as store:
        before = last_review(store, now)
        if before is not None:
            told = replace(told, since=since(compare_reviews(before.numbers, now.numbers)))
        keep(store, replace(now, document=as_json(told)), date.today())
    return told


def with_own(options: Options) -> Options:
    """The same with the coach's own catalogue and habits, where there is a private library; none is made for it."""
    from swingmatch.library.home import exists

    if not exists():
        return options
    from swingmatch.findings.patterns.priorities import learn
    from swingmatch.library.store import open_store
    from swingmatch.players import decisions, own_catalogue

    with open_store() as store:
        habits = learn(_counted(decisions(store)))
        return replace(options, catalogue=own_catalogue(store), habits=habits)


def _counted(made: Sequence[Decision]) -> dict[str, Overrules]:
    """Fault id -> how often it was left, raised and dropped."""
    from swingmatch.findings.patterns.priorities import Overrules

    out: dict[str, Overrules] = {}
    for one in made:
        now = out.get(one.fault, Overrules())
        before, after = one.place_before, one.place_after
        if one.action == "kept":
            now = replace(now, kept=now.kept + 1)
        elif one.action == "added" or (after is not None and (before is None or after < before)):
            now = replace(now, raised=now.raised + 1)
        else:
            now = replace(now, dropped=now.dropped + 1)
        out[one.fault] = now
    return out


def _hash(clip: Path) -> str:
    digest = hashlib.sha256()
    with clip.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()
