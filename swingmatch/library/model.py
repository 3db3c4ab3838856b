"""Several repeats of one volunteer become one model: a mean swing, and how much the volunteer varies about it.

The spread is told for every joint and every phase, in the units in which a player is compared with a model: degrees by
which the segment that leads to a joint points elsewhere, and milliseconds by which a phase takes longer. One repeat
tells nothing of spread: it is unknown then, NaN, and never zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.barycentre import typical
from swingmatch.align.warp import align
from swingmatch.body.skeleton import INDEX, SIDES, middle
from swingmatch.series import resample
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: The joints whose spread is told: keypoint, and the segment that leads to it. The trunk leads to the nose.
JOINTS: tuple[str, ...] = (
    "nose",
    *(
        f"{side}_{part}"
        for part in ("shoulder", "elbow", "wrist", "hand", "hip", "knee", "ankle", "toe")
        for side in SIDES
    ),
)
_LEADS = {
    "elbow": "shoulder",
    "wrist": "elbow",
    "hand": "wrist",
    "knee": "hip",
    "ankle": "knee",
    "toe": "heel",
}
#: Moments at which a phase is looked at.
_MOMENTS = 32
#: The warp must reach all of a phase but this much, seconds; it starts and ends on samples.
_UNREACHED = 0.02
_MIRRORED = {"left": "right", "right": "left"}


@dataclass(frozen=True)
class Spread:
    """How much a volunteer's repeats vary.

    Attributes
    ----------
    joints : names in the order of the first axis. phases : of the stroke, in order of time.
    degrees : (joints, phases) standard deviation (divisor n - 1) of the direction of the segment that leads to the
        joint; NaN where fewer than two repeats show it. Names are those of the volunteer's own body, not mirrored.
    milliseconds : phase -> standard deviation of its duration, NaN where fewer than two repeats have it.
    counts : (joints, phases) repeats that show it.
    """

    joints: tuple[str, ...]
    phases: tuple[str, ...]
    degrees: Array
    milliseconds: Mapping[str, float]
    counts: NDArray[np.int64]

    def of(self, joint: str, phase: str) -> float:
        """Standard deviation in degrees; NaN where it is unknown."""
        return float(self.degrees[self.joints.index(joint), self.phases.index(phase)])


@dataclass(frozen=True)
class Typical:
    """A model: the mean swing of all repeats and their spread.

    Attributes
    ----------
    swing : bones of constant length, seconds from contact, the volunteer's own hand.
    spread : of the repeats about it.
    apart : of each repeat, how unlike the mean swing it is, degrees a segment; one repeat is its own mean.
    """

    swing: Swing
    spread: Spread
    apart: tuple[float, ...]


def make_model(repeats: Sequence[Swing]) -> Typical:
    """The mean swing and the spread of repeats of one stroke by one volunteer.

    Parameters
    ----------
    repeats : at least one, of one stroke and hand.

    Raises
    ------
    StrokeError
        There is none, they are not of one stroke and hand, or too little of one is known before contact.
    """
    mean = typical(repeats)
    warps = [align(repeat, mean) for repeat in repeats]
    phases = definition_of(mean).phase_bounds(mean.events)
    shares = (np.arange(_MOMENTS) + 0.5) / _MOMENTS
    towards = np.full((len(repeats), len(JOINTS), len(phases), _MOMENTS, 3), np.nan)
    for i, (repeat, warp) in enumerate(zip(repeats, warps, strict=True)):
        first, last = warp.model_times[[0, -1]]
        ways = _directions(repeat.points)
        for j, (start, stop) in enumerate(phases.values()):
            if start < first - _UNREACHED or stop > last + _UNREACHED:
                continue
            at = warp.to_player(start + shares * (stop - start)) + repeat.contact
            towards[i, :, j] = np.moveaxis(_unit(resample(ways, repeat.times, at)), 0, 1)
    degrees, counts = _angular(towards)
    return Typical(
        mean,
        Spread(JOINTS, tuple(phases), degrees, _durations(repeats, tuple(phases)), counts),
        tuple(warp.distance for warp in warps) if len(repeats) > 1 else (0.0,),
    )


def mirrored(spread: Spread) -> Spread:
    """The spread of the same strokes by a player of the other hand: left and right joints change places."""
    order = [spread.joints.index(_other(name)) for name in spread.joints]
    return Spread(
        spread.joints, spread.phases, spread.degrees[order], spread.milliseconds, spread.counts[order]
    )


def _other(joint: str) -> str:
    side, _, part = joint.partition("_")
    return f"{_MIRRORED[side]}_{part}" if part else joint


def _directions(points: Array) -> Array:
    """Unit direction of the segment that leads to each joint: (T, K, 3) to (T, joints, 3)."""
    ways = []
    for name in JOINTS:
        side, _, part = name.partition("_")
        if not part:
            ways.append(middle(points, "shoulder") - middle(points, "hip"))
        elif part in ("shoulder", "hip"):
            ways.append(points[:, INDEX[f"right_{part}"]] - points[:, INDEX[f"left_{part}"]])
        else:
            ways.append(points[:, INDEX[name]] - points[:, INDEX[f"{side}_{_LEADS[part]}"]])
    return _unit(np.stack(ways, axis=1))


def _angular(towards: Array) -> tuple[Array, NDArray[np.int64]]:
    """Standard deviation of directions, degrees, and how many know it.

    ``towards`` (repeats, joints, phases, moments, 3), unit vectors, to (joints, phases) twice. At each moment the
    angles to the mean direction are squared, added up and divided by n - 1; over the phase the squares are averaged.
    """
    known = np.isfinite(towards).all(axis=-1)
    count = known.sum(axis=0)
    mean = _unit(np.where(known[..., None], towards, 0.0).sum(axis=0))
    across = np.linalg.norm(np.cross(towards, mean[None]), axis=-1)
    along = (towards * mean[None]).sum(axis=-1)
    squares = np.where(known, np.arctan2(across, along) ** 2, 0.0).sum(axis=0)
    enough = (count > 1) & np.isfinite(mean).all(axis=-1)
    each = np.where(enough, squares / np.maximum(count - 1, 1), 0.0)
    moments = enough.sum(axis=-1)
    # Half of a phase unseen is another part of the stroke.
    whole = 2 * moments >= towards.shape[3]
    variance = np.where(whole, each.sum(axis=-1) / np.maximum(moments, 1), np.nan)
    return np.degrees(np.sqrt(variance)), (2 * known.sum(axis=-1) >= towards.shape[3]).sum(axis=0)


def _durations(repeats: Sequence[Swing], phases: tuple[str, ...]) -> dict[str, float]:
    """Standard deviation of every phase's duration, ms; NaN for fewer than two repeats that have it."""
    bounds = [definition_of(repeat).phase_bounds(repeat.events) for repeat in repeats]
    out = {}
    for phase in phases:
        long = [1000.0 * (one[phase][1] - one[phase][0]) for one in bounds if phase in one]
        out[phase] = float(np.std(long, ddof=1)) if len(long) > 1 else float("nan")
    return out


def _unit(vectors: Array) -> Array:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.where(length > 1e-9, vectors / np.where(length > 1e-9, length, 1.0), np.nan)
