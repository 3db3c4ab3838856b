"""The cast: enough different people, faults only where they are meant, seeds that never mix."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.synth.build import C1, LIMIT, Build, draw_build
from swingmatch.synth.cast import DEMO, HELD_OUT, TUNING, VOLUNTEERS, random_player
from swingmatch.synth.curves import drive, step, through


def test_volunteers_are_many_different_and_sound():
    assert len(VOLUNTEERS) >= 10
    assert sum(p.hand == "left" for p in VOLUNTEERS) >= 3
    assert len({p.name for p in (*VOLUNTEERS, *DEMO)}) == len(VOLUNTEERS) + len(DEMO)
    assert not any(p.faults for p in VOLUNTEERS)
    statures = [p.build.stature for p in VOLUNTEERS]
    assert max(statures) - min(statures) > 0.3
    stances = [p.style.stance for p in VOLUNTEERS]
    assert min(stances) < 20.0
    assert max(stances) > 90.0


def test_demo_players_differ_in_hand_and_faults():
    one, two = DEMO
    assert {one.hand, two.hand} == {"left", "right"}
    assert len(one.faults) == len(two.faults) == 2
    assert not set(one.faults) & set(two.faults)


def test_seeds_for_tuning_and_for_reporting_never_mix():
    assert not set(TUNING) & set(HELD_OUT)
    with pytest.raises(ValueError, match="none of"):
        random_player(50_000)


def test_a_random_player_is_fixed_by_the_seed():
    assert random_player(7) == random_player(7)
    assert random_player(7) != random_player(8)
    players = [random_player(HELD_OUT[i]) for i in range(60)]
    assert 5 <= sum(p.hand == "left" for p in players) <= 28
    assert {len(p.faults) for p in players} == {0, 1, 2}


def test_drawn_builds_keep_to_the_table():
    rng = np.random.default_rng(1)
    for _ in range(50):
        build = draw_build(rng)
        assert all(
            abs(build.length(n) / build.stature / share - 1.0) <= LIMIT + 1e-9 for n, share in C1.items()
        )


@pytest.mark.parametrize(
    ("kwargs", "words"), [({"stature": 5.0}, "stature"), ({"factors": {"tail": 1.0}}, "tail")]
)
def test_impossible_builds_are_refused(kwargs, words):
    with pytest.raises(ValueError, match=words):
        Build(**kwargs)


def test_curves_hold_their_promises():
    times = np.arange(-480, 481) / 480.0
    smooth = step(times, -0.5, 0.5)
    assert smooth[0] == 0.0
    assert smooth[-1] == 1.0
    assert (np.diff(smooth) >= 0.0).all()
    turn = drive(times, -0.1, 0.08, 0.12)
    assert times[np.argmax(np.gradient(turn))] == pytest.approx(-0.1, abs=1 / 480)
    assert turn[0] == pytest.approx(0.0, abs=1e-6)
    assert turn[-1] == pytest.approx(1.0, abs=1e-6)
    keyed = through(times, [(-0.8, 1.0), (0.0, 5.0), (0.8, 2.0)], 0.02)
    assert keyed.min() >= 1.0 - 1e-9
    assert keyed.max() <= 5.0 + 1e-9
