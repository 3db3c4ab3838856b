"""Exchanged limbs are put back, jumps are dropped, and nothing else is touched."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.mend import _EXCHANGED, _MOST, _exchanged, drop_jumps, mend, mend_swaps
from swingmatch.body.skeleton import INDEX, swap_sides

ARMS = [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("elbow", "wrist", "hand")]
LEGS = [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("knee", "ankle", "heel", "toe")]


@pytest.fixture(scope="module")
def track(motion, see):
    return see(motion, 100.0)


def swapped(track, frames, limb):
    image = track.image.copy()
    image[np.ix_(frames, limb)] = swap_sides(track.image)[np.ix_(frames, limb)]
    return replace(track, image=image)


def brute(left, right):
    """Every sequence of keep and exchange, the cheapest wins."""
    best = None
    for states in itertools.product((False, True), repeat=len(left)):
        a = np.array([r if s else x for s, x, r in zip(states, left, right, strict=True)])
        b = np.array([x if s else r for s, x, r in zip(states, left, right, strict=True)])
        cost = sum(
            np.minimum(np.linalg.norm(v[1:] - v[:-1], axis=2), _MOST).sum() for v in (a, b)
        ) + _EXCHANGED * sum(states)
        if best is None or cost < best[0] - 1e-12:
            best = (cost, states)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_cheapest_sequence_agrees_with_trying_all(seed):
    rng = np.random.default_rng(seed)
    left, right = rng.normal(0, 0.1, (2, 8, 3, 2))
    found = _exchanged(left, right)
    a = np.where(found[:, None, None], right, left)
    b = np.where(found[:, None, None], left, right)
    cost = (
        sum(np.minimum(np.linalg.norm(v[1:] - v[:-1], axis=2), _MOST).sum() for v in (a, b))
        + _EXCHANGED * found.sum()
    )
    assert cost == pytest.approx(brute(left, right)[0], abs=1e-12)


@pytest.mark.parametrize("limb", [ARMS, LEGS], ids=["arms", "legs"])
@pytest.mark.parametrize("length", [1, 4, 9])
def test_planted_exchange_is_put_back(track, limb, length):
    # In the take-back, when hands and feet are well apart, so that there is one right answer.
    start = int(np.argmin(np.abs(track.times - 1.35)))
    broken = swapped(track, np.arange(start, start + length), limb)
    assert not np.allclose(broken.image, track.image)
    np.testing.assert_array_equal(mend_swaps(broken).image, mend_swaps(track).image)


def test_a_sound_track_is_hardly_touched(track):
    same = (mend(track).image == track.image).all(axis=2)
    assert same.mean() > 0.99


def test_a_jump_is_dropped_and_the_fast_hand_is_kept(track):
    image = track.image.copy()
    image[50, INDEX["left_knee"]] += 200.0
    out = drop_jumps(replace(track, image=image))
    assert np.isnan(out.image[50, INDEX["left_knee"]]).all()
    assert np.isnan(out.world[50, INDEX["left_knee"]]).all()
    assert np.isnan(out.image[..., 0]).sum() == 1


def test_frames_without_the_player_pass_through(track):
    image = track.image.copy()
    image[20:30] = np.nan
    out = mend(replace(track, image=image))
    assert np.isnan(out.image[20:30]).all()
    assert np.isfinite(out.image[:20]).all()


def test_a_half_seen_frame_is_left_alone_and_spoils_nothing(track):
    start = int(np.argmin(np.abs(track.times - 1.35)))
    broken = swapped(track, np.arange(start, start + 4), ARMS)
    broken.image[start + 2, INDEX["right_wrist"]] = np.nan
    out = mend_swaps(broken).image
    others = np.arange(len(out)) != start + 2
    np.testing.assert_array_equal(out[others], mend_swaps(track).image[others])
    np.testing.assert_array_equal(out[start + 2], broken.image[start + 2])
