"""Where the ball meets the strings, on a racket and a camera that are known."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.racket.held import RacketWatcher
from swingmatch.racket.path import RacketPath, face_normal, head_centre
from swingmatch.racket.points import TIP
from swingmatch.racket.strings import sight, struck_at
from swingmatch.racket.view import View

VIEW = View((1280, 720), tilt=0.1)


def path(face=(0.3, -0.1, 1.0)):
    """A racket that stands still three statures before the camera; its draws are itself."""
    shaft = np.array([1.0, 0.2, 0.0]) / np.hypot(1.0, 0.2)
    normal = np.asarray(face, float)
    normal = normal - (normal @ shaft) * shaft
    across = 0.075 * np.cross(normal / np.linalg.norm(normal), shaft)
    butt = np.array([-0.2, -0.1, -3.0])
    middle = butt + 0.3 * shaft
    points = np.stack([butt, butt + 0.2 * shaft, butt + 0.39 * shaft, middle - across, middle + across])
    times = np.arange(5) / 60.0
    whole = np.repeat(points[None], 5, axis=0)
    known = np.ones(5, bool)
    return RacketPath(times, whole, np.repeat(whole[None], 30, axis=0), known, np.zeros(5), np.zeros(5), 0.39)


def test_a_line_of_sight_goes_through_what_is_seen_there():
    place = np.array([0.4, -0.3, -3.2])
    np.testing.assert_allclose(sight(VIEW, VIEW.project(place)), place / np.linalg.norm(place), atol=1e-12)


@pytest.mark.parametrize(("along", "across"), [(0.0, 0.0), (0.6, -0.4), (-0.5, 0.5)])
def test_the_ball_is_met_where_it_was_put_on_the_strings(along, across):
    racket = path()
    there = racket.points[2]
    middle = head_centre(there)
    ball = middle + along * (there[TIP] - middle) + across * (there[4] - middle)
    place, draws = struck_at(racket, VIEW, VIEW.project(ball), 2.0, 2.5 / 60.0)
    np.testing.assert_allclose(place, ball, atol=1e-9)
    assert np.nanstd((draws - place) @ (there[TIP] - middle)) > 0.0
    np.testing.assert_allclose((draws - middle) @ face_normal(there), 0.0, atol=1e-9)


def test_a_face_seen_edge_on_and_a_ball_elsewhere_tell_nothing():
    assert struck_at(path((0.0, 1.0, 0.0)), VIEW, np.array([640.0, 360.0]), 2.0, 0.03) is None
    assert struck_at(path(), VIEW, np.array([100.0, 100.0]), 2.0, 0.03) is None


def test_without_marks_and_without_a_finder_there_is_no_racket():
    nothing = np.zeros((5, 21, 3))
    watcher = RacketWatcher((1280, 720), 300.0)
    assert watcher(np.arange(5) / 60.0, nothing, nothing[None], 0.0, 0.03, "right") is None
