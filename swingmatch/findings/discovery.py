"""How likely each deviation is to be chance, when many were looked at.

A comparison looks at more than a hundred things at once, and of a hundred that are nothing five are beyond two standard
deviations. What is asked of each deviation is therefore whether, among those that are as clear as this one, more than
a tenth must be expected to be nothing: the false discovery rate of Benjamini and Hochberg. It does not depend on how
many were looked at where much is wrong, and asks for more where only one stands out.

What is tested is that there is no difference at all, not that it is below the floor: the floor says what matters on
court, this says what is real, and ``Deviation.counts`` asks for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import false_discovery_control, norm

from swingmatch.findings.deviation import Deviation

#: Doubt that always remains, in floors: that of the arithmetic.
_ROUNDING = 1e-6


def alone(deviation: Deviation) -> float:
    """Two-sided probability that a difference as large is seen where there is none, were it the only one looked at.

    The difference is taken to be normal with the standard deviation ``doubt``; 1 where the view cannot show it.
    """
    if not deviation.visible or not np.isfinite(deviation.value) or not np.isfinite(deviation.doubt):
        return 1.0
    # Where nothing is in doubt, the last digits of a sum must not look like a difference.
    doubt = max(deviation.doubt, _ROUNDING * deviation.floor)
    return (
        float(2.0 * norm.sf(abs(deviation.value) / doubt)) if doubt > 0.0 else float(deviation.value == 0.0)
    )


def with_chances(deviations: Sequence[Deviation]) -> tuple[Deviation, ...]:
    """The deviations with ``chance`` filled in: adjusted by Benjamini and Hochberg over all that the view shows.

    What the view cannot show was not looked at: it makes the others no less sure, and its own chance is 1.

    Source: Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995), 289-300, which holds where
    the deviations are independent, or move together as neighbours of a map do (Benjamini and Yekutieli, Annals of
    Statistics 29 (2001), 1165-1188).
    """
    shown = [i for i, deviation in enumerate(deviations) if deviation.visible]
    out = [replace(deviation, chance=1.0) for deviation in deviations]
    if shown:
        adjusted = false_discovery_control([alone(deviations[i]) for i in shown], method="bh")
        for i, chance in zip(shown, adjusted, strict=True):
            out[i] = replace(deviations[i], chance=float(chance))
    return tuple(out)
