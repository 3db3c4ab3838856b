"""Stated uncertainty: drawn errors against propagation, and coverage on errors whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from swingmatch.body.skeleton import INDEX, K
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.study.stated import HALF_WIDTH, coverage, difference, quantity_sd


@pytest.fixture(scope="module")
def points(motion):
    """A forehand in statures, 16 moments about contact: (T, K, 3)."""
    contact = np.argmin(np.abs(motion.times - motion.swings[0].events["contact"]))
    return motion.points[contact - 80 : contact + 80 : 10] / motion.stature


@pytest.fixture(scope="module")
def covariance(points):
    """Long along one direction, as depth is: sd of 0.004 across and 0.012 along, turned differently by keypoint."""
    rng = np.random.default_rng(4)
    turn = np.linalg.qr(np.eye(3) + 0.3 * rng.normal(size=(K, 3, 3)))[0]
    one = turn @ np.diag([0.004, 0.004, 0.012]) ** 2 @ turn.transpose(0, 2, 1)
    return np.broadcast_to(one, (len(points), K, 3, 3))


def drawn(points, covariance, count, seed=0):
    """``count`` bodies with each keypoint's error drawn once for all frames: (S, T, K, 3)."""
    sizes, axes = np.linalg.eigh(covariance)
    roots = (axes * np.sqrt(sizes)[..., None, :]) @ np.swapaxes(axes, -1, -2)
    normal = np.random.default_rng(seed).normal(size=(count, K, 3))
    return points + np.einsum("tkij,skj->stki", roots, normal)


#: Quantities without a median in them, which have a derivative.
SMOOTH = sorted(k for k, q in QUANTITIES.items() if q.unit == "deg")


@pytest.mark.parametrize("key", SMOOTH)
def test_draws_agree_with_propagation_to_first_order(key, points, covariance):
    """sd^2 = sum over keypoints of g' C g with the gradient g by central differences."""
    quantity, variance = QUANTITIES[key], np.zeros(len(points))
    for k in range(K):
        gradient = np.zeros((len(points), 3))
        for axis in range(3):
            step = np.zeros((K, 3))
            step[k, axis] = 1e-5
            rise = difference(quantity, quantity.compute(points + step), quantity.compute(points - step))
            gradient[:, axis] = rise / 2e-5
        variance += np.einsum("ti,tij,tj->t", gradient, covariance[:, k], gradient)
    # 1000 draws give a standard deviation to 2.2 %; what a limb near straight bends comes on top.
    stated = quantity_sd(quantity, points, drawn(points, covariance, 1000))
    assert np.median(stated / np.sqrt(variance)) == pytest.approx(1.0, abs=0.07)
    assert stated == pytest.approx(np.sqrt(variance), rel=0.2)


def test_a_known_case_in_closed_form(points):
    """Feet apart along X: only the ankles' X errors count to first order, sd = sqrt(2) s / shoulder width."""
    still = np.repeat(points[:1], 3, axis=0)
    still[:, INDEX["left_ankle"]], still[:, INDEX["right_ankle"]] = (0.0, 0.05, 0.0), (0.4, 0.05, 0.0)
    covariance = np.zeros((3, K, 3, 3))
    for side in ("left", "right"):
        covariance[:, INDEX[f"{side}_ankle"]] = np.diag([0.01**2, 0.5, 0.005**2])
    width = np.linalg.norm(still[0, INDEX["right_shoulder"]] - still[0, INDEX["left_shoulder"]])
    sd = quantity_sd(QUANTITIES["base_width"], still, drawn(still, covariance, 4000))
    assert sd == pytest.approx(np.full(3, 2**0.5 * 0.01 / width), rel=0.04)


def test_no_uncertainty_is_none(points):
    same = np.repeat(points[None], 5, axis=0)
    assert (quantity_sd(QUANTITIES["hip_turn"], points, same) == 0.0).all()


def test_whole_turns_apart_are_the_same():
    off = difference(QUANTITIES["hip_turn"], np.array([350.0, 179.0, 10.0]), np.array([-10.0, -179.0, 30.0]))
    assert off == pytest.approx([0.0, -2.0, -20.0])
    metres = difference(QUANTITIES["base_width"], np.array([400.0]), np.array([0.0]))
    assert metres == pytest.approx([400.0])


def test_coverage_of_normal_errors_is_as_stated():
    assert pytest.approx(norm.ppf(0.95), abs=1e-4) == HALF_WIDTH
    errors = np.random.default_rng(2).normal(size=20_000)
    assert coverage(errors) == pytest.approx(0.90, abs=0.01)
    assert coverage(2.0 * errors) == pytest.approx(2 * norm.cdf(HALF_WIDTH / 2) - 1, abs=0.01)
    assert np.isnan(coverage([]))
    # An error where none was stated to be possible is outside.
    assert coverage([np.inf, 0.0]) == 0.5
