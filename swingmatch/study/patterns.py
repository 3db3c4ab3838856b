"""``python -m swingmatch.study.patterns --clips FOLDER [--keep FOLDER]``: are planted faults named?

Generated players of held-out seeds, each with none to three planted faults of known size and three swings, as filmed
from five sides (``as_filmed``) and set before the shipped models, go through everything that a review says. Printed are
recall in the top three, precision, false alarms on sound players, calibration, confusion and agreement of the sides.
``--mocap`` sets one half of each recorded player's swings beside the other; ``--video N`` films the first N
players with pictures and reviews the clips.

``--clips`` holds clips of the study whose tracking errors are laid on, made where missing. ``--keep`` keeps everything
slow, so that a run may be stopped and taken up again; with ``--tuning`` also what was planted.
"""

from __future__ import annotations

import argparse
import json
import pickle
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from functools import partial
from pathlib import Path
from typing import TypeVar

from swingmatch.findings.catalogue.load import load
from swingmatch.progress import Bar, Progress
from swingmatch.study.as_filmed import FilmErrors, film_errors
from swingmatch.study.choosing import FIVE, by_side, recorded_forehands
from swingmatch.study.filmed_patterns import reviewed
from swingmatch.study.pattern_tables import halves, text
from swingmatch.study.planted import (
    RACKET_ONLY,
    SCATTER_ONLY,
    SWINGS,
    Array,
    Filmed,
    evidence_of,
    film_all,
    planted_player,
)
from swingmatch.study.run import processes
from swingmatch.study.said import Outcome, View, look
from swingmatch.study.sample import shots
from swingmatch.synth.cast import HELD_OUT, TUNING
from swingmatch.synth.faults import EVERY_FAULT

#: Place among the seeds of the first player; and the clips whose errors are laid on.
FIRST, CLIPS = 100, 32

Errors = Mapping[str, Sequence[FilmErrors]]
T = TypeVar("T")


def outcome_of(seed: int, errors: Errors, keep: Path | None) -> Outcome:
    """One generated player."""
    player = planted_player(seed)
    films = film_all(str(seed), player, errors, [seed, 93], keep)
    return Outcome(seed, dict(player.faults), _looks(str(seed), films, keep))


def halves_of(
    number: int, bodies: Sequence[Array], errors: Errors, keep: Path | None
) -> list[dict[str, View]]:
    """The views of every other stroke of a recorded player, and of the others, up to ``SWINGS`` each."""
    out = []
    for half in (0, 1):
        name = f"recorded-{number}-{half}"
        films = film_all(name, bodies[half::2][:SWINGS], errors, [number, half, 94], keep)
        out.append(_looks(name, films, keep))
    return out


def _looks(name: str, films: Mapping[str, Filmed], keep: Path | None) -> dict[str, View]:
    catalogue = load("forehand")
    found = evidence_of(name, films, catalogue.floors, keep)
    return {side: look(one, catalogue) for side, one in found.items()}


def _each(
    executor: Executor, work: Callable[..., T], *items: Sequence[object], progress: Progress, step: str
) -> Iterator[T]:
    for done, one in enumerate(executor.map(work, *items), start=1):
        progress(step, done / len(items[0]))
        yield one


def kept_errors(
    seeds: Sequence[int], clips: Path, keep: Path | None, executor: Executor, progress: Progress
) -> Errors:
    """The tracking errors by side; kept, since another version of the tracking would make other swings."""
    path = None if keep is None else keep / "errors.pkl"
    if path is not None and path.is_file():
        return pickle.loads(path.read_bytes())
    errors = by_side(film_errors(shots(seeds, CLIPS), clips, executor, progress), FIVE)
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(errors))
    return errors


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.patterns", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, required=True, help="folder of the study's clips, made where missing"
    )
    parser.add_argument("--players", type=int, default=300, help="generated players (default: 300)")
    parser.add_argument("--tuning", action="store_true", help="use the seeds that anything may be tuned on")
    parser.add_argument("--keep", type=Path, help="folder for what is slow to make")
    parser.add_argument("--mocap", type=Path, help="folder of motion capture")
    parser.add_argument("--video", type=int, default=0, help="players to film with pictures (default: none)")
    parser.add_argument("--folder", type=Path, help="folder for these films")
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    words = parser.parse_args()
    if words.video and words.folder is None:
        parser.error("--video needs --folder")
    every, bar = TUNING if words.tuning else HELD_OUT, Bar()
    seeds = every[FIRST : FIRST + words.players]
    faults = [name for name in EVERY_FAULT if name not in (*RACKET_ONLY, *SCATTER_ONLY)]
    with processes(words.workers) as executor:
        errors = kept_errors(every, words.clips, words.keep, executor, bar)
        run = partial(outcome_of, errors=errors, keep=words.keep)
        outcomes = list(_each(executor, run, seeds, progress=bar, step="following players"))
        if words.keep and words.tuning:
            planted = {one.seed: one.planted for one in outcomes}
            (words.keep / "planted.json").write_text(json.dumps(planted, indent=1), encoding="utf-8")
        print(text(outcomes, faults))
        films = len(outcomes) * len(errors)
        print(f"\nNo stroke was found in {films - sum(len(one.views) for one in outcomes)} of {films} films.")
        hidden = ", ".join(name.replace("_", " ") for name in RACKET_ONLY)
        print(f"\nNot planted, since only the racket shows them and these swings have none: {hidden}.")
        if words.video:
            film = partial(reviewed, folder=words.folder)
            some = list(_each(executor, film, seeds[: words.video], progress=bar, step="reviewing films"))
            seen = [one for one in some if one.views]
            print(f"\n# From pictures: {len(seen)} of {len(some)} films\n\n{text(seen, faults)}")
        if words.mocap:
            strokes = [s for _, s in sorted(recorded_forehands(words.mocap).items()) if len(s) > 1]
            half = partial(halves_of, errors=errors, keep=words.keep)
            found: dict[str, list[tuple[View, View]]] = {}
            for one, other in _each(
                executor, half, range(len(strokes)), strokes, progress=bar, step="following recorded players"
            ):
                for side in set(one) & set(other):
                    found.setdefault(side, []).append((one[side], other[side]))
            print(f"\n# Halves of {len(strokes)} recorded players\n\n{halves(found)}")


if __name__ == "__main__":
    main()
