"""The fitted body: exact pictures are recovered, flattened depth is mended, and the laws hold."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from swingmatch.body.lift import BONES, _solve_banded, lift
from swingmatch.body.skeleton import swap_sides
from swingmatch.series import resample
from swingmatch.stroke import measures as m
from swingmatch.stroke.direction import camera_to_court

ANGLES = (
    lambda p: m.flexion(p, "right_shoulder", "right_elbow", "right_wrist"),
    lambda p: m.flexion(p, "left_hip", "left_knee", "left_ankle"),
    lambda p: m.flexion(p, "right_hip", "right_knee", "right_ankle"),
    m.shoulder_turn,
)


def part(track, start=0.8, stop=2.2):
    inside = (track.times >= start) & (track.times <= stop)
    return track.times[inside], track.image[inside], track.world[inside], track.visibility[inside], track.size


def errors(points, azimuth, motion, times):
    court = points @ camera_to_court(azimuth).T
    true = resample(motion.points, motion.times, times)
    return np.array([np.abs((a(court) - a(true) + 180) % 360 - 180).mean() for a in ANGLES])


@pytest.mark.parametrize("azimuth", [90.0, 45.0, 0.0, 180.0])
def test_exact_pictures_give_nearly_exact_angles(motion, see, azimuth):
    args = part(see(motion, azimuth))
    # The table's proportions are not quite this figure's, and the body's own noise model smooths a little.
    assert errors(lift(*args), azimuth, motion, args[0]).max() < 8.0


@pytest.mark.parametrize("azimuth", [90.0, 45.0, -90.0])
def test_a_flattened_depth_is_mended(motion, see, azimuth):
    track = see(motion, azimuth, depth_gain=0.4, noise=3.0)
    args = part(track)
    fitted, raw = errors(lift(*args), azimuth, motion, args[0]), errors(args[2], azimuth, motion, args[0])
    assert fitted.mean() < 0.8 * raw.mean()


def test_segments_keep_their_length(motion, see):
    points = lift(*part(see(motion, 60.0, noise=3.0)))
    for a, b, name in BONES:
        if name in ("thigh", "shank", "upper_arm", "forearm"):
            length = np.linalg.norm(points[:, a] - points[:, b], axis=1)
            assert length.std() < 0.04 * length.mean(), name


def test_pictures_of_twice_the_size_give_the_same_body(motion, see):
    times, image, world, visibility, size = part(see(motion, 70.0))
    once = lift(times, image, world, visibility, size)
    twice = lift(times, 2 * image, world, visibility, (2 * size[0], 2 * size[1]))
    np.testing.assert_allclose(twice, once, atol=1e-6)


def test_the_clock_may_start_anywhere(motion, see):
    times, image, world, visibility, size = part(see(motion, 70.0))
    later = lift(times + 100.0, image, world, visibility, size)
    np.testing.assert_allclose(later, lift(times, image, world, visibility, size), atol=1e-5)


def test_the_mirrored_picture_gives_the_mirrored_body(motion, see):
    times, image, world, visibility, size = part(see(motion, 70.0, noise=2.0))
    flip = np.array([-1.0, 1.0, 1.0])
    other = lift(
        times,
        swap_sides(image) * np.array([-1.0, 1.0]) + np.array([size[0], 0.0]),
        swap_sides(world) * flip,
        visibility,
        size,
    )
    np.testing.assert_allclose(
        swap_sides(other) * flip, lift(times, image, world, visibility, size), atol=1e-6
    )


def test_a_high_frame_rate_keeps_every_picture_position(motion, see):
    track = see(motion, 90.0, rate=240.0)
    args = part(track)
    points = lift(*args)
    assert len(points) == len(args[0])
    focal = 0.78 * 1280
    again = -points[..., :2] / points[..., 2:] * focal * np.array([1.0, -1.0]) + np.array(args[4]) / 2
    np.testing.assert_allclose(again, args[1], atol=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_banded_solver_against_a_general_one(seed):
    rng = np.random.default_rng(seed)
    half = sparse.diags([rng.normal(size=40 - k) for k in range(4)], range(4)).tocsr()
    matrix = (half.T @ half + sparse.identity(40)).tocsr()
    right = rng.normal(size=40)
    np.testing.assert_allclose(_solve_banded(matrix, right), spsolve(matrix.tocsc(), right), rtol=1e-8)
