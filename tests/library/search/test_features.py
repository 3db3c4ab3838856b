"""The matrix of a swing: the comparison's own quantity, contact in its row, either hand alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.align import dtw
from swingmatch.align.features import features, normalised_weights, rows
from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.errors import StrokeError
from swingmatch.library.folder import load_library
from swingmatch.library.search.features import (
    COLUMNS,
    CONTACT_ROW,
    FRAMES,
    SHARES,
    in_degrees,
    resampled,
    swing_features,
)
from swingmatch.library.search.nearest import nearest
from swingmatch.library.search.table import Table


@pytest.fixture(scope="module")
def swings():
    return [volunteer.swings[0] for volunteer in load_library() if volunteer.stroke == "forehand"]


def bare(swing):
    return replace(swing, racket=None)


def test_shape_and_what_is_missing(swings):
    matrix = swing_features(bare(swings[0]), racket=True)
    assert matrix.shape == (FRAMES, COLUMNS) == (120, 36)
    assert matrix.dtype == np.float32
    assert np.isnan(matrix[:, 33:]).all()
    assert np.isfinite(matrix[:, :33]).all()
    assert SHARES.sum() == pytest.approx(1.0)


def test_search_distance_is_the_comparisons_own_quantity(swings):
    """Built from the comparison's features at the same moments, warped by its own DTW, in degrees a segment."""
    matrices = [swing_features(swing) for swing in swings]
    table = Table.of([str(n) for n in range(len(swings))], np.array(matrices), SHARES)
    found = dict(nearest(matrices[0], table, len(swings), 12))
    for n, swing in enumerate(swings):
        pair = [features(s, times_of(s)) for s in (swings[0], swing)]
        weights = normalised_weights(pair[0].seen, pair[1].seen)
        expected = dtw.distance(*(rows(f.directions, weights) for f in pair), 12) / np.sqrt(FRAMES)
        assert in_degrees(found[str(n)]) == pytest.approx(expected, rel=1e-5, abs=1e-5)
    assert found["0"] == 0.0


def times_of(swing):
    """The moments of the rows, told anew from the docstring."""
    known = [swing.events[e] for e in ("ready", "turn_start", "hands_apart") if e in swing.events]
    start = max(known[0] if known else -np.inf, swing.times[0], swing.contact - 1.6)
    end = min(swing.events.get("end_of_follow_through", swing.contact + 0.6) + 0.1, swing.times[-1])
    before = [start + (swing.contact - start) * n / CONTACT_ROW for n in range(CONTACT_ROW)]
    after = [swing.contact + (end - swing.contact) * n / (FRAMES - 1 - CONTACT_ROW) for n in range(37)]
    return np.array([*before, *after])


def test_a_left_hander_is_mirrored(swings):
    swing = bare(swings[0]).as_right_handed()
    other = replace(swing, points=mirror(swing.points), hand="left")
    np.testing.assert_allclose(swing_features(other), swing_features(swing), atol=1e-4)


def test_size_place_and_clock_do_not_matter(swings):
    swing = bare(swings[0])
    moved = replace(
        swing,
        points=swing.points * 1.7 + np.array([3.0, 0.0, -2.0]),
        times=swing.times + 11.0,
        events={name: at + 11.0 for name, at in swing.events.items()},
    )
    np.testing.assert_allclose(swing_features(moved), swing_features(swing), atol=2e-3)


def test_a_slower_swing_gives_the_same_rows(swings):
    swing = bare(swings[0])
    slow = replace(
        swing, times=swing.times * 1.05, events={name: at * 1.05 for name, at in swing.events.items()}
    )
    fast, late = swing_features(swing), swing_features(slow)
    np.testing.assert_allclose(late[CONTACT_ROW], fast[CONTACT_ROW], atol=1e-3)


def test_a_hidden_segment_is_missing_throughout(swings):
    points = swings[0].points.copy()
    points[:, INDEX["left_wrist"]] = np.nan
    matrix = swing_features(replace(bare(swings[0]), points=points))
    missing = np.isnan(matrix).any(axis=0)
    assert missing.sum() == 6  # the left forearm and the racket
    assert np.isnan(matrix[:, missing]).all()


def test_the_racket_counts_only_when_asked_for(swings):
    swing = bare(swings[0])
    racket = np.zeros((len(swing.times), 5, 3))
    racket[:, 2, 0] = 0.7  # straight towards the target
    swing = replace(swing, hand="right", racket=racket)
    assert np.isnan(swing_features(swing)[:, 33:]).all()
    direction = swing_features(swing, racket=True)[:, 33:]
    assert (direction[:, 0] > 10).all()
    np.testing.assert_array_equal(direction[:, 1:], 0.0)
    racket[: len(racket) // 2] = np.nan
    assert np.isnan(swing_features(replace(swing, racket=racket), racket=True)[:, 33:]).all()


def test_too_little_to_search_by(swings):
    swing = bare(swings[0])
    with pytest.raises(StrokeError, match="before contact"):
        swing_features(replace(swing, events={"contact": swing.times[0] + 0.05}))
    with pytest.raises(StrokeError, match="no part of the body"):
        swing_features(replace(swing, points=np.full_like(swing.points, np.nan)))


def test_other_lengths_are_resampled():
    ramp = np.stack([np.linspace(0, 1, 37), np.linspace(5, -5, 37)], axis=1)
    out = resampled(ramp)
    assert out.shape == (FRAMES, 2)
    np.testing.assert_allclose(out[:, 0], np.linspace(0, 1, FRAMES), atol=1e-6)
    np.testing.assert_array_equal(out[[0, -1]], ramp[[0, -1]].astype(np.float32))
    np.testing.assert_array_equal(resampled(ramp[:1]), np.repeat(ramp[:1].astype(np.float32), FRAMES, 0))
