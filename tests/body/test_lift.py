"""The fitted body: pictures and depths are recovered, laws hold, and the drawn bodies spread as the evidence says."""

import dataclasses

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from swingmatch.body.lift import _BAND, LiftSettings, _Normal, lift
from swingmatch.body.reading import RATE, Reading, read
from swingmatch.body.skeleton import BONES, KEYPOINTS, K, swap_sides
from swingmatch.body.stretch import Stretch, stretch_of
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
    return stretch_of(track, start, stop), track.size


def true_depths(motion, azimuth, stretch, sd=0.02):
    """What a perfect reader would say."""
    times = np.arange(stretch.times[0], stretch.times[-1] + 0.5 / RATE, 1.0 / RATE)
    camera = resample(motion.points, motion.times, times) @ camera_to_court(azimuth) / motion.stature
    i, j = (np.array([bone[end] for bone in BONES]) for end in (0, 1))
    depth = camera[:, i, 2] - camera[:, j, 2]
    none = np.zeros((len(times), 3))
    return Reading(times, depth, np.full_like(depth, sd), none, none[:, 0], none[:, :2])


def errors(points, azimuth, motion, times):
    court = points @ camera_to_court(azimuth).T
    true = resample(motion.points, motion.times, times)
    return np.array([np.abs((a(court) - a(true) + 180) % 360 - 180).mean() for a in ANGLES])


@pytest.mark.parametrize("azimuth", [90.0, 45.0, 0.0, 180.0])
def test_exact_pictures_and_depths_give_nearly_exact_angles(motion, see, azimuth):
    stretch, size = part(see(motion, azimuth))
    points = lift(stretch, size, true_depths(motion, azimuth, stretch)).points
    # The table's proportions are not quite this figure's, and the camera looks at it from near.
    assert errors(points, azimuth, motion, stretch.times).max() < 5.0


@pytest.mark.parametrize("azimuth", [90.0, 45.0, -90.0])
def test_read_depths_beat_the_estimators_own(motion, see, azimuth):
    stretch, size = part(see(motion, azimuth, depth_gain=0.4, noise=3.0), 0.4, 3.2)
    fitted = errors(lift(stretch, size, read(stretch)).points, azimuth, motion, stretch.times)
    raw = errors(stretch.world, azimuth, motion, stretch.times)
    assert fitted.mean() < 0.6 * raw.mean()


@pytest.mark.parametrize("rate", [60.0, 240.0])
def test_segments_keep_their_length(motion, see, rate):
    stretch, size = part(see(motion, 60.0, noise=3.0, rate=rate))
    points = lift(stretch, size, true_depths(motion, 60.0, stretch)).points
    assert points.shape == (len(stretch.times), K, 3)
    for a, b, name in BONES:
        if name in ("thigh", "shank", "upper_arm", "forearm"):
            length = np.linalg.norm(points[:, a] - points[:, b], axis=1)
            assert length.std() < 0.03 * length.mean(), name


