"""Limbs on the other side are put back as the odds say, and only those."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body import sides
from swingmatch.body.sides import likeliest, put_back
from swingmatch.body.skeleton import INDEX, swap_sides


@pytest.mark.parametrize("seed", range(8))
def test_likeliest_agrees_with_trying_all(seed):
    odds = np.random.default_rng(seed).normal(0, 3, 9)
    change = 2.5

    def cost(states):
        return (
            -sum(odds[list(states)])
            if False
            else sum(-o * s for o, s in zip(odds, states, strict=True))
            + change * sum(a != b for a, b in itertools.pairwise(states))
        )

    best = min(itertools.product((0, 1), repeat=9), key=cost)
    assert cost(likeliest(odds, change).astype(int).tolist()) == pytest.approx(cost(best))


def test_nothing_is_touched_where_all_is_well(motion, see):
    track = see(motion, 80.0, noise=1.0)
    np.testing.assert_array_equal(put_back(track).image, track.image)


def test_a_leg_pair_exchanged_for_long_is_put_back(motion, see, monkeypatch):
    """With odds that are right, exactly the frames they name are changed, in picture, space and visibility."""
    track = see(motion, 100.0)
    frames = np.arange(60, 130)
    legs = [INDEX[f"{s}_{p}"] for s in ("left", "right") for p in ("knee", "ankle", "heel", "toe")]
    image = track.image.copy()
    image[np.ix_(frames, legs)] = swap_sides(track.image)[np.ix_(frames, legs)]

    def odds(track, start, stop):
        out = np.full((stop - start, 3), -4.0)
        out[frames - start, 1] = 4.0
        return out

    monkeypatch.setattr(sides, "_odds", odds)
    np.testing.assert_array_equal(put_back(replace(track, image=image)).image, track.image)


def test_short_and_empty_runs_are_left_alone(motion, see):
    track = see(motion, 80.0)
    image = np.full_like(track.image, np.nan)
    image[10:20] = track.image[10:20]
    np.testing.assert_array_equal(put_back(replace(track, image=image)).image, image)
