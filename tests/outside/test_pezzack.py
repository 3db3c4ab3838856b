"""The smoother against measured accelerations: the series of Pezzack, Norman & Winter 1977 (row E22).

The angle of a moving arm with noise added, and its acceleration measured apart. The data belong to a publisher and
are not part of this repository: SWINGMATCH_PEZZACK names the file, columns "Time Raw Noisy Accel" after six lines of
heading, reprinted there from Vint & Hinrichs 1996, J Biomech 29:1637-1642.
"""

import os
from pathlib import Path

import numpy as np
import pytest

from swingmatch.body.smooth import (
    HIGHEST,
    LOWEST,
    RAISED,
    low_pass,
    penalised,
    residual_cutoffs,
    smooth_points,
    stiffness_of,
)

FILE = Path(os.environ.get("SWINGMATCH_PEZZACK", ""))
pytestmark = pytest.mark.skipif(
    not FILE.is_file(),
    reason="the Pezzack series is a publisher's and not part of this repository; set SWINGMATCH_PEZZACK to its file",
)
STEP = 0.0201
RATE = 1.0 / STEP
#: Root-mean-square error of acceleration, rad/s^2, of a Butterworth filter by cutoff in Hz (E22).
RAW = {3: 6.43, 4: 4.97, 5: 4.36, 6: 4.17, 7: 4.17, 8: 4.27, 9: 4.45, 10: 4.71, 12: 5.52}
NOISY = {3: 6.40, 4: 4.92, 5: 4.50, 6: 4.79, 7: 5.64, 8: 6.96, 9: 8.61, 10: 10.43, 12: 14.19}


@pytest.fixture(scope="module")
def series():
    times, raw, noisy, acceleration = np.loadtxt(FILE, skiprows=6).T
    return times, {"raw": raw, "noisy": noisy}, acceleration


def error(angle, acceleration):
    """RMS of the three-point second difference against the measured acceleration."""
    found = np.diff(angle, 2) / STEP**2
    return float(np.sqrt(np.mean((found - acceleration[1:-1]) ** 2)))


def test_the_file_is_the_one_meant(series):
    """Facts of the series in E22."""
    times, angles, acceleration = series
    assert len(times) == 142
    assert np.allclose(np.diff(times), STEP)
    assert (acceleration.max(), times[np.argmax(acceleration)]) == pytest.approx((68.35, 1.889), abs=0.005)
    assert (acceleration.min(), times[np.argmin(acceleration)]) == pytest.approx((-96.00, 2.070), abs=0.005)
    assert np.sqrt(np.mean(acceleration**2)) == pytest.approx(23.82, abs=0.005)
    assert np.sqrt(np.mean((angles["noisy"] - angles["raw"]) ** 2)) == pytest.approx(0.0063, abs=5e-5)


@pytest.mark.parametrize(("column", "table"), [("raw", RAW), ("noisy", NOISY)])
def test_the_low_pass_filter_has_the_errors_that_were_found_for_it(series, column, table):
    _, angles, acceleration = series
    for cutoff, want in table.items():
        got = error(low_pass(angles[column][:, None], RATE, float(cutoff))[:, 0], acceleration)
        # Only the padding at the ends differs.
        assert got == pytest.approx(want, rel=0.01)


@pytest.mark.parametrize(("column", "table"), [("raw", RAW), ("noisy", NOISY)])
def test_the_smoother_finds_about_the_best_stiffness_by_itself(series, column, table):
    """Better than any Butterworth filter whose cutoff is two hertz off the best one.

    The noise differs: the right cutoff is 5 Hz for the one column and between 6 and 7, which are level, for the other.
    The penalised path is as good as the best filter (raw 4.16 to 4.17, noisy 4.37 to 4.50); the whole smoother, whose
    robust weights and pliancy are for the ends of arms, is 5 and 9 % worse than that (4.39, 4.92).
    """
    times, angles, acceleration = series
    angle = angles[column]
    least = min(table.values())
    best = np.mean([cutoff for cutoff, error in table.items() if error == least])
    limit = min(error for cutoff, error in table.items() if abs(cutoff - best) >= 2)
    cutoff = float(np.clip(RAISED * residual_cutoffs(angle[:, None, None], RATE)[0], LOWEST, HIGHEST))
    stiffness = np.full(len(angle) - 3, stiffness_of(cutoff, RATE))
    plain = error(penalised(angle[:, None], np.ones(len(angle)), stiffness)[:, 0], acceleration)
    # The whole smoother takes keypoints: the end of an arm of length one, with the noise across it.
    points = np.stack([np.cos(angle), np.sin(angle)], axis=1)[:, None]
    whole = smooth_points(points, times)[:, 0]
    full = error(np.unwrap(np.arctan2(whole[:, 1], whole[:, 0])), acceleration)
    print(f"\n{column}: at {cutoff:.1f} Hz {plain:.2f}, as a keypoint {full:.2f}; best filter {least:.2f}")
    assert plain < limit
    assert full < limit


def test_residual_analysis_comes_out_low_as_published(series):
    """Yu et al. 1999 (E16): cutoffs from residual analysis are below the best; ``RAISED`` brings them nearer."""
    _, angles, _ = series
    for column, best in (("raw", 6.5), ("noisy", 5.0)):
        found = residual_cutoffs(angles[column][:, None, None], RATE)[0]
        assert found < best
        assert abs(RAISED * found - best) < abs(found - best)
