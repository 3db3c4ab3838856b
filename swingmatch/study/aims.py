"""What the study's figures are held against, one row each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.study.measure import Errors
from swingmatch.study.stated import coverage

Pool = Sequence[Errors]

#: Fewer intervals than this say nothing about their coverage: of 20 good ones 18 +- 1.3 hold the truth.
FEWEST = 20
#: A frame at 60 a second, ms.
_FRAME = 1000.0 / 60.0


@dataclass(frozen=True)
class Aim:
    """One aim: what is measured, the bounds within which the figure is good, and how to get it.

    ``value`` gives NaN where nothing was measured. ``unit`` follows the figure.
    """

    label: str
    unit: str
    low: float
    high: float
    value: Callable[[Pool], float]

    @property
    def bounds(self) -> str:
        """The bounds in words."""
        if self.low == -np.inf:
            return f"at most {self.high:.3g}{self.unit}"
        if self.high == np.inf:
            return f"at least {self.low:.3g}{self.unit}"
        return f"{self.low:.3g} to {self.high:.3g}{self.unit}"

    def verdict(self, value: float) -> str:
        """``met``, ``not met`` or ``not measured``."""
        if np.isnan(value):
            return "not measured"
        return "met" if self.low <= value <= self.high else "not met"


def percentile(values: Iterable[float], share: float) -> float:
    """Percentile of absolute values; NaN of none."""
    sizes = np.abs(np.asarray(list(values), dtype=float))
    return float(np.percentile(sizes, share)) if sizes.size else float("nan")


def share(part: float, whole: float) -> float:
    """Per cent that ``part`` is of ``whole``; NaN of nothing."""
    return 100.0 * part / whole if whole > 0 else float("nan")


def _of(read: Callable[[Errors], Iterable[float]]) -> Callable[[Pool], list[float]]:
    return lambda pool: [value for errors in pool for value in read(errors)]


def _most(
    label: str,
    unit: str,
    read: Callable[[Errors], Iterable[float]],
    median: float,
    ninety: float | None = None,
) -> list[Aim]:
    """Aims for the median and the 90th percentile of sizes of errors."""
    pooled = _of(read)
    rows = [Aim(f"{label}, median", unit, -np.inf, median, lambda pool: percentile(pooled(pool), 50))]
    if ninety is not None:
        rows.append(
            Aim(f"{label}, 90th percentile", unit, -np.inf, ninety, lambda pool: percentile(pooled(pool), 90))
        )
    return rows


def _angles(*keys: str) -> Callable[[Errors], Iterable[float]]:
    return lambda errors: [value for key in keys for value in errors.angles.get(key, [])]


def _event(name: str) -> Callable[[Errors], Iterable[float]]:
    return lambda errors: errors.events.get(name, [])


def _held(pool: Pool, name: str) -> float:
    """Per cent of stated intervals that hold the truth; NaN where there are too few to tell."""
    scaled = [value for errors in pool for value in errors.stated.get(name, [])]
    return 100.0 * coverage(scaled) if len(scaled) >= FEWEST else float("nan")


def aims(pool: Pool) -> list[Aim]:
    """All aims; stated intervals are those that the clips of ``pool`` hold."""
    rows = [
        Aim(
            "frames tracked",
            " %",
            98.0,
            np.inf,
            lambda p: share(sum(e.found for e in p), sum(e.frames for e in p)),
        )
    ]
    rows += _most("contact without sound", " ms", lambda e: e.contact_hand, _FRAME, 2 * _FRAME)
    rows += _most("contact with sound", " ms", lambda e: e.contact_sound, 5.0)
    for name in dict.fromkeys(name for e in pool for name in e.events):
        if name != "contact":
            rows += _most(name.replace("_", " "), " ms", _event(name), 40.0)
    rows += _most("elbow flexion", "°", _angles("hitting_elbow_flexion", "off_elbow_flexion"), 6.0, 15.0)
    rows += _most("knee flexion", "°", _angles("outside_knee_flexion", "inside_knee_flexion"), 6.0, 15.0)
    rows += _most("shoulder-line turn", "°", _angles("shoulder_turn"), 10.0)
    rows += _most("hip-line turn", "°", _angles("hip_turn"), 10.0)
    rows += _most("stance over shoulder width", " %", lambda e: e.stance, 8.0)
    rows.append(
        Aim(
            "left/right swaps, of frames",
            " %",
            -np.inf,
            0.5,
            lambda p: share(sum(e.astray for e in p), sum(e.found for e in p)),
        )
    )
    for name in stated_names(pool):
        rows.append(
            Aim(
                f"90 % interval holds the truth: {name.replace('_', ' ')}",
                " %",
                85.0,
                95.0,
                lambda p, name=name: _held(p, name),  # type: ignore[misc]
            )
        )
    rows.append(
        Aim(
            "reading and tracking over the bare pose model",
            "",
            -np.inf,
            1.25,
            lambda p: over_bare(p, "read and track"),
        )
    )
    return rows


def stated_names(pool: Pool) -> list[str]:
    """Everything for which some clip holds stated intervals, in order of first appearance."""
    return list(dict.fromkeys(name for errors in pool for name in errors.stated))


def over_bare(pool: Pool, step: str) -> float:
    """Seconds of a step over those of the bare pose model, on the clips on which the step was timed."""
    timed = [errors.seconds for errors in pool if step in errors.seconds]
    bare = sum(seconds.get("bare pose model", 0.0) for seconds in timed)
    return sum(seconds[step] for seconds in timed) / bare if bare > 0 else float("nan")
