"""Telling people apart by the colours they wear: a few dozen points on trunk and thighs.

A histogram would need many pixels and falls apart when a person is forty pixels tall; so the colours themselves are
kept, and two people are compared by how far each colour of the one is from the nearest of the other.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import Pose
from swingmatch.body.skeleton import INDEX, SIDES

Array = NDArray[np.float64]

#: Lightness counts for less than hue: the same shirt passes through sun and shade.
_LIGHTNESS = 0.5
#: Where on the trunk (from the right to the left side, from shoulders to hips) and along each thigh.
_ACROSS, _DOWN = np.linspace(0.2, 0.8, 4), np.linspace(0.15, 0.95, 6)
_THIGH = np.linspace(0.1, 0.8, 4)


def body_colours(picture: NDArray[np.uint8], pose: Pose) -> Array:
    """Colours on somebody's trunk and thighs: (N, 3), CIE L*a*b* with L* weighted by a half; N is 0 out of view."""
    image = pose.image
    shoulders, hips, knees = (
        [image[INDEX[f"{s}_{part}"]] for s in SIDES] for part in ("shoulder", "hip", "knee")
    )
    points = [
        (1 - v) * ((1 - u) * shoulders[0] + u * shoulders[1]) + v * ((1 - u) * hips[0] + u * hips[1])
        for u in _ACROSS
        for v in _DOWN
    ]
    points += [(1 - w) * hip + w * knee for hip, knee in zip(hips, knees, strict=True) for w in _THIGH]
    at = np.round(np.array(points)).astype(int)
    height, width = picture.shape[:2]
    inside = (at >= 0).all(axis=1) & (at < (width, height)).all(axis=1)
    at = at[inside]
    if len(at) == 0:
        return np.zeros((0, 3))
    pixels = picture[at[:, 1], at[:, 0]].astype(np.float32)[None] / 255.0
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)[0].astype(np.float64)
    return lab * (_LIGHTNESS, 1.0, 1.0)


def unlikeness(known: Array, seen: Array) -> float:
    """Mean distance of the colours ``seen`` (M, 3) from the nearest ones ``known`` (N, 3); 0 if either is empty."""
    if len(known) == 0 or len(seen) == 0:
        return 0.0
    apart = np.linalg.norm(seen[:, None] - known[None], axis=2).min(axis=1)
    return float(apart.mean())
