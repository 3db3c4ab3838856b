"""From evidence to patterns: what is there, how big, how sure, in how many swings, and what explains what."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from swingmatch.findings.catalogue.fault import Catalogue, Fault
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.causes import under_causes
from swingmatch.findings.patterns.decompose import Found, posterior
from swingmatch.findings.patterns.noise import Noise, Seen, seen, shipped_noise
from swingmatch.findings.patterns.pattern import Pattern

#: A fault is said from this probability on, calibrated. Of players that nothing was tuned on, three swings from five
#: sides, 69 % of what was said was planted, and 8 % of the sound ones heard of a fault (``swingmatch.study.patterns``).
SAY = 0.6
#: In a single swing a fault counts as shown from this probability on.
_SHOWN = 0.5
#: No more deviations than this are cited for one pattern.
_CITED = 6


def find_patterns(
    evidence: Evidence, catalogue: Catalogue, noise: Noise | None = None, say: float = SAY
) -> tuple[Pattern, ...]:
    """The faults that a player's swings support, the surest first; symptoms stand under their cause.

    Parameters
    ----------
    evidence : of one player before one model. catalogue : of the same stroke.
    noise : how sound players scatter; left out, what ships for the stroke. say : probability from which one is said.
    """
    noise = shipped_noise(evidence.stroke) if noise is None else noise
    view = seen(evidence.pooled, noise, evidence.camera_azimuth)
    found = [
        (one, sure, cited)
        for one in posterior(view, catalogue.faults)
        if (sure := calibrated(one.worth, noise)) >= say and (cited := carriers(one.fault, view))
    ]
    found.sort(key=lambda row: (-row[1], row[0].fault.id))
    shown = _shown(evidence, [one.fault for one, _, _ in found], noise)
    return under_causes(
        [
            Pattern(one.fault, one.size, one.size_sd, sure, cited, count, len(evidence.each))
            for (one, sure, cited), count in zip(found, shown, strict=True)
        ]
    )


def calibrated(worth: float, noise: Noise) -> float:
    """A probability as it turned out on players with known faults: a straight line from log odds to log odds."""
    if not 0.0 < worth < 1.0:
        return worth
    slope, offset = noise.sure
    return float(1.0 / (1.0 + np.exp(-(slope * np.log(worth / (1.0 - worth)) + offset))))


def carriers(fault: Fault, view: Seen) -> tuple[Deviation, ...]:
    """The visible deviations that point the way of a fault's signature, weightiest first."""
    weights = fault.weights
    rows = [
        (weights[d.key] * value / variance, d)
        for d, value, variance in zip(view.deviations, view.values, np.diag(view.covariance), strict=True)
        if weights.get(d.key, 0.0) * value > 0.0
    ]
    rows.sort(key=lambda row: (-row[0], row[1].key))
    return tuple(d for _, d in rows[:_CITED])


def _shown(evidence: Evidence, faults: Sequence[Fault], noise: Noise) -> list[int]:
    """In how many single swings each of the faults found in all together is seen."""
    counts = [0] * len(faults)
    for one in evidence.each:
        view = seen(one, noise, evidence.camera_azimuth)
        # That they are there is known of the whole set: as likely as not in each swing.
        alone: tuple[Found, ...] = posterior(view, faults, expected=0.5 * len(faults))
        for k, found in enumerate(alone):
            counts[k] += found.worth >= _SHOWN
    return counts
