"""The low-pass filter against its definition, and what is done about gaps."""

import numpy as np
import pytest
from scipy.signal import butter, filtfilt

from swingmatch.body.skeleton import INDEX, K
from swingmatch.body.smooth import (
    LONGEST_GAP,
    RAISED,
    TWO_PASS,
    bridge,
    low_pass,
    penalised,
    residual_cutoffs,
    smooth,
    smooth_points,
    stiffness_of,
)
from swingmatch.body.track import Track

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
    # White noise keeps about 2 * cutoff / rate of its power: 0.17-0.47 at 60 Hz, so 0.41-0.68 of its size.
    assert after < 0.75 * before


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


def noisy_sine(frequency, noise, rate=60.0, seconds=8.0, seed=0):
    t = np.arange(0, seconds, 1 / rate)
    rng = np.random.default_rng(seed)
    return t, np.sin(2 * np.pi * frequency * t)[:, None, None] + noise * rng.normal(size=(len(t), 1, 1))


def test_residual_analysis_takes_off_as_much_as_there_is_noise():
    """Winter's criterion: at the cutoff found, what is filtered off is as large as the noise that was put in."""
    for noise in (0.02, 0.05, 0.1):
        _, values = noisy_sine(1.0, noise)
        cutoff = residual_cutoffs(values, 60.0)[0]
        taken = np.sqrt(np.mean((values - low_pass(values, 60.0, cutoff)) ** 2))
        assert taken == pytest.approx(noise, rel=0.15)


def test_faster_movement_asks_for_a_higher_cutoff_and_more_noise_for_a_lower_one():
    cutoff = {(f, n): residual_cutoffs(noisy_sine(f, n)[1], 60.0)[0] for f in (1.0, 3.0) for n in (0.03, 0.3)}
    assert cutoff[3.0, 0.03] > cutoff[1.0, 0.03]
    assert cutoff[1.0, 0.3] < cutoff[1.0, 0.03]
    assert cutoff[3.0, 0.03] > 3.0


@pytest.mark.parametrize("cutoff", [5.0, 8.0, 14.0])
def test_the_penalised_path_is_three_decibels_down_at_its_cutoff(cutoff):
    t = np.arange(0, 8, 1 / RATE)
    wave = np.sin(2 * np.pi * cutoff * t)[:, None]
    out = penalised(wave, np.ones(len(t)), np.full(len(t) - 3, stiffness_of(cutoff, RATE)))
    inner = slice(200, 600)
    assert np.vdot(out[inner], wave[inner]) / np.vdot(wave[inner], wave[inner]) == pytest.approx(
        2**-0.5, abs=1e-3
    )


def test_the_penalised_path_is_the_least_squares_solution():
    """The slow way: all normal equations as one dense matrix."""
    rng = np.random.default_rng(5)
    values, weights, stiffness = rng.normal(size=(25, 2)), rng.uniform(0, 2, 25), rng.uniform(0.1, 50, 22)
    third = np.diff(np.eye(25), 3, axis=0)
    dense = np.linalg.solve(
        np.diag(weights) + third.T @ np.diag(stiffness) @ third, weights[:, None] * values
    )
    np.testing.assert_allclose(penalised(values, weights, stiffness), dense, atol=1e-8)


def rauch_tung_striebel(values, noise, jerk):
    """State-space smoother of a position whose third difference is white: the textbook recursion, (T,) to (T,)."""
    step = np.array([[1.0, 1, 0], [0, 1, 1], [0, 0, 1]])
    drive, look = np.diag([0.0, 0.0, jerk]), np.array([[1.0, 0, 0]])
    mean, spread = np.zeros(3), np.eye(3) * 1e6
    means, spreads, ahead_means, ahead_spreads = [], [], [], []
    for value in values:
        ahead_means.append(mean)
        ahead_spreads.append(spread)
        gain = spread @ look.T / (look @ spread @ look.T + noise)
        mean = mean + (gain * (value - look @ mean)).ravel()
        spread = spread - gain @ look @ spread
        means.append(mean)
        spreads.append(spread)
        mean, spread = step @ mean, step @ spread @ step.T + drive
    out = [means[-1]]
    for i in range(len(values) - 2, -1, -1):
        back = spreads[i] @ step.T @ np.linalg.inv(ahead_spreads[i + 1])
        out.append(means[i] + back @ (out[-1] - ahead_means[i + 1]))
    return np.array(out[::-1])[:, 0]


def test_the_penalised_path_is_a_state_space_smoothers():
    """Rauch, Tung, Striebel 1965: stiffness is the noise's variance over that of the jerk."""
    values = np.random.default_rng(6).normal(size=60).cumsum()
    expected = rauch_tung_striebel(values, noise=1.0, jerk=1 / 40.0)
    got = penalised(values[:, None], np.ones(60), np.full(57, 40.0))[:, 0]
    np.testing.assert_allclose(got, expected, atol=1e-3)


