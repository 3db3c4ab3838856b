"""The choice of a model: taste and build decide, a fault does not, and the reasons are true."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, RATIOS, build_from_lengths
from swingmatch.library.choose import (
    BUILD,
    MOST,
    MOVEMENT,
    TASTES,
    Traits,
    build_distance,
    choose,
    explain,
    find_volunteer,
    score,
    stance_name,
    traits,
)
from swingmatch.library.folder import load_library
from swingmatch.synth.cast import DEMO, VOLUNTEERS, Player, tempo
from swingmatch.synth.faults import FAULTS
from swingmatch.synth.volunteers import swings_of, volunteer_of

AVERAGE_BUILD = build_from_lengths(AVERAGE)
PLAIN = {"stance": 45.0, "tempo": 0.9, "take_back_height": 1.0}


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture(scope="module")
def sound_choice(library):
    return choose(swings(replace(DEMO[0], faults={})), library)


def swings(player):
    return swings_of(player.perform(swings=1))


@cache
def fresh(name):
    """Two repeats of a volunteer by another seed than those that ship."""
    player = next(p for p in VOLUNTEERS if p.name == name)
    return swings_of(replace(player, seed=player.seed + 50).perform(swings=2))


def someone(**tastes):
    return Traits({**PLAIN, **tastes}, AVERAGE_BUILD)


def test_the_weights_are_shares():
    assert sum(taste.weight for taste in (*TASTES.values(), BUILD, MOVEMENT)) == pytest.approx(1.0)


def test_a_score_by_hand():
    assert score(someone(), someone(), 0.0) == 0.0
    one = someone(stance=45.0 + TASTES["stance"].scale)
    assert score(someone(), one, 0.0) == pytest.approx(np.sqrt(TASTES["stance"].weight))
    wild = someone(stance=45.0 + 50 * TASTES["stance"].scale)
    assert score(someone(), wild, 0.0) == pytest.approx(MOST * np.sqrt(TASTES["stance"].weight))
    unknown = someone(stance=float("nan"))
    assert score(unknown, someone(tempo=0.9 + TASTES["tempo"].scale), 0.0) == pytest.approx(
        np.sqrt(TASTES["tempo"].weight / (1 - TASTES["stance"].weight))
    )


def test_build_distance_by_hand():
    longer = build_from_lengths({**AVERAGE, "shoulder_width": 1.1 * AVERAGE["shoulder_width"]})
    # two of the six ratios hold the shoulder width
    assert build_distance(AVERAGE_BUILD, longer) == pytest.approx(np.log(1.1) * np.sqrt(2 / len(RATIOS)))


@pytest.mark.parametrize(
    ("angle", "words"),
    [(-20, "an open"), (0, "an open"), (45, "a semi-open"), (90, "a neutral"), (120, "a closed")],
)
def test_stances_in_words(angle, words):
    assert stance_name(angle) == words


@pytest.mark.parametrize("player", VOLUNTEERS, ids=lambda p: p.name)
def test_taste_is_read_off_the_keypoints(player):
    """The style that the generator was given comes back from the swing alone, for either hand."""
    tastes = traits(fresh(player.name)).tastes
    # the feet vary by 3 degrees a repeat; the ankle line is not quite the line of the plants
    assert tastes["stance"] == pytest.approx(player.style.stance, abs=8.0)
    # turn_start is where the shoulders have turned by 3 degrees, a little after the style's own start of the turn
    assert tastes["tempo"] == pytest.approx(player.style.turn_lead, abs=0.15)


def test_a_higher_take_back_and_slower_tempo_are_read_as_such():
    base = VOLUNTEERS[0]
    plain = traits(swings(base)).tastes
    high = replace(base, style=replace(base.style, take_back_height=base.style.take_back_height + 0.2))
    assert traits(swings(high)).tastes["take_back_height"] == pytest.approx(
        plain["take_back_height"] + 0.2, abs=0.06
    )
    slow = replace(base, style=tempo(base.style, 1.3))
    assert traits(swings(slow)).tastes["tempo"] == pytest.approx(1.3 * plain["tempo"], rel=0.1)


@pytest.mark.parametrize("player", VOLUNTEERS, ids=lambda p: p.name)
def test_fresh_repeats_of_a_volunteer_find_that_volunteer(library, player):
    """Other seeds than the shipped repeats; of 11 volunteers chance would find one in eleven."""
    choice = choose(fresh(player.name), library)
    assert choice.volunteer.label == player.name
    assert min(choice.scores, key=choice.scores.get) == player.name
    assert any(choice.swing is swing for swing in choice.volunteer.swings)


def test_hand_and_size_do_not_matter(library):
    swing = fresh("Wren")[0]
    left = replace(swing, points=1.7 * mirror(swing.points), racket=None, hand="left")
    assert choose([left], library).scores == pytest.approx(choose([swing], library).scores, abs=1e-9)


@pytest.mark.parametrize("fault", sorted(set(FAULTS) - {"inconsistent_contact"}))
def test_a_fault_hardly_moves_the_choice(library, sound_choice, fault):
    """With a clear fault planted, the model that a sound repeat finds stays first, or close behind the first."""
    player = DEMO[0]
    faulty = choose(swings(replace(player, faults={fault: 0.7})), library)
    # a fifth of what a coach would call clearly different
    assert faulty.scores[sound_choice.volunteer.label] <= min(faulty.scores.values()) + 0.2


def test_a_model_can_be_named(library):
    player = fresh("Arlo")
    choice = choose(player, library, name="  wREN ")
    assert choice.volunteer.label == "Wren"
    assert choice.reasons[0] == "You chose Wren."
    with pytest.raises(LibraryError, match=r'no model "Wern"; there are Arlo, .*Did you mean "Wren"'):
        find_volunteer(library, "Wern")


def test_a_stroke_that_nobody_plays(library):
    swing = fresh("Arlo")[0]
    with pytest.raises(LibraryError, match="serve"):
        choose([replace(swing, stroke="serve")], library)
    with pytest.raises(ValueError, match="no swing"):
        choose([], library)


def test_unknown_events_and_joints_do_not_stop_the_choice(library):
    swing = fresh("Arlo")[0]
    points = swing.points.copy()
    points[:, [INDEX["left_ankle"], INDEX["left_wrist"], INDEX["right_hand"]]] = np.nan
    bare = replace(swing, points=points, events={"contact": 0.0}, racket=None)
    choice = choose([bare], library)
    assert np.isfinite(list(choice.scores.values())).all()


def test_reasons_in_words():
    assert explain(someone(), someone(stance=40.0)) == (
        "Like you, hits from a semi-open stance.",
        "Is built in proportions close to yours.",
        "Takes about as long as you from the first turn to the ball (0.9 s).",
        "Takes the hand back about as high as you.",
    )
    unlike = explain(someone(), someone(stance=95.0, tempo=1.12, take_back_height=0.7))
    assert unlike == (
        "Is built in proportions close to yours.",
        "Hits from a neutral stance, while you use a semi-open one.",
        "Takes 0.2 s more than you from the first turn to the ball.",
        "Takes the hand back lower than you.",
    )
    arms = build_from_lengths({**AVERAGE, "forearm": 0.16, "upper_arm": 0.195})
    shared = explain(Traits(PLAIN, arms), Traits(PLAIN, arms))
    assert "Like you, has long arms for the height." in shared
    unknown = Traits(dict.fromkeys(PLAIN, float("nan")), AVERAGE_BUILD)
    assert explain(unknown, someone()) == ("Is built in proportions close to yours.",)


def test_a_player_of_the_cast_becomes_a_volunteer_without_a_person():
    volunteer = volunteer_of(Player("X", "Words.", VOLUNTEERS[0].build, VOLUNTEERS[0].style), repeats=1)
    assert volunteer.generated
    assert volunteer.consent is None
