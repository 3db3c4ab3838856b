"""Build ratios: the published average body reads as average, and size, hand and holes do not matter."""

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.library.build import AVERAGE, RATIOS, build_from_lengths, measure_build, segment_lengths


def test_the_mover_is_built_to_the_table_and_reads_as_average(movers):
    swing = movers.swing()
    lengths = segment_lengths(swing.points)
    # tests/movers.py takes its lengths from row C1; its hips and shoulders too
    assert lengths == pytest.approx({**AVERAGE, "hip_width": 0.19, "shoulder_width": 0.258}, abs=1e-9)
    for name, value in measure_build(swing.points).against_average.items():
        assert value == pytest.approx(1.0, abs=0.01), name


def test_a_ratio_by_hand():
    lengths = {**AVERAGE, "upper_arm": 2 * AVERAGE["upper_arm"], "forearm": 2 * AVERAGE["forearm"]}
    assert build_from_lengths(lengths).against_average["arm_for_height"] == pytest.approx(2.0)
    assert build_from_lengths(AVERAGE).ratios["arm_for_height"] == pytest.approx(0.332)  # C1: 0.186 + 0.146


def test_size_hand_and_turning_do_not_matter(movers):
    swing = movers.swing()
    plain = measure_build(swing.points).ratios
    assert measure_build(1.83 * swing.points).ratios == pytest.approx(plain, rel=1e-9)
    assert measure_build(mirror(swing.points)).ratios == pytest.approx(plain, rel=1e-9)


def test_wild_frames_and_holes_move_it_little(movers):
    swing = movers.swing()
    points = swing.points.copy()
    rng = np.random.default_rng(3)
    points[rng.random(points.shape[:2]) < 0.15] = np.nan
    points[::10] += rng.normal(0, 0.3, points[::10].shape)
    for name, value in measure_build(points).against_average.items():
        assert value == pytest.approx(1.0, abs=0.02), name


def test_what_is_never_seen_is_nan(movers):
    points = movers.swing().points.copy()
    points[:, [INDEX["left_wrist"], INDEX["right_wrist"]]] = np.nan
    ratios = measure_build(points).ratios
    assert set(ratios) == set(RATIOS)
    assert {name for name, value in ratios.items() if np.isnan(value)} == {
        "arm_for_height",
        "forearm_for_upper_arm",
    }
