"""``python -m swingmatch.study.decompositions --clips FOLDER [--players N] [--write]``: which way finds faults.

Generated players of the seeds ``TUNING``, a third of them sound, the others with one or two planted faults, are seen
from all camera sides as filmed (``sound_players``). Three ways take the same deviations and the same noise:

- *alone*: each signature by itself, as a matched filter; those that pass a false discovery rate of 0.1 by Benjamini and
  Hochberg are said;
- *sum*: the sum of few signatures, none negative, that fits best (scikit-learn's ``Lasso``, positive), sizes then by
  least squares that are not negative (``scipy.optimize.nnls``);
- *posterior*: ``findings.patterns.decompose``, which ships.

Printed for each: of the planted faults, how many are among the first three and said; of what is said, how much was
planted; of sound players, how many hear of a fault. Every way may choose its own limit for saying, the one that finds
most while it keeps to one false alarm in ten. With ``--write`` the line that makes the posterior's probability come out
as often as it says goes into the noise file.

Tracking errors are those of the clips of ``CALIBRATION``: the noise is learned on those of ``TUNING``, and on them
every way is surer than it may be on the next clip.

Figures of 56 players, eight sides each. At no more than one alarm in ten: the posterior finds 0.40 of the planted
faults with a precision of 0.68, *alone* 0.36 with 0.56, *sum* 0.15 with 0.51. So the posterior ships.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.stats import false_discovery_control, norm
from sklearn.linear_model import Lasso, LogisticRegression

from swingmatch.findings.catalogue.fault import Catalogue, Fault
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.decompose import posterior, signatures
from swingmatch.findings.patterns.noise import Noise, Seen, read_noise, seen, write_noise
from swingmatch.progress import Bar
from swingmatch.stroke.direction import SIDES
from swingmatch.study.as_filmed import film_errors
from swingmatch.study.choosing import by_side
from swingmatch.study.run import processes
from swingmatch.study.sample import shots
from swingmatch.study.sound_players import FILE, Job, evidence_of, measure_floors, sound_player
from swingmatch.synth.cast import CALIBRATION, TUNING, Player
from swingmatch.synth.faults import FAULTS

Array = NDArray[np.float64]

#: Fault -> how surely it is there, 0 to 1, in the order of the catalogue.
Way = Callable[[Seen, Sequence[Fault]], Array]

#: Place among the tuning seeds of the first player; those before it taught the noise.
FIRST = 750
#: Size from which a planted fault is one that a coach would mention.
MENTIONED = 0.6
#: At most this share of sound players may hear of a fault.
_ALARMS = 0.1
_FDR = 0.1
#: Weight of the sum of sizes against the squared misfit, in the units of scikit-learn's ``Lasso`` times the number of
#: deviations: a signature must earn about the square of three standard deviations.
_LASSO = 4.5


class Trial(NamedTuple):
    """One player from one side: the faults that were planted, by size, and what was seen."""

    planted: dict[str, float]
    evidence: Evidence


def alone(view: Seen, faults: Sequence[Fault]) -> Array:
    """One minus the adjusted probability of a matched filter's answer by chance."""
    white = view.whitened(np.column_stack([signatures(faults, view.keys), view.values]))
    length = np.linalg.norm(white[:, :-1], axis=0)
    z = white[:, :-1].T @ white[:, -1] / np.where(length > 0.0, length, np.inf)
    return 1.0 - false_discovery_control(norm.sf(z), method="bh")


def sparse_sum(view: Seen, faults: Sequence[Fault]) -> Array:
    """How many standard deviations the size of each signature in the sum is above nothing, as a probability."""
    white = view.whitened(np.column_stack([signatures(faults, view.keys), view.values]))
    g, y = white[:, :-1], white[:, -1]
    length = np.linalg.norm(g, axis=0)
    g = g / np.where(length > 0.0, length, 1.0)
    lasso = Lasso(alpha=_LASSO / len(y), positive=True, fit_intercept=False, max_iter=5000).fit(g, y)
    kept = np.flatnonzero(lasso.coef_)
    out = np.zeros(len(faults))
    if len(kept):
        out[kept] = 2.0 * norm.cdf(nnls(g[:, kept], y)[0]) - 1.0
    return out


def spike_and_slab(view: Seen, faults: Sequence[Fault]) -> Array:
    """The probability of each at a size worth a word."""
    return np.array([one.worth for one in posterior(view, faults)])


WAYS: dict[str, Way] = {"alone": alone, "sum": sparse_sum, "posterior": spike_and_slab}


def planted_player(seed: int, known: Sequence[str]) -> Player:
    """The player of a seed: sound, or with one or two of the ``known`` faults of size 0.4 to 1."""
    rng = np.random.default_rng([seed, 92])
    names = rng.choice(sorted(known), size=int(rng.integers(0, 3)), replace=False)
    return replace(sound_player(seed), faults={str(name): float(rng.uniform(0.4, 1.0)) for name in names})


class Rates(NamedTuple):
    """Shares: of the planted in the first three and said; of the said that was planted; of sound players alarmed."""

    recall: float
    precision: float
    alarms: float


