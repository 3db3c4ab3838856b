"""Drawn serves against recorded ones: do the made-up servers move like people?

Optical motion capture of eight players at 100 Hz (Pulgarin-Giraldo et al. 2017, LNCS 10125:309-317, CC BY-SA 3.0), not
part of this repository. It has no ball and no racket, so every value is one that needs neither: about the instant at
which the hitting wrist is highest. A soft check: the median of the recorded serves lies within what the drawn servers
span. The generator was looked at beside these recordings when its ranges were chosen.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, filtfilt, find_peaks

from swingmatch.body.skeleton import INDEX, middle, mirror
from swingmatch.library.bvh import read_keypoints
from swingmatch.series import resample
from swingmatch.synth.cast import TUNING
from swingmatch.synth.serve_cast import random_server

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
pytestmark = [
    pytest.mark.mocap,
    pytest.mark.skipif(
        not (FOLDER / "index.csv").is_file(),
        reason="no motion capture here; set SWINGMATCH_MOCAP to its folder to run these",
    ),
]
SERVERS = 16
UP = np.array([0.0, 1.0, 0.0])
#: Names of the values, with the unit.
VALUES = {
    "front_knee": "deg, most bent",
    "external_rotation": "deg, largest, throwing convention",
    "trunk": "deg from the vertical, wrist highest",
    "abduction": "deg, wrist highest",
    "elbow_back": "deg, most bent in the last 0.4 s",
    "torso": "deg/s about the trunk, fastest",
    "pelvis": "deg/s about the vertical, fastest",
    "extension": "deg/s of the elbow, fastest",
    "wrist": "m/s, fastest",
    "off_arm": "deg from the vertical, most upright",
    "knee_lead": "s from the deepest bend to the wrist's highest",
}


def unit(v: np.ndarray) -> np.ndarray:
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def angle(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return np.degrees(np.arccos(np.clip((unit(u) * unit(v)).sum(-1), -1.0, 1.0)))


def values(times: np.ndarray, points: np.ndarray, top: int) -> dict[str, float]:
    """``VALUES`` of a right-hander's serve whose wrist is highest at sample ``top``."""
    dt = float(times[1] - times[0])
    part = {name: points[:, i] for name, i in INDEX.items()}
    spine = unit(middle(points, "shoulder") - middle(points, "hip"))
    across = unit(part["right_shoulder"] - part["left_shoulder"])
    hips = unit(part["right_hip"] - part["left_hip"])
    upper = unit(part["right_elbow"] - part["right_shoulder"])
    fore = part["right_wrist"] - part["right_elbow"]
    ahead = np.cross(spine, across)
    ahead = ahead - (ahead * upper).sum(-1, keepdims=True) * upper
    rotation = np.degrees(
        np.arctan2((fore * np.cross(upper, unit(ahead))).sum(-1), (fore * unit(ahead)).sum(-1))
    )
    knee = angle(part["left_knee"] - part["left_hip"], part["left_ankle"] - part["left_knee"])
    elbow = angle(upper, fore)
    torso = np.degrees((np.cross(across, np.gradient(across, dt, axis=0)) * spine).sum(-1))
    pelvis = np.degrees(np.cross(hips, np.gradient(hips, dt, axis=0))[:, 1])
    wrist = np.linalg.norm(np.gradient(part["right_wrist"], dt, axis=0), axis=-1)
    long, short = (slice(top - round(s / dt), top + 1) for s in (1.0, 0.4))
    bent = long.start + int(np.argmax(knee[long.start : top - round(0.15 / dt)]))
    return {
        "front_knee": knee[bent],
        "external_rotation": rotation[short].max(),
        "trunk": angle(spine, UP)[top],
        "abduction": angle(upper, -spine)[top],
        "elbow_back": elbow[short].max(),
        "torso": np.abs(torso[short]).max(),
        "pelvis": np.abs(pelvis[short]).max(),
        "extension": -np.gradient(elbow, dt)[short].min(),
        "wrist": wrist[short].max(),
        "off_arm": angle(part["left_wrist"] - part["left_shoulder"], UP)[long].min(),
        "knee_lead": times[top] - times[bent],
    }


def smooth(points: np.ndarray, dt: float) -> np.ndarray:
    """Below 14 Hz, recorded and made alike; the factor is that of a second-order filter used both ways."""
    b, a = butter(2, 14.0 / 0.802 * 2.0 * dt)
    return filtfilt(b, a, points, axis=0)


def recorded(path: Path) -> dict[str, float]:
    """Median over the serves of one recording; a serve is a peak of the faster wrist's height."""
    times, points = read_keypoints(path)
    dt = float(times[1] - times[0])
    points = smooth(points, dt)
    speed = {
        side: np.linalg.norm(np.gradient(points[:, INDEX[f"{side}_wrist"]], dt, axis=0), axis=-1)
        for side in ("left", "right")
    }
    if np.percentile(speed["left"], 99.5) > np.percentile(speed["right"], 99.5):
        points = mirror(points)
    height = points[:, INDEX["right_wrist"], 1]
    tops, _ = find_peaks(height, height=0.93 * height.max(), distance=round(2.0 / dt))
    rows = [values(times, points, int(t)) for t in tops if round(1.2 / dt) < t < len(times) - round(0.3 / dt)]
    return {name: float(np.median([row[name] for row in rows])) for name in VALUES}


@pytest.fixture(scope="module")
def people() -> dict[str, np.ndarray]:
    rows = [recorded(path) for path in sorted(FOLDER.glob("P*_serve.bvh.gz"))]
    assert len(rows) == 8
    return {name: np.array([row[name] for row in rows]) for name in VALUES}


@pytest.fixture(scope="module")
def made() -> dict[str, np.ndarray]:
    rows = []
    for i in range(SERVERS):
        motion = replace(random_server(TUNING[i]), hand="right", faults={}).perform(swings=1, variation=0.0)
        times = np.arange(motion.times[0], motion.times[-1], 0.01)
        points = smooth(resample(motion.points, motion.times, times), 0.01)
        contact = round(motion.swings[0].events["contact"] * 100.0)
        near = points[contact - 12 : contact + 12, INDEX["right_wrist"], 1]
        rows.append(values(times, points, contact - 12 + int(np.argmax(near))))
    return {name: np.array([row[name] for row in rows]) for name in VALUES}


@pytest.mark.parametrize("name", VALUES)
def test_the_middle_of_recorded_serves_is_among_the_drawn_ones(people, made, name):
    assert made[name].min() <= np.median(people[name]) <= made[name].max(), VALUES[name]
