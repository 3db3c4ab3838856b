"""Projection against OpenCV's, and the camera's own laws."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.synth.camera import Camera

cameras = st.builds(
    Camera,
    azimuth=st.floats(-180, 180),
    height=st.floats(0.3, 4.0),
    distance=st.floats(3.0, 12.0),
    field_of_view=st.floats(25, 80),
    roll=st.floats(-10, 10),
    shake=st.floats(0, 1),
    seed=st.integers(0, 99),
)


@given(cameras, st.integers(0, 2**31))
@settings(max_examples=60, deadline=None)
def test_projection_is_opencv_s(camera: Camera, seed: int) -> None:
    """Reference: cv2.projectPoints, whose camera looks along +z with y down."""
    points = np.random.default_rng(seed).uniform(-1, 1, (20, 3))
    time = np.array([0.7])
    turn = np.diag([1.0, -1.0, -1.0]) @ camera.rotation(time)[0]
    cx, cy = camera.centre
    inner = np.array([[camera.focal, 0, cx], [0, camera.focal, cy], [0, 0, 1]])
    expected, _ = cv2.projectPoints(points, cv2.Rodrigues(turn)[0], -turn @ camera.position, inner, None)
    np.testing.assert_allclose(camera.project(points[None], time)[0], expected[:, 0], atol=1e-6)


@given(cameras)
@settings(max_examples=40, deadline=None)
def test_rotation_is_a_rotation(camera: Camera) -> None:
    turn = camera.rotation(np.array([0.0, 1.3]))
    np.testing.assert_allclose(turn @ turn.transpose(0, 2, 1), np.tile(np.eye(3), (2, 1, 1)), atol=1e-12)
    np.testing.assert_allclose(np.linalg.det(turn), 1.0)


@given(cameras)
@settings(max_examples=40, deadline=None)
def test_looks_at_its_aim(camera: Camera) -> None:
    np.testing.assert_allclose(camera.project(np.array(camera.aim)), camera.centre, atol=1e-6)


@pytest.mark.parametrize("azimuth", [-120.0, 0.0, 35.0, 90.0, 180.0])
def test_level_camera_has_the_agreed_axes(azimuth: float) -> None:
    """The rows that the whole package uses: right (sin a, 0, -cos a), up, backward (cos a, 0, sin a)."""
    a = np.radians(azimuth)
    camera = Camera(azimuth=azimuth, height=0.95, aim=(0.0, 0.95, 0.0), distance=5.0)
    expected = [[np.sin(a), 0, -np.cos(a)], [0, 1, 0], [np.cos(a), 0, np.sin(a)]]
    np.testing.assert_allclose(camera.rotation(), expected, atol=1e-12)
    np.testing.assert_allclose(camera.position, [5 * np.cos(a), 0.95, 5 * np.sin(a)], atol=1e-12)


def test_back_from_pixels_and_depth() -> None:
    camera = Camera(azimuth=40.0, roll=3.0, height=2.0)
    points = np.random.default_rng(0).uniform(-1, 1, (50, 3))
    pixels, depth = camera.project(points), -camera.to_camera(points)[:, 2]
    seen = np.column_stack(
        [
            (pixels[:, 0] - camera.centre[0]) / camera.focal * depth,
            -(pixels[:, 1] - camera.centre[1]) / camera.focal * depth,
            -depth,
        ]
    )
    np.testing.assert_allclose(seen @ camera.rotation() + camera.position, points, atol=1e-9)


def test_point_behind_the_lens_is_nan() -> None:
    camera = Camera(azimuth=0.0, distance=5.0)
    assert np.isnan(camera.project(np.array([9.0, 1.0, 0.0]))).all()


def test_leaning_right_turns_the_picture_to_the_left() -> None:
    above = np.array([0.0, 1.9, 0.0])
    assert Camera(roll=10.0).project(above)[0] < Camera().project(above)[0] - 5


def test_shake_has_its_size() -> None:
    camera = Camera(shake=0.4)
    turn = camera.rotation(np.arange(0, 60, 0.02)) @ camera.rotation().T
    small = np.degrees(np.stack([turn[:, 2, 1], turn[:, 0, 2], turn[:, 1, 0]], axis=1))
    np.testing.assert_allclose(np.sqrt(np.mean(small**2, axis=0)), 0.4, rtol=0.05)


@given(st.floats(0, 0.99), st.integers(0, 1000), st.sampled_from([24.0, 29.97, 60.0, 120.0]))
def test_frame_times_rise(jitter: float, seed: int, fps: float) -> None:
    times = Camera(jitter=jitter, seed=seed, fps=fps).frame_times(1.0)
    assert times[0] == 0.0
    assert (np.diff(times) > 0).all()
    assert len(times) == np.ceil(fps)
    np.testing.assert_allclose(times, np.arange(len(times)) / fps, atol=0.5 * jitter / fps + 1e-12)
