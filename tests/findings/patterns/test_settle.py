"""Which footage would settle what a view cannot tell: never the one that is at hand."""

from __future__ import annotations

import pytest
from made import deviation, evidence

from swingmatch.findings.catalogue.load import load
from swingmatch.findings.patterns.noise import Noise
from swingmatch.findings.patterns.settle import would_settle

CATALOGUE = load("forehand")


def untold(deviations, azimuth=90.0):
    return {
        one.fault.id: one for one in would_settle(evidence(deviations, azimuth=azimuth), CATALOGUE, Noise())
    }


def test_what_is_seen_well_is_not_open():
    weights = CATALOGUE["straight_legs"].weights
    assert "straight_legs" in untold([])
    assert "straight_legs" not in untold([deviation(key, 0.0, doubt=0.1) for key in weights])


def test_the_racket_is_asked_for_only_where_it_was_not_seen():
    (key,) = CATALOGUE["face_closed_contact"].weights
    assert untold([])["face_closed_contact"].needs == ("racket",)
    assert untold([deviation(key, 0.0, doubt=3.0, visible=False)])["face_closed_contact"].needs == ("racket",)
    assert untold([deviation(key, 0.0, doubt=3.0)])["face_closed_contact"].needs == ()


@pytest.mark.parametrize(("azimuth", "side"), [(0.0, "front"), (90.0, "right side"), (180.0, "back")])
def test_the_side_at_hand_would_not_settle_it(azimuth, side):
    offered = {side for one in untold([], azimuth).values() for side in one.sides}
    elsewhere = {side for one in untold([], float("nan")).values() for side in one.sides}
    assert side in elsewhere
    assert offered == elsewhere - {side}


def test_what_costs_most_comes_first():
    weights = [one.fault.consequence for one in would_settle(evidence([]), CATALOGUE, Noise())]
    assert weights == sorted(weights, reverse=True)
