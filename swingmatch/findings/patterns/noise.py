"""``Noise``: how the deviations of sound players scatter about zero, and together.

A sound player differs from the model that was chosen for him: style is no fault. And what is measured wrongly is wrong
together: a shoulder line seen from the front is wrong in all phases. Both are in one covariance for each camera side,
learned from generated sound players as they are filmed (``python -m swingmatch.study.sound_players``), in floors.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from swingmatch.findings.deviation import Deviation
from swingmatch.stroke.direction import side_name

Array = NDArray[np.float64]

#: Scatter of style, in floors, of what the table does not know (*common practice, no source*): one difference that
#: matters on court is no more than taste.
STYLE = 1.0
#: Independent scatter that is added to all, in floors: no signature holds better than this.
RIDGE = 0.35


@dataclass(frozen=True)
class Side:
    """What is known for one camera side.

    Attributes
    ----------
    mean : (F,) usual deviation of sound players, floors: the view's bias. sd : (F,) scatter, floors.
    correlation : (F, F). within : (F,) scatter between swings of one player, floors.
    """

    mean: Array
    sd: Array
    correlation: Array
    within: Array


@dataclass(frozen=True)
class Noise:
    """The scatter of sound players.

    Attributes
    ----------
    keys : of the F deviations that it knows. floors : (F,) the floors that the figures are in; a catalogue may have
        others since. sides : camera side -> scatter; "" for a side that is not known.
    swings : how many swings each player had.
    sure : slope and offset of the straight line from log odds to log odds that makes what is said calibrated. The usual
        one is of 24 players of tuning seeds, one swing each (``python -m swingmatch.study.decompositions`` learns it).
    """

    keys: tuple[str, ...] = ()
    floors: tuple[float, ...] = ()
    sides: Mapping[str, Side] = field(default_factory=dict)
    swings: int = 1
    sure: tuple[float, float] = (0.77, -0.62)

    def side(self, azimuth: float) -> Side | None:
        """The scatter for a camera azimuth (of a right-hander), degrees; NaN for an unknown side."""
        return self.sides.get(side_name(azimuth) if np.isfinite(azimuth) else "", self.sides.get(""))


@dataclass(frozen=True)
class Seen:
    """What a view shows of a player, as one vector.

    Attributes
    ----------
    deviations : F of them, by key. values : (F,) in floors, the view's bias taken off. covariance : (F, F), floors.
    """

    deviations: tuple[Deviation, ...]
    values: Array
    covariance: Array

    @property
    def keys(self) -> tuple[str, ...]:
        """Key of each entry."""
        return tuple(one.key for one in self.deviations)

    def whitened(self, vectors: Array, more: Array | float = 0.0) -> Array:
        """(F, N) vectors in units in which the noise is one in every direction; ``more`` (F,) is added to variances."""
        lower = np.linalg.cholesky(self.covariance + np.diag(np.broadcast_to(more, len(self.covariance))))
        return np.asarray(solve_triangular(lower, vectors, lower=True), dtype=float)


def seen(deviations: Sequence[Deviation], noise: Noise, azimuth: float) -> Seen:
    """The visible deviations and their noise.

    A variance is never below ``Deviation.doubt`` squared; what ``noise`` does not know scatters by itself, by doubt and
    ``STYLE``. Players with fewer swings than the table's scatter by so much more as their swings do.
    """
    kept = sorted((d for d in deviations if _usable(d)), key=lambda d: d.key)
    values = np.array([d.value / d.floor for d in kept])
    doubt = np.array([d.doubt / d.floor for d in kept])
    covariance = np.diag(doubt**2 + STYLE**2)
    table = noise.side(azimuth)
    if table is not None and kept:
        at = {key: i for i, key in enumerate(noise.keys)}
        mine = [i for i, d in enumerate(kept) if d.key in at]
        theirs = [at[kept[i].key] for i in mine]
        scale = np.array([noise.floors[j] / kept[i].floor for i, j in zip(mine, theirs, strict=True)])
        sd = table.sd[theirs] * scale
        few = np.array([1.0 / max(kept[i].swings, 1) - 1.0 / noise.swings for i in mine])
        known = table.correlation[np.ix_(theirs, theirs)] * np.outer(sd, sd)
        known[np.diag_indices_from(known)] += np.maximum(few, 0.0) * (table.within[theirs] * scale) ** 2
        short = np.maximum(doubt[mine] ** 2 - np.diag(known), 0.0)
        covariance[np.ix_(mine, mine)] = known + np.diag(short)
        values[mine] -= table.mean[theirs] * scale
    return Seen(tuple(kept), values, covariance + RIDGE**2 * np.eye(len(kept)))


def _usable(deviation: Deviation) -> bool:
    return (
        deviation.visible
        and deviation.floor > 0.0
        and bool(np.isfinite([deviation.value, deviation.doubt]).all())
    )


def write_noise(path: Path, noise: Noise) -> None:
    """Write to one ``.npz``: half precision, upper triangles only."""
    upper = np.triu_indices(len(noise.keys), 1)
    about = {
        "keys": noise.keys,
        "floors": noise.floors,
        "sides": list(noise.sides),
        "swings": noise.swings,
        "sure": noise.sure,
    }
    sides = list(noise.sides.values())
    np.savez_compressed(
        path,
        about=np.asarray(json.dumps(about)),
        mean=np.array([s.mean for s in sides], dtype=np.float32),
        sd=np.array([s.sd for s in sides], dtype=np.float32),
        within=np.array([s.within for s in sides], dtype=np.float32),
        correlation=np.array([s.correlation[upper] for s in sides], dtype=np.float16),
    )


def read_noise(path: Path) -> Noise:
    """What ``write_noise`` wrote. Rounding may leave a matrix a hair from positive; ``RIDGE`` covers that."""
    with np.load(path, allow_pickle=False) as file:
        about = json.loads(str(file["about"][()]))
        count = len(about["keys"])
        upper = np.triu_indices(count, 1)
        sides = {}
        for i, name in enumerate(about["sides"]):
            correlation = np.eye(count)
            correlation[upper] = file["correlation"][i]
            correlation.T[upper] = file["correlation"][i]
            sides[name] = Side(
                mean=file["mean"][i].astype(float),
                sd=file["sd"][i].astype(float),
                correlation=correlation,
                within=file["within"][i].astype(float),
            )
    slope, offset = about["sure"]
    return Noise(tuple(about["keys"]), tuple(about["floors"]), sides, int(about["swings"]), (slope, offset))


@lru_cache(maxsize=8)
def shipped_noise(stroke: str) -> Noise:
    """The table that ships for a stroke; an empty one, which knows nothing, where there is none."""
    name = f"noise_{stroke.replace(' ', '_').replace('-', '_')}.npz"
    file = resources.files("swingmatch.findings.patterns").joinpath(name)
    with resources.as_file(file) as path:
        return read_noise(path) if path.is_file() else Noise()
