"""Joint angles in the ISB's sequences, as far as 21 keypoints define segment frames.

Frames are (..., 3, 3) rotations whose columns are the segment's axes on court axes: x ahead, y up, z to the right, so
that somebody who stands upright and faces the target has the identity for thorax and pelvis. Sequences are the ISB's
(Wu et al. 2002, J Biomech 35:543-548; 2005, J Biomech 38:981-992; row D1 of the check values), rotations intrinsic,
angles in degrees. Signs of thorax and shoulder as in Wu et al. 2005 (*from memory*).

What 21 keypoints can define:

- *thorax*: y from mid-hip to mid-shoulder, z the shoulder line made square to it. The ISB's breastbone and vertebrae
  are no keypoints; shoulders that are pulled forward or back turn this frame though the ribs stay.
- *pelvis*: z the hip line, y the direction to mid-shoulder made square to it. The ISB's front and back edges of the
  pelvis are no keypoints, so the pelvis's tilt forward is that of the trunk. The turn and the drop of one hip are its
  own.
- *humerus*: y from elbow to shoulder, z square to the plane of upper arm and forearm (the second option of Wu et al.
  2005). Without a bend of the elbow there is no such plane.
- elbow and knee have one angle, the bend; what goes sideways in a knee cannot be told from its bend.

Left limbs are mirrored first, so that one sign rule serves both sides.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, middle, mirror
from swingmatch.stroke.measures import flexion

Array = NDArray[np.float64]
Side = Literal["left", "right"]

#: A keypoint that is 30 mm off square to a segment (the in-plane error of good tracking, E6) turns what hangs on that
#: segment's direction by 30 mm / (length x sine of the angle to the axis). Below these angles that is more than
#: 15 degrees, and nothing is told: bend of the elbow, with a forearm of 0.146 x 1.75 m, and elevation of the upper arm
#: from either pole, with 0.186 x 1.75 m (C1).
LEAST_FLEXION, LEAST_ELEVATION = 27.0, 21.0
#: The ZXY sequence is singular where the middle angle, the lean to the side, is 90 degrees; nothing is told
#: beyond this.
MOST_LEAN = 80.0


def thorax(points: Array) -> Array:
    """Frame of the thorax: (..., K, 3) to (..., 3, 3); NaN where a shoulder or hip is unknown or they coincide."""
    up = middle(points, "shoulder") - middle(points, "hip")
    line = points[..., INDEX["right_shoulder"], :] - points[..., INDEX["left_shoulder"], :]
    y = _unit(up)
    x = _unit(np.cross(y, line))
    return np.stack([x, y, np.cross(x, y)], axis=-1)


def pelvis(points: Array) -> Array:
    """Frame of the pelvis: (..., K, 3) to (..., 3, 3); NaN where a shoulder or hip is unknown or they coincide.

    Its tilt forward is that of the trunk, see the module's docstring.
    """
    up = middle(points, "shoulder") - middle(points, "hip")
    z = _unit(points[..., INDEX["right_hip"], :] - points[..., INDEX["left_hip"], :])
    x = _unit(np.cross(up, z))
    return np.stack([x, np.cross(z, x), z], axis=-1)


def humerus(points: Array, side: Side = "right") -> Array:
    """Frame of the upper arm: (..., K, 3) to (..., 3, 3).

    y points from the elbow to the shoulder, z is the axis about which the elbow bends. NaN where the elbow is bent by
    less than ``LEAST_FLEXION``. The frame of the left arm is that of the mirrored body.
    """
    points = _on_the_right(points, side)
    y = _upper_arm(points)
    forearm = points[..., INDEX["right_elbow"], :] - points[..., INDEX["right_wrist"], :]
    z = _unit(np.cross(y, forearm))
    frame = np.stack([np.cross(y, z), y, z], axis=-1)
    bent = elbow_flexion(points) >= LEAST_FLEXION
    return np.where(bent[..., None, None], frame, np.nan)


def thorax_angles(points: Array) -> Array:
    """Thorax against the court, ZXY: (..., K, 3) to (..., 3) degrees.

    Leaning back from the target (positive; forward is negative), leaning to the right (positive), turned to the left
    (positive). The leans are about the court's axes as the first two of the sequence are, whatever the turn. NaN from a
    lean of ``MOST_LEAN`` to the side on, where first and last angle cannot be told apart.
    """
    return _zxy(thorax(points))


def pelvis_angles(points: Array) -> Array:
    """Pelvis against the court, ZXY: (..., K, 3) to (..., 3) degrees.

    As ``thorax_angles``. How far it leans in the plane square to the hip line is the trunk's lean, not its own; the
    turn and how far one hip is dropped are its own.
    """
    return _zxy(pelvis(points))


def trunk_angles(points: Array) -> Array:
    """Thorax against pelvis, ZXY: (..., K, 3) to (..., 3) degrees.

    NaN (bending forward cannot be told, as the pelvis takes its "up" from the trunk), bending to the right (positive),
    thorax turned to the left of the pelvis (positive). The last is hip-shoulder separation about the trunk's own axis.
    """
    angles = _zxy(np.swapaxes(pelvis(points), -1, -2) @ thorax(points))
    angles[..., 0] = np.nan
    return angles


def shoulder_angles(points: Array, side: Side = "right") -> Array:
    """Upper arm against thorax, YXY: (..., K, 3) to (..., 3) degrees.

    Plane of elevation (0 straight out to the side, 90 straight ahead, in (-180, 180]), elevation from the hanging arm
    (0 to 180; the ISB counts it negative), internal rotation (positive; 0 where, seen from the ISB's neutral pose, the
    bent forearm points ahead). NaN: plane and rotation within ``LEAST_ELEVATION`` of hanging down or reaching up, where
    the sequence is singular; rotation also where the elbow is bent by less than ``LEAST_FLEXION``.
    """
    points = _on_the_right(points, side)
    trunk = np.swapaxes(thorax(points), -1, -2)
    # The upper arm alone gives plane and elevation: its direction is (-sin e sin p, cos e, -sin e cos p).
    direction = np.einsum("...ij,...j->...i", trunk, _upper_arm(points))
    elevation = np.degrees(np.arctan2(np.hypot(direction[..., 0], direction[..., 2]), direction[..., 1]))
    regular = (elevation >= LEAST_ELEVATION) & (elevation <= 180.0 - LEAST_ELEVATION)
    plane = np.degrees(np.arctan2(-direction[..., 0], -direction[..., 2]))
    # SciPy counts the middle angle of YXY from 0 to 180; the ISB's is its negative, with half a turn on the other two.
    turned = _euler("YXY", trunk @ humerus(points), regular)[..., 2]
    internal = _wrap(turned - 180.0)
    plane, internal = np.where(regular, plane, np.nan), np.where(regular, internal, np.nan)
    return np.stack([plane, elevation, internal], axis=-1)


def elbow_flexion(points: Array, side: Side = "right") -> Array:
    """Bend of the elbow, (..., K, 3) to (...) degrees: 0 straight.

    The angle between upper arm and forearm. It is the ISB's first angle (ZXY) where there is no carrying angle c; with
    one, the cosine is that of the flexion times cos c, so a straight arm shows c.
    """
    return flexion(points, f"{side}_shoulder", f"{side}_elbow", f"{side}_wrist")


def knee_flexion(points: Array, side: Side = "right") -> Array:
    """Bend of the knee, (..., K, 3) to (...) degrees: 0 straight.

    The angle between thigh and shank; what Grood and Suntay (1983) tell apart as flexion and adduction is one here.
    """
    return flexion(points, f"{side}_hip", f"{side}_knee", f"{side}_ankle")


def _on_the_right(points: Array, side: Side) -> Array:
    return points if side == "right" else mirror(points)


def _upper_arm(points: Array) -> Array:
    """Unit vector (..., 3) from the right elbow to the right shoulder."""
    return _unit(points[..., INDEX["right_shoulder"], :] - points[..., INDEX["right_elbow"], :])


def _unit(vectors: Array) -> Array:
    """Vectors (..., 3) of length one; NaN for those of no length."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return vectors / np.where(length > 1e-12, length, np.nan)


def _zxy(frames: Array) -> Array:
    """Angles (..., 3) of ZXY; NaN near its singularity."""
    lean = np.abs(np.degrees(np.arcsin(np.clip(frames[..., 2, 1], -1.0, 1.0))))
    return _euler("ZXY", frames, lean < MOST_LEAN)


def _euler(sequence: str, frames: Array, regular: NDArray[np.bool_]) -> Array:
    """Angles (..., 3) of an intrinsic sequence by SciPy, degrees; NaN where not ``regular`` or unknown."""
    out = np.full(frames.shape[:-1], np.nan)
    good = regular & np.isfinite(frames).all(axis=(-1, -2))
    if good.any():
        out[good] = Rotation.from_matrix(frames[good]).as_euler(sequence, degrees=True)
    return out


def _wrap(angles: Array) -> Array:
    """Degrees brought to (-180, 180]."""
    return 180.0 - (180.0 - angles) % 360.0
