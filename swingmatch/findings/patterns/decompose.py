"""Which faults a vector of deviations is made of: the posterior over sparse sums of signatures.

    v = sum_k a_k g_k + noise,   a_k = 0 for most faults, and about 1 where a coach would mention it

with v the deviations that the view shows, in floors, and g_k the catalogue's signatures (``Fault.weights``). Faults are
weighed against each other and against none at all, so one that only shares signs with another is not said beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.findings.catalogue.fault import Fault
from swingmatch.findings.patterns.gibbs import sweep
from swingmatch.findings.patterns.noise import Seen

Array = NDArray[np.float64]

#: How many faults worth a word a player has before anything is seen (*common practice, no source*: a coach finds one
#: or two).
EXPECTED = 1.5
#: No signature holds exactly: each sign may be off by this share of itself (*own judgement*).
INEXACT = 0.35
#: Rounds of noise, then sizes: inexactness and unexplained scatter depend on what is found.
_ROUNDS = 2
_COUNT, _WASTE, _SEED = 1500, 200, 20_240_607


@dataclass(frozen=True)
class Found:
    """The posterior of one fault.

    Attributes
    ----------
    there : probability that it is there. worth : that it is there at a size worth a word.
    size, size_sd : mean and standard deviation of its size, where it is there.
    power : length of its signature in what this view shows, in standard deviations of the noise: below about 2 the view
        cannot tell.
    """

    fault: Fault
    there: float
    worth: float
    size: float
    size_sd: float
    power: float


def signatures(faults: Sequence[Fault], keys: Sequence[str]) -> Array:
    """(F, K) amounts in floors of each fault in each deviation."""
    at = {key: i for i, key in enumerate(keys)}
    out = np.zeros((len(keys), len(faults)))
    for k, fault in enumerate(faults):
        for key, amount in fault.weights.items():
            if key in at:
                out[at[key], k] = amount
    return out


def posterior(view: Seen, faults: Sequence[Fault], expected: float = EXPECTED) -> tuple[Found, ...]:
    """The probability and size of each of the faults, in their order.

    What the sum leaves unexplained beyond the noise is taken for more noise: in a player who is unlike the model in
    all there is, less is sure. The same input gives the same output.
    """
    if not faults:
        return ()
    if not view.deviations:
        return tuple(Found(fault, 0.0, 0.0, 0.0, 0.0, 0.0) for fault in faults)
    # In order of their names, so that the order of the catalogue has no say in the draws.
    order = sorted(range(len(faults)), key=lambda k: faults[k].id)
    g = signatures([faults[k] for k in order], view.keys)
    logit = np.full(len(faults), _logit(min(expected / len(faults), 0.5)))
    more: Array | float = 0.0
    scale = 1.0
    for _ in range(_ROUNDS):
        white = view.whitened(np.column_stack([g, view.values]), more) / scale
        gw, y = white[:, :-1], white[:, -1]
        rng = np.random.default_rng(_SEED)
        found = sweep(gw.T @ gw, gw.T @ y, logit, np.zeros(len(faults)), _COUNT, _WASTE, rng)
        sizes = found[2]
        rest = y - gw @ sizes
        # The median is not moved by the few deviations of a fault that the catalogue does not know.
        scale *= max(1.0, float(np.median(np.abs(rest)) / 0.6745))
        more = INEXACT**2 * (g**2 @ np.maximum(found[3], 0.0))
    power = np.sqrt((gw**2).sum(axis=0))
    out: list[Found | None] = [None] * len(faults)
    for place, k in enumerate(order):
        there = float(found[0, place])
        size = float(found[2, place] / there) if there > 0.0 else 0.0
        square = float(found[3, place] / there) if there > 0.0 else 0.0
        if power[place] == 0.0:
            # Nothing of it is seen: what was believed before is no finding.
            out[k] = Found(faults[k], 0.0, 0.0, 0.0, 0.0, 0.0)
            continue
        spread = float(np.sqrt(max(square - size**2, 0.0)))
        out[k] = Found(faults[k], there, float(found[1, place]), size, spread, float(power[place]))
    return tuple(one for one in out if one is not None)


def _logit(p: float) -> float:
    return float(np.log(p / (1.0 - p)))
