"""The fitted body: pictures and depths are recovered, laws hold, and the drawn bodies spread as the evidence says."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from swingmatch.body.lift import SOLE, LiftSettings, lift
from swingmatch.body.normal import BAND, FLOOR, TILT, Normal
from swingmatch.body.reading import RATE, Reading, read
from swingmatch.body.skeleton import BONES, INDEX, KEYPOINTS, K, swap_sides
from swingmatch.body.spread import lasting_noise
from swingmatch.body.stretch import Stretch, stretch_of
from swingmatch.series import resample
from swingmatch.stroke import measures as m
from swingmatch.stroke.direction import camera_to_court
from swingmatch.synth.camera import Camera

ANGLES = (
    lambda p: m.flexion(p, "right_shoulder", "right_elbow", "right_wrist"),
    lambda p: m.flexion(p, "left_hip", "left_knee", "left_ankle"),
    lambda p: m.flexion(p, "right_hip", "right_knee", "right_ankle"),
    m.shoulder_turn,
)

FEET = [n for n, name in enumerate(KEYPOINTS) if name.endswith(("heel", "toe"))]


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
    true = resample(motion.points, motion.times, stretch.times)[:, FEET] / motion.stature
    standing = np.linalg.norm(np.gradient(true, stretch.times, axis=0), axis=2) < 0.05
    assert standing.mean() > 0.1

    def slide(settings):
        points = lift(stretch, size, reading, settings).points[:, FEET]
        return np.median(np.linalg.norm(np.gradient(points, stretch.times, axis=0), axis=2)[standing])

    assert slide(LiftSettings()) < 0.5 * slide(LiftSettings(slide=100.0, floor=100.0))


def filmed(motion, azimuth, *, height, start=0.8, stop=2.2, noise=0.0):
    """A stretch of the motion as a camera sees it that looks down from ``height`` metres at the player's middle."""
    camera = Camera(azimuth=azimuth, height=height, distance=5.5, field_of_view=65.3)
    camera = dataclasses.replace(camera, aim=(0.2, 0.9, 0.4))
    times = np.arange(start, stop, 1 / 60)
    points = resample(motion.points, motion.times, times)
    image = camera.project(points) + np.random.default_rng(3).normal(0.0, noise, (len(times), K, 2))
    return Stretch(times, image, points / motion.stature, np.ones((len(times), K))), camera


@pytest.mark.parametrize("height", [0.5, 0.9, 1.5, 2.2])
def test_feet_stand_on_one_floor_under_a_camera_that_looks_down(motion, height):
    """Where the feet stand apart in depth, their heights tell how the camera is tilted."""
    stretch, camera = filmed(motion, 0.0, height=height)
    reading = true_depths(motion, 0.0, stretch)
    body = lift(stretch, camera.size, reading)
    true = resample(motion.points, motion.times, stretch.times)[:, FEET] / motion.stature
    standing = np.linalg.norm(np.gradient(true, stretch.times, axis=0), axis=2) < 0.05
    level = body.points[:, FEET, 1] - body.floor - SOLE
    assert standing.mean() > 0.1
    assert np.abs(level[standing] - (true[..., 1] - SOLE)[standing]).max() < 0.02
    tilt = np.arctan2(height - 0.9, 5.5)
    assert abs(body.tilt - tilt) < 0.04
    assert abs(body.tilt - tilt) < 0.5 * abs(LiftSettings().tilt - tilt) + 0.015


def test_a_hop_is_no_step_down(motion):
    """Feet that leave the ground keep their height over it: what is in the air is not pulled to the floor."""
    times = np.arange(motion.times[0], motion.times[-1], 1 / 60)
    height = np.clip(0.5 * 9.81 * (0.2**2 - (times - 1.5) ** 2), 0.0, None)
    points = resample(motion.points, motion.times, times)
    # The whole body stands as it does at 1.5 s, but for the hop.
    still = np.repeat(points[[np.argmin(np.abs(times - 1.5))]], len(times), axis=0)
    still[..., 1] += height[:, None]
    hop = SimpleNamespace(times=times, points=still, stature=motion.stature)
    stretch, camera = filmed(hop, 90.0, height=1.2)

    def rise(settings):
        points = lift(stretch, camera.size, true_depths(hop, 90.0, stretch), settings).points
        feet = points[:, FEET, 1].mean(axis=1)
        return float(feet[np.argmin(np.abs(stretch.times - 1.5))] - np.median(feet[stretch.times < 1.25]))

    # At the top the feet hardly move for a moment, and are held by the rule on sliding as well.
    assert rise(LiftSettings()) == pytest.approx(rise(LiftSettings(floor=100.0)), rel=0.1)
    assert rise(LiftSettings()) == pytest.approx(0.5 * 9.81 * 0.2**2 / motion.stature, rel=0.2)


