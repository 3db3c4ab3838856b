"""What recurs: named where known, unnamed where not, and recognised once it has a name."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import CATALOGUE, KEYS, deviation, evidence

from swingmatch.findings.patterns.cluster import clusters, fault_from
from swingmatch.findings.patterns.find import find_patterns
from swingmatch.findings.patterns.noise import Noise

NOTHING = Noise()
#: A way to differ that the catalogue does not know.
STRANGE = {"hip@0": 3.5, "hip@1": -3.5, "elbow@2": -3.5, "foot": -3.5, "head": 3.5, "knee@5": 3.5}


def swings(amounts, count, rng, size=1.0):
    return [
        tuple(
            deviation(key, size * amounts.get(key, 0.0) + 0.4 * rng.standard_normal(), swings=1)
            for key in KEYS
        )
        for _ in range(count)
    ]


def player(parts):
    each = [one for part in parts for one in part]
    pooled = tuple(
        replace(each[0][i], player=float(np.mean([one[i].player for one in each])), swings=len(each))
        for i in range(len(KEYS))
    )
    return evidence(pooled, each)


def test_across_players_each_pattern_is_a_cluster_with_its_name():
    rng = np.random.default_rng(0)
    legs, hips = CATALOGUE["legs"].weights, CATALOGUE["hips"].weights
    players = [player([swings(legs, 4, rng, size)]) for size in (1.0, 1.2, 1.5)]
    players += [player([swings(hips, 4, rng)]), player([swings({}, 6, rng)]), player([swings(hips, 3, rng)])]
    found = clusters(players, CATALOGUE, NOTHING)
    assert [(c.pattern.fault.id, c.pattern.swings) for c in found] == [("legs", 12), ("hips", 7)]
    assert {p for p, _ in found[0].members} == {0, 1, 2}
    assert all(c.cosine > 0.9 and c.pattern.sure > 0.9 and c.pattern.of == 25 for c in found)


def test_within_one_player():
    rng = np.random.default_rng(1)
    (found,) = clusters([player([swings(CATALOGUE["legs"].weights, 5, rng)])], CATALOGUE, NOTHING)
    assert found.pattern.fault.id == "legs"
    assert found.members == tuple((0, s) for s in range(5))


def test_sound_swings_are_no_cluster():
    rng = np.random.default_rng(2)
    assert clusters([player([swings({}, 12, rng)])], CATALOGUE, NOTHING) == ()
    assert clusters([], CATALOGUE, NOTHING) == ()


def test_what_nobody_knows_is_unnamed_and_known_once_it_is_named():
    rng = np.random.default_rng(3)
    strange = player([swings(STRANGE, 6, rng)])
    (found,) = clusters([strange], CATALOGUE, NOTHING)
    assert found.pattern.fault is None
    assert {d.key for d in found.pattern.evidence} == set(STRANGE)
    mine = fault_from(found.pattern, "windmill", "Swings like a windmill", "forehand")
    assert mine.own
    for key, amount in STRANGE.items():
        assert mine.weights[key] == pytest.approx(amount, abs=0.8)
    more = replace(CATALOGUE, faults=(*CATALOGUE.faults, mine))
    (again,) = clusters([player([swings(STRANGE, 6, rng)])], more, NOTHING)
    assert again.pattern.fault is mine
    assert [p.fault.id for p in find_patterns(strange, more, NOTHING)] == ["windmill"]


def test_a_pattern_without_evidence_makes_no_entry():
    rng = np.random.default_rng(4)
    (found,) = clusters([player([swings(STRANGE, 3, rng)])], CATALOGUE, NOTHING)
    with pytest.raises(ValueError, match="no signature"):
        fault_from(replace(found.pattern, evidence=()), "x", "x", "forehand")
