"""What is read from a stretch: free of size and place, mirrored with the player, right on an ideal body."""

import dataclasses

import numpy as np
import pytest
from scipy.signal import correlate

from swingmatch.body import reading
from swingmatch.body.reading import RATE, read
from swingmatch.body.skeleton import BONES, K, swap_sides
from swingmatch.body.stretch import stretch_of
from swingmatch.series import resample
from swingmatch.stroke.direction import azimuth_of, camera_to_court, wrap


@pytest.mark.parametrize(("name", "dilation"), [("inp", 1), ("a.3", 8), ("b.1", 2), ("out", 1)])
def test_convolution_agrees_with_scipy(name, dilation):
    weights, bias = reading._weights()[f"{name}.weight"], reading._weights()[f"{name}.bias"]
    x = np.random.default_rng(1).normal(size=(70, weights.shape[1])).astype(np.float32)
    taps = weights.shape[2]
    spaced = np.zeros((*weights.shape[:2], dilation * (taps - 1) + 1))
    spaced[:, :, ::dilation] = weights
    margin = spaced.shape[2] // 2
    padded = np.pad(x, ((margin, margin), (0, 0)))
    want = np.stack(
        [correlate(padded, kernel.T, mode="valid")[:, 0] + b for kernel, b in zip(spaced, bias, strict=True)],
        axis=1,
    )
    np.testing.assert_allclose(reading._convolve(x, name, dilation), want, rtol=1e-3, atol=1e-4)


def whole(track, motion):
    contact = motion.swings[0].events["contact"]
    return stretch_of(track, contact - 1.7, contact + 1.3)


@pytest.mark.parametrize("azimuth", [90.0, 30.0, -60.0, 170.0])
@pytest.mark.parametrize("who", ["right", "left"])
def test_an_ideal_body_shows_hand_side_and_depth(motion, left_motion, see, azimuth, who):
    made = motion if who == "right" else left_motion
    found = read(whole(see(made, azimuth, noise=2.0), made))
    near = np.abs(found.times - made.swings[0].events["contact"]) < 0.5
    assert (found.left_handed[near].mean() > 0) == (who == "left")
    assert abs(wrap(azimuth_of(found.target.sum(axis=0)) - azimuth)) < 15.0
    assert (found.exchanged > 0).mean() < 0.02
    camera = resample(made.points, made.times, found.times) @ camera_to_court(azimuth) / made.stature
    i, j = (np.array([bone[end] for bone in BONES]) for end in (0, 1))
    off = found.depth - (camera[:, i, 2] - camera[:, j, 2])
    assert np.sqrt(np.mean(off**2)) < 0.03
    assert np.mean(np.abs(off) < 1.645 * found.depth_sd) > 0.7


def test_size_and_place_in_the_picture_do_not_matter(motion, see):
    stretch = whole(see(motion, 75.0), motion)
    moved = dataclasses.replace(stretch, image=0.4 * stretch.image + np.array([300.0, 20.0]))
    np.testing.assert_allclose(read(moved).depth, read(stretch).depth, atol=1e-3)


def test_the_clock_may_start_anywhere(motion, see):
    stretch = whole(see(motion, 75.0), motion)
    later = read(dataclasses.replace(stretch, times=stretch.times + 100.0))
    np.testing.assert_allclose(later.depth, read(stretch).depth, atol=1e-3)
    np.testing.assert_allclose(np.diff(later.times), 1.0 / RATE)


def test_a_mirrored_clip_is_a_left_handers_from_the_other_side(motion, see):
    stretch = whole(see(motion, 75.0), motion)
    flip = np.array([-1.0, 1.0, 1.0])
    other = read(
        dataclasses.replace(
            stretch,
            image=swap_sides(stretch.image) * flip[:2],
            world=swap_sides(stretch.world) * flip,
            visibility=swap_sides(stretch.visibility[..., None])[..., 0],
        )
    )
    one = read(stretch)
    assert one.left_handed.mean() < 0 < other.left_handed.mean()
    np.testing.assert_allclose(other.left_handed, -one.left_handed, atol=1e-3)
    np.testing.assert_allclose(other.target * [-1.0, 1.0], one.target, atol=1e-3)
    shoulders = next(n for n, bone in enumerate(BONES) if bone[2] == "shoulder_line")
    np.testing.assert_allclose(other.depth[:, shoulders], -one.depth[:, shoulders], atol=1e-3)


def test_as_many_answers_as_segments(motion, see):
    found = read(whole(see(motion, 75.0), motion))
    assert found.depth.shape == found.depth_sd.shape == (len(found.times), len(BONES))
    assert (found.depth_sd > 0).all()
    assert reading._weights()["inp.weight"].shape[1] == 6 * K + 2
