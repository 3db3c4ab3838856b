"""Deviations, faults and evidence that are put together by hand."""

from __future__ import annotations

from collections.abc import Mapping

from swingmatch.findings.catalogue.fault import Catalogue, Drill, Fault, Sign, Virtue
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import Evidence


def deviation(key, value, *, doubt=0.3, floor=1.0, visible=True, swings=3):
    """``value`` and ``doubt`` in floors."""
    quantity, _, phase = key.partition("@")
    return Deviation(
        quantity, phase, "deg", value * floor, 0.0, 0.0, doubt * floor, 0.0, floor, swings, 0.0, visible
    )


def fault(name, weights: Mapping[str, float], causes=(), order=0.5, consequence=1.0, teachable=1.0):
    signs = tuple(
        Sign(key.partition("@")[0], (key.partition("@")[2],) if "@" in key else (), amount)
        for key, amount in weights.items()
    )
    return Fault(
        name, "forehand", name, signs, "", "", tuple(causes), {}, "", Drill("", (), ""), "", consequence,
        teachable, order, "common practice, no source",
    )  # fmt: skip


LEGS = fault("legs", {f"knee@{i}": -3.0 for i in range(6)}, order=0.1)
ARM = fault("arm", {f"elbow@{i}": 3.0 for i in range(6)}, causes=("hips",), order=0.8)
HIPS = fault("hips", {f"hip@{i}": -3.0 for i in range(6)}, order=0.3)
LIKE_LEGS = fault("like_legs", {f"knee@{i}": -3.0 for i in range(3)} | {"head": 3.0, "foot": 3.0})
FAULTS = (LEGS, ARM, HIPS, LIKE_LEGS)
CATALOGUE = Catalogue(
    "forehand", FAULTS, (Virtue("knee@1", "good knees", 1.0), Virtue("head", "still head", 1.5)), {}
)
KEYS = tuple(sorted({key for one in FAULTS for key in one.weights}))


def vector(sizes: Mapping[str, float], **how):
    """Exact deviations of faults by size."""
    amounts = dict.fromkeys(KEYS, 0.0)
    for name, size in sizes.items():
        for key, amount in CATALOGUE[name].weights.items():
            amounts[key] += size * amount
    return tuple(deviation(key, value, **how) for key, value in amounts.items())


def evidence(pooled, each=None, azimuth=90.0):
    return Evidence(tuple(pooled), tuple(each or [pooled]), azimuth, "forehand", {})
