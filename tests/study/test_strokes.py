"""The fit of the weights and the table of what strokes are taken for."""

import os
from pathlib import Path

import numpy as np
import pytest

from swingmatch.stroke import recognise as asked
from swingmatch.study import recorded
from swingmatch.study.strokes import (
    FitSettings,
    as_json,
    confusion,
    fit,
    generated_swings,
    leave_one_out,
    recorded_swings,
    told,
)

MOCAP = Path(os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[3] / "shared" / "data" / "mocap"))


@pytest.fixture(scope="module")
def swings():
    return generated_swings(3)


def test_fitted_weights_tell_what_they_were_fitted_on_and_come_back_from_the_file(swings):
    weights = fit(swings, FitSettings(copies=1))
    assert all((told(s, weights).hand, told(s, weights).stroke) == (s.hand, s.stroke) for s in swings)
    back = asked.from_json(as_json(weights, "a test"))
    for question, (slopes, constant) in weights.items():
        np.testing.assert_allclose(back[question][0], slopes, atol=1e-4)
        assert back[question][1] == pytest.approx(constant, abs=1e-4)
        assert constant == 0.0 or question not in asked.MIRRORED


def test_a_player_left_out_is_told_as_often_mirrored_as_not(swings):
    pairs = leave_one_out(swings[::3], swings[1::3], FitSettings(copies=0))
    assert len(pairs) == 2 * len(swings[::3])
    right = {hand: sum(f.stroke == t.stroke for t, f in pairs if t.hand == hand) for hand in asked.HANDS}
    assert right["right"] == right["left"]
    table = confusion(pairs)
    assert f"of {len(pairs)}." in table
    assert table.count("\n") >= 10


@pytest.mark.mocap
@pytest.mark.skipif(not (MOCAP / "index.csv").exists(), reason="the folder of motion capture is not here")
def test_shipped_weights_on_players_that_they_were_not_fitted_on():
    """Tennis-MoCap (doi 10.1007/978-3-319-52277-7_38): two of the players who are kept for reports."""
    swings = recorded_swings(MOCAP, recorded.HELD_OUT_PLAYERS[:2])
    assert {s.stroke for s in swings} == {"forehand", "two-handed backhand", "serve"}
    found = [asked.recognise(s.times, s.points, 0.0) for s in swings]
    right = [(f.hand, f.stroke) == (s.hand, s.stroke) for f, s in zip(found, swings, strict=True)]
    assert np.mean(right) > 0.95