def test_one_wild_keypoint_leaves_the_rest_alone(motion, see):
    stretch, size = part(see(motion, 70.0))
    reading = true_depths(motion, 70.0, stretch)
    image = stretch.image.copy()
    frames = slice(len(image) // 2, len(image) // 2 + 3)
    image[frames, 0] += 300.0
    usual = lift(stretch, size, reading).points
    wild = lift(dataclasses.replace(stretch, image=image), size, reading).points
    assert np.abs(wild - usual)[:, 1:].max() < 0.01


def test_feet_that_stand_do_not_slide(motion, see):
    """Depths that waver by 3 % of stature move a standing foot far less than they would without the rule."""
    stretch, size = part(see(motion, 90.0, noise=1.0), 0.4, 3.0)
    reading = true_depths(motion, 90.0, stretch)
    waver = 0.03 * np.sin(2 * np.pi * 1.5 * reading.times)[:, None] * np.sign(np.arange(len(BONES)) % 2 - 0.5)
    reading = dataclasses.replace(reading, depth=reading.depth + waver)
    feet = [n for n, name in enumerate(KEYPOINTS) if name.endswith(("heel", "toe"))]
    true = resample(motion.points, motion.times, stretch.times)[:, feet] / motion.stature
    standing = np.linalg.norm(np.gradient(true, stretch.times, axis=0), axis=2) < 0.05
    assert standing.mean() > 0.1

    def slide(settings):
        points = lift(stretch, size, reading, settings).points[:, feet]
        return np.median(np.linalg.norm(np.gradient(points, stretch.times, axis=0), axis=2)[standing])

    assert slide(LiftSettings()) < 0.5 * slide(LiftSettings(slide=100.0))


def test_pictures_of_twice_the_size_give_the_same_body(motion, see):
    stretch, size = part(see(motion, 70.0))
    reading = true_depths(motion, 70.0, stretch)
    twice = dataclasses.replace(stretch, image=2 * stretch.image)
    other = lift(twice, (2 * size[0], 2 * size[1]), reading)
    np.testing.assert_allclose(other.points, lift(stretch, size, reading).points, atol=1e-6)


def test_the_mirrored_picture_gives_the_mirrored_body(motion, see):
    stretch, size = part(see(motion, 70.0, noise=2.0))
    reading = true_depths(motion, 70.0, stretch)
    place = {(a, b): n for n, (a, b, _) in enumerate(BONES)}
    swap = swap_sides(np.arange(float(K))[:, None])[:, 0]
    order, sign = [], []
    for a, b, _ in BONES:
        there = (int(swap[a]), int(swap[b]))
        sign.append(1.0 if there in place else -1.0)
        order.append(place[there] if there in place else place[there[::-1]])
    other = lift(
        Stretch(
            stretch.times,
            swap_sides(stretch.image) * np.array([-1.0, 1.0]) + np.array([size[0], 0.0]),
            stretch.world,
            stretch.visibility,
        ),
        size,
        dataclasses.replace(reading, depth=reading.depth[:, order] * np.array(sign)),
    )
    flip = np.array([-1.0, 1.0, 1.0])
    np.testing.assert_allclose(
        swap_sides(other.points) * flip, lift(stretch, size, reading).points, atol=1e-6
    )


def test_vaguer_depths_spread_the_drawn_bodies_further(motion, see):
    stretch, size = part(see(motion, 90.0))
    sharp = lift(stretch, size, true_depths(motion, 90.0, stretch, sd=0.01)).draws
    vague = lift(stretch, size, true_depths(motion, 90.0, stretch, sd=0.05)).draws
    assert sharp.shape == (LiftSettings().draws, len(stretch.times), K, 3)
    spread = [np.std(draws - draws[..., [15], :], axis=0)[..., 2].mean() for draws in (sharp, vague)]
    assert spread[1] > 1.5 * spread[0]


@pytest.mark.parametrize("seed", range(4))
def test_banded_equations_against_a_general_solver(seed):
    """The same terms, written out as a sparse matrix of residuals, solved by SuperLU."""
    rng = np.random.default_rng(seed)
    t = 5
    rays, weight = rng.normal(size=(t, K, 2)), rng.uniform(1, 3, (t, K))
    points, lengths = rng.normal(size=(t, K, 3)), rng.uniform(0.1, 0.3, len(BONES))
    bone_weight = rng.uniform(1, 9, len(BONES))
    depth, depth_weight = rng.normal(size=(t, len(BONES))), rng.uniform(1, 3, (t, len(BONES)))
    smooth = rng.uniform(0.5, 2.0, K)
    normal = _Normal(t)
    for axis in range(3):
        normal.add_axis((smooth, -2 * smooth, smooth), (0, 1, 2), axis)
    normal.add_rays(rays, weight)
    normal.add_bones(points, lengths, bone_weight)
    normal.add_depths(depth, depth_weight)
    normal.add_distance(4.0, 0.7)
    got = normal.solve(normal.factor())

    rows, right = [], []

    def row(entries, value, w):
        line = np.zeros(t * K * 3)
        for (frame, k, axis), factor in entries:
            line[3 * (frame * K + k) + axis] = factor
        rows.append(np.sqrt(w) * line)
        right.append(np.sqrt(w) * value)

    for f in range(t):
        for k in range(K):
            row([((f, k, 0), 1.0), ((f, k, 2), rays[f, k, 0])], 0.0, weight[f, k])
            row([((f, k, 1), 1.0), ((f, k, 2), rays[f, k, 1])], 0.0, weight[f, k])
            row([((f, k, 2), 1.0)], -4.0, 0.7)
            for axis in range(3):
                if f + 2 < t:
                    s = smooth[k]
                    row(
                        [((f, k, axis), s), ((f + 1, k, axis), -2 * s), ((f + 2, k, axis), s)],
                        0.0,
                        1.0,
                    )
        for b, (i, j, _) in enumerate(BONES):
            unit = (points[f, i] - points[f, j]) / np.linalg.norm(points[f, i] - points[f, j])
            ends = [((f, i, a), unit[a]) for a in range(3)] + [((f, j, a), -unit[a]) for a in range(3)]
            row(ends, lengths[b], bone_weight[b])
            row([((f, i, 2), 1.0), ((f, j, 2), -1.0)], depth[f, b], depth_weight[f, b])
    matrix = sparse.csc_matrix(np.array(rows))
    want = spsolve((matrix.T @ matrix).tocsc(), matrix.T @ np.array(right))
    np.testing.assert_allclose(got, want, rtol=1e-7, atol=1e-9)
    band = (matrix.T @ matrix).tocoo()
    assert np.abs(band.row - band.col).max() <= _BAND
