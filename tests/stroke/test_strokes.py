"""Every stroke's events on exact bodies, against the generator's own.

The generator measures its events on racket and ball too and by other thresholds, so this says that both mean the same
moments, not that either is exact.
"""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.body.skeleton import mirror
from swingmatch.stroke.measure import measure
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study.sample import PLAYERS
from swingmatch.synth.cast import TUNING

#: Median error over the players, ms, by event: moments of speed and bend are sharp, stirring and settling are not.
_SHARP = 30.0
_LOOSE = {"ready": 400.0, "recovery": 250.0, "hands_apart": 80.0}


@pytest.fixture(scope="module", params=list(STROKES))
def played(request):
    """A stroke's definition and the motions of three players."""
    return STROKES[request.param], [PLAYERS[request.param](seed).perform(swings=1) for seed in TUNING[:3]]


def swing_of(definition, motion) -> Swing:
    """The one swing of a motion as one would be cut out of a film, with the events that the analysis finds."""
    contact = motion.swings[0].events["contact"]
    near = (motion.times >= contact - 1.7) & (motion.times <= contact + 1.3)
    times, points = motion.times[near][::4], motion.points[near][::4] / motion.stature
    events = definition.find_events(times, definition.on_ball_side(points, motion.hand), contact)
    return Swing(times, points, events, motion.hand, 90.0, stroke=definition.name)


def test_all_events_are_found_where_the_generator_has_them(played):
    definition, motions = played
    off: dict[str, list[float]] = {name: [] for name in definition.events}
    for motion in motions:
        found = swing_of(definition, motion).events
        assert set(found) == set(definition.events)
        for name in off:
            off[name].append(1000.0 * (found[name] - motion.swings[0].events[name]))
    for name, errors in off.items():
        assert abs(np.median(errors)) <= _LOOSE.get(name, _SHARP), (name, errors)


def test_every_measure_but_the_rackets_is_found(played):
    definition, motions = played
    found = measure(swing_of(definition, motions[0]))
    assert [one.row.key for one in found if not one.row.racket and not np.isfinite(one.value)] == []


def test_the_other_hand_makes_the_same_stroke(played):
    definition, motions = played
    own = swing_of(definition, motions[0])
    other = "left" if own.hand == "right" else "right"
    mirrored = Swing(own.times, mirror(own.points), own.events, other, -90.0, stroke=own.stroke)
    for a, b in zip(measure(own), measure(mirrored), strict=True):
        assert a.value == pytest.approx(b.value, nan_ok=True), a.row.key
