"""Where the body's mass is: segment masses and the centre of mass of the whole body, from the 21 keypoints.

Segment masses (shares of body mass) and the places of their centres are those of P. de Leva, *Adjustments to
Zatsiorsky-Seluyanov's segment inertia parameters*, J Biomech 29:1223-1230, 1996 (row C2 of the check values), measured
on young adults. Children, and bodies far from those, differ.

What 21 keypoints leave open, and what is done about it:

- The head's centre lies in the table between the crown and the corners of the jaw, neither of which is a keypoint. It
  is put in the middle of the ears, where Dempster's table has it too (C3: 1.000 of the way to the ear canal).
  Two centimetres there move the body's centre by 1.4 mm.
- The trunk is one segment from mid-shoulder to mid-hip (the table's "alternative" ends). A bent back is not seen.
- The racket, 0.3 kg, is left out: at arm's length it moves the centre by some 3 mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES, K

Array = NDArray[np.float64]
Sex = Literal["female", "male"]


@dataclass(frozen=True)
class Segment:
    """One part of the body, between two ends that are keypoints or the middles of two.

    Attributes
    ----------
    start, end : keypoints, of which the middle is the end.
    mass : share of the body's mass, of men and of women.
    centre : where the centre of mass is on the way from ``start`` to ``end``, 0 to 1, of men and of women.
    """

    start: tuple[str, ...]
    end: tuple[str, ...]
    mass: tuple[float, float]
    centre: tuple[float, float]


#: De Leva 1996 (C2), male and female: ends, share of mass, centre from the first end. "hand" ends at the knuckles
#: (third metacarpale), "foot" runs from the heel to the tip of the toes.
_LIMBS: Mapping[str, tuple[str, str, tuple[float, float], tuple[float, float]]] = {
    "upper_arm": ("shoulder", "elbow", (0.0271, 0.0255), (0.5772, 0.5754)),
    "forearm": ("elbow", "wrist", (0.0162, 0.0138), (0.4574, 0.4559)),
    "hand": ("wrist", "hand", (0.0061, 0.0056), (0.7900, 0.7474)),
    "thigh": ("hip", "knee", (0.1416, 0.1478), (0.4095, 0.3612)),
    "shank": ("knee", "ankle", (0.0433, 0.0481), (0.4395, 0.4352)),
    "foot": ("heel", "toe", (0.0137, 0.0129), (0.4415, 0.4014)),
}


def _both(part: str) -> tuple[str, ...]:
    return tuple(f"{side}_{part}" for side in SIDES)


SEGMENTS: Mapping[str, Segment] = {
    "head": Segment(_both("ear"), _both("ear"), (0.0694, 0.0668), (0.0, 0.0)),
    "trunk": Segment(_both("shoulder"), _both("hip"), (0.4346, 0.4257), (0.4310, 0.3782)),
    **{
        f"{side}_{name}": Segment((f"{side}_{start}",), (f"{side}_{end}",), mass, centre)
        for name, (start, end, mass, centre) in _LIMBS.items()
        for side in SIDES
    },
}


def segment_masses(sex: Sex | None = None) -> dict[str, float]:
    """Share of the body's mass in each of ``SEGMENTS``; they sum to 1.

    ``sex`` None gives the mean of both sexes. The table's own sums are 1.0000 (men) and 0.9999 (women), rounded; what
    is missing is spread over all.
    """
    masses = {name: _of(segment.mass, sex) for name, segment in SEGMENTS.items()}
    total = sum(masses.values())
    return {name: mass / total for name, mass in masses.items()}


def segment_centres(points: Array, sex: Sex | None = None) -> dict[str, Array]:
    """Centre of mass (..., 3) of each of ``SEGMENTS``, in the unit of ``points`` (..., K, 3)."""

    def middle_of(names: tuple[str, ...]) -> Array:
        return points[..., [INDEX[name] for name in names], :].mean(axis=-2)

    out = {}
    for name, segment in SEGMENTS.items():
        start, end = middle_of(segment.start), middle_of(segment.end)
        out[name] = start + _of(segment.centre, sex) * (end - start)
    return out


def centre_of_mass(points: Array, sex: Sex | None = None) -> Array:
    """Centre of mass of the whole body.

    Parameters
    ----------
    points : (..., K, 3) in any unit and on any axes. sex : whose table; None for the mean of both.

    Returns
    -------
    (..., 3) in the same unit, on the same axes. NaN where any keypoint other than the nose is unknown.

    Notes
    -----
    On one and the same standing figure of average proportions the tables of the two sexes put the centre 0.32 per cent
    of stature apart (5.5 mm at 1.75 m), the women's higher. For not knowing the sex the mean of both is off by 2.8 mm.
    Keypoints that are each 30 mm off, independently (good tracking, E6), move the centre by 10.3 mm, so not knowing the
    sex adds 7 per cent to that variance.
    """
    # The centre is linear in the keypoints: one weight for each does it. The nose has none; its NaN must not spread.
    weights = _weights(sex)
    used = weights != 0.0
    return np.einsum("k,...ki->...i", weights[used], points[..., used, :])


@cache
def _weights(sex: Sex | None) -> Array:
    """(K,) how much each keypoint counts towards the centre of mass; they sum to 1."""
    out = np.zeros(K)
    for name, mass in segment_masses(sex).items():
        segment = SEGMENTS[name]
        share = _of(segment.centre, sex)
        for ends, part in ((segment.start, 1.0 - share), (segment.end, share)):
            for end in ends:
                out[INDEX[end]] += mass * part / len(ends)
    return out


def _of(male_female: tuple[float, float], sex: Sex | None) -> float:
    """The value for a sex, or the mean of both."""
    male, female = male_female
    return {"male": male, "female": female, None: 0.5 * (male + female)}[sex]
