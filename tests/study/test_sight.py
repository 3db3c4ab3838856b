"""The training pictures of the racket: labels that fit what is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.study.sight.check import matched
from swingmatch.study.sight.pictures import Studio
from swingmatch.study.sight.rackets import Racket
from swingmatch.study.sight.settings import CANVAS


@pytest.fixture(scope="module")
def examples():
    studio = Studio(55, 4, 4)
    return [studio.example() for _ in range(30)]


def test_examples_have_all_their_parts(examples):
    for e in examples:
        assert e.planes.shape == (5, CANVAS, CANVAS)
        assert np.isfinite(e.points).all() or e.present == 0.0
        assert set(np.unique(e.shows)) <= {0.0, 1.0}
    assert any(e.present == 0.0 for e in examples)
    assert sum(e.present == 1.0 for e in examples) > 15


def test_the_same_seed_makes_the_same_pictures():
    one, two = (Studio(9, 1, 1).example() for _ in range(2))
    np.testing.assert_array_equal(one.planes, two.planes)
    np.testing.assert_array_equal(one.points, two.points)


def test_a_rackets_marks_lie_on_its_hoop():
    rng = np.random.default_rng(0)
    for _ in range(50):
        racket = Racket.draw(rng)
        marks, ring = racket.marks(), racket.ring()
        assert 0.5 < racket.long < 0.72
        for k in (1, 2):
            assert np.linalg.norm(ring - marks[k, :2], axis=1).min() < 1e-3
        # The widest line of the hoop is where the edges are said to be; the corners of the hoop are coarse.
        assert abs(ring[:, 1].max() - marks[4, 1]) < 0.003
        widest = np.sort(ring[np.argsort(-ring[:, 1])[:2], 0])
        assert widest[0] - 0.001 < marks[4, 0] < widest[1] + 0.001
        assert np.linalg.norm(marks[2] - marks[0]) == pytest.approx(racket.long)


def test_edges_are_compared_either_way_round():
    true = np.arange(10.0).reshape(1, 5, 2)
    np.testing.assert_array_equal(matched(true[:, [0, 1, 2, 4, 3]], true), true)


def test_the_heat_maps_and_places_of_the_training_agree():
    torch = pytest.importorskip("torch")
    from swingmatch.study.sight.train import arm_maps, ordered, places, targets

    points = torch.rand(4, 5, 2) * 100 + 30
    assert (places(torch.log(targets(points, 0.8) + 1e-12)) - points).abs().max() < 0.1
    once, _ = ordered(points)
    again, swapped = ordered(points[:, [0, 1, 2, 4, 3]])
    assert (torch.equal(once, again) and swapped.any()) or not swapped.any()
    arm = torch.tensor([[[20.0, 30.0], [80.0, 90.0]]])
    from swingmatch.racket.crop import arm_map

    np.testing.assert_allclose(arm_maps(arm)[0].numpy(), arm_map(*arm[0].double().numpy()), atol=1e-4)
