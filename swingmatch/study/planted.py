"""Generated players with known faults, as filmed, and what the tool would have of them, kept between runs.

Each player's style, build and repeats are drawn by seed as the study of accuracy draws them, with none to three faults.
Swings as filmed take half a minute a player; they are kept, without the truth, in a folder: what comes after can
then be tried in seconds. Delete the folder where generator, lifting, events or measures have changed.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch import findings
from swingmatch.align.warp import align
from swingmatch.errors import SwingmatchError
from swingmatch.findings.evidence import Evidence, gather
from swingmatch.library.choose import choose
from swingmatch.library.folder import Library, load_library
from swingmatch.series import resample
from swingmatch.stroke.measure import Measure, measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study.as_filmed import FilmErrors, filmed_swing
from swingmatch.study.learn.examples import MOMENTS
from swingmatch.synth.cast import Player, random_player
from swingmatch.synth.faults import EVERY_FAULT
from swingmatch.synth.style import ForehandStyle

Array = NDArray[np.float64]

#: A fault of this size and more is one that a coach would mention; laid down before any result was seen.
MENTION = 0.6
#: Sizes that are planted.
SIZES = (0.3, 1.0)
#: Most faults of one player.
MOST = 3
#: Swings of each player.
SWINGS = 3
#: Faults that only the racket shows. These swings have no racket, so they cannot be seen and are not planted.
RACKET_ONLY = ("face_open_contact", "face_closed_contact", "face_up_drop")
#: Faults that are no deviation from the model but a scatter: a finding of its own, not one of the patterns.
SCATTER_ONLY = ("inconsistent_contact",)


@cache
def moved(fault: str) -> frozenset[str]:
    """The parameters of a style that a fault changes."""
    sound = ForehandStyle()
    with_it = EVERY_FAULT[fault].apply(sound, 1.0)
    return frozenset(f.name for f in fields(sound) if getattr(sound, f.name) != getattr(with_it, f.name))


def draw_faults(rng: np.random.Generator) -> dict[str, float]:
    """None to three faults with their sizes. Two that change the same parameter would not have the sizes that they are
    said to have: they are never planted together."""
    names = sorted(set(EVERY_FAULT) - set(RACKET_ONLY) - set(SCATTER_ONLY))
    count = int(rng.integers(0, MOST + 1))
    out: dict[str, float] = {}
    for name in rng.permutation(names):
        if len(out) < count and not any(moved(str(name)) & moved(other) for other in out):
            out[str(name)] = float(rng.uniform(*SIZES))
    return out


def planted_player(seed: int) -> Player:
    """The right-handed player of a seed with drawn faults."""
    return replace(random_player(seed), hand="right", faults=draw_faults(np.random.default_rng([seed, 92])))


@dataclass(frozen=True)
class Taken:
    """A ``Measure`` without its row, which cannot be written to a file."""

    key: str
    value: float
    sd: float
    time: float
    why_not: str
    sides: tuple[str, ...]


@dataclass(frozen=True)
class Filmed:
    """One player's swings from one camera side, without the drawn bodies, and the measures of each."""

    swings: tuple[Swing, ...]
    taken: tuple[tuple[Taken, ...], ...]

    @property
    def measures(self) -> tuple[tuple[Measure, ...], ...]:
        """The measures of each swing, as the tool takes them."""
        rows = {row.key: row for row in STROKES[self.swings[0].stroke].measures}
        return tuple(
            tuple(
                Measure(rows[t.key], t.value, t.sd, t.time, why_not=t.why_not, sides=t.sides)
                for t in taken
                if t.key in rows
            )
            for taken in self.taken
        )


def bodies_of(player: Player, swings: int = SWINGS) -> list[Array]:
    """A player's repeats (T, K, 3) at ``MOMENTS``."""
    motion = player.perform(swings=swings)
    return [
        resample(motion.points, motion.times, one.events["contact"] + MOMENTS) / motion.stature
        for one in motion.swings
    ]


def film_from(bodies: Sequence[Array], errors: FilmErrors, rng: np.random.Generator) -> Filmed | None:
    """Some strokes of one player in one clip, those that are found; None where none is.

    The errors are the same in all of them, so that nothing averages out, which is the worst case.
    """
    swings = []
    for body in bodies:
        with suppress(SwingmatchError):
            swings.append(filmed_swing(body, errors, "forehand", rng))
    if not swings:
        return None
    taken = tuple(
        tuple(Taken(m.row.key, m.value, m.sd, m.time, m.why_not, m.sides) for m in measure(swing))
        for swing in swings
    )
    return Filmed(tuple(replace(swing, draws=None) for swing in swings), taken)


def film_all(
    name: str,
    bodies: Sequence[Array] | Player,
    errors: Mapping[str, Sequence[FilmErrors]],
    seed: Sequence[int],
    keep: Path | None,
) -> dict[str, Filmed]:
    """Camera side -> one player's swings from there; kept under ``name`` in the folder ``keep``."""
    path = None if keep is None else keep / f"swings-{name}.pkl"
    if path is not None and path.is_file():
        return _read(path)
    strokes = bodies_of(bodies) if isinstance(bodies, Player) else bodies
    out = {}
    for place, (side, some) in enumerate(errors.items()):
        rng = np.random.default_rng([*seed, place])
        found = film_from(strokes, some[int(rng.integers(len(some)))], rng)
        if found is not None:
            out[side] = found
    if path is not None:
        _write(path, out)
    return out


def evidence_of(
    name: str, films: Mapping[str, Filmed], floors: Mapping[str, float], keep: Path | None
) -> dict[str, Evidence]:
    """Camera side -> what the tool has of the swings, before the model that it chooses from there. Kept until the code
    of the findings or the floors change."""
    path = None if keep is None else keep / f"evidence-{name}-{_version(tuple(sorted(floors.items())))}.pkl"
    if path is not None and path.is_file():
        return _read(path)
    out = {side: evidence_from(film, floors, load_library()) for side, film in films.items()}
    if path is not None:
        for old in path.parent.glob(f"evidence-{name}-*.pkl"):
            old.unlink(missing_ok=True)
        _write(path, out)
    return out


def evidence_from(film: Filmed, floors: Mapping[str, float], library: Library) -> Evidence:
    """What the tool has of some swings before the model of a library that it chooses for them."""
    choice = choose(film.swings, library)
    warps = [align(swing, choice.swing) for swing in film.swings]
    return gather(film.swings, choice.swing, warps, choice.volunteer.swings, film.measures, floors)


@lru_cache(maxsize=4)
def _version(floors: tuple[tuple[str, float], ...]) -> str:
    """Digest of the findings' code that makes evidence, and of the floors."""
    digest = hashlib.sha256(repr(floors).encode())
    folder = Path(findings.__file__).parent
    names = ("columns", "compare", "curves", "discovery", "evidence", "quantities", "timing", "typical")
    for name in (*(f"{name}.py" for name in names), "typical.json", "accuracy.json"):
        digest.update((folder / name).read_bytes())
    return digest.hexdigest()[:12]


def _read(path: Path) -> Any:
    with path.open("rb") as file:
        return pickle.load(file)


def _write(path: Path, value: object) -> None:
    """Whole or not at all, so that a run may be stopped at any time."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(pickle.dumps(value))
    part.replace(path)
