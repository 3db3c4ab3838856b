"""The study of the choice: players of known style, films without filming, and rates that are counted rightly."""

import numpy as np
import pytest

from swingmatch.body.skeleton import K
from swingmatch.library.folder import Library
from swingmatch.stroke.strokes import STROKES
from swingmatch.study.as_filmed import FilmErrors, filmed_swing, track_of
from swingmatch.study.choosing import (
    Student,
    by_side,
    exact_swing,
    fault_text,
    only,
    picks_of,
    rates,
    text_of,
)
from swingmatch.study.families import FAMILIES, STANCE, Family, as_models, known_player, known_players
from swingmatch.study.learn.examples import MOMENTS, generated_motion
from swingmatch.synth.cast import HELD_OUT, TUNING
from swingmatch.synth.volunteers import swings_of

SOUND = Family("open", "low take-back", "quick")


def no_errors(azimuth):
    return FilmErrors(
        np.zeros((len(MOMENTS), K, 2)), np.zeros((len(MOMENTS), K, 3)), np.ones((len(MOMENTS), K)), azimuth
    )


def test_players_are_of_their_family():
    assert len(set(FAMILIES)) == 12
    known = known_players(TUNING[700:], 1)
    assert [one.family for one in known] == list(FAMILIES)
    for one in known:
        low, high = STANCE[one.family.stance]
        assert low <= one.player.style.stance <= high
        assert not one.player.faults
    quick, slow = (
        known_player(TUNING[700], SOUND._replace(tempo=tempo)).player.style for tempo in ("quick", "slow")
    )
    assert slow.turn_lead > 1.15 * quick.turn_lead
    with pytest.raises(ValueError, match="only 3 seeds"):
        known_players(HELD_OUT[:3], 1)


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0])
def test_a_film_without_errors_gives_the_stance_back(azimuth):
    """Without errors of tracking what is left is that of the lift: as in the study of accuracy, about ten degrees."""
    body = generated_motion(TUNING[700])
    stance = next(s for s in STROKES["forehand"].style if s.name == "stance")
    seen = filmed_swing(body, no_errors(azimuth), "forehand", np.random.default_rng(0))
    true = stance.of(STROKES["forehand"].movement(exact_swing(body)))
    assert stance.of(STROKES["forehand"].movement(seen)) == pytest.approx(true, abs=20.0)
    assert seen.camera_azimuth == pytest.approx(azimuth, abs=10.0)
    assert seen.contact - 1.7 == pytest.approx(0.0, abs=0.03)


def test_errors_are_laid_on_in_statures():
    body = generated_motion(TUNING[701])
    plain, errors = no_errors(90.0), no_errors(90.0)
    errors.image[:, 3] = [0.1, 0.0]
    off = track_of(body, errors).image - track_of(body, plain).image
    tall = off[0, 3, 0] / 0.1
    # a player of 1.75 m, 5.5 m away, at a focal length of 1280 / (2 tan 32.5 degrees)
    assert tall == pytest.approx(1.75 * 1280 / (2 * np.tan(np.radians(32.5))) / 5.5, rel=0.15)
    assert np.abs(np.delete(off, 3, axis=1)).max() == 0.0


def test_errors_go_to_their_camera_side():
    found = by_side([no_errors(a) for a in (3.0, 88.0, -170.0, -90.0)], ("front", "right side", "back"))
    assert {side: [e.azimuth for e in some] for side, some in found.items()} == {
        "front": [3.0], "right side": [88.0], "back": [-170.0]
    }  # fmt: skip


def test_rates_are_counted():
    models = known_players(TUNING[710:], 1)[:2]
    library = Library(as_models(models, 1))
    first, second = (swings_of(one.player.perform(swings=1))[0] for one in models)
    student = Student(models[0], first, {"front": first, "back": second, "right side": first})
    picks = picks_of([student], library)
    found = rates([student], picks, lambda s, label: label == models[0].player.name)
    assert found.exact == [True]
    assert found.sides == {"front": [True], "back": [False], "right side": [True]}
    assert sorted(found.same) == [False, False, True]
    assert found.usual == [True, False, True]
    assert (
        "| 100 % of 1 | 100 % of 1 | 0 % of 1 | 100 % of 1 | 67 % of 3 | 33 % of 3 | 67 % of 3 |"
        in text_of(found)
    )
    some = rates([student], only(picks, ("front", "right side")), lambda s, label: False)
    assert some.same == [True]
    assert some.sides == {"front": [False], "right side": [False]}
    assert "| late contact | 1 of 2 |" in fault_text({"late_contact": [True, False]})
