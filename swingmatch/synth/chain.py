"""The kinematic chain: from posture over time to the keypoints, with every segment length exact.

Axes: X target, Y up, Z right. A turn of 0 faces the target, a positive one is turned to the right (a right-hander's
take-back). Directions "in the chest's frame" are azimuth (0 straight ahead, 90 to the right) and elevation.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, K
from swingmatch.synth.build import Build

Array = NDArray[np.float64]

#: Racket, metres: rules allow 73.7 cm of length and 31.7 cm of width (D2); usual sizes are 68.5 and 26.
RACKET_LENGTH, HEAD_LENGTH, HEAD_WIDTH = 0.685, 0.34, 0.26
THROAT = RACKET_LENGTH - HEAD_LENGTH
CENTRE = RACKET_LENGTH - 0.5 * HEAD_LENGTH
#: Where the hitting hand and the off hand hold, metres from the butt.
GRIP, OFF_GRIP = 0.09, 0.30
#: Heel and toe keypoints lie this far above the ground (middle of the shoe's sole), statures.
SOLE = 0.012
#: Ankle ahead of the heel, share of the foot's length (*common practice, no source*).
ANKLE_SHARE = 0.27
#: Straightest knee and elbow the chain may take, degrees of flexion.
STRAIGHTEST = 6.0


def unit(vectors: Array) -> Array:
    """Vectors of length one along the last axis."""
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def direction(azimuth: Array, elevation: Array) -> Array:
    """Unit vectors (T, 3) from degrees (T,): azimuth 0 = X, 90 = Z; elevation up."""
    a, e = np.radians(azimuth), np.radians(elevation)
    return np.stack([np.cos(e) * np.cos(a), np.sin(e), np.cos(e) * np.sin(a)], axis=-1)


def reach(flexion: Array, first: float, second: float) -> Array:
    """Distance between the ends of two segments whose joint is bent by ``flexion`` degrees (0 = straight)."""
    return np.sqrt(first**2 + second**2 + 2.0 * first * second * np.cos(np.radians(flexion)))


def two_bones(
    root: Array, end: Array, first: float, second: float, pole: Array, soft: float = 0.004
) -> tuple[Array, Array]:
    """Middle joint and reached end of a two-segment limb, both (T, 3).

    The joint lies on the side of ``pole`` (T, 3). An end out of reach is brought onto the line to it, with the joint
    bent by ``STRAIGHTEST``.
    """
    line = end - root
    far = np.linalg.norm(line, axis=-1)
    longest = float(reach(np.array(STRAIGHTEST), first, second))
    # The soft limit keeps the motion smooth where a limb comes to its full stretch.
    far = np.clip(_soft_min(far, longest, soft), abs(first - second) + 1e-3, longest)
    axis = unit(line)
    side = unit(pole - (pole * axis).sum(-1, keepdims=True) * axis)
    along = (first**2 - second**2 + far**2) / (2.0 * far)
    height = np.sqrt(np.maximum(first**2 - along**2, 0.0))
    return root + along[:, None] * axis + height[:, None] * side, root + far[:, None] * axis


def _soft_min(a: Array, b: Array | float, width: float) -> Array:
    """Smaller of two values, rounded where they meet over about ``width``; never above either."""
    return 0.5 * (a + b - np.sqrt((a - b) ** 2 + width**2))


def foot(toe_xz: Array, yaw: Array, pitch: Array, lift: Array, build: Build) -> tuple[Array, Array, Array]:
    """Ankle, heel and toe (T, 3) of a foot.

    ``toe_xz`` (T, 2) is where the toe is, ``yaw`` degrees (0 = toes to the target, positive right; turns about the
    toe), ``pitch`` degrees of heel rise about the toe, ``lift`` metres of the whole foot.
    """
    length, sole = build.length("foot"), SOLE * build.stature
    ahead = direction(yaw, np.zeros_like(yaw))
    up = np.array([0.0, 1.0, 0.0])
    toe = np.stack([toe_xz[:, 0], sole + lift, toe_xz[:, 1]], axis=-1)
    p = np.radians(pitch)[:, None]
    back = -np.cos(p) * ahead + np.sin(p) * up
    top = np.sin(p) * ahead + np.cos(p) * up
    heel = toe + length * back
    ankle = toe + (1.0 - ANKLE_SHARE) * length * back + (build.ankle_height - sole) * top
    return ankle, heel, toe


def hip_joints(pelvis: Array, turn: Array, build: Build) -> tuple[Array, Array]:
    """Left and right hip joints (T, 3) about the middle of the hips."""
    right = 0.5 * build.length("hip_width") * direction(turn + 90.0, np.zeros_like(turn))
    return pelvis - right, pelvis + right


def pelvis_height(
    pelvis_xz: Array, turn: Array, ankle: Array, side: int, flexion: Array, build: Build
) -> Array:
    """Height of the hips at which the leg on one side (-1 left, 1 right) is bent by ``flexion``; (T,) metres."""
    flat = np.stack([pelvis_xz[:, 0], np.zeros(len(turn)), pelvis_xz[:, 1]], axis=-1)
    hip = hip_joints(flat, turn, build)[0 if side < 0 else 1]
    gap = ((hip - ankle)[:, [0, 2]] ** 2).sum(-1)
    leg = reach(flexion, build.length("thigh"), build.length("shank"))
    return ankle[:, 1] + np.sqrt(np.maximum(leg**2 - gap, 0.05**2))


def chest_frame(posture: Mapping[str, Array]) -> Array:
    """Axes of the chest (T, 3, 3) from ``shoulder_turn, lean_x, lean_z, tilt``: columns ahead, up the spine, right."""
    c = posture
    spine = unit(
        np.stack(
            [np.tan(np.radians(c["lean_x"])), np.ones(len(c["lean_x"])), np.tan(np.radians(c["lean_z"]))],
            axis=-1,
        )
    )
    across = direction(c["shoulder_turn"] + 90.0, -c["tilt"])
    across = unit(across - (across * spine).sum(-1, keepdims=True) * spine)
    return np.stack([np.cross(spine, across), spine, across], axis=-1)


def body(posture: Mapping[str, Array], build: Build) -> tuple[Array, Array]:
    """Keypoints (T, K, 3) and racket (T, 5, 3) of a right-hander from posture channels.

    Channels are (T,) unless said otherwise: ``pelvis_x, pelvis_y, pelvis_z``; ``hip_turn, shoulder_turn``; ``lean_x,
    lean_z, tilt`` (right shoulder down); ``gaze_yaw, gaze_pitch, neck_x, neck_z``; for each side ``<side>_toe_xz``
    (T, 2), ``<side>_foot_yaw, <side>_heel, <side>_lift``; hitting arm ``arm_azimuth, arm_elevation, elbow``,
    ``pole`` (T, 3), ``wrist``; racket ``racket_azimuth, racket_elevation, racket_closing``; off arm
    ``off_azimuth, off_elevation, off_elbow``, ``off_pole`` (T, 3), ``hold`` (1 = the off hand is on the racket).
    """
    c = posture
    points, frame = torso(c, build)
    shoulders = (points[:, INDEX["left_shoulder"]], points[:, INDEX["right_shoulder"]])

    def in_court(vectors: Array) -> Array:
        return np.einsum("tij,tj->ti", frame, vectors)

    # Hitting arm: direction and stretch from the shoulder, then the hand and the racket.
    upper, fore = build.length("upper_arm"), build.length("forearm")
    far = reach(np.maximum(c["elbow"], STRAIGHTEST), upper, fore)
    elbow, wrist, hand, racket = hitting_arm(shoulders[1], far, c, frame, build)

    # Off arm: on the racket, free, or on the way from one to the other.
    free_aim = in_court(direction(c["off_azimuth"], c["off_elevation"]))
    free = shoulders[0] + (reach(c["off_elbow"], upper, fore) + build.palm)[:, None] * free_aim
    held = racket[:, 0] + OFF_GRIP * racket_axes(c)[0]
    hold = c["hold"][:, None]
    off_target = hold * held + (1.0 - hold) * free
    line = unit(off_target - shoulders[0])
    off_elbow, off_wrist = two_bones(
        shoulders[0], off_target - build.palm * line, upper, fore, in_court(c["off_pole"]), soft=0.03
    )
    for name, value in (
        ("right_elbow", elbow),
        ("right_wrist", wrist),
        ("right_hand", hand),
        ("left_elbow", off_elbow),
        ("left_wrist", off_wrist),
        ("left_hand", off_wrist + build.palm * line),
    ):
        points[:, INDEX[name]] = value
    legs(points, c, build)
    return points, racket


def hitting_arm(
    shoulder: Array,
    far: Array,
    posture: Mapping[str, Array],
    frame: Array,
    build: Build,
    extends_to: float = -1.0,
) -> tuple[Array, Array, Array, Array]:
    """Elbow, wrist, hand (T, 3) and racket (T, 5, 3) of the arm that holds the racket.

    ``far`` (T,) metres from shoulder to wrist, in the direction ``arm_azimuth, arm_elevation`` of the chest's axes
    ``frame``. ``wrist`` degrees of extension bend the hand away from the face of ``racket_axes`` (-1, a forehand) or
    towards it (1, a backhand).
    """
    c = posture
    upper, fore = build.length("upper_arm"), build.length("forearm")
    aim = np.einsum("tij,tj->ti", frame, direction(c["arm_azimuth"], c["arm_elevation"]))
    pole = np.einsum("tij,tj->ti", frame, c["pole"])
    elbow, wrist = _arm(shoulder, shoulder + far[:, None] * aim, upper, fore, pole)
    forearm = unit(wrist - elbow)
    shaft, face = racket_axes(c)

    def square(vectors: Array) -> Array:
        return vectors - (vectors * forearm).sum(-1, keepdims=True) * forearm

    bend = extends_to * np.tan(np.radians(c["wrist"]))[:, None]
    palm = unit(forearm + 0.35 * square(shaft) + bend * square(face))
    hand = wrist + build.palm * palm
    return elbow, wrist, hand, racket_marks(hand - GRIP * shaft, shaft, face)


def torso(posture: Mapping[str, Array], build: Build) -> tuple[Array, Array]:
    """Hips, shoulders and head in (T, K, 3) that is NaN elsewhere, and the axes of the chest (``chest_frame``)."""
    c = posture
    count = len(c["pelvis_x"])
    points = np.full((count, K, 3), np.nan)

    def put(name: str, value: Array) -> None:
        points[:, INDEX[name]] = value

    pelvis = np.stack([c["pelvis_x"], c["pelvis_y"], c["pelvis_z"]], axis=-1)
    hips = hip_joints(pelvis, c["hip_turn"], build)

    # Trunk: a spine that leans, and a shoulder line across it.
    frame = chest_frame(c)
    spine, across = frame[:, :, 1], frame[:, :, 2]
    neck = pelvis + build.length("trunk") * spine
    half = 0.5 * build.length("shoulder_width")
    shoulders = (neck - half * across, neck + half * across)
    for side, shoulder, hip in zip(("left", "right"), shoulders, hips, strict=True):
        put(f"{side}_shoulder", shoulder)
        put(f"{side}_hip", hip)

    # Head: on a neck half way between the spine and upright; looks where the gaze channels say.
    stalk = unit(
        spine + np.array([0.0, 1.0, 0.0]) + np.stack([c["neck_x"], np.zeros(count), c["neck_z"]], -1)
    )
    relative = c["gaze_yaw"] - c["shoulder_turn"]
    most = 78.0  # degrees that a head turns on the trunk, *from memory*
    head_yaw = c["shoulder_turn"] + most * np.tanh(relative / most)
    look = direction(head_yaw, c["gaze_pitch"])
    ear_line = direction(head_yaw + 90.0, np.zeros(count))
    crown = np.cross(ear_line, look)
    middle = neck + (build.length("neck") - 0.011 * build.stature) * stalk
    put("left_ear", middle - 0.043 * build.stature * ear_line)
    put("right_ear", middle + 0.043 * build.stature * ear_line)
    put("nose", middle + build.stature * (0.066 * look - 0.008 * crown))
    return points, frame


def legs(points: Array, posture: Mapping[str, Array], build: Build) -> None:
    """Put both legs, in place, under hips that ``points`` (T, K, 3) has."""
    c = posture
    count = len(points)
    for side in ("left", "right"):
        hip = points[:, INDEX[f"{side}_hip"]]
        ankle, heel, toe = foot(
            c[f"{side}_toe_xz"], c[f"{side}_foot_yaw"], c[f"{side}_heel"], c[f"{side}_lift"], build
        )
        # The knee points between the toes and the front of the pelvis.
        ahead = direction(c[f"{side}_foot_yaw"], np.zeros(count)) + 0.6 * direction(
            c["hip_turn"], np.zeros(count)
        )
        outward = (1.0 if side == "right" else -1.0) * direction(c["hip_turn"] + 90.0, np.zeros(count))
        knee, reached = two_bones(
            hip, ankle, build.length("thigh"), build.length("shank"), ahead + 0.25 * outward
        )
        shift = reached - ankle
        points[:, INDEX[f"{side}_knee"]] = knee
        points[:, INDEX[f"{side}_ankle"]] = reached
        points[:, INDEX[f"{side}_heel"]] = heel + shift
        points[:, INDEX[f"{side}_toe"]] = toe + shift


def racket_axes(posture: Mapping[str, Array]) -> tuple[Array, Array]:
    """Unit vectors (T, 3) from butt to tip, and square to the strings on the side that hits a forehand."""
    c = posture
    shaft = direction(c["racket_azimuth"], c["racket_elevation"])
    level = direction(c["racket_azimuth"] - 90.0, np.zeros(len(shaft)))
    close = np.radians(c["racket_closing"])[:, None]
    return shaft, np.cos(close) * level - np.sin(close) * np.cross(shaft, level)


def racket_marks(butt: Array, shaft: Array, face: Array) -> Array:
    """Racket (T, 5, 3): butt, throat, tip, left edge, right edge."""
    across_face = np.cross(face, shaft)
    centre = butt + CENTRE * shaft
    return np.stack(
        [
            butt,
            butt + THROAT * shaft,
            butt + RACKET_LENGTH * shaft,
            centre - 0.5 * HEAD_WIDTH * across_face,
            centre + 0.5 * HEAD_WIDTH * across_face,
        ],
        axis=1,
    )


def _arm(root: Array, end: Array, first: float, second: float, pole: Array) -> tuple[Array, Array]:
    """Like ``two_bones`` for an end that is within reach by construction: the end is kept exactly."""
    line = end - root
    far = np.linalg.norm(line, axis=-1)
    axis = unit(line)
    side = unit(pole - (pole * axis).sum(-1, keepdims=True) * axis)
    along = (first**2 - second**2 + far**2) / (2.0 * far)
    height = np.sqrt(np.maximum(first**2 - along**2, 0.0))
    return root + along[:, None] * axis + height[:, None] * side, end
