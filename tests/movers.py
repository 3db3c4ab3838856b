"""A plain made-up stroke in closed form, for tests that must not depend on the swing generator.

The pose is a cubic spline through a few key poses given by angles; stroke time is in seconds from contact.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline

from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.stroke.swing import Swing

KNOTS = np.array([-1.2, -0.9, -0.6, -0.35, -0.15, 0.0, 0.15, 0.4, 0.7])
EVENTS = {
    "ready": -1.2,
    "turn_start": -1.0,
    "hands_apart": -0.8,
    "end_of_take_back": -0.45,
    "forward_start": -0.25,
    "contact": 0.0,
    "end_of_follow_through": 0.45,
    "recovery": 0.7,
}
# columns: hip yaw, shoulder yaw, lean, upper arm azimuth and elevation, forearm azimuth and elevation, knee bend
POSES = np.array(
    [
        [90, 90, 10, 20, -60, 0, 0, 25],
        [70, 60, 12, 30, -50, 10, 10, 30],
        [35, 10, 12, 70, -20, 80, 30, 35],
        [15, -10, 14, 110, -25, 140, 0, 40],
        [40, 15, 12, 100, -45, 150, -35, 35],
        [75, 65, 8, 50, -35, 60, -20, 25],
        [90, 95, 8, -10, -10, -10, 20, 20],
        [95, 115, 8, -60, 10, -120, 40, 20],
        [92, 95, 10, -20, -50, -60, 10, 25],
    ],
    dtype=float,
)
REACH = np.zeros(POSES.shape[1])


def points(stroke_time, style=REACH):
    """(T,) seconds from contact to (T, K, 3) statures on court axes; ``style`` (8,) degrees is added to the pose."""
    t = np.asarray(stroke_time, dtype=float)
    pose = CubicSpline(KNOTS, POSES, bc_type="natural")(np.clip(t, KNOTS[0], KNOTS[-1])) + np.asarray(style)
    a = np.deg2rad(pose)
    out = np.full((len(t), K, 3), np.nan)

    def line(yaw):  # left to right; yaw 90 degrees faces the target
        return np.stack([-np.cos(yaw), 0 * yaw, np.sin(yaw)], axis=1)

    def arrow(azimuth, elevation):  # azimuth 0 to the target, 90 to the right
        return np.stack(
            [np.cos(elevation) * np.cos(azimuth), np.sin(elevation), np.cos(elevation) * np.sin(azimuth)],
            axis=1,
        )

    def put(name, value):
        out[:, INDEX[name]] = value

    pelvis = np.stack([0.05 * t, 0.53 - 0.1 * (1 - np.cos(a[:, 7])), 0 * t], axis=1)
    chest = pelvis + 0.288 * np.stack([np.sin(a[:, 2]), np.cos(a[:, 2]), 0 * t], axis=1)
    put("nose", chest + np.array([0.06, 0.11, 0.0]))
    for side, sign in (("left", -1.0), ("right", 1.0)):
        put(f"{side}_ear", chest + np.array([0.0, 0.12, 0.04 * sign]))
        hip = pelvis + sign * 0.095 * line(a[:, 0])
        shoulder = chest + sign * 0.129 * line(a[:, 1])
        knee = hip + 0.245 * arrow(np.deg2rad(sign * 30) + 0 * t, -np.pi / 2 + a[:, 7])
        ankle = knee + 0.246 * arrow(np.deg2rad(sign * 30) + 0 * t, -np.pi / 2 - 0.5 * a[:, 7])
        put(f"{side}_hip", hip)
        put(f"{side}_shoulder", shoulder)
        put(f"{side}_knee", knee)
        put(f"{side}_ankle", ankle)
        put(f"{side}_heel", ankle + np.array([-0.03, -0.03, 0.0]))
        put(f"{side}_toe", ankle + np.array([0.12, -0.03, 0.0]))
        turn = np.deg2rad(90) - a[:, 1]
        if side == "right":
            upper, fore = (a[:, 3], a[:, 4]), (a[:, 5], a[:, 6])
        else:
            upper, fore = (turn + 0.3, np.deg2rad(-40) + 0 * t), (turn + 1.2, np.deg2rad(10) + 0 * t)
        elbow = shoulder + 0.186 * arrow(*upper)
        wrist = elbow + 0.146 * arrow(*fore)
        put(f"{side}_elbow", elbow)
        put(f"{side}_wrist", wrist)
        put(f"{side}_hand", wrist + 0.05 * arrow(*fore))
    return out


def swing(clock=None, rate=120.0, *, contact=0.0, style=REACH, hand="right", scale=1.0, margin=0.1):
    """A swing at ``rate`` whose stroke time runs by ``clock``: own seconds from contact to stroke seconds, rising.

    ``contact`` is the time of contact on the swing's own clock. Events are carried over to the own clock.
    """
    if clock is None:
        clock = lambda t: t  # noqa: E731
    dense = np.linspace(-3.0, 3.0, 60001)
    stroke = clock(dense)
    own = {name: contact + float(np.interp(at, stroke, dense)) for name, at in EVENTS.items()}
    own["contact"] = contact
    start = int(np.floor((own["ready"] - contact - margin) * rate))
    stop = int(np.ceil((own["recovery"] - contact + margin) * rate))
    t = np.arange(start, stop + 1) / rate
    body = points(clock(t), style) * scale
    return Swing(contact + t, mirror(body) if hand == "left" else body, own, hand)
