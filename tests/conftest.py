"""What tests of several packages need: slow twins, movements with a known answer, a generated forehand, a track of it
as a perfect camera would see it, and one short rendered clip."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import K
from swingmatch.body.track import Track
from swingmatch.series import resample
from swingmatch.stroke.direction import camera_to_court
from swingmatch.synth.build import Build
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import VOLUNTEERS
from swingmatch.synth.film import aimed, render
from swingmatch.synth.forehand import perform
from swingmatch.synth.look import Look
from swingmatch.synth.scene import Scene
from swingmatch.synth.style import ForehandStyle

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


def _load(name):
    """A module beside this file, loaded by path because tests are not a package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def naive():
    return _load("naive")


@pytest.fixture(scope="session")
def movers():
    return _load("movers")


@pytest.fixture(scope="session")
def rendered(tmp_path_factory):
    """A small clip of one forehand by a right-hander, seen from the hitting side, and its truth: (path, truth)."""
    path = tmp_path_factory.mktemp("rendered") / "one_forehand.mp4"
    motion = perform(ForehandStyle(), Build(1.8, "male", 1.0), "right", swings=1, seed=5, rest=0.3)
    camera = aimed(Camera(azimuth=80.0, distance=4.6, size=(640, 360), seed=1), motion)
    scene = Scene(surface="blue hard", seed=5)
    truth = render(motion, camera, Look.of(5, build=1.0), scene, path, subframes=1)
    return path, truth


# What opens pages in a real browser.
_browser = _load("browser")
chromium, open_page, contexts = _browser.chromium, _browser.open_page, _browser.contexts
shot, axe = _browser.shot, _browser.axe


@pytest.fixture(scope="session")
def browsing():
    """The module with the sizes, the themes and ``new_page``, for fixtures that keep a page longer than a test."""
    return _browser
