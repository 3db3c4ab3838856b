"""A face in what leaves the machine cannot be recognised, and the rest of the picture is untouched."""

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, K
from swingmatch.library.faces import blur_faces, head_ellipse

HEIGHT, WIDTH = 360, 640


def person(x=320.0, top=60.0, tall=240.0):
    """Keypoints of somebody who stands and faces the camera, ``tall`` pixels: heights as in row C1."""
    points = np.full((K, 2), np.nan)
    at = {"shoulder": (0.13, 0.818), "hip": (0.095, 0.53), "knee": (0.09, 0.285), "ankle": (0.09, 0.039)}
    for part, (aside, high) in at.items():
        for side, sign in (("left", 1), ("right", -1)):
            points[INDEX[f"{side}_{part}"]] = x + sign * aside * tall, top + (1 - high) * tall
    points[INDEX["nose"]] = x, top + (1 - 0.917) * tall
    for side, sign in (("left", 1), ("right", -1)):
        points[INDEX[f"{side}_ear"]] = x + sign * 0.04 * tall, top + (1 - 0.925) * tall
    return points


def detail(picture, mask):
    """Energy of what changes from pixel to pixel (Laplacian) within a mask."""
    return float(np.square(cv2.Laplacian(picture.astype(np.float64), cv2.CV_64F))[mask].mean())


@pytest.fixture
def picture():
    return np.random.default_rng(0).integers(0, 256, (HEIGHT, WIDTH, 3), dtype=np.uint8)


def head_mask(x=320.0, top=60.0, tall=240.0):
    """The true head: 0.130 statures high from the crown (C1), about 0.6 of that wide."""
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    high = 0.130 * tall / 2
    return ((columns - x) / (0.6 * high)) ** 2 + ((rows - top - high) / high) ** 2 <= 1


def test_the_whole_head_loses_its_detail_and_the_rest_keeps_it(picture):
    out = blur_faces(picture, person())
    head = head_mask()
    assert detail(out, head) < 1e-3 * detail(picture, head)
    x, y, radius = head_ellipse(person())
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    outside = (columns - x) ** 2 + (rows - y) ** 2 > radius**2
    assert (out[outside] == picture[outside]).all()
    assert radius < 0.13 * 240  # hardly more than the head goes
    assert (picture == np.random.default_rng(0).integers(0, 256, picture.shape, dtype=np.uint8)).all()


def test_eyes_and_mouth_can_no_longer_be_told_from_a_face_without(picture):
    """A dark bar where eyes are, and one where they are not, leave nearly the same picture."""
    plain = np.full_like(picture, 180)
    eyes = plain.copy()
    for x in (314, 326):
        cv2.circle(eyes, (x, 75), 2, (20, 20, 20), -1)
    mouth = plain.copy()
    cv2.ellipse(mouth, (320, 85), (5, 1), 0, 0, 360, (120, 20, 20), -1)
    for marked in (eyes, mouth):
        before = np.abs(marked.astype(int) - plain).max()
        after = np.abs(blur_faces(marked, person()).astype(int) - plain).max()
        assert after < 0.35 * before


@pytest.mark.parametrize("hidden", [("nose",), ("left_ear", "right_ear"), ("nose", "left_ear", "right_ear")])
def test_a_face_of_which_less_is_seen(picture, hidden):
    points = person()
    points[[INDEX[name] for name in hidden]] = np.nan
    head = head_mask()
    assert detail(blur_faces(picture, points), head) < 0.02 * detail(picture, head)


def test_several_people_and_heads_at_the_edge(picture):
    two = np.stack([person(5.0, -10.0), person(500.0, 100.0, 100.0)])
    out = blur_faces(picture, two)
    for x, top, tall in ((5.0, -10.0, 240.0), (500.0, 100.0, 100.0)):
        head = head_mask(x, top, tall)
        assert detail(out, head) < 0.02 * detail(picture, head)
    assert (blur_faces(picture, np.full((K, 2), np.nan)) == picture).all()