def test_lasting_noise_lasts():
    noise = lasting_noise(np.random.default_rng(1), (200, 4000), 0.8)
    assert noise.std() == pytest.approx(1.0, abs=0.01)
    assert (noise[5:] * noise[:-5]).mean() == pytest.approx(0.8**5, abs=0.01)
    assert noise[0].std() == pytest.approx(1.0, abs=0.05)


def test_drawn_bodies_depart_as_the_fit_does_with_depths_so_wrong(motion, see):
    """Depths wrong by what they state, for long: the body fitted to them departs as the drawn ones do.

    The fit is run again for each, so that the linear equations of the draws are held against the whole fit.
    """
    stretch, size = part(see(motion, 90.0), 1.0, 2.0)
    reading = true_depths(motion, 90.0, stretch, sd=0.03)
    exact = LiftSettings(picture_off=(0.0, 0.0, 0.0), depth_off=1.0, turned_off=0.0, lasting=0.3, draws=60)
    usual = lift(stretch, size, reading, exact)
    ankles = [INDEX["left_ankle"], INDEX["right_ankle"]]

    def apart(points):
        return np.diff(points[..., ankles, 2], axis=-1)[..., 0]

    stated = (apart(usual.draws) - apart(usual.points)).std()
    keep = float(np.exp(-1 / (RATE * 0.3)))
    off = []
    for seed in range(12):
        noise = 0.03 * lasting_noise(np.random.default_rng(seed), reading.depth.shape, keep)
        wrong = dataclasses.replace(reading, depth=reading.depth + noise)
        off.append(apart(lift(stretch, size, wrong, exact).points) - apart(usual.points))
    assert 0.6 < stated / np.std(off) < 1.7


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
    normal = Normal(t)
    for axis in range(3):
        normal.add_axis((smooth, -2 * smooth, smooth), (0, 1, 2), axis)
    normal.add_rays(rays, weight)
    normal.add_bones(points, lengths, bone_weight)
    normal.add_depths(depth, depth_weight)
    normal.add_distance(4.0, 0.7)
    floor_weight, ahead = rng.uniform(0, 5, (t, K)), rng.normal(-4.0, 0.2, (t, K))
    normal.add_floor(0.01, floor_weight)
    normal.add_tilt(rays, ahead, weight)
    normal.add_prior(TILT, 0.3, 0.1)
    normal.add_prior(FLOOR, -0.8, 0.2)
    places, shared = normal.factor().solve(normal.right, normal.shared)
    got = np.concatenate([places, shared])

    rows, right = [], []

    def row(entries, value, w):
        line = np.zeros(t * K * 3 + 2)
        for where, factor in entries:
            line[where if isinstance(where, int) else 3 * (where[0] * K + where[1]) + where[2]] = factor
        rows.append(np.sqrt(w) * line)
        right.append(np.sqrt(w) * value)

    for f in range(t):
        for k in range(K):
            a, b = rays[f, k]
            # Turning the camera down by e takes a b e off the slope a and (1 + b^2) e off b.
            row([((f, k, 0), 1.0), ((f, k, 2), a), (-2, -a * b * ahead[f, k])], 0.0, weight[f, k])
            row([((f, k, 1), 1.0), ((f, k, 2), b), (-2, -(1 + b * b) * ahead[f, k])], 0.0, weight[f, k])
            row([((f, k, 1), 1.0), (-1, -1.0)], 0.01, floor_weight[f, k])
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
    row([(-2, 1.0)], 0.3, 1 / 0.1**2)
    row([(-1, 1.0)], -0.8, 1 / 0.2**2)
    matrix = sparse.csc_matrix(np.array(rows))
    want = spsolve((matrix.T @ matrix).tocsc(), matrix.T @ np.array(right))
    np.testing.assert_allclose(got, want, rtol=1e-7, atol=1e-9)
    band = (matrix[:, :-2].T @ matrix[:, :-2]).tocoo()
    assert np.abs(band.row - band.col).max() <= BAND
