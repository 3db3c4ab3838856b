"""The choice of a model: taste and build decide, a fault does not, and the reasons are true."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, RATIOS, build_from_lengths
from swingmatch.library.choose import (
    Wishes,
    build_distance,
    choose,
    explain,
    find_volunteer,
    read_wishes,
    stance_name,
    traits,
)
from swingmatch.library.choosing.score import MOST, field_of, least_totals, parts_of, scores_of
from swingmatch.library.choosing.traits import Traits, features_of
from swingmatch.library.choosing.wishes import SHARES, weights
from swingmatch.library.choosing.words import line
from swingmatch.library.folder import Library, load_library
from swingmatch.stroke.strokes import STROKES
from swingmatch.synth.cast import DEMO, VOLUNTEERS, Player, tempo
from swingmatch.synth.faults import FAULTS
from swingmatch.synth.volunteers import swings_of, volunteer_of

AVERAGE_BUILD = build_from_lengths(AVERAGE)
PLAIN = {"stance": 45.0, "tempo": 0.9, "take_back_height": 1.0}
FEATURES = features_of(STROKES["forehand"])


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


def someone(build=AVERAGE_BUILD, sd=0.0, **tastes):
    """Traits by hand; ``sd`` in scales."""
    values = [
        np.log(build.ratios[f.name]) if f.group == "build" else {**PLAIN, **tastes}[f.name] for f in FEATURES
    ]
    return Traits(FEATURES, np.array(values), sd * np.array([f.scale for f in FEATURES]))


def parts(player, *models, wishes=None):
    shares, own = weights(wishes or Wishes(), STROKES["forehand"], FEATURES)
    return parts_of(field_of(player, {str(i): m for i, m in enumerate(models)}, shares, own))


def test_the_parts_by_hand():
    scale = {f.name: f.scale for f in FEATURES}
    share = {f.name: f.share for f in FEATURES}
    # A far one on either side, so that the player's own taste is not beyond all models'.
    one = someone(stance=45.0 + scale["stance"])
    size, sure = parts(someone(), someone(), one, someone(stance=-2000.0), someone(stance=2000.0))["style"]
    assert size == pytest.approx(np.sqrt(share["stance"]) * np.array([0.0, 1.0, MOST, MOST]))
    assert sure == pytest.approx(1.0)


def test_what_is_not_known_does_not_count():
    """An error of half a scale halves what a feature counts; an unknown feature counts for nothing."""
    near, far = someone(tempo=0.8), someone(tempo=1.2)
    _, sure = parts(someone(sd=0.5), near, far)["style"]
    assert sure == pytest.approx(0.5)
    size, sure = parts(someone(tempo=float("nan")), near, far)["style"]
    assert size == pytest.approx(0.0)
    assert sure == pytest.approx(1.0 - next(f.share for f in FEATURES if f.name == "tempo"))


def test_the_least_total_is_no_more_than_any_total(library):
    player = traits(fresh("Arlo"))
    models = {v.label: traits(v.swings) for v in library}
    field = field_of(player, models, *weights(Wishes(), STROKES["forehand"], FEATURES))
    scores = choose(fresh("Arlo"), library).scores
    assert all(
        least <= scores[label] + 1e-9 for label, least in zip(field.labels, least_totals(field), strict=True)
    )


def test_wishes_in_words():
    wishes = read_wishes("like her in build, ignore tempo and arms")
    assert wishes == Wishes(like=("build",), ignore=("tempo", "arms"))
    assert str(wishes) == "like build, ignore tempo and arms"
    shares, own = weights(wishes, STROKES["forehand"], FEATURES)
    assert sum(shares.values()) == pytest.approx(1.0)
    assert shares["build"] > SHARES["build"]
    assert own["tempo"] == own["arm_for_height"] == 0.0
    for group in ("build", "style"):
        assert sum(own[f.name] for f in FEATURES if f.group == group) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("tempo", "neither"),
        ("ignore tmepo", 'Did you mean "tempo"'),
        ("like shoulder turn", "teaches"),
        ("ignore build, ignore style, ignore view", "Nothing is left"),
    ],
)
def test_wishes_that_cannot_be_met(words, says):
    with pytest.raises(LibraryError, match=says):
        weights(read_wishes(words), STROKES["forehand"], FEATURES)


def test_wishes_change_the_choice_as_asked(library):
    """A part that is all that counts ranks the models as it does alone."""
    player = fresh("Wren")
    only = choose(player, library, wishes=read_wishes("ignore style and view"))
    assert only.volunteer.label == only.by("build")[0].label
    assert only.reasons[1] == "As you asked: ignore style and view."
    tempo = {v.label: abs(traits(v.swings).of("tempo") - traits(player).of("tempo")) for v in library}
    alone = choose(player, library, wishes=read_wishes("ignore build, view, stance and take-back height"))
    assert tempo[alone.volunteer.label] == min(tempo.values())


def test_a_grip_that_is_known_counts(library):
    labels = {v.label: ("eastern" if v.label == "Noor" else "western") for v in library}
    gripped = Library(tuple(replace(v, style={**v.style, "grip": labels[v.label]}) for v in library))
    plain = choose(fresh("Wren"), gripped).scores
    asked = choose(fresh("Wren"), gripped, wishes=Wishes(grip="Eastern")).scores
    assert asked["Wren"] > plain["Wren"] + 0.2
    assert asked["Noor"] - asked["Wren"] < plain["Noor"] - plain["Wren"]


def test_a_large_library_gives_what_comparing_all_gives(library, monkeypatch):
    """Movements that cannot make a model the best are not compared, and nothing else comes out."""
    player = fresh("Tova")
    every = choose(player, library)
    monkeypatch.setattr("swingmatch.library.choose.DIRECT", 2)
    quick = choose(player, library)
    assert quick.volunteer is every.volunteer
    assert quick.swing is every.swing
    assert len(quick.scores) < len(every.scores)
    assert all(quick.scores[label] == pytest.approx(every.scores[label]) for label in quick.scores)


def test_a_search_makes_the_shortlist(library, monkeypatch):
    """In the second stage the models that the search gave are scored as without it."""
    monkeypatch.setattr("swingmatch.library.choose.SHORTLIST", 3)
    asked = []

    def search(swing, count):
        asked.append(count)
        return ("Arlo", "Suri", "Odin")

    found = choose(fresh("Wren"), library, search=search)
    assert asked == [3]
    assert set(found.scores) == {"Arlo", "Suri", "Odin"}
    named = choose(fresh("Wren"), library, name="Bram", search=search)
    assert named.volunteer.label == "Bram"


def test_equally_alike_models_are_named_as_such(library):
    """Two models that cannot be told apart are both named, and always the same one is taken."""
    wren = next(v for v in library if v.label == "Wren")
    twins = Library((replace(wren, label="Zoe"), wren, *(v for v in library if v.label in ("Mael", "Ines"))))
    choice = choose(fresh("Wren"), twins)
    assert choice.volunteer.label == "Wren"
    assert choice.line.startswith("Wren and Zoe are about equally alike; Wren is taken")


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
    assert choice.by("style")[0].label == player.name
    assert choice.line.startswith(f"{player.name} is the most alike: ")
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
    shared = explain(someone(arms), someone(arms))
    assert "Like you, has long arms for the height." in shared
    unknown = someone(**dict.fromkeys(PLAIN, float("nan")))
    assert explain(unknown, someone()) == ("Is built in proportions close to yours.",)


def test_a_taste_beyond_all_models_is_not_called_alike():
    shares, own = weights(Wishes(), STROKES["forehand"], FEATURES)
    for height, alike in ((1.0, True), (3.0, False)):
        player, model = someone(take_back_height=height), someone()
        field = field_of(player, {"Ada": model}, shares, own)
        told = line(scores_of(field, {"Ada": (0.0, 1.0, 0)}), player, model)
        assert ("the hand as high in the take-back" in told) == alike
        assert "semi-open stance like yours" in told


def test_a_player_of_the_cast_becomes_a_volunteer_without_a_person():
    volunteer = volunteer_of(Player("X", "Words.", VOLUNTEERS[0].build, VOLUNTEERS[0].style), repeats=1)
    assert volunteer.generated
    assert volunteer.consent is None


def test_every_volunteer_chooses_itself_with_exactly_its_own_swings(library):
    """Everything is known then: rounding must not make that more than everything."""
    for volunteer in library:
        for count in (1, len(volunteer.swings)):
            assert choose(volunteer.swings[:count], library).volunteer is volunteer
            alone = choose(volunteer.swings[:count], Library((volunteer,)))
            assert alone.volunteer is volunteer
            assert alone.line.startswith(f"{volunteer.label} is the only model of this stroke")
