"""Telling people apart by the colours they wear: a few dozen points on trunk and thighs.

A histogram would need many pixels and falls apart when a person is forty pixels tall; so the colours themselves are
kept, and somebody is known again by how far each of them is from the nearest one seen now.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from swingmatch.body.estimator import Pose
from swingmatch.body.skeleton import INDEX, SIDES, K

Array = NDArray[np.float64]

#: Lightness counts for less than hue: the same shirt passes through sun and shade.
_LIGHTNESS = 0.5
#: Share of the colours that counts.
_COUNTED = 0.75
#: Where on the trunk (from the right to the left side, from shoulders to hips) and along each thigh.
_ACROSS, _DOWN = np.linspace(0.2, 0.8, 4), np.linspace(0.15, 0.95, 6)
_THIGH = np.linspace(0.1, 0.8, 4)


def _shares() -> Array:
    """(N, K) how much of each keypoint goes into each point."""
    rows = []
    for u in _ACROSS:
        for v in _DOWN:
            row = np.zeros(K)
            for part, along in (("shoulder", 1 - v), ("hip", v)):
                for side, across in zip(SIDES, (1 - u, u), strict=True):
                    row[INDEX[f"{side}_{part}"]] = along * across
            rows.append(row)
    for side in SIDES:
        for w in _THIGH:
            row = np.zeros(K)
            row[INDEX[f"{side}_hip"]], row[INDEX[f"{side}_knee"]] = 1 - w, w
            rows.append(row)
    return np.array(rows)


_SHARES = _shares()
#: Linear sRGB to XYZ, and the white of D65.
_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = _XYZ.sum(axis=1)


def body_colours(picture: NDArray[np.uint8], pose: Pose) -> Array:
    """Colours on somebody's trunk and thighs: (N, 3), CIE L*a*b* with L* weighted by a half; N is 0 out of view."""
    at = np.round(_SHARES @ pose.image).astype(int)
    height, width = picture.shape[:2]
    inside = (at >= 0).all(axis=1) & (at < (width, height)).all(axis=1)
    at = at[inside]
    if len(at) == 0:
        return np.zeros((0, 3))
    return lab(picture[at[:, 1], at[:, 0]] / 255.0) * (_LIGHTNESS, 1.0, 1.0)


def lab(rgb: Array) -> Array:
    """CIE L*a*b* (D65) of sRGB colours 0..1, (N, 3) to (N, 3): IEC 61966-2-1 and CIE 15.

    By hand, as OpenCV's conversion takes a millisecond to get going for a few dozen pixels.
    """
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    ratio = linear @ _XYZ.T / _WHITE
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


def unlikeness(known: Array, seen: Array) -> float:
    """How far the colours ``known`` (N, 3) of somebody and those ``seen`` (M, 3) are apart; 0 where either is empty.

    The mean distance from the known colours to the nearest ones seen, or the other way round if that is more. The
    quarter that is farthest does not count: a shirt has a back and a front, and an arm may be before it.
    """
    if len(known) == 0 or len(seen) == 0:
        return 0.0
    apart = cdist(known, seen)
    return max(_counted_mean(apart.min(axis=1)), _counted_mean(apart.min(axis=0)))


def _counted_mean(distances: Array) -> float:
    return float(np.sort(distances)[: max(1, int(_COUNTED * len(distances)))].mean())
