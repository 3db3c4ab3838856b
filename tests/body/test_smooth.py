"""The low-pass filter against its definition, and what is done about gaps."""

import numpy as np
import pytest
from scipy.signal import butter, filtfilt

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.smooth import CUTOFF, LONGEST_GAP, TWO_PASS, bridge, low_pass, smooth_points

RATE = 100.0


def gain(frequency, cutoff):
    t = np.arange(0, 8, 1 / RATE)
    wave = np.sin(2 * np.pi * frequency * t)
    out = low_pass(wave[:, None], RATE, cutoff)[:, 0]
    inner = slice(200, 600)
    return np.dot(out[inner], wave[inner]) / np.dot(wave[inner], wave[inner])


def test_factor_for_two_passes():
    # Winter's 0.802 for two passes of a second-order filter: (sqrt(2) - 1) ** 0.25 (source E14).
    assert pytest.approx(0.8022, abs=5e-5) == TWO_PASS


@pytest.mark.parametrize("cutoff", [4.0, 8.0, 12.0])
def test_three_decibels_down_at_the_cutoff(cutoff):
    # Half power: amplitude 1/sqrt(2). The digital filter's warped axis shifts it a little.
    assert gain(cutoff, cutoff) == pytest.approx(2**-0.5, abs=0.03)
    assert gain(cutoff / 4, cutoff) > 0.98
    assert gain(cutoff * 3, cutoff) < 0.05


def test_no_lag():
    t = np.arange(0, 4, 1 / RATE)
    bump = np.exp(-0.5 * ((t - 2) / 0.08) ** 2)
    assert t[np.argmax(low_pass(bump[:, None], RATE, 6.0))] == pytest.approx(2.0, abs=1e-9)


def test_constant_and_line_stay():
    t = np.arange(0, 2, 1 / RATE)[:, None]
    np.testing.assert_allclose(low_pass(np.full_like(t, 3.0), RATE, 6.0), 3.0, atol=1e-9)
    np.testing.assert_allclose(low_pass(2 * t - 1, RATE, 6.0), 2 * t - 1, atol=1e-6)


def test_too_slow_a_clip_is_left_alone():
    values = np.random.default_rng(0).normal(size=(40, 3))
    np.testing.assert_array_equal(low_pass(values, 15.0, 8.0), values)


def test_short_gaps_are_bridged_and_long_ones_stay():
    times = np.arange(60) / 60
    values = np.stack([times, times], axis=1)
    values[10:14, 0] = np.nan  # 5 intervals, 83 ms
    values[10:30, 1] = np.nan  # 333 ms
    out = bridge(values, times)
    np.testing.assert_allclose(out[:, 0], times, atol=1e-12)
    assert np.isnan(out[10:30, 1]).all()
    assert pytest.approx(0.12) == LONGEST_GAP


def test_noise_shrinks_movement_stays_and_uneven_times_are_allowed():
    rng = np.random.default_rng(1)
    times = np.arange(180) / 60 + rng.uniform(-0.003, 0.003, 180)
    clean = np.repeat(np.sin(2 * np.pi * 0.8 * times)[:, None, None], K, axis=1).repeat(2, axis=2)
    noisy = clean + rng.normal(0, 0.05, clean.shape)
    out = smooth_points(noisy, times)
    inner = slice(15, -15)
    before, after = (np.sqrt(np.mean((x - clean)[inner] ** 2)) for x in (noisy, out))
    # White noise keeps about 2 * cutoff / rate of its power: 0.27-0.4 at 60 Hz, so 0.52-0.63 of its size.
    assert after < 0.75 * before
    assert CUTOFF < 30.0


def test_a_stretch_without_the_player_stays_empty():
    times = np.arange(100) / 60
    values = np.ones((100, K, 2))
    values[40:70] = np.nan
    out = smooth_points(values, times)
    assert np.isnan(out[40:70]).all()
    np.testing.assert_allclose(out[:40], 1.0, atol=1e-9)


def test_the_recipe_of_the_literature_away_from_the_ends():
    """Source E14: a second-order Butterworth run both ways, its design cutoff raised by 1 / 0.8022."""
    values = np.random.default_rng(3).normal(size=(600, 2)).cumsum(axis=0)
    b, a = butter(2, 6.0 / 0.8022 / (RATE / 2))
    expected = filtfilt(b, a, values, axis=0)
    inner = slice(150, -150)
    np.testing.assert_allclose(low_pass(values, RATE, 6.0)[inner], expected[inner], atol=2e-3)


def test_one_missing_keypoint_leaves_the_others_as_smooth():
    rng = np.random.default_rng(4)
    times = np.arange(120) / 60
    noisy = rng.normal(0, 0.05, (120, K, 2))
    holed = noisy.copy()
    holed[30:70, INDEX["left_toe"]] = np.nan
    others = [i for name, i in INDEX.items() if name != "left_toe"]
    out = smooth_points(holed, times)
    np.testing.assert_allclose(out[:, others], smooth_points(noisy, times)[:, others], atol=1e-12)
    assert np.isnan(out[30:70, INDEX["left_toe"]]).all()
    assert np.isfinite(out[:30, INDEX["left_toe"]]).all()
