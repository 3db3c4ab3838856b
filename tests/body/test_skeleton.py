"""Mirror and order of the keypoints."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SEGMENTS, K, middle, mirror, swap_sides
from swingmatch.body.track import Track


def test_names_are_unique_and_paired():
    assert len(set(KEYPOINTS)) == K == 21
    assert {n[5:] for n in KEYPOINTS if n.startswith("left_")} == {
        n[6:] for n in KEYPOINTS if n.startswith("right_")
    }
    assert all(a in INDEX and b in INDEX for _, a, b in SEGMENTS)


@given(arrays(float, (3, K, 3), elements=st.floats(-5, 5)))
def test_mirror_undoes_itself_and_moves_left_to_right(points):
    np.testing.assert_array_equal(mirror(mirror(points)), points)
    np.testing.assert_array_equal(mirror(points)[:, INDEX["left_hand"], 0], points[:, INDEX["right_hand"], 0])
    np.testing.assert_array_equal(mirror(points)[:, INDEX["nose"], 2], -points[:, INDEX["nose"], 2])
    np.testing.assert_array_equal(swap_sides(swap_sides(points)), points)
    np.testing.assert_allclose(middle(mirror(points), "hip")[..., :2], middle(points, "hip")[..., :2])


def test_a_track_of_the_wrong_shape_is_refused():
    good = (np.zeros((2, K, 2)), np.zeros((2, K, 3)), np.zeros((2, K)))
    Track(np.zeros(2), *good, (10, 10))
    with pytest.raises(ValueError, match="world has shape"):
        Track(np.zeros(2), good[0], good[0], good[2], (10, 10))
