"""Poses from single frames, against OpenCV's own projection."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from swingmatch.racket.hoop import RacketShape
from swingmatch.racket.pose import ROLLED, Hold, candidates, enough, mirrored, place, project
from swingmatch.racket.turning import between, log_moves, turn, vector
from swingmatch.racket.view import View

VIEW = View((1280, 720), tilt=0.08)
MODEL = RacketShape().points() / 1.75
GRIP = 0.05
HAND = np.array([0.3, 0.1, -3.5])


def pixels(view: View, points: np.ndarray) -> np.ndarray:
    """OpenCV's projection of points on level axes."""
    own = (points @ view.turn.T) * np.array([1.0, -1.0, -1.0])
    out, _ = cv2.projectPoints(own.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), view.matrix, None)
    return out.reshape((*points.shape[:-1], 2))


def found(turn_: np.ndarray, known: list[int], noise: float = 0.0, seed: int = 0):
    """What one frame with the points ``known`` of a racket allows."""
    image = pixels(VIEW, place(turn_[None], HAND[None], MODEL, GRIP))
    image = image + noise * np.random.default_rng(seed).standard_normal(image.shape)
    flags = np.zeros((1, 5), dtype=bool)
    flags[0, known] = True
    hold = Hold(HAND[None], GRIP, 0.02, 0.05)
    return candidates(image, np.ones((1, 5)), flags, VIEW, MODEL, hold)


def degrees(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.degrees(np.linalg.norm(vector(a @ np.swapaxes(b, -1, -2)), axis=-1))


def test_the_projection_is_opencvs():
    points = np.random.default_rng(0).normal([0, 0, -4], 0.5, (50, 3))
    assert np.allclose(VIEW.project(points), pixels(VIEW, points))
    up = VIEW.project(np.array([[0.0, 0.5, -4.0], [0.0, 0.0, -4.0]]))
    assert up[0, 1] < up[1, 1]
    # A camera that looks down sees what is level with it above the middle of its picture.
    assert up[1, 1] < 360


def test_slopes_of_the_projection_are_those_of_small_steps():
    turns = Rotation.random(4, random_state=1).as_matrix()
    held = np.tile(HAND, (4, 1))
    at = project(VIEW, turns, held, MODEL, GRIP)
    for axis in range(3):
        small = 1e-6 * np.eye(3)[axis]
        turned = project(VIEW, turn(small) @ turns, held, MODEL, GRIP).image
        moved = project(VIEW, turns, held + small, MODEL, GRIP).image
        assert np.allclose((turned - at.image) / 1e-6, at.by_turn[..., axis], atol=1e-2)
        assert np.allclose((moved - at.image) / 1e-6, at.by_shift[..., axis], atol=1e-2)
    longer = project(VIEW, turns, held, MODEL * (1 + 1e-6), GRIP).image
    higher = project(VIEW, turns, held, MODEL, GRIP + 1e-6).image
    assert np.allclose((longer - at.image) / 1e-6, at.by_length, atol=1e-2)
    assert np.allclose((higher - at.image) / 1e-6, at.by_grip, atol=1e-2)


@given(st.lists(st.floats(-1.5, 1.5), min_size=3, max_size=3), st.integers(0, 2))
def test_slopes_of_the_logarithm_are_those_of_small_turns(values, axis):
    start, small = np.array(values), 1e-6 * np.eye(3)[axis]
    left = (vector(turn(small) @ turn(start)) - start) / 1e-6
    right = (vector(turn(start) @ turn(small)) - start) / 1e-6
    assert np.allclose(left, log_moves(start)[:, axis], atol=1e-4)
    assert np.allclose(right, log_moves(-start)[:, axis], atol=1e-4)


def test_between_two_rotations_the_rate_is_steady():
    """Against SciPy's spherical interpolation."""
    from scipy.spatial.transform import Slerp

    both = Rotation.random(3, random_state=3)
    at = np.linspace(0.0, 1.0, 9)
    assert np.allclose(
        between(np.array([0.0, 0.4, 1.0]), both.as_matrix(), at), Slerp([0, 0.4, 1], both)(at).as_matrix()
    )


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000), st.sampled_from([[0, 1, 2, 3, 4], [0, 2, 3, 4], [2, 3, 4], [0, 2, 4], [2, 3]]))
def test_exact_points_give_the_exact_pose_among_the_candidates(seed, known):
    true = Rotation.random(random_state=seed).as_matrix()
    result = found(true, known)
    assert len(result.frame) == 1
    best = degrees(result.turns[0], true).min()
    sight = HAND / np.linalg.norm(HAND)
    # Near its own mirror image a pose is hardly determined, and edge-on neither.
    clear = 0.25 < abs(float(true[:, 1] @ sight)) < 0.95
    assert best < (1.0 if clear and len(known) >= 4 else 25.0)


def test_both_mirror_images_are_given_and_both_rolled():
    true = Rotation.from_euler("xyz", [35, 40, 20], degrees=True).as_matrix()
    result = found(true, [0, 1, 2, 3, 4])
    pair = result.turns[0]
    assert degrees(pair, true).min() < 0.5
    sight = HAND / np.linalg.norm(HAND)
    assert degrees(pair, mirrored(true, sight)).min() < 12.0
    assert np.allclose(pair[2:], pair[:2] @ ROLLED)
    # Rolled or not, the picture is the same.
    for one in pair:
        plain, rolled = (
            pixels(VIEW, place(t[None], HAND[None], MODEL, GRIP))[0] for t in (one, one @ ROLLED)
        )
        assert np.allclose(plain[:3], rolled[:3])
        assert np.allclose(plain[3:], rolled[[4, 3]])


def test_a_mirror_image_is_a_rotation_and_its_own_mirror_image():
    turns = Rotation.random(20, random_state=5).as_matrix()
    sight = np.tile(HAND / np.linalg.norm(HAND), (20, 1))
    image = mirrored(turns, sight)
    assert np.allclose(np.linalg.det(image), 1.0)
    assert np.allclose(mirrored(image, sight), turns)


@pytest.mark.parametrize(
    ("known", "fixes"),
    [([0, 1, 2], False), ([3, 4], True), ([3], False), ([2, 4], True), ([0, 1, 2, 3, 4], True), ([], False)],
)
def test_what_is_enough_for_a_pose(known, fixes):
    flags = np.zeros((1, 5), dtype=bool)
    flags[0, known] = True
    assert bool(enough(flags)[0]) is fixes


def test_noise_of_the_picture_is_as_large_in_the_pose_as_is_said():
    true = Rotation.from_euler("xyz", [35, 40, 20], degrees=True).as_matrix()
    off, said = [], []
    for seed in range(60):
        result = found(true, [0, 1, 2, 3, 4], noise=1.0, seed=seed)
        near = int(degrees(result.turns[0], true).argmin())
        off.append(np.radians(degrees(result.turns[0, near], true)))
        said.append(np.sqrt(np.trace(result.spread[0, near])))
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(np.sqrt(np.mean(np.square(said))), rel=0.35)
