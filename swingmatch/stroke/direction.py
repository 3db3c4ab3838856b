"""From which side the camera looks: the camera's azimuth against the target line, read from the body itself.

Court axes and camera axes share the vertical (the camera is taken to be level), so one angle leads from one to the
other. Three things a groundstroke shows point at the target: where the body faces before it turns, where the chest
faces at contact, and where the hand goes through contact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, swap_sides
from swingmatch.stroke.swing import Hand

Array = NDArray[np.float64]

#: Names of the camera sides, by azimuth, for a right-hander and a left-hander alike (sides as the player has them).
SIDES: tuple[tuple[float, str], ...] = (
    (0.0, "front"),
    (45.0, "front right"),
    (90.0, "right side"),
    (135.0, "back right"),
    (180.0, "back"),
    (-135.0, "back left"),
    (-90.0, "left side"),
    (-45.0, "front left"),
)


def wrap(angle: float) -> float:
    """An angle in degrees brought to (-180, 180]."""
    return 180.0 - (180.0 - angle) % 360.0


def side_name(azimuth: float) -> str:
    """The nearest of the eight named camera sides for an azimuth in degrees."""
    return min(SIDES, key=lambda row: abs(wrap(azimuth - row[0])))[1]


def camera_to_court(azimuth: float) -> Array:
    """Rotation (3, 3) that takes camera axes (x right, y up, z to the camera) to court axes (X target, Y up, Z right).

    ``azimuth`` in degrees: 0 with the camera in front of a player who faces the target, 90 on the player's right.
    """
    a = np.radians(azimuth)
    return np.array([[np.sin(a), 0.0, np.cos(a)], [0.0, 1.0, 0.0], [-np.cos(a), 0.0, np.sin(a)]])


def _facing(points: Array, part: str) -> Array:
    """Horizontal direction that the shoulder or hip line faces, camera axes: (T, K, 3) to (T, 2) as (x, z)."""
    line = points[:, INDEX[f"right_{part}"]] - points[:, INDEX[f"left_{part}"]]
    # Up x (left to right) is forward: (0, 1, 0) x (x, y, z) = (z, 0, -x).
    return np.stack([line[:, 2], -line[:, 0]], axis=1)


def _mean_direction(vectors: Array) -> Array:
    """Unit vector of the mean of unit vectors (N, 2); zero where none is known."""
    norm = np.linalg.norm(vectors, axis=1, keepdims=True)
    units = (vectors / np.where(norm > 0, norm, np.nan))[np.isfinite(norm[:, 0]) & (norm[:, 0] > 0)]
    if len(units) == 0:
        return np.zeros(2)
    total = units.mean(axis=0)
    length = float(np.linalg.norm(total))
    return total / length if length > 0 else np.zeros(2)


def target_cues(times: Array, points: Array, contact: float, hand: Hand) -> dict[str, Array]:
    """What points at the target in one stroke, each a unit vector (x, z) on camera axes.

    ``points`` (T, K, 3) camera axes at ``times`` (T,) seconds, ``contact`` in seconds.
    """
    if hand == "left":
        # The mirrored stroke is a right-hander's; its cues are mirrored back below.
        points = swap_sides(points) * np.array([-1.0, 1.0, 1.0])
    near = np.abs(times - contact) <= 0.03
    through = (times >= contact - 0.06) & (times <= contact + 0.02)
    early = times <= min(contact - 1.1, times[0] + 0.4)
    if not early.any():
        early = times <= times[0] + 0.1
    hand_path = np.gradient(points[:, INDEX["right_hand"]], times, axis=0)[:, [0, 2]]
    cues = {
        "ready_hips": _facing(points[early], "hip"),
        "ready_shoulders": _facing(points[early], "shoulder"),
        "contact_shoulders": _facing(points[near], "shoulder"),
        "contact_hips": _facing(points[near], "hip"),
        "hand_path": hand_path[through],
    }
    out = {name: _mean_direction(value) for name, value in cues.items()}
    if hand == "left":
        out = {name: value * np.array([-1.0, 1.0]) for name, value in out.items()}
    return out


#: Weight of each cue: on generated figures kept for tuning, where the body faces at ready is the best by far; the chest
#: and hips at contact still look a little to the hitting side.
WEIGHTS = {
    "ready_hips": 1.5,
    "ready_shoulders": 1.5,
    "contact_shoulders": 0.3,
    "contact_hips": 0.3,
    "hand_path": 0.6,
}


def azimuth_of(direction: Array) -> float:
    """Camera azimuth in degrees for a target direction (x, z) on camera axes."""
    return float(np.degrees(np.arctan2(direction[0], direction[1])))


def camera_azimuth(cues: list[dict[str, Array]]) -> float:
    """Camera azimuth in degrees from the cues of all strokes of a clip (one camera, so one answer)."""
    total = sum((WEIGHTS[name] * vector for stroke in cues for name, vector in stroke.items()), np.zeros(2))
    return azimuth_of(total)
