"""Interpolation against NumPy's, and how far NaN spreads."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.series import resample


@given(st.integers(2, 30), st.integers(0, 2**32 - 1))
def test_agrees_with_numpy_interp(count, seed):
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.uniform(0.01, 1.0, count))
    values = rng.normal(size=(count, 2, 3))
    at = rng.uniform(times[0] - 1, times[-1] + 1, 40)
    got = resample(values, times, at)
    for i in range(2):
        for j in range(3):
            np.testing.assert_allclose(got[:, i, j], np.interp(at, times, values[:, i, j]), atol=1e-12)


def test_samples_come_back_exactly_and_nan_stays_near():
    times = np.arange(5.0)
    values = np.array([0.0, 1.0, np.nan, 3.0, 4.0])[:, None]
    np.testing.assert_array_equal(resample(values, times, times), values)
    assert np.isfinite(resample(values, times, np.array([1.0, 3.0]))).all()
    assert np.isnan(resample(values, times, np.array([1.5, 2.0, 2.5]))).all()


def test_one_sample_is_held():
    np.testing.assert_array_equal(
        resample(np.array([[2.0]]), np.array([1.0]), np.array([0.0, 5.0])), [[2.0], [2.0]]
    )
