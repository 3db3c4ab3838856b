"""Signs are right: a fault planted in a generated player, seen without error, departs along its own signature.

The player is compared with the same player without the fault, so all that differs is what the fault does. Players are
of ``TUNING``, from which the amounts come; what is checked here is directions, not sizes.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from swingmatch.align.warp import align
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.compare import compare
from swingmatch.stroke.measure import difference
from swingmatch.stroke.strokes import STROKES
from swingmatch.synth import backhand_style, serve_style
from swingmatch.synth.backhand import perform_backhand
from swingmatch.synth.build import Build
from swingmatch.synth.cast import random_player
from swingmatch.synth.faults import EVERY_FAULT
from swingmatch.synth.forehand import perform
from swingmatch.synth.serve import perform_serve
from swingmatch.synth.serve_cast import random_server
from swingmatch.synth.volunteers import swings_of

SEED = 3
SIZE = 0.7
#: Not seen in one swing: the spread between swings.
OF_MANY = {"inconsistent_contact", "inconsistent_toss"}
#: Hardly moves the keypoints where it is planted: the nose and the ears turn, the head stays.
HARDLY_SEEN = {"unsteady_head"}
HANDS = {"two-handed backhand": 2, "one-handed backhand": 1}
PLANTED = {
    "forehand": EVERY_FAULT,
    "two-handed backhand": backhand_style.FAULTS,
    "one-handed backhand": backhand_style.FAULTS,
    "serve": serve_style.SERVE_FAULTS,
}
CASES = [
    (stroke, name)
    for stroke, faults in PLANTED.items()
    for name in faults
    if name not in OF_MANY | HARDLY_SEEN
]


@cache
def performed(stroke, fault=None):
    plain = {"swings": 1, "faults": {fault: SIZE} if fault else {}, "variation": 0.0, "seed": SEED}
    if stroke == "forehand":
        player = random_player(SEED)
        motion = perform(player.style, player.build, "right", **plain)
    elif stroke == "serve":
        player = random_server(SEED)
        motion = perform_serve(player.style, player.build, "right", **plain)
    else:
        hands = HANDS[stroke]
        motion = perform_backhand(
            backhand_style.SOUND[hands], Build(1.78, "male"), "right", hands=hands, **plain
        )
    return replace(swings_of(motion)[0], stroke=stroke)


@cache
def departures(stroke, fault):
    """Key -> player minus the same player without the fault, in floors; for all that any signature speaks of."""
    player, model = performed(stroke, fault), performed(stroke)
    catalogue = load(stroke)
    found = {d.key: d.value / d.floor for d in compare([player], model, [align(player, model)], [model])}
    mine, other = STROKES[stroke].movement(player), STROKES[stroke].movement(model)
    for row in STROKES[stroke].measures:
        if row.key in catalogue.floors:
            gap = difference(row, float(row.of(mine)), float(row.of(other)))
            found[row.key] = gap / catalogue.floors[row.key]
    spoken = {key for one in catalogue.faults for key in one.weights}
    return {key: value for key, value in found.items() if key in spoken and np.isfinite(value)}


def likeness(found, weights):
    """Cosine between what was found and a signature, over what was found."""
    known = [key for key in weights if key in found]
    if not known:
        return 0.0
    size = np.linalg.norm(list(found.values())) * np.linalg.norm([weights[key] for key in known])
    return float(sum(found[key] * weights[key] for key in known) / size)


def test_every_fault_that_can_be_planted_has_an_entry():
    for stroke, faults in PLANTED.items():
        assert set(faults) <= {fault.id for fault in load(stroke).faults}, stroke


@pytest.mark.parametrize(("stroke", "name"), CASES)
def test_signs_of_a_planted_fault_are_right(stroke, name):
    found, fault = departures(stroke, name), load(stroke)[name]
    wrong = {
        key: (round(found[key], 2), amount)
        for key, amount in fault.weights.items()
        # What is well under a floor is nobody's business, whichever way it goes.
        if key in found and abs(found[key]) > 0.3 and found[key] * amount < 0
    }
    assert not wrong
    assert likeness(found, fault.weights) > 0.4


@pytest.mark.parametrize(("stroke", "name"), CASES)
def test_a_planted_fault_is_most_like_its_own_signature(stroke, name):
    found = departures(stroke, name)
    ranked = sorted(load(stroke).faults, key=lambda fault: -likeness(found, fault.weights))
    assert name in [fault.id for fault in ranked[:2]], [fault.id for fault in ranked[:4]]
