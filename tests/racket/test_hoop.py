"""The racket as a rigid body: its size against the rules (row D2), its axes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from swingmatch.errors import StrokeError
from swingmatch.racket.hoop import RacketShape, axes_of
from swingmatch.racket.path import face_normal, head_centre, long_axis


def test_the_usual_racket_is_within_the_rules():
    """ITF Rules, appendix II (row D2): 73.7 x 31.7 cm, hitting surface 39.4 x 29.2 cm."""
    usual = RacketShape()
    assert usual.length == pytest.approx(0.685)
    assert usual.length <= 0.737
    assert usual.hoop_width <= 0.317
    assert usual.surface[0] <= 0.394
    assert usual.surface[1] <= 0.292
    # An ellipse of these axes is a common head of about 100 square inches.
    assert np.pi / 4 * usual.surface[0] * usual.surface[1] / 0.0254**2 == pytest.approx(100, abs=12)


@pytest.mark.parametrize(
    "size",
    [{"length": 0.74}, {"hoop_width": 0.32}, {"hoop_length": 0.42}, {"length": 0.3}, {"hoop_width": 0.0}],
)
def test_a_racket_that_cannot_be_is_refused_in_a_sentence(size):
    with pytest.raises(StrokeError, match=r"^A racket.*\.$"):
        RacketShape(**size)


def test_the_five_points_of_a_racket():
    butt, throat, tip, left, right = RacketShape(0.70, 0.35, 0.25).points()
    assert np.allclose(butt, 0.0)
    assert np.allclose(throat, [0, 0, 0.35])
    assert np.allclose(tip, [0, 0, 0.70])
    assert np.allclose(left, [-0.125, 0, 0.525])
    assert np.allclose(right, [0.125, 0, 0.525])


@given(st.integers(0, 10_000))
def test_axes_come_back_from_the_points_of_a_turned_racket(seed):
    turn = Rotation.random(random_state=seed).as_matrix()
    points = RacketShape().points() @ turn.T + np.array([1.0, 2.0, -3.0])
    assert np.allclose(axes_of(points), turn)
    assert np.allclose(long_axis(points), turn[:, 2])
    assert np.allclose(face_normal(points), turn[:, 1])
    assert np.allclose(head_centre(points), 0.5 * (points[3] + points[4]))
