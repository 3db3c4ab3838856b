"""Cause before symptom: of two patterns of which one is the usual cause of the other, the cause is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from swingmatch.findings.patterns.pattern import Pattern


def under_causes(patterns: Sequence[Pattern]) -> tuple[Pattern, ...]:
    """The patterns that nothing else explains, each with those that it explains under it (``Pattern.explains``).

    A pattern goes under the likeliest of its ``Fault.causes`` that is among ``patterns``. Where faults name each other
    as causes, the one that is earlier in the chain (``Fault.order``) stays on top.
    """
    named = {p.fault.id: p for p in patterns if p.fault is not None}
    parent: dict[str, str] = {}
    for name, pattern in sorted(named.items(), key=lambda row: (_order(row[1]), row[0]), reverse=True):
        assert pattern.fault is not None
        for cause in pattern.fault.causes:
            if cause in named and cause != name and not _leads(parent, cause, name):
                parent[name] = cause
                break
    # Of a ring, the last to look for a cause, which is the earliest in the chain, finds none that does not lead to it.
    children: dict[str, list[str]] = {}
    for name in named:
        if name in parent:
            children.setdefault(parent[name], []).append(name)

    def whole(name: str) -> Pattern:
        return replace(named[name], explains=tuple(whole(child) for child in children.get(name, ())))

    return tuple(
        p if p.fault is None else whole(p.fault.id)
        for p in patterns
        if p.fault is None or p.fault.id not in parent
    )


def flat(patterns: Sequence[Pattern]) -> tuple[Pattern, ...]:
    """All patterns, those that others explain right after what explains them."""
    return tuple(one for p in patterns for one in (p, *flat(p.explains)))


def _order(pattern: Pattern) -> float:
    return 0.0 if pattern.fault is None else pattern.fault.order


def _leads(parent: dict[str, str], start: str, end: str) -> bool:
    """Whether going up from ``start`` comes to ``end``."""
    while start in parent:
        start = parent[start]
        if start == end:
            return True
    return False
