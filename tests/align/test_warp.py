"""The time warp between two swings: planted warps come back, and what must not matter does not."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.align.warp import RATE, SLOPES, align, aligned_repeats, distance
from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.errors import StrokeError

#: A player whose build and pose differ from the model's by 3 to 10 degrees a joint.
OTHER_STYLE = np.array([5, 8, 3, 10, 10, -8, 8, 10.0])
#: Planted clocks: stroke time = t + a sin(b t); slope 1 + a b cos(b t), all well inside 1/3..3.
PLANTED = [(0.15, 3), (-0.15, 3), (0.1, 5), (-0.1, 5), (0.06, 8), (-0.06, 8), (0.2, 2)]
#: Half the time between two frames at 120 and at 60 frames a second: sources E20. An alignment that is right to half
#: a frame puts the right frame of the film beside the player's.
HALF_FRAME_120, HALF_FRAME_60 = 0.0042, 0.0083


def planted(a, b):
    return lambda t: t + a * np.sin(b * t)


def errors(alignment, clock):
    return np.abs(alignment.model_times - clock(alignment.player_times))


def noisy(swing, size, seed):
    return replace(
        swing, points=swing.points + np.random.default_rng(seed).normal(0, size, swing.points.shape)
    )


def check_invariants(alignment):
    """Beyond what ``Alignment`` itself enforces: contact on contact, and slopes kept sane."""
    at_contact = np.flatnonzero(alignment.player_times == 0.0)
    assert len(at_contact) == 1
    assert alignment.model_times[at_contact[0]] == 0.0
    slopes = np.diff(alignment.model_times) / np.diff(alignment.player_times)
    assert slopes.min() >= SLOPES[0] * (1 - 1e-9)
    assert slopes.max() <= SLOPES[1] * (1 + 1e-9)
    # smooth: no jump of the slope between two samples by more than a fifth of the allowed range
    assert np.abs(np.diff(slopes)).max(initial=0.0) < 0.2 * (SLOPES[1] - SLOPES[0])


def test_a_swing_and_itself(movers):
    swing = movers.swing()
    alignment = align(swing, swing)
    np.testing.assert_allclose(alignment.model_times, alignment.player_times, atol=1e-12)
    assert alignment.distance == pytest.approx(0.0, abs=1e-9)
    assert distance(swing, swing) == 0.0
    assert alignment.player_times[0] == pytest.approx(-1.2)
    assert alignment.player_times[-1] == pytest.approx(0.55, abs=1 / RATE)
    check_invariants(alignment)


def test_where_a_clock_starts_does_not_matter(movers):
    clock = planted(0.1, 5)
    here = align(movers.swing(clock), movers.swing())
    there = align(movers.swing(clock, contact=1234.0), movers.swing(contact=-7.0))
    np.testing.assert_allclose(there.model_times, here.model_times, atol=1e-9)
    assert there.distance == pytest.approx(here.distance, abs=1e-6)


@pytest.mark.parametrize(("a", "b"), PLANTED)
def test_a_planted_warp_comes_back(movers, a, b):
    clock = planted(a, b)
    alignment = align(movers.swing(clock), movers.swing())
    check_invariants(alignment)
    plain = np.abs(alignment.player_times - clock(alignment.player_times))
    found = errors(alignment, clock)
    assert np.median(found) < max(HALF_FRAME_120, 0.1 * np.median(plain))
    # the stroke proper, from the take-back on, where nothing is still
    assert found[alignment.player_times > -0.6].max() < 2 * HALF_FRAME_60


@pytest.mark.parametrize(("a", "b"), PLANTED)
@pytest.mark.parametrize("rate", [120.0, 60.0])
def test_noise_of_three_centimetres(movers, a, b, rate):
    """Joint error in plane with good tracking (sources E6: most below 30 mm), for a player of 1.80 m."""
    clock = planted(a, b)
    player = noisy(movers.swing(clock, rate), 0.03 / 1.80, seed=int(100 * abs(a)) + b)
    alignment = align(player, movers.swing())
    check_invariants(alignment)
    found = errors(alignment, clock)
    assert np.median(found) < 2 * HALF_FRAME_60
    assert found[alignment.player_times > -0.6].max() < 4 * HALF_FRAME_60


def test_a_player_of_another_style_with_noise_at_30_frames(movers):
    medians = []
    for k, (a, b) in enumerate(PLANTED):
        clock = planted(a, b)
        player = noisy(movers.swing(clock, 30.0, style=OTHER_STYLE), 0.03 / 1.80, seed=k)
        alignment = align(player, movers.swing())
        check_invariants(alignment)
        medians.append(np.median(errors(alignment, clock)))
    # half a frame of the player's own film
    assert np.median(medians) < 1 / 60


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_any_two_swings_keep_the_invariants(movers, seed):
    """Styles far apart, strong noise and holes: the clock stays a clock."""
    rng = np.random.default_rng(seed)
    rate = float(rng.choice([25.0, 30.0, 59.94, 240.0]))
    player = movers.swing(planted(*PLANTED[seed % len(PLANTED)]), rate, style=rng.normal(0, 25, 8))
    player = noisy(player, 0.05, seed)
    player.points[rng.random(player.points.shape[:2]) < 0.2] = np.nan
    check_invariants(align(player, movers.swing(style=rng.normal(0, 25, 8))))


def test_the_size_of_the_body_does_not_matter(movers):
    player, model = movers.swing(planted(0.1, 5), style=OTHER_STYLE), movers.swing()
    here = align(player, model)
    there = align(replace(player, points=1.9 * player.points), replace(model, points=0.7 * model.points))
    np.testing.assert_allclose(there.model_times, here.model_times, atol=1e-9)
    assert there.distance == pytest.approx(here.distance, rel=1e-9)


def test_a_left_hander_is_aligned_as_the_mirror_image(movers):
    player = noisy(movers.swing(planted(0.1, 5), style=OTHER_STYLE), 0.01, 3)
    model = movers.swing()
    left = replace(player, points=mirror(player.points), hand="left")
    left_model = replace(model, points=mirror(model.points), hand="left")
    here = align(player, model)
    for mine, other in ((left, model), (player, left_model), (left, left_model)):
        there = align(mine, other)
        np.testing.assert_array_equal(there.model_times, here.model_times)
        assert there.distance == here.distance
    assert distance(player, left) == 0.0


def test_hidden_joints(movers):
    """The left arm never seen, the right wrist gone for 0.12 s, a tenth of all the rest dropped at random."""
    clock = planted(0.1, 5)
    player = movers.swing(clock)
    points = player.points.copy()
    rng = np.random.default_rng(11)
    points[rng.random(points.shape[:2]) < 0.1] = np.nan
    points[:, INDEX["left_elbow"]] = np.nan
    points[(player.times > -0.3) & (player.times < -0.18), INDEX["right_wrist"]] = np.nan
    alignment = align(replace(player, points=points), movers.swing())
    check_invariants(alignment)
    assert np.median(errors(alignment, clock)) < HALF_FRAME_60


def test_waiting_before_the_stroke_is_not_forced_on_the_model(movers):
    """Half a second more of standing still before the turn must leave the rest of the clock alone."""
    clock = lambda t: np.where(t < -1.7, t + 0.5, np.where(t < -1.2, -1.2, t))  # noqa: E731
    player = movers.swing()
    still = np.repeat(player.points[:1], 60, axis=0)
    times = np.concatenate([player.times[0] - np.arange(60, 0, -1) / 120, player.times])
    waited = replace(
        player,
        times=times,
        points=np.concatenate([still, player.points]),
        events={**player.events, "ready": player.events["ready"] - 0.35},
    )
    alignment = align(waited, movers.swing())
    check_invariants(alignment)
    moving = alignment.player_times > -1.0
    assert errors(alignment, clock)[moving].max() < 2 * HALF_FRAME_60


def test_missing_events_and_a_short_recording(movers):
    player = movers.swing(planted(0.1, 3))
    bare = replace(player, events={"contact": 0.0})
    check_invariants(align(bare, movers.swing()))
    cut = player.times > -0.5
    late = replace(player, times=player.times[cut], points=player.points[cut], events={"contact": 0.0})
    alignment = align(late, movers.swing())
    check_invariants(alignment)
    assert np.median(errors(alignment, planted(0.1, 3))) < 2 * HALF_FRAME_60


def test_too_little_before_contact_is_said(movers):
    player = movers.swing()
    cut = player.times > -0.1
    late = replace(player, times=player.times[cut], points=player.points[cut], events={"contact": 0.0})
    with pytest.raises(StrokeError, match="before contact"):
        align(late, movers.swing())


def test_a_body_never_seen_is_said(movers):
    player = movers.swing()
    with pytest.raises(StrokeError, match="no part of the body"):
        align(replace(player, points=np.full_like(player.points, np.nan)), movers.swing())


def test_distance_is_symmetric_and_tells_styles_apart(movers):
    model = movers.swing()
    near, far = movers.swing(planted(0.1, 5), style=0.5 * OTHER_STYLE), movers.swing(style=2 * OTHER_STYLE)
    assert distance(near, model) == pytest.approx(distance(model, near), rel=1e-12)
    assert 0 < distance(near, model) < distance(far, model)


def test_repeats_are_aligned_to_the_first(movers):
    repeats = [movers.swing(planted(a, b)) for a, b in PLANTED[:3]]
    alignments = aligned_repeats(movers.swing(), repeats)
    assert len(alignments) == 3
    for alignment, (a, b) in zip(alignments, PLANTED[:3], strict=True):
        assert np.median(errors(alignment, planted(a, b))) < HALF_FRAME_120
