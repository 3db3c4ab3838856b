"""Left and right taken for each other: how often a limb is tracked where the other side's limb is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Parts of the body that are judged together, each with its keypoints.
LIMBS: dict[str, tuple[str, ...]] = {
    "arm": ("elbow", "wrist"),
    "leg": ("knee", "ankle"),
    "trunk": ("shoulder", "hip"),
}
#: Left and right are told apart only where they are this far from each other in the picture, statures.
APART = 0.05
#: A limb is on the other side when it is nearer to that side's truth by this share of the gap between the two. Half a
#: gap is clear: a limb right in the middle between the two gives 0, one exactly on the other side gives 1.
CLEAR = 0.5


@dataclass(frozen=True)
class Swaps:
    """Frames, (T,) each, in which some limb could be judged; lies on the other side; has changed places with it."""

    judged: Flags
    astray: Flags
    exchanged: Flags


def swaps(image: Array, truth: Array, stature: float) -> Swaps:
    """Judge every frame.

    Parameters
    ----------
    image, truth : (T, K, 2) pixels, tracked and true; NaN where not known. stature : pixels.

    A limb is *astray* when it is nearer to the other side's true place than to its own, summed over its keypoints that
    are ``APART``, by more than ``CLEAR`` of the gap; *exchanged* when both limbs of a pair are astray in one frame.
    """
    flags = np.zeros((3, len(image)), dtype=bool)
    for joints in LIMBS.values():
        left, right = ([INDEX[f"{side}_{joint}"] for joint in joints] for side in ("left", "right"))
        gap = np.linalg.norm(truth[:, left] - truth[:, right], axis=2)
        usable = (gap > APART * stature) & np.isfinite(image[:, left + right]).all(axis=(1, 2))[:, None]
        on_other = []
        for own, other in ((left, right), (right, left)):
            nearer = np.linalg.norm(image[:, own] - truth[:, own], axis=2)
            nearer = nearer - np.linalg.norm(image[:, own] - truth[:, other], axis=2)
            excess = np.where(usable, nearer, 0.0).sum(axis=1)
            on_other.append(excess > CLEAR * np.where(usable, gap, 0.0).sum(axis=1))
        judged = usable.any(axis=1)
        flags[0] |= judged
        flags[1] |= judged & (on_other[0] | on_other[1])
        flags[2] |= judged & on_other[0] & on_other[1]
    return Swaps(*flags)
