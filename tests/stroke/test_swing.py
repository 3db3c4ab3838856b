"""A swing seen by a camera that stands elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.body.skeleton import K
from swingmatch.stroke import measures as m
from swingmatch.stroke.direction import camera_to_court
from swingmatch.stroke.swing import Swing


@pytest.fixture
def swing() -> Swing:
    rng = np.random.default_rng(0)
    points, racket = rng.normal(size=(4, K, 3)), rng.normal(size=(4, 5, 3))
    return Swing(
        np.arange(4.0), points, {"contact": 2.0}, "right", 30.0, racket=racket, draws=points[None] + 0.1
    )


def test_turning_is_putting_the_camera_elsewhere(swing):
    """The same picture, read with an azimuth of 50 instead of 30 degrees."""
    in_camera = swing.points @ camera_to_court(30.0)
    np.testing.assert_allclose(swing.turned(20.0).points, in_camera @ camera_to_court(50.0).T)
    assert swing.turned(20.0).camera_azimuth == 50.0


def test_turning_back_gives_the_swing_again(swing):
    again = swing.turned(33.0).turned(-33.0)
    for name in ("points", "racket", "draws"):
        np.testing.assert_allclose(getattr(again, name), getattr(swing, name), atol=1e-12)


def test_the_lines_turn_by_as_much_and_bends_do_not(swing):
    turned = swing.turned(20.0)
    gap = m.shoulder_turn(turned.points) - m.shoulder_turn(swing.points)
    assert np.abs(gap) == pytest.approx(20.0)
    bend = m.flexion(swing.points, "right_hip", "right_knee", "right_ankle")
    assert m.flexion(turned.points, "right_hip", "right_knee", "right_ankle") == pytest.approx(bend)
