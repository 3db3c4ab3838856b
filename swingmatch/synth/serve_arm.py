"""The serving arm and the racket in joint terms: upper arm, elbow, turn about the upper arm, forearm, wrist.

The chain of ``chain.body`` wants the hand's direction and the racket's; here those are worked out from the joints, so
that the racket goes where an arm can bring it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.synth.build import Build
from swingmatch.synth.chain import chest_frame, direction, unit

Array = NDArray[np.float64]

#: Turn of the strings about the handle in a grip between hammer and forehand, degrees (*common practice, no source*).
GRIP_TURN = 15.0


@dataclass(frozen=True)
class Arm:
    """Joints of the hitting arm over time, each (T,) degrees.

    Attributes
    ----------
    azimuth, elevation : direction of the upper arm in the chest's frame; 0 ahead, 90 to the right; elevation up the
        spine, so that the angle to the trunk is 90 more (B22).
    elbow : flexion.
    rotation : of the forearm about the upper arm, for an upper arm out to the side: 0 forearm ahead of the chest, 90 up
        the spine, 180 backwards.
    pronation : of the forearm; 0 the thumb points along the bending elbow, 90 palm down.
    deviation : angle of the racket to the line of the forearm, towards the thumb.
    extension : of the wrist, towards the back of the hand.
    """

    azimuth: Array
    elevation: Array
    elbow: Array
    rotation: Array
    pronation: Array
    deviation: Array
    extension: Array


def _turned(a: Array, b: Array, angle: Array) -> Array:
    """``a`` turned by ``angle`` degrees (T,) towards ``b``, both (T, 3) and square to one another."""
    turn = np.radians(angle)[:, None]
    return np.cos(turn) * a + np.sin(turn) * b


def arm_channels(arm: Arm, chest: Mapping[str, Array], build: Build) -> dict[str, Array]:
    """Channels of ``chain.body`` for the hitting arm and the racket.

    Parameters
    ----------
    arm : joints, (T,) each. chest : ``shoulder_turn, lean_x, lean_z, tilt`` of the same instants.
    """
    a, e = np.radians(arm.azimuth), np.radians(arm.elevation)
    along = direction(arm.azimuth, arm.elevation)
    ahead = np.stack([np.sin(a), np.zeros(len(a)), -np.cos(a)], axis=-1)
    up = np.stack([-np.sin(e) * np.cos(a), np.cos(e), -np.sin(e) * np.sin(a)], axis=-1)
    bent = _turned(ahead, up, arm.rotation)
    fore = _turned(along, bent, arm.elbow)
    thumb = _turned(along, bent, arm.elbow + 90.0)
    back = np.cross(fore, thumb)
    thumb, back = _turned(thumb, -back, arm.pronation), _turned(back, thumb, arm.pronation)
    hand, palm = _turned(fore, back, arm.extension), _turned(-back, fore, arm.extension)
    shaft, edge = _turned(hand, thumb, arm.deviation), _turned(-thumb, hand, arm.deviation)
    face = _turned(palm, edge, np.full(len(a), GRIP_TURN))

    upper, lower = build.length("upper_arm"), build.length("forearm")
    aim = unit(upper * along + lower * fore)
    frame = chest_frame(chest)
    shaft, face = (np.einsum("tij,tj->ti", frame, v) for v in (shaft, face))
    azimuth = np.arctan2(shaft[:, 2], shaft[:, 0])
    level = np.stack([np.sin(azimuth), np.zeros(len(a)), -np.cos(azimuth)], axis=-1)
    third = np.cross(shaft, level)
    closing = np.arctan2(-(face * third).sum(-1), (face * level).sum(-1))
    return {
        "arm_azimuth": np.degrees(np.arctan2(aim[:, 2], aim[:, 0])),
        "arm_elevation": np.degrees(np.arcsin(aim[:, 1])),
        "elbow": arm.elbow,
        "pole": along,
        "wrist": arm.extension,
        "racket_azimuth": np.degrees(azimuth),
        "racket_elevation": np.degrees(np.arcsin(np.clip(shaft[:, 1], -1.0, 1.0))),
        "racket_closing": np.degrees(closing),
    }