def rates(answers: Sequence[Array], trials: Sequence[Trial], catalogue: Catalogue, say: float) -> Rates:
    """What comes of saying what is at least ``say`` sure; planted faults count from ``MENTIONED`` on for recall."""
    ids = np.array([fault.id for fault in catalogue.faults])
    hits, said, right, alarms = [], 0, 0, []
    for sure, trial in zip(answers, trials, strict=True):
        order = np.argsort(-sure, kind="stable")[:3]
        first = [str(ids[k]) for k in order if sure[k] >= say]
        hits += [name in first for name, size in trial.planted.items() if size >= MENTIONED]
        said += len(first)
        right += sum(name in trial.planted for name in first)
        if not trial.planted:
            alarms.append(bool(first))
    return Rates(
        float(np.mean(hits)) if hits else 0.0,
        right / said if said else 1.0,
        float(np.mean(alarms)) if alarms else 0.0,
    )


def limit(answers: Sequence[Array], trials: Sequence[Trial], catalogue: Catalogue) -> float:
    """The lowest limit for saying at which no more than ``_ALARMS`` of the sound players are alarmed."""
    steps = np.concatenate([np.linspace(0.05, 0.95, 19), [0.97, 0.99, 0.995, 0.999, 0.9999, 0.999999]])
    for say in steps:
        if rates(answers, trials, catalogue, float(say)).alarms <= _ALARMS:
            return float(say)
    return 1.0


def line_of(answers: Sequence[Array], trials: Sequence[Trial], catalogue: Catalogue) -> tuple[float, float]:
    """Slope and offset, from log odds as stated to log odds as they came out (Platt's method)."""
    stated, true = [], []
    for sure, trial in zip(answers, trials, strict=True):
        for fault, p in zip(catalogue.faults, np.clip(sure, 1e-4, 1.0 - 1e-4), strict=True):
            # What is hardly likely is never said, and there is so much of it that it would draw the line alone.
            if p >= 0.05:
                stated.append([np.log(p / (1.0 - p))])
                true.append(fault.id in trial.planted)
    if len(set(true)) < 2:
        return 1.0, 0.0
    fitted = LogisticRegression(C=10.0).fit(stated, true)
    return float(fitted.coef_[0, 0]), float(fitted.intercept_[0])


def trials_of(seeds: Sequence[int], clips: Path, workers: int, known: Sequence[str]) -> list[Trial]:
    """Every player of the seeds from every side."""
    players = [planted_player(seed, known) for seed in seeds]
    out = []
    with processes(workers) as executor:
        items = shots(CALIBRATION, len(CALIBRATION))
        errors = by_side(film_errors(items, clips, executor, Bar()), [s for _, s in SIDES])
        jobs = [Job(p, side, tuple(some)) for side, some in errors.items() for p in players]
        progress = Bar()
        found = executor.map(partial(evidence_of, floors=measure_floors("forehand")), jobs)
        for done, (job, one) in enumerate(zip(jobs, found, strict=True), start=1):
            progress("following players", done / len(jobs))
            if one is not None:
                out.append(Trial(dict(job.player.faults), one))
    return out


def compared(
    trials: Sequence[Trial], catalogue: Catalogue, noise: Noise
) -> tuple[str, dict[str, list[Array]]]:
    """The table in Markdown, and each way's answers."""
    views = [seen(one.evidence.pooled, noise, one.evidence.camera_azimuth) for one in trials]
    answers = {name: [way(view, catalogue.faults) for view in views] for name, way in WAYS.items()}
    lines = [
        "| way | said from | top-three recall | precision | sound players alarmed |",
        "|---|---|---|---|---|",
    ]
    for name, some in answers.items():
        say = limit(some, trials, catalogue)
        row = rates(some, trials, catalogue, say)
        lines.append(f"| {name} | {say:g} | {row.recall:.2f} | {row.precision:.2f} | {row.alarms:.2f} |")
    return "\n".join(lines), answers


def calibration_text(answers: Sequence[Array], trials: Sequence[Trial], catalogue: Catalogue) -> str:
    """How often faults were planted that were said to be so sure, in Markdown."""
    stated = np.concatenate(answers)
    true = np.concatenate([[f.id in one.planted for f in catalogue.faults] for one in trials])
    lines = ["| stated | planted | of |", "|---|---|---|"]
    for low, high in zip((0.0, 0.1, 0.3, 0.5, 0.7, 0.9), (0.1, 0.3, 0.5, 0.7, 0.9, 1.01), strict=True):
        some = (stated >= low) & (stated < high)
        if some.any():
            lines.append(f"| {stated[some].mean():.2f} | {true[some].mean():.2f} | {some.sum()} |")
    return "\n".join(lines)


def main() -> None:
    """Compare, print, and write the line where asked."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.decompositions", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, required=True, help="folder of the study's clips, made where missing"
    )
    parser.add_argument("--players", type=int, default=100, help="players (default: 100)")
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    parser.add_argument(
        "--write", action="store_true", help="write the line of calibration into the noise file"
    )
    words = parser.parse_args()
    catalogue = load("forehand")
    known = [fault.id for fault in catalogue.faults if fault.id in FAULTS]
    trials = trials_of(TUNING[FIRST : FIRST + words.players], words.clips, words.workers, known)
    noise = read_noise(FILE) if FILE.is_file() else Noise()
    text, answers = compared(trials, catalogue, noise)
    print(text)
    slope, offset = line_of(answers["posterior"], trials, catalogue)
    print(f"\nCalibration: log odds times {slope:.2f}, plus {offset:.2f}; before it:\n")
    print(calibration_text(answers["posterior"], trials, catalogue))
    if words.write and noise.keys:
        write_noise(FILE, replace(noise, sure=(slope, offset)))


if __name__ == "__main__":
    main()