def impact(times, at):
    """A hand that gets faster and faster up to an impact, and is stopped within 30 ms: its place in heights."""
    speed = np.where(times < at, 4.0 * np.exp((times - at) / 0.08), 4.0 * np.exp((at - times) / 0.03))
    return np.cumsum(speed) * (times[1] - times[0])


def test_speed_is_not_smeared_over_an_impact():
    """Source E18: a filter that runs through the impact makes the peak too low; ours gives way just there."""
    fine = np.arange(0, 3, 1 / 960)
    rng = np.random.default_rng(7)
    kept, filtered = [], []
    for shift in rng.uniform(0, 1 / 60, 12):
        place, times = impact(fine, 1.5 + shift)[::16], fine[::16]
        points = np.zeros((len(times), K, 2))
        points[:, INDEX["nose"], 1] = -0.9
        points[:, INDEX["right_wrist"], 0] = place
        points += rng.normal(0, 0.004, points.shape)
        hand = points[:, [INDEX["right_wrist"]]]
        cutoff = RAISED * residual_cutoffs(hand, 60.0)[0]
        ours = np.gradient(smooth_points(points, times)[:, INDEX["right_wrist"], 0], times)
        plain = np.gradient(low_pass(hand[:, 0, 0], 60.0, cutoff), times)
        true = np.gradient(place, times).max()
        kept.append(ours.max() / true)
        filtered.append(plain.max() / true)
        # No lag: the fastest moment is within two frames of the impact.
        assert abs(times[ours.argmax()] - (1.5 + shift)) < 2 / 60
    assert np.mean(kept) > 0.88
    assert np.mean(filtered) < 0.85


def test_a_few_wild_frames_hardly_bend_the_path():
    times = np.arange(120) / 60
    points = np.zeros((120, K, 2))
    points[:, INDEX["nose"], 1] = -1.0
    points[..., 0] = np.sin(2 * np.pi * 0.7 * times)[:, None]
    clean = points.copy()
    points += np.random.default_rng(8).normal(0, 0.004, points.shape)
    points[[40, 41, 80], INDEX["left_knee"], 1] += 0.5
    off = np.abs(smooth_points(points, times) - clean)[:, INDEX["left_knee"], 1]
    plain = np.abs(low_pass(points[:, INDEX["left_knee"]], 60.0, 8.0)[:, 1] - clean[:, INDEX["left_knee"], 1])
    assert off.max() < 0.05
    assert plain.max() > 0.2


def track_of(image, times):
    t = len(times)
    return Track(times, image, np.zeros((t, K, 3)), np.full((t, K), 0.9), (640, 360))


def test_what_is_bridged_is_flagged_and_counts_as_hidden():
    times = np.arange(80) / 60
    image = np.random.default_rng(9).normal(100, 1, (80, K, 2))
    image[20:24, INDEX["left_wrist"]] = np.nan
    image[40:60] = np.nan
    out = smooth(track_of(image, times))
    assert out.bridged[20:24, INDEX["left_wrist"]].all()
    assert out.bridged.sum() == 4
    assert (out.visibility[out.bridged] == 0.0).all()
    assert (out.visibility[~out.bridged] == 0.9).all()
    # Too long to bridge: never invented.
    assert np.isnan(out.image[40:60]).all()


def test_a_bridge_follows_the_curve_rather_than_the_chord():
    """Four missing frames on a parabola: a straight line would be off by its sagitta."""
    times = np.arange(60) / 60
    image = np.zeros((60, K, 2))
    image[..., 1] = np.linspace(0, 200, K)
    image[..., 0] = (2000 * (times - 0.5) ** 2)[:, None]
    truth = image[28:32, 5, 0].copy()
    image[28:32, 5] = np.nan
    out = smooth(track_of(image, times)).image[28:32, 5, 0]
    sagitta = np.abs(np.interp(times[28:32], times[[27, 32]], image[[27, 32], 5, 0]) - truth).max()
    assert sagitta > 2.5
    assert np.abs(out - truth).max() < 0.5 * sagitta


def test_nothing_reaches_across_a_hole():
    """What is before a hole comes out the same whatever comes after it."""
    rng = np.random.default_rng(10)
    times = np.concatenate([np.arange(60) / 60, 9.0 + np.arange(60) / 60])
    image = rng.normal(100, 1, (120, K, 2))
    image[59], image[60] = np.nan, np.nan
    other = image.copy()
    other[61:] += 300.0
    a, b = (smooth(track_of(x, times)).image for x in (image, other))
    np.testing.assert_allclose(a[:59], b[:59], atol=1e-6)
    np.testing.assert_allclose(a[61:] + 300.0, b[61:], atol=1e-3)
    assert np.isnan(a[59:61]).all()
