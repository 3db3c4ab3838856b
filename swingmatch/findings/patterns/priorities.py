"""Two or three changes, and why these: a product of factors that all can be shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.findings.patterns.pattern import Pattern, Priority

#: Never more changes than this: a player works on few things at a time (*common practice, no source*).
MOST = 3
#: Sizes are counted between these: a gross fault is not five times as urgent.
_SMALL, _LARGE = 0.5, 2.0
#: Factor for the first and the last link of the chain: what starts in the legs is mended before the finish.
_FIRST, _LAST = 1.25, 0.75
#: How many times a change must be decided upon before a coach's habit weighs as much as none; and its bounds.
_HABIT = 4.0
LEAST_WEIGHT, MOST_WEIGHT = 0.5, 2.0


@dataclass(frozen=True)
class Overrules:
    """What a coach did with one fault when it was put forward.

    Attributes
    ----------
    kept : left where it stood. dropped : taken out, or moved down. raised : added, or moved up.
    """

    kept: int = 0
    dropped: int = 0
    raised: int = 0

    @property
    def weight(self) -> float:
        """(4 + kept + raised) / (4 + kept + dropped), between 0.5 and 2: 1 before anything is known."""
        ratio = (_HABIT + self.kept + self.raised) / (_HABIT + self.kept + self.dropped)
        return float(np.clip(ratio, LEAST_WEIGHT, MOST_WEIGHT))


def learn(overrules: Mapping[str, Overrules]) -> dict[str, float]:
    """Fault id -> factor of this coach's habit, for those in which it is not 1."""
    return {name: counts.weight for name, counts in sorted(overrules.items()) if counts.weight != 1.0}


def priority(pattern: Pattern, weights: Mapping[str, float]) -> Priority:
    """How urgent a named pattern is, and its parts.

    Raises ``ValueError`` for an unnamed pattern, of which nobody knows what it costs.
    """
    fault = pattern.fault
    if fault is None:
        raise ValueError("an unnamed pattern has no priority")
    parts = {
        "consequence": fault.consequence,
        "size": float(np.clip(pattern.size, _SMALL, _LARGE)),
        "sure": pattern.sure,
        "early": _FIRST + (_LAST - _FIRST) * float(np.clip(fault.order, 0.0, 1.0)),
        "teachable": fault.teachable,
    }
    if fault.id in weights:
        parts["coach"] = weights[fault.id]
    return Priority(pattern, float(np.prod(list(parts.values()))), parts)


def prioritise(
    patterns: Sequence[Pattern], weights: Mapping[str, float] | None = None
) -> tuple[tuple[Priority, ...], tuple[Priority, ...]]:
    """The changes worth making first, at most ``MOST``, and the others, the most urgent first in both.

    ``patterns`` are those on top, see ``under_causes``; unnamed ones are passed over.
    """
    found = [priority(pattern, weights or {}) for pattern in patterns if pattern.fault is not None]
    found.sort(key=lambda one: (-one.score, one.pattern.fault.id if one.pattern.fault else ""))
    return tuple(found[:MOST]), tuple(found[MOST:])
