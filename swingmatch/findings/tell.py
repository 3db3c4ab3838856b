"""The whole way from evidence to an explanation: patterns, what comes first, what works, what is open, words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from swingmatch.findings.catalogue.fault import Catalogue
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.explain import About, explain
from swingmatch.findings.explanation import Explanation
from swingmatch.findings.patterns.find import find_patterns
from swingmatch.findings.patterns.noise import Noise
from swingmatch.findings.patterns.pattern import Pattern, Priority
from swingmatch.findings.patterns.priorities import prioritise
from swingmatch.findings.patterns.settle import Settle, would_settle
from swingmatch.findings.patterns.strengths import strengths
from swingmatch.stroke.repeats import Scatter
from swingmatch.words import say

#: What would settle it is said where no change is as sure as this (*our choice*).
_SETTLED = 0.75
#: No more of the faults that this view cannot tell are named.
_MOST_OPEN = 3


def tell(
    about: About,
    evidence: Evidence,
    catalogue: Catalogue,
    *,
    noise: Noise | None = None,
    habits: Mapping[str, float] | None = None,
    scatter: Scatter | None = None,
    nameless: Sequence[Pattern] = (),
) -> tuple[Explanation, tuple[Pattern, ...]]:
    """What is said of one player's swings, and the patterns that it rests on.

    Parameters
    ----------
    about, evidence, catalogue : who, what was measured, and what it may be called.
    noise : how sound players scatter; what ships where None. habits : fault id -> factor of this coach's overrules.
    scatter : how well contact repeats. nameless : recurring patterns without a name (``patterns.cluster``).
    """
    patterns = find_patterns(evidence, catalogue, noise)
    first, rest = prioritise(patterns, habits)
    explanation = explain(
        about,
        (*patterns, *nameless),
        (*first, *rest),
        strengths(evidence.pooled, catalogue, patterns),
        catalogue=catalogue,
        scatter=scatter,
        settle=_open(first, would_settle(evidence, catalogue, noise), about.hand),
    )
    return explanation, patterns


def _open(first: Sequence[Priority], untold: Sequence[Settle], hand: str) -> list[str]:
    """Which footage would settle what is open, where no change is certain."""
    if any(one.pattern.sure >= _SETTLED for one in first):
        return []
    groups: dict[tuple[tuple[str, ...], tuple[str, ...]], list[str]] = {}
    for one in untold[:_MOST_OPEN]:
        sides = tuple(side if hand == "right" else _mirrored(side) for side in one.sides[:2])
        groups.setdefault((sides, one.needs), []).append(one.fault.title)
    return [say.settle(titles, sides, needs) for (sides, needs), titles in groups.items()]


def _mirrored(side: str) -> str:
    swap = {"left": "right", "right": "left"}
    return " ".join(swap.get(word, word) for word in side.split())
