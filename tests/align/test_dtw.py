"""DTW against its definition, a second library, worked values and textbook properties."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tslearn.metrics import dtw as tslearn_dtw

from swingmatch.align import dtw


@st.composite
def pairs(draw):
    """Two random series (N, D), (M, D) and a radius, or None. The draw of the seed is printed on failure."""
    seed = draw(st.integers(0, 2**32 - 1))
    n, m, d = draw(st.integers(1, 14)), draw(st.integers(1, 14)), draw(st.integers(1, 4))
    radius = draw(st.none() | st.integers(0, 14))
    rng = np.random.default_rng(seed)
    # Whole numbers make ties, which is where implementations part.
    make = rng.normal if draw(st.booleans()) else lambda size: rng.integers(-2, 3, size).astype(float)
    return make(size=(n, d)), make(size=(m, d)), radius


@settings(max_examples=300, deadline=None)
@given(case=pairs())
def test_the_distance_is_its_definition(naive, case):
    x, y, radius = case
    assert dtw.distance(x, y, radius) == pytest.approx(naive.dtw_distance(x, y, radius), rel=1e-12, abs=1e-12)


@settings(max_examples=300, deadline=None)
@given(case=pairs())
def test_the_path_is_allowed_and_costs_what_the_distance_says(naive, case):
    x, y, radius = case
    path = dtw.path(x, y, radius)
    assert path[0].tolist() == [0, 0]
    assert path[-1].tolist() == [len(x) - 1, len(y) - 1]
    steps = {tuple(step) for step in np.diff(path, axis=0).tolist()}
    assert steps <= {(1, 0), (0, 1), (1, 1)}
    if radius is not None:
        off = path[:, 1] - path[:, 0]
        assert off.min() >= -radius - max(0, len(x) - len(y))
        assert off.max() <= radius + max(0, len(y) - len(x))
    cost = math.sqrt(((x[path[:, 0]] - y[path[:, 1]]) ** 2).sum())
    assert cost == pytest.approx(naive.dtw_distance(x, y, radius), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_a_second_library_agrees(seed):
    """tslearn on series of the size we use, equal and unequal lengths, with and without a band."""
    rng = np.random.default_rng(seed)
    n, m = rng.integers(60, 160, 2) if seed % 2 else (120, 120)
    x, y = np.cumsum(rng.normal(size=(n, 33)), axis=0), np.cumsum(rng.normal(size=(m, 33)), axis=0)
    assert dtw.distance(x, y) == pytest.approx(tslearn_dtw(x, y), rel=1e-10)
    for radius in (3, 12, 40):
        other = tslearn_dtw(x, y, global_constraint="sakoe_chiba", sakoe_chiba_radius=radius)
        assert dtw.distance(x, y, radius) == pytest.approx(other, rel=1e-10)


def column(*values):
    return np.array(values, dtype=float)[:, None]


@pytest.mark.parametrize(
    ("x", "y", "squared"),
    [
        # sources F2; 768 and 564 from aeon's documentation, the others computed there
        (column(*range(1, 11)), column(*range(11, 21)), 768.0),
        (
            np.array([[1, 2, 3, 4, 5], [6, 7, 8, 9, 10], [0, 1, 0, 2, 0]]).T,
            np.array([[11, 12, 13, 14], [7, 8, 9, 20], [1, 3, 4, 5]]).T,
            564.0,
        ),
        (column(0, 1, 2, 1, 0), column(0, 0, 1, 2, 1, 0), 0.0),
        (column(0, 0, 1, 2, 1, 0, 1, 0, 0), column(0, 1, 2, 0, 0, 0, 0, 0, 0), 2.0),
        (column(1, 3, 4, 9, 8, 2, 1, 5, 7, 3), column(1, 6, 2, 3, 0, 9, 4, 3, 6, 3), 37.0),
    ],
)
def test_worked_values(x, y, squared):
    assert dtw.distance(x, y) ** 2 == pytest.approx(squared, rel=1e-12)


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), n=st.integers(1, 20), d=st.integers(1, 3))
def test_textbook_properties(seed, n, d):
    """sources F3: zero to itself, symmetric, falling as the band widens, Euclidean at band 0."""
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=(n, d)), rng.normal(size=(n, d))
    assert dtw.distance(x, x) == 0.0
    distances = [dtw.distance(x, y, radius) for radius in (*range(n), None)]
    assert distances[0] == pytest.approx(np.linalg.norm(x - y), rel=1e-12)
    assert (np.diff(distances) <= 1e-12).all()
    for radius in (0, 2, None):
        assert dtw.distance(y, x, radius) == pytest.approx(dtw.distance(x, y, radius), rel=1e-12)


def test_layouts_and_number_types_do_not_matter():
    rng = np.random.default_rng(5)
    x, y = rng.normal(size=(9, 3)).astype(np.float32), rng.normal(size=(11, 3)).astype(np.float32)
    plain = dtw.distance(x.astype(float), y.astype(float), 4)
    assert dtw.distance(x, y, 4) == plain
    assert dtw.distance(np.asfortranarray(x), np.repeat(y, 2, axis=1)[:, ::2], 4) == plain


@pytest.mark.parametrize(
    ("x", "y", "radius", "words"),
    [
        (np.zeros(4), np.zeros((4, 1)), None, "shapes"),
        (np.zeros((4, 2)), np.zeros((4, 3)), None, "shapes"),
        (np.zeros((0, 2)), np.zeros((4, 2)), None, "empty"),
        (np.array([[0.0], [np.nan]]), np.zeros((2, 1)), None, "NaN"),
        (np.zeros((2, 1)), np.array([[np.inf]]), None, "NaN"),
        (np.zeros((2, 1)), np.zeros((2, 1)), -1, "radius"),
    ],
)
@pytest.mark.parametrize("call", [dtw.distance, dtw.path])
def test_unfit_input_is_refused(call, x, y, radius, words):
    with pytest.raises(ValueError, match=words):
        call(x, y, radius)
