"""What this view cannot tell, and which footage would."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swingmatch.findings.accuracy import can_be_seen, error_of
from swingmatch.findings.catalogue.fault import Catalogue, Fault
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.decompose import signatures
from swingmatch.findings.patterns.noise import Noise, seen, shipped_noise
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.certainty import sides_that_show
from swingmatch.stroke.direction import SIDES, side_name
from swingmatch.stroke.strokes import STROKES

#: Length of a signature, in standard deviations of the noise, from which a fault of the size that a coach would mention
#: can be told. At 3 it is missed by chance about as often as a sound player is taken for it, some percent.
ENOUGH = 3.0
#: A side would settle it when it shows at least this share of the signature's square.
_SHARE = 0.7


@dataclass(frozen=True)
class Settle:
    """A fault that could be there unseen.

    Attributes
    ----------
    fault : which. power : length of what this view shows of its signature, standard deviations of the noise.
    sides : other camera sides (of a right-hander) that show enough of it, best first.
    needs : what else would be needed and was not seen: "racket", "ball", "more swings".
    """

    fault: Fault
    power: float
    sides: tuple[str, ...]
    needs: tuple[str, ...]


def would_settle(evidence: Evidence, catalogue: Catalogue, noise: Noise | None = None) -> tuple[Settle, ...]:
    """The faults that this view cannot tell, with the footage that would; what costs most comes first."""
    noise = shipped_noise(evidence.stroke) if noise is None else noise
    view = seen(evidence.pooled, noise, evidence.camera_azimuth)
    g = signatures(catalogue.faults, view.keys)
    power = (
        np.sqrt((view.whitened(g) ** 2).sum(axis=0)) if len(view.keys) else np.zeros(len(catalogue.faults))
    )
    azimuth = evidence.camera_azimuth
    here = side_name(azimuth) if np.isfinite(azimuth) else ""
    out = [
        Settle(
            fault,
            float(p),
            tuple(side for side in sides_for(fault) if side != here),
            needs_of(fault, frozenset(view.keys)),
        )
        for fault, p in zip(catalogue.faults, power, strict=True)
        if p < ENOUGH
    ]
    return tuple(sorted(out, key=lambda one: (-one.fault.consequence, one.fault.id)))


def sides_for(fault: Fault) -> tuple[str, ...]:
    """Camera sides (of a right-hander) that show most of a fault's signature, best first."""
    rows = {row.key: row for row in STROKES[fault.stroke].measures}
    whole = sum(amount**2 for amount in fault.weights.values())
    share = {}
    for azimuth, side in SIDES:
        seen_here = 0.0
        for key, amount in fault.weights.items():
            quantity, _, column = key.partition("@")
            if quantity in QUANTITIES:
                shows = can_be_seen(QUANTITIES[quantity].floor, error_of(quantity, column, azimuth))
            elif key in rows:
                shows = side in sides_that_show(fault.stroke, key, rows[key].useful)
            else:
                # Durations and shifts are seen from everywhere.
                shows = True
            seen_here += amount**2 if shows else 0.0
        share[side] = seen_here / whole if whole else 0.0
    good = [side for side in share if share[side] >= _SHARE]
    return tuple(sorted(good, key=lambda side: -share[side]))


def needs_of(fault: Fault, shown: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """What a fault's signature needs beside a body in view; not what the measures that are ``shown`` had already."""
    rows = {row.key: row for row in STROKES[fault.stroke].measures}
    named = [rows[key] for key in fault.weights if key in rows and key not in shown]
    out = []
    if any(row.racket for row in named):
        out.append("racket")
    if any(row.ball for row in named):
        out.append("ball")
    if any(key.startswith("scatter@") for key in fault.weights):
        out.append("more swings")
    return tuple(out)
