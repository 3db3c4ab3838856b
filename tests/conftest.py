"""What tests of several packages need: a generated forehand, and a track of it as a perfect camera would see it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import K
from swingmatch.body.track import Track
from swingmatch.series import resample
from swingmatch.stroke.direction import camera_to_court
from swingmatch.synth.cast import VOLUNTEERS

SIZE = (1280, 720)
FOCAL = 0.78 * 1280
DISTANCE = 7.0


def project(points, azimuth, focal=FOCAL, size=SIZE, distance=DISTANCE, height=1.1):
    """Court points (T, K, 3) in metres to pixels (T, K, 2), and camera-axes points, with OpenCV's projection."""
    camera = (points - np.array([0.0, height, 0.0])) @ camera_to_court(azimuth)
    camera = camera - np.array([0.0, 0.0, distance])
    # OpenCV looks along +z with y down; ours looks along -z with y up.
    flipped = (camera * np.array([1.0, -1.0, -1.0])).reshape(-1, 1, 3)
    matrix = np.array([[focal, 0, size[0] / 2], [0, focal, size[1] / 2], [0, 0, 1.0]])
    pixels, _ = cv2.projectPoints(flipped, np.zeros(3), np.zeros(3), matrix, None)
    return pixels.reshape(*points.shape[:2], 2), camera


def seen(motion, azimuth, *, rate=60.0, depth_gain=1.0, noise=0.0, seed=0):
    """The track of a motion from one side. ``depth_gain`` flattens the depth as an estimator does."""
    times = np.arange(0.0, motion.times[-1], 1 / rate)
    points = resample(motion.points, motion.times, times)
    image, camera = project(points, azimuth)
    rng = np.random.default_rng(seed)
    image = image + noise * rng.normal(size=image.shape)
    hips = camera[:, [15, 16]].mean(axis=1, keepdims=True)
    world = (camera - hips) * np.array([1.0, 1.0, depth_gain])
    return Track(times, image, world, np.full((len(times), K), 0.95), SIZE)


@pytest.fixture(scope="session")
def motion():
    """One generated forehand by a right-hander of sound style."""
    return VOLUNTEERS[0].perform(swings=1)


@pytest.fixture(scope="session")
def left_motion():
    """One generated forehand by a left-hander."""
    return next(player for player in VOLUNTEERS if player.hand == "left").perform(swings=1)


@pytest.fixture(scope="session")
def see():
    return seen


@pytest.fixture(scope="session")
def to_picture():
    return project
