"""``python -m swingmatch.study.sound_players --clips FOLDER [--players N] [--workers N]``: how sound players scatter.

A sound player differs from the model that is chosen for him by style, and by what is measured wrongly. Both are learned
together, for each camera side: generated players without a fault (seeds ``TUNING``) as filmed (``as_filmed``), each
before the model that the library chooses for what was seen. The covariance of their deviations, in floors, is brought
towards its diagonal as Ledoit and Wolf do (Journal of Multivariate Analysis 88 (2004), 365-411), and written to
``findings/patterns/noise_forehand.npz``.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from sklearn.covariance import LedoitWolf

import swingmatch.findings.patterns
from swingmatch.align.warp import align
from swingmatch.errors import SwingmatchError
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.evidence import Evidence, gather
from swingmatch.findings.patterns.noise import Noise, Side, read_noise, write_noise
from swingmatch.library.choose import choose
from swingmatch.library.folder import load_library
from swingmatch.progress import Bar
from swingmatch.series import resample
from swingmatch.stroke.direction import SIDES
from swingmatch.stroke.measure import measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.study.as_filmed import FilmErrors, film_errors, filmed_swing
from swingmatch.study.choosing import by_side
from swingmatch.study.learn.examples import MOMENTS
from swingmatch.study.run import processes
from swingmatch.study.sample import shots
from swingmatch.synth.cast import TUNING, Player, random_player

Array = NDArray[np.float64]

#: Swings of each player: what one clip usually holds.
SWINGS = 3
#: Place among the tuning seeds of the first player: the errors laid on come from the first clips.
FIRST = 500
#: Clips whose errors are laid on: all that were rendered for tuning, seven for each camera side.
CLIPS = 56
#: A deviation that fewer than this share of players show from a side is not learned for it.
_KNOWN = 0.5
#: Scatter never counts as less than this, in floors.
_LEAST = 0.05
FILE = Path(swingmatch.findings.patterns.__file__).parent / "noise_forehand.npz"


class Job(NamedTuple):
    """One player seen from one side: ``errors`` are those of the clips filmed from there."""

    player: Player
    side: str
    errors: tuple[FilmErrors, ...]


def measure_floors(stroke: str) -> dict[str, float]:
    """Floor of every measure: the catalogue's, else the width at which it says something."""
    return {row.key: row.useful for row in STROKES[stroke].measures} | dict(load(stroke).floors)


def evidence_of(job: Job, floors: Mapping[str, float], swings: int = SWINGS) -> Evidence | None:
    """What the tool would have of a player's swings from one side; None where the stroke was not found.

    Tracking is wrong in the same way in all swings of a clip: the worst case, since then nothing averages out.
    """
    rng = np.random.default_rng([job.player.seed, 91])
    errors = job.errors[int(rng.integers(len(job.errors)))]
    motion = replace(job.player, hand="right").perform(swings=swings)
    try:
        found = [
            filmed_swing(
                resample(motion.points, motion.times, one.events["contact"] + MOMENTS) / motion.stature,
                errors, "forehand", rng,
            )
            for one in motion.swings
        ]  # fmt: skip
        choice = choose(found, load_library())
        warps = [align(swing, choice.swing) for swing in found]
    except SwingmatchError:
        return None
    return gather(
        found, choice.swing, warps, choice.volunteer.swings, [measure(swing) for swing in found], floors
    )


def sound_player(seed: int) -> Player:
    """The player of a seed without faults."""
    return replace(random_player(seed), faults={})


def table(evidence: Sequence[Evidence], keys: Sequence[str]) -> tuple[Array, Array]:
    """Of (N) players: deviations in floors (N, F), NaN where not seen; variance between a player's swings (N, F)."""
    values = np.full((len(evidence), len(keys)), np.nan)
    within = np.full((len(evidence), len(keys)), np.nan)
    at = {key: i for i, key in enumerate(keys)}
    for row, one in enumerate(evidence):
        for d in one.pooled:
            if d.visible and d.key in at:
                values[row, at[d.key]] = d.value / d.floor
                within[row, at[d.key]] = (d.repeat / d.floor) ** 2
    return values, within


def side_of(evidence: Sequence[Evidence], keys: Sequence[str]) -> Side:
    """Mean and covariance of sound players seen from one side.

    What a player does not show is taken for the mean, which makes its correlations smaller, never larger. Deviations
    that few players show get the scatter of the usual one, and no correlation.
    """
    values, within = table(evidence, keys)
    known = np.isfinite(values).mean(axis=0) >= _KNOWN
    with np.errstate(all="ignore"):
        mean = np.where(known, np.nanmean(np.where(known, values, 0.0), axis=0), 0.0)
        sd = np.nanstd(np.where(known, values, 0.0), axis=0, ddof=1)
        between = np.nanmean(np.where(known, within, 0.0), axis=0)
    usual = float(np.median(sd[known])) if known.any() else 1.0
    sd = np.where(known, np.maximum(sd, _LEAST), max(usual, 1.0))
    standard = np.nan_to_num((values - mean) / sd)
    correlation = np.eye(len(keys))
    if known.sum() > 1:
        some = np.ix_(known, known)
        fitted = LedoitWolf(assume_centered=True).fit(standard[:, known]).covariance_
        spread = np.sqrt(np.diag(fitted))
        correlation[some] = fitted / np.outer(spread, spread)
    return Side(mean, sd, correlation, np.sqrt(np.nan_to_num(between)))


def noise_of(evidence: Mapping[str, Sequence[Evidence]], floors: Mapping[str, float]) -> Noise:
    """The scatter for each side of which there are players, and for all sides together.

    ``evidence`` : camera side -> of each sound player.
    """
    every = [one for some in evidence.values() for one in some]
    floor = {d.key: d.floor for one in every for d in one.pooled}
    keys = tuple(sorted(floor))
    sides = {side: side_of(some, keys) for side, some in evidence.items() if len(some) > 2}
    return Noise(keys, tuple(floor[key] for key in keys), {**sides, "": side_of(every, keys)}, SWINGS)


def main() -> None:
    """Learn and write."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.sound_players", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, required=True, help="folder of the study's clips, made where missing"
    )
    parser.add_argument("--players", type=int, default=200, help="sound players (default: 200)")
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    parser.add_argument("--out", type=Path, default=FILE, help="file to write (default: the shipped one)")
    words = parser.parse_args()
    floors = measure_floors("forehand")
    players = [sound_player(seed) for seed in TUNING[FIRST : FIRST + words.players]]
    found: dict[str, list[Evidence]] = {}
    with processes(words.workers) as executor:
        errors = by_side(
            film_errors(shots(TUNING, CLIPS), words.clips, executor, Bar()), [s for _, s in SIDES]
        )
        jobs = [Job(p, side, tuple(some)) for side, some in errors.items() for p in players]
        progress = Bar()
        for done, (job, one) in enumerate(
            zip(jobs, executor.map(partial(evidence_of, floors=floors), jobs), strict=True), start=1
        ):
            progress("following sound players", done / len(jobs))
            if one is not None:
                found.setdefault(job.side, []).append(one)
    noise = noise_of(found, floors)
    if words.out.is_file():
        # How sure is sure was set beside players with faults; it stays until that is done anew.
        noise = replace(noise, sure=read_noise(words.out).sure)
    write_noise(words.out, noise)
    print(
        f"{len(players)} players, {len(noise.keys)} deviations: "
        + ", ".join(f"{side} {len(some)}" for side, some in found.items())
    )


if __name__ == "__main__":
    main()
