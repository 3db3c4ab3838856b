"""The body as swingmatch sees it: 21 named keypoints and the segments between them.

Every array of keypoints in the package has this order on its keypoint axis: ``(T, K, 3)`` or ``(T, K, 2)``
with ``K == len(KEYPOINTS)``. A keypoint that was not seen is NaN. ``hand`` is the middle of the knuckles
(where the racket handle crosses the palm); ``toe`` is the tip of the foot.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SIDES = ("left", "right")
_PAIRED = ("shoulder", "elbow", "wrist", "hand", "hip", "knee", "ankle", "heel", "toe")
KEYPOINTS: tuple[str, ...] = (
    "nose",
    "left_ear",
    "right_ear",
    *(f"{side}_{part}" for part in _PAIRED for side in SIDES),
)
INDEX: dict[str, int] = {name: i for i, name in enumerate(KEYPOINTS)}
K = len(KEYPOINTS)

#: Height of the nose over the ankles of somebody who stands upright, over stature: eye height 0.936 and ankle height
#: 0.039 (Drillis & Contini 1966, row C1 of the check values), the tip of the nose 0.019 below the eyes, as on the
#: generated figure.
NOSE_OVER_ANKLES = 0.878

#: Lines to draw between keypoints: (name, from, to).
SEGMENTS: tuple[tuple[str, str, str], ...] = (
    ("shoulder_line", "left_shoulder", "right_shoulder"),
    ("hip_line", "left_hip", "right_hip"),
    *(
        (f"{side}_{name}", f"{side}_{start}", f"{side}_{end}")
        for side in SIDES
        for name, start, end in (
            ("trunk_side", "hip", "shoulder"),
            ("upper_arm", "shoulder", "elbow"),
            ("forearm", "elbow", "wrist"),
            ("palm", "wrist", "hand"),
            ("thigh", "hip", "knee"),
            ("shank", "knee", "ankle"),
            ("foot", "heel", "toe"),
        )
    ),
)


def _bones() -> tuple[tuple[int, int, str], ...]:
    """(from, to, group) of every segment, the lower keypoint number first; both sides of a limb are one group."""
    more = (("heel", "ankle", "heel"), ("neck", "shoulder", "ear"))
    rows = [*SEGMENTS, *((name, f"{s}_{a}", f"{s}_{b}") for s in SIDES for name, a, b in more)]
    rows += [("head", f"{s}_ear", "nose") for s in SIDES]
    return tuple(
        (*sorted((INDEX[a], INDEX[b])), name.removeprefix("left_").removeprefix("right_"))  # type: ignore[misc]
        for name, a, b in rows
    )


#: The segments, and what ties heels, ears and nose to them, by keypoint number: (from, to, group).
BONES: tuple[tuple[int, int, str], ...] = _bones()

_SWAP = np.array(
    [INDEX[n.replace("left", "#").replace("right", "left").replace("#", "right")] for n in KEYPOINTS]
)


def swap_sides(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Exchange left and right keypoints. ``points`` is ``(..., K, D)``; the result has the same shape."""
    return points[..., _SWAP, :]


def mirror(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mirror a body in the court's X-Y plane: negate Z and exchange the sides.

    ``points`` is ``(..., K, 3)`` on court axes (X to the target, Y up, Z right). Turns a left-hander's
    swing into the same swing by a right-hander. Applying it twice gives the input back.
    """
    out = swap_sides(points).copy()
    out[..., 2] *= -1.0
    return out


def middle(points: NDArray[np.float64], part: str) -> NDArray[np.float64]:
    """Middle between the left and right ``part`` (say ``"hip"``): ``(..., K, D)`` to ``(..., D)``."""
    return 0.5 * (points[..., INDEX[f"left_{part}"], :] + points[..., INDEX[f"right_{part}"], :])
