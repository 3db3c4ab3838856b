"""Segment directions: angles that are known by hand, sizes that must not matter, and holes."""

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.align.features import (
    SEGMENT_NAMES,
    SHORT_GAP,
    feature_matrix,
    features,
    normalised_weights,
    rows,
    segment_directions,
)
from swingmatch.body.skeleton import INDEX, K, mirror

RIGHT_ARM = [SEGMENT_NAMES.index("right_upper_arm"), SEGMENT_NAMES.index("right_forearm")]


def without(swing, name, hidden):
    points = swing.points.copy()
    points[hidden, INDEX[name]] = np.nan
    return replace(swing, points=points)


def test_directions_by_hand():
    body = np.full((1, K, 3), np.nan)
    for name, at in {
        "left_shoulder": (0, 1.5, -0.2),
        "right_shoulder": (0, 1.5, 0.2),
        "left_hip": (0, 1, -0.1),
        "right_hip": (0, 1, 0.1),
        "right_elbow": (0, 1.2, 0.2),
        "right_wrist": (0.3, 1.2, 0.6),
    }.items():
        body[0, INDEX[name]] = at
    got = dict(zip(SEGMENT_NAMES, segment_directions(body)[0], strict=True))
    np.testing.assert_allclose(got["shoulder_line"], [0, 0, 1])
    np.testing.assert_allclose(got["trunk"], [0, 1, 0])
    np.testing.assert_allclose(got["right_upper_arm"], [0, -1, 0], atol=1e-15)
    np.testing.assert_allclose(got["right_forearm"], [0.6, 0, 0.8], atol=1e-15)
    assert np.isnan(got["left_forearm"]).all()
    assert np.isnan(got["right_shank"]).all()


def test_a_segment_without_length_has_no_direction():
    assert np.isnan(segment_directions(np.zeros((2, K, 3)))).all()


def test_distance_is_the_angle_in_degrees_where_all_segments_turn_alike():
    weights = normalised_weights()
    still = np.tile([1.0, 0.0, 0.0], (1, len(SEGMENT_NAMES), 1))
    for angle in (1.0, 5.0, 30.0):
        a = np.deg2rad(angle)
        turned = np.tile([np.cos(a), np.sin(a), 0.0], (1, len(SEGMENT_NAMES), 1))
        apart = np.linalg.norm(rows(still, weights) - rows(turned, weights))
        assert apart == pytest.approx(2 * np.sin(a / 2) * 180 / np.pi, rel=1e-12)  # the chord
        assert apart == pytest.approx(angle, rel=0.012)


def test_rows_are_what_the_dtw_library_needs(movers):
    swing = movers.swing()
    matrix = feature_matrix(swing, swing.contact + np.linspace(-1, 0.5, 50))
    assert matrix.shape == (50, 3 * len(SEGMENT_NAMES))
    assert matrix.dtype == np.float64
    assert matrix.flags.c_contiguous
    assert np.isfinite(matrix).all()
    # every row has the same length: unit vectors, weights that sum to 1, radians to degrees
    np.testing.assert_allclose(np.linalg.norm(matrix, axis=1), 180 / np.pi, rtol=1e-12)


def test_size_place_and_hand_do_not_matter(movers):
    swing = movers.swing()
    times = np.linspace(-1, 0.5, 40)
    plain = feature_matrix(swing, times)
    moved = replace(swing, points=1.83 * swing.points + np.array([3.0, 0.1, -2.0]))
    np.testing.assert_allclose(feature_matrix(moved, times), plain, atol=1e-10)
    left = replace(swing, points=mirror(swing.points), hand="left")
    np.testing.assert_array_equal(feature_matrix(left, times), plain)


def test_a_short_gap_is_bridged(movers):
    swing = movers.swing()
    times = np.linspace(-1, 0.5, 181)
    hidden = (swing.times > -0.62) & (swing.times < -0.62 + 0.8 * SHORT_GAP)
    found = features(without(swing, "right_elbow", hidden), times)
    assert found.seen.all()
    whole = features(swing, times)
    apart = np.linalg.norm(rows(found.directions - whole.directions, normalised_weights()), axis=1)
    assert 0 < apart.max() < 5.0  # degrees; the arm itself turns by more than 60 degrees in this half second


def test_a_segment_that_is_hardly_seen_is_left_out(movers):
    swing = movers.swing()
    times = np.linspace(-1, 0.5, 181)
    for hidden in (slice(None), swing.times > -0.5):
        found = features(without(swing, "right_elbow", hidden), times)
        assert sorted(np.flatnonzero(~found.seen)) == sorted(RIGHT_ARM)
        assert (found.directions[:, RIGHT_ARM] == 0).all()
        weights = normalised_weights(found.seen)
        assert (weights[RIGHT_ARM] == 0).all()
        assert weights.sum() == pytest.approx(1.0)


def test_a_long_gap_in_a_segment_that_is_mostly_seen_leaves_no_hole(movers):
    swing = movers.swing()
    hidden = (swing.times > -0.9) & (swing.times < -0.6)
    found = features(without(swing, "left_knee", hidden), np.linspace(-1, 0.5, 181))
    assert found.seen.all()
    assert np.isfinite(found.directions).all()


def test_nothing_seen_weighs_nothing(movers):
    swing = movers.swing()
    found = features(replace(swing, points=np.full_like(swing.points, np.nan)), np.linspace(-1, 0.5, 20))
    assert not found.seen.any()
    assert not normalised_weights(found.seen).any()
