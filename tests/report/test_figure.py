"""The drawn body: projection, depth order, what is drawn and what is not."""

import matplotlib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.report.figure import View, draw_figure, draw_stage, turn
from swingmatch.report.palette import FULL_SCALE_DEG, NOT_VISIBLE, VIRIDIS, difference_colour, rgb

SIZE = (320, 400)


@given(azimuth=st.floats(-360, 360), pitch=st.floats(-40, 40))
def test_turning_keeps_lengths_and_handedness(azimuth, pitch):
    seen = turn(np.eye(3), azimuth, pitch)
    np.testing.assert_allclose(seen @ seen.T, np.eye(3), atol=1e-12)
    # Camera axes (right, up, towards the camera) are right-handed, as the court's are.
    assert np.linalg.det(seen) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("azimuth", "towards"), [(0, [1, 0, 0]), (90, [0, 0, 1]), (180, [-1, 0, 0]), (-90, [0, 0, -1])]
)
def test_camera_stands_where_the_azimuth_says(azimuth, towards):
    np.testing.assert_allclose(turn(np.array(towards, float), azimuth), [0, 0, 1], atol=1e-12)


def test_target_is_on_the_right_of_the_picture_seen_from_the_players_right():
    assert View(90.0, 100.0, (0, 0), (0, 0)).project(np.array([1.0, 0, 0]))[0] == pytest.approx(100.0)


def test_seen_from_the_other_side_a_mirrored_body_is_the_same_picture(scene):
    points = scene.points[90]
    there = View(60.0, 200.0, (0, 0), (160, 380)).project(points)
    mirrored = View(-60.0, 200.0, (0, 0), (160, 380)).project(mirror(points))
    swap = [INDEX[n.replace("left", "#").replace("right", "left").replace("#", "right")] for n in INDEX]
    np.testing.assert_allclose(mirrored[swap, 0] - 160, -(there[:, 0] - 160), atol=1e-9)
    np.testing.assert_allclose(mirrored[swap, 1:], there[:, 1:], atol=1e-9)


def test_figure_covers_its_keypoints_and_leaves_the_background_alone(scene):
    view = View(70.0, 300.0, (0, 0), (140, 370))
    stage = draw_stage(SIZE, view)
    before = stage.copy()
    out = draw_figure(stage, scene.points[90], view, racket=scene.racket[90])
    assert (stage == before).all()
    changed = (out != stage).any(axis=2)
    at = np.round(view.project(scene.points[90])[:, :2]).astype(int)
    inside = (at >= 0).all(axis=1) & (at < SIZE).all(axis=1)
    assert inside.sum() > 15
    assert changed[at[inside, 1], at[inside, 0]].all()
    assert not changed[:20, :20].any()


def test_limb_nearer_to_the_camera_hides_the_other():
    points = np.full((K, 3), np.nan)
    for side, z in (("right", 0.2), ("left", -0.2)):
        points[INDEX[f"{side}_heel"]], points[INDEX[f"{side}_toe"]] = [-0.2, 0.3, z], [0.2, 0.3, z]
    for azimuth, shown in ((90.0, "right"), (-90.0, "left")):
        view = View(azimuth, 300.0, (0, 0), (160, 300), pitch=0.0)
        out = draw_figure(draw_stage(SIZE, view), points, view)
        colour = out[300 - 90, 160].astype(float)
        green, purple = (np.array(rgb(c), float) for c in ("#009E73", "#CC79A7"))
        nearer = "left" if np.abs(colour - green).sum() < np.abs(colour - purple).sum() else "right"
        assert nearer == shown


def test_unknown_body_draws_nothing():
    view = View(90.0, 300.0, (0, 0), (160, 380))
    stage = draw_stage(SIZE, view)
    assert (draw_figure(stage, np.full((K, 3), np.nan), view) == stage).all()


def test_wrong_shape_is_refused():
    view = View(90.0, 300.0, (0, 0), (160, 380))
    with pytest.raises(ValueError, match=r"expected \(21, 3\)"):
        draw_figure(draw_stage(SIZE, view), np.zeros((4, 3)), view)


def test_map_is_matplotlibs_viridis():
    """Outside check: the nine stops are those of Matplotlib's own table, to one step of 255."""
    table = matplotlib.colormaps["viridis"](np.linspace(0, 1, 9))[:, :3] * 255
    assert np.abs(table - [rgb(c) for c in VIRIDIS]).max() <= 1.0


def test_brightness_of_the_map_rises_with_the_difference():
    # Relative luminance weights of ITU-R BT.709, on the coded values: order is all that matters here.
    light = [
        np.dot((0.2126, 0.7152, 0.0722), difference_colour(d)) for d in np.linspace(0, FULL_SCALE_DEG, 31)
    ]
    assert (np.diff(light) > 0).all()
    assert difference_colour(90) == difference_colour(FULL_SCALE_DEG)
    assert difference_colour(float("nan")) == rgb(NOT_VISIBLE)
