"""Strengths: what agrees with the model, surely, and matters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import norm

from swingmatch.findings.catalogue.fault import Catalogue
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.patterns.causes import flat
from swingmatch.findings.patterns.pattern import Pattern, Strength

#: Praised is what is this surely inside (*common practice, no source*).
SURE = 0.75
#: No more than so many are said.
MOST = 4


def inside(deviation: Deviation) -> float:
    """Probability that the player is no farther from the model than the model's own repeats, or than what matters.

    The limit is two of the model's standard deviations, but at least the floor: below it nobody on court would see a
    difference. 0 where the view cannot show it.
    """
    sd = float(np.hypot(deviation.error, deviation.repeat / max(deviation.swings, 1) ** 0.5))
    if not deviation.visible or not np.isfinite(sd) or not np.isfinite(deviation.value):
        return 0.0
    limit = max(2.0 * deviation.spread, deviation.floor)
    if sd == 0.0:
        return float(abs(deviation.value) <= limit)
    return float(norm.cdf((limit - deviation.value) / sd) - norm.cdf((-limit - deviation.value) / sd))


def strengths(
    deviations: Sequence[Deviation], catalogue: Catalogue, patterns: Sequence[Pattern]
) -> tuple[Strength, ...]:
    """What to praise, what matters most first; nothing of a topic in which something is to be changed.

    A topic is a quantity: late hips are no reason to praise the hip turn of another phase.
    """
    topics = {
        name.split("@")[0]
        for p in flat(patterns)
        for name in (*(p.fault.weights if p.fault else ()), *(d.key for d in p.evidence))
    }
    by_key = {deviation.key: deviation for deviation in deviations}
    found = [
        Strength(virtue, inside(by_key[virtue.key]), by_key[virtue.key])
        for virtue in catalogue.virtues
        if virtue.key in by_key and virtue.key.split("@")[0] not in topics
    ]
    good = [one for one in found if one.sure >= SURE]
    good.sort(key=lambda one: (-one.sure * one.virtue.matters, one.virtue.key))
    said: dict[str, Strength] = {}
    for one in good:
        # One quantity is praised once, at the moment where it matters most.
        said.setdefault(one.deviation.quantity, one)
    return tuple(said.values())[:MOST]
