"""Left and right taken for each other: hand-made tracks whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, swap_sides
from swingmatch.study.swaps import swaps

STATURE = 500.0


@pytest.fixture
def truth(see, motion):
    """A forehand from the front, where left and right are far apart in the picture: (T, K, 2) pixels."""
    return see(motion, 0.0).image


def tall(truth):
    return float(np.ptp(truth[0, :, 1]))


def test_truth_itself_and_small_errors_are_no_swaps(truth):
    rng = np.random.default_rng(1)
    for noise in (0.0, 0.01 * tall(truth)):
        found = swaps(truth + noise * rng.normal(size=truth.shape), truth, tall(truth))
        assert found.judged.mean() > 0.9
        assert not found.astray.any()
        assert not found.exchanged.any()


def test_exchanged_frames_are_told_exactly(truth):
    image = truth.copy()
    image[10:25] = swap_sides(truth)[10:25]
    found = swaps(image, truth, tall(truth))
    assert (
        np.flatnonzero(found.exchanged).tolist()
        == np.flatnonzero(found.judged)[
            (np.flatnonzero(found.judged) >= 10) & (np.flatnonzero(found.judged) < 25)
        ].tolist()
    )
    assert found.exchanged.sum() >= 14
    assert (found.astray == found.exchanged).all()


def test_one_limb_on_the_other_is_astray_but_not_exchanged(truth):
    image = truth.copy()
    for joint in ("knee", "ankle"):
        image[:, INDEX[f"left_{joint}"]] = truth[:, INDEX[f"right_{joint}"]]
    found = swaps(image, truth, tall(truth))
    apart = np.linalg.norm(truth[:, INDEX["left_knee"]] - truth[:, INDEX["right_knee"]], axis=1)
    assert found.astray[apart > 0.06 * tall(truth)].all()
    assert not found.exchanged.any()


def test_limbs_that_cover_each_other_are_not_judged(truth):
    together = truth.copy()
    for name, i in INDEX.items():
        if name.startswith("left_"):
            together[:, i] = together[:, INDEX[name.replace("left", "right")]] + 0.01 * tall(truth)
    found = swaps(swap_sides(together), together, tall(truth))
    assert not found.judged.any()
    assert not found.astray.any()


def test_frames_without_a_player_are_not_judged(truth):
    image = swap_sides(truth)
    image[5:9] = np.nan
    found = swaps(image, truth, tall(truth))
    assert not found.judged[5:9].any()
    assert not found.astray[5:9].any()
