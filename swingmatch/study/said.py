"""What the tool says of players, beside what was planted: values only, for ``pattern_tables``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from swingmatch.findings.catalogue.fault import Catalogue, Fault
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.find import find_patterns
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.findings.patterns.priorities import prioritise

#: Patterns that are less sure than this are not counted in the calibration.
LEAST = 0.05
#: A fault can be seen from a side that shows at least this share of its signature, by squared weight.
SHOWN = 0.5


@dataclass(frozen=True)
class Said:
    """One fault that was named. ``under`` : the cause that it is listed under, "" where it stands by itself."""

    fault: str
    sure: float
    size: float
    under: str = ""


@dataclass(frozen=True)
class View:
    """What is said of one player from one side.

    Attributes
    ----------
    top : the two or three changes, in order, each followed by what is listed under it. every : all patterns with their
        probability, also those that are too unsure to be said. seeable : faults that this view can show.
    swing : the same as ``top`` for the first swing alone.
    """

    top: tuple[Said, ...]
    every: tuple[Said, ...]
    seeable: frozenset[str]
    swing: tuple[Said, ...]

    @property
    def first(self) -> str:
        """The change that comes first, "" where nothing is said."""
        return self.top[0].fault if self.top else ""

    @property
    def names(self) -> frozenset[str]:
        """All faults that are named in the top three."""
        return frozenset(said.fault for said in self.top)


@dataclass(frozen=True)
class Outcome:
    """One player: planted faults with their sizes, and camera side -> what was said."""

    seed: int
    planted: Mapping[str, float]
    views: Mapping[str, View]


def look(evidence: Evidence, catalogue: Catalogue) -> View:
    """What the tool says of some evidence; it knows nothing else."""
    alone = replace(evidence, pooled=evidence.each[0], each=evidence.each[:1])
    return View(
        top=named(evidence, catalogue),
        every=tuple(flat(find_patterns(evidence, catalogue, say=LEAST))),
        seeable=frozenset(f.id for f in catalogue.faults if shown(f, evidence) >= SHOWN),
        swing=named(alone, catalogue),
    )


def named(evidence: Evidence, catalogue: Catalogue) -> tuple[Said, ...]:
    """The changes that are worth making, in order."""
    first, _ = prioritise(find_patterns(evidence, catalogue))
    return tuple(said for priority in first for said in flat([priority.pattern]))


def flat(patterns: tuple[Pattern, ...] | list[Pattern], under: str = "") -> list[Said]:
    """Patterns and what each explains, in order; those without a name are left out."""
    out = []
    for pattern in patterns:
        if pattern.fault is not None:
            out.append(Said(pattern.fault.id, pattern.sure, pattern.size, under))
            out += flat(pattern.explains, under or pattern.fault.id)
    return out


def shown(fault: Fault, evidence: Evidence) -> float:
    """Share of a signature, by squared weight, that the view shows."""
    visible = {d.key for d in evidence.pooled if d.visible}
    weights = fault.weights
    total = sum(w * w for w in weights.values())
    return sum(w * w for key, w in weights.items() if key in visible) / total if total else 0.0
