"""Joint angles, turns and places over time, as functions of a right-handed swing's keypoints.

All take ``points`` (T, K, 3) on court axes (X to the target, Y up, Z right of someone facing the target) and give
(T,). For a right-hander's forehand the hitting arm and the outside leg are the right ones; a left-hander's swing is
mirrored before it comes here (``Swing.as_right_handed``). NaN where a keypoint is unknown.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, middle

Array = NDArray[np.float64]


def joint(points: Array, name: str) -> Array:
    """One keypoint: (..., K, 3) to (..., 3)."""
    return points[..., INDEX[name], :]


def angle_between(a: Array, b: Array) -> Array:
    """Angle between vectors (..., 3), degrees in [0, 180]; NaN for a vector of no length."""
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = (a * b).sum(-1) / (np.linalg.norm(a, axis=-1) * np.linalg.norm(b, axis=-1))
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def flexion(points: Array, start: str, corner: str, end: str) -> Array:
    """Bend of a hinge: 0 degrees for a straight limb, growing as it bends (as the ISB counts flexion)."""
    return angle_between(
        joint(points, corner) - joint(points, start), joint(points, end) - joint(points, corner)
    )


def turn(points: Array, part: str) -> Array:
    """Turn of the shoulder line or hip line about the vertical, degrees.

    0 when the line is parallel to the baseline (the player faces the target), positive when a right-hander is
    turned back (left shoulder towards the target): definition D3 of the forehand literature, as used by
    Landlinger et al. 2010. In (-180, 180]; unwrapped over time so that it has no jumps.
    """
    line = joint(points, f"right_{part}") - joint(points, f"left_{part}")
    # Facing the target the line from left to right is +Z; turned back by 90 degrees it is -X.
    angle = np.degrees(np.arctan2(-line[..., 0], line[..., 2]))
    seen = np.isfinite(angle)
    if seen.any():
        angle = angle.copy()
        angle[seen] = np.unwrap(angle[seen], period=360.0)
        angle -= 360.0 * np.round(np.median(angle[seen]) / 360.0)
    return angle


def shoulder_turn(points: Array) -> Array:
    """Turn of the shoulder line, degrees; see ``turn``."""
    return turn(points, "shoulder")


def hip_turn(points: Array) -> Array:
    """Turn of the hip line, degrees; see ``turn``."""
    return turn(points, "hip")


def separation(points: Array) -> Array:
    """Hip-shoulder separation, degrees: shoulder turn minus hip turn (definition D4)."""
    gap = shoulder_turn(points) - hip_turn(points)
    # Each turn is counted from its own middle, so near half a circle they can be a whole turn apart.
    seen = np.isfinite(gap)
    return gap - 360.0 * np.round(np.median(gap[seen]) / 360.0) if seen.any() else gap


def arm_length(points: Array) -> float:
    """Shoulder to knuckles along the hitting arm, in the unit of the points: median over the swing."""
    names = ("right_shoulder", "right_elbow", "right_wrist", "right_hand")
    parts = [
        np.linalg.norm(joint(points, b) - joint(points, a), axis=-1) for a, b in itertools.pairwise(names)
    ]
    return float(np.nanmedian(np.sum(parts, axis=0)))


def hand_from_hips(points: Array) -> Array:
    """Hitting hand relative to the middle of the hips, in arm lengths: (T, 3), X in front, Y up, Z aside."""
    return (joint(points, "right_hand") - middle(points, "hip")) / arm_length(points)


def hand_in_front(points: Array) -> Array:
    """How far the hitting hand is ahead of the middle of the hips towards the target, arm lengths."""
    return hand_from_hips(points)[..., 0]


def hand_aside(points: Array) -> Array:
    """How far the hitting hand is out to the hitting side of the middle of the hips, arm lengths."""
    return hand_from_hips(points)[..., 2]


def hand_height(points: Array) -> Array:
    """Height of the hitting hand on the player's own scale: 0 at hip height, 1 at shoulder height.

    The scale is the trunk's length (mid-hip to mid-shoulder, median), so that leaning does not stretch it.
    """
    trunk = np.linalg.norm(middle(points, "shoulder") - middle(points, "hip"), axis=-1)
    return (joint(points, "right_hand") - middle(points, "hip"))[..., 1] / float(np.nanmedian(trunk))


def base_width(points: Array) -> Array:
    """Distance between the ankles along the ground, in shoulder widths (median over the swing)."""
    feet = joint(points, "right_ankle") - joint(points, "left_ankle")
    shoulders = joint(points, "right_shoulder") - joint(points, "left_shoulder")
    return np.hypot(feet[..., 0], feet[..., 2]) / float(np.nanmedian(np.linalg.norm(shoulders, axis=-1)))


def hip_drop(points: Array) -> Array:
    """How far the middle of the hips is below a straight-legged stand, in leg lengths (thigh and shank)."""
    names = ("hip", "knee", "ankle")
    legs = [
        np.nanmedian(np.linalg.norm(joint(points, f"{side}_{a}") - joint(points, f"{side}_{b}"), axis=-1))
        for side in ("left", "right")
        for a, b in itertools.pairwise(names)
    ]
    leg = float(np.sum(legs)) / 2.0
    lowest_ankle = np.fmin(joint(points, "left_ankle")[..., 1], joint(points, "right_ankle")[..., 1])
    return 1.0 - (middle(points, "hip")[..., 1] - lowest_ankle) / leg


def trunk_forward_lean(points: Array) -> Array:
    """Lean of the trunk towards the target from the vertical, degrees; negative when leaning back."""
    trunk = middle(points, "shoulder") - middle(points, "hip")
    return np.degrees(np.arctan2(trunk[..., 0], trunk[..., 1]))


def trunk_side_lean(points: Array) -> Array:
    """Lean of the trunk towards the hitting side from the vertical, degrees."""
    trunk = middle(points, "shoulder") - middle(points, "hip")
    return np.degrees(np.arctan2(trunk[..., 2], trunk[..., 1]))


def arm_raise(points: Array, side: str) -> Array:
    """Angle of the upper arm from the hanging position along the trunk, degrees; 90 is shoulder height."""
    down = middle(points, "hip") - middle(points, "shoulder")
    return angle_between(joint(points, f"{side}_elbow") - joint(points, f"{side}_shoulder"), down)


def hands_distance(points: Array) -> Array:
    """Distance between the two hands, arm lengths."""
    gap = joint(points, "right_hand") - joint(points, "left_hand")
    return np.linalg.norm(gap, axis=-1) / arm_length(points)


def speed(values: Array, times: Array) -> Array:
    """Speed of a point (T, 3) or (T, 2) at ``times`` (T,) seconds: (T,) units per second."""
    return np.linalg.norm(np.gradient(values, times, axis=0), axis=-1)
