"""Camera side: the definition of the axes, and the target read from an ideal body."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.stroke.direction import (
    SIDES,
    azimuth_of,
    camera_to_court,
    side_name,
    wrap,
)


@pytest.mark.parametrize("azimuth", [0, 45, 90, 135, 180, -135, -90, -45])
def test_axes_are_those_of_the_definition(azimuth):
    turn = camera_to_court(azimuth)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    a = np.radians(azimuth)
    # The direction to the camera: in front of the player is +X, on the player's right is +Z.
    np.testing.assert_allclose(turn @ [0, 0, 1], [np.cos(a), 0, np.sin(a)], atol=1e-12)
    np.testing.assert_allclose(turn @ [0, 1, 0], [0, 1, 0], atol=1e-12)


def test_seen_from_the_front_the_players_right_is_on_the_left_of_the_picture():
    assert (camera_to_court(0.0).T @ [0, 0, 1])[0] == pytest.approx(-1.0)
    assert (camera_to_court(90.0).T @ [1, 0, 0])[0] == pytest.approx(1.0)


@given(st.floats(-1000, 1000))
def test_wrap(angle):
    assert -180 < wrap(angle) <= 180
    assert np.cos(np.radians(wrap(angle))) == pytest.approx(np.cos(np.radians(angle)), abs=1e-9)


def test_names():
    assert side_name(93.0) == "right side"
    assert side_name(-179.0) == side_name(179.0) == "back"
    assert [side_name(a) for a, _ in SIDES] == [n for _, n in SIDES]


@pytest.mark.parametrize("azimuth", [90.0, 20.0, -60.0, 170.0])
def test_a_direction_and_its_azimuth(azimuth):
    a = np.radians(azimuth)
    assert azimuth_of(3.0 * np.array([np.sin(a), np.cos(a)])) == pytest.approx(azimuth)
    # The target, +X on the court, seen on camera axes.
    assert azimuth_of((camera_to_court(azimuth).T @ [1.0, 0.0, 0.0])[[0, 2]]) == pytest.approx(azimuth)
