"""The body of a backhand from posture over time, with the ball on the right (+Z): the left arm is the hitting one."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.synth.build import Build
from swingmatch.synth.chain import (
    GRIP,
    OFF_GRIP,
    STRAIGHTEST,
    direction,
    hitting_arm,
    legs,
    racket_axes,
    reach,
    torso,
    two_bones,
    unit,
)

Array = NDArray[np.float64]

#: From the middle of one hand to that of the other where both hold the handle, metres: a palm's breadth,
#: *common practice, no source*.
PALM_APART = 0.095
#: Keeps the far arm this much from its full stretch, metres.
_SLACK = 0.006


def one_handed_body(posture: Mapping[str, Array], build: Build) -> tuple[Array, Array]:
    """Keypoints (T, K, 3) and racket (T, 5, 3) from the channels of ``chain.body``.

    The off hand, here the right one, holds the throat as ``hold`` says. ``wrist`` is extension of the left one.
    """
    c = posture
    points, frame = torso(c, build)
    upper, fore = build.length("upper_arm"), build.length("forearm")
    far = reach(np.maximum(c["elbow"], STRAIGHTEST), upper, fore)
    front = hitting_arm(points[:, INDEX["left_shoulder"]], far, c, frame, build, 1.0)
    racket = front[3]
    shoulder = points[:, INDEX["right_shoulder"]]
    aim = np.einsum("tij,tj->ti", frame, direction(c["off_azimuth"], c["off_elevation"]))
    free = shoulder + (reach(c["off_elbow"], upper, fore) + build.palm)[:, None] * aim
    hold = c["hold"][:, None]
    target = hold * (racket[:, 0] + OFF_GRIP * racket_axes(c)[0]) + (1.0 - hold) * free
    line = unit(target - shoulder)
    pole = np.einsum("tij,tj->ti", frame, c["off_pole"])
    elbow, wrist = two_bones(shoulder, target - build.palm * line, upper, fore, pole, soft=0.03)
    _put(points, front[:3], (elbow, wrist, wrist + build.palm * line))
    legs(points, c, build)
    return points, racket


def two_handed_body(posture: Mapping[str, Array], build: Build) -> tuple[Array, Array]:
    """Keypoints (T, K, 3) and racket (T, 5, 3) from the channels of ``chain.body``, both hands on the handle.

    ``elbow`` is the least flexion of the front elbow: it bends more where the other arm would not reach the handle.
    ``off_azimuth, off_elevation, off_elbow`` and ``hold`` are not used.
    """
    c = posture
    points, frame = torso(c, build)
    upper, fore = build.length("upper_arm"), build.length("forearm")
    near, away = points[:, INDEX["left_shoulder"]], points[:, INDEX["right_shoulder"]]
    shaft = racket_axes(c)[0]
    aim = np.einsum("tij,tj->ti", frame, direction(c["arm_azimuth"], c["arm_elevation"]))
    most = float(reach(np.array(STRAIGHTEST), upper, fore)) + 0.96 * build.palm - _SLACK
    wanted = reach(np.maximum(c["elbow"], STRAIGHTEST), upper, fore)
    far = wanted
    for _ in range(4):
        front = hitting_arm(near, far, c, frame, build, 1.0)
        grip = front[3][:, 0] + (GRIP + PALM_APART) * shaft
        # Along the front arm's line the grip is within the other arm's reach up to the far root of a quadratic.
        from_away = grip - far[:, None] * aim - away
        along = (from_away * aim).sum(-1)
        short = np.maximum(along**2 - (from_away**2).sum(-1) + most**2, 0.0)
        longest = np.maximum(-along + np.sqrt(short), 0.35 * (upper + fore))
        far = 0.5 * (wanted + longest - np.sqrt((wanted - longest) ** 2 + 0.025**2))
    front = hitting_arm(near, far, c, frame, build, 1.0)
    grip = front[3][:, 0] + (GRIP + PALM_APART) * shaft
    pole = np.einsum("tij,tj->ti", frame, c["off_pole"])
    forearm = unit(grip - away)
    for _ in range(3):
        palm = unit(forearm + 0.35 * (shaft - (shaft * forearm).sum(-1, keepdims=True) * forearm))
        elbow, wrist = two_bones(away, grip - build.palm * palm, upper, fore, pole, soft=0.002)
        forearm = unit(wrist - elbow)
    _put(points, front[:3], (elbow, wrist, wrist + build.palm * palm))
    legs(points, c, build)
    return points, front[3]


def _put(points: Array, left: tuple[Array, ...], right: tuple[Array, ...]) -> None:
    """Elbow, wrist and hand of both arms into ``points``, in place."""
    for side, arm in (("left", left), ("right", right)):
        for name, value in zip(("elbow", "wrist", "hand"), arm, strict=True):
            points[:, INDEX[f"{side}_{name}"]] = value
