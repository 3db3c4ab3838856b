"""Style and teaching are separate lists, and a style is read off the movement."""

from dataclasses import replace

import pytest

from swingmatch.stroke.strokes import STROKES
from swingmatch.synth.cast import TUNING, VOLUNTEERS
from swingmatch.synth.serve_cast import random_server
from swingmatch.synth.volunteers import swings_of

ALL = pytest.mark.parametrize("stroke", STROKES.values(), ids=list(STROKES))


@ALL
def test_a_stroke_says_what_is_style_and_what_is_taught(stroke):
    assert sum(style.share for style in stroke.style) == pytest.approx(1.0)
    assert all(style.scale > 0.0 for style in stroke.style)
    assert len({style.name for style in stroke.style}) == len(stroke.style) >= 3
    keys = [row.key for row in stroke.measures]
    assert set(stroke.teaching) <= set(keys)
    assert len(set(stroke.teaching)) == len(stroke.teaching) >= 20


@ALL
def test_nothing_is_both_style_and_taught(stroke):
    assert not {style.name for style in stroke.style} & set(stroke.teaching)
    # what two lists call by other names is still taken by other functions
    taught = {row.of for row in stroke.measures if row.key in stroke.teaching}
    assert not {style.of for style in stroke.style} & taught


def test_the_styles_of_a_forehand_by_the_generators_parameters():
    player = VOLUNTEERS[0]
    swing = swings_of(player.perform(swings=1, variation=0.0))[0]
    forehand = STROKES["forehand"]
    found = {style.name: style.of(forehand.movement(swing)) for style in forehand.style}
    assert found["stance"] == pytest.approx(player.style.stance, abs=8.0)
    assert found["tempo"] == pytest.approx(player.style.turn_lead, abs=0.15)
    # the loop lifts the hand over where the take-back ends
    assert found["take_back_height"] > player.style.take_back_height


def test_the_styles_of_a_serve():
    serve = STROKES["serve"]
    motion = random_server(TUNING[0]).perform(swings=1)
    swing = replace(swings_of(motion)[0], stroke="serve")
    found = {style.name: style.of(serve.movement(swing)) for style in serve.style}
    # a toss is in the air for about a second, at most 1.5 (as in reconstruct.TOSS); the hand is loaded near the head
    assert 0.5 < found["tempo"] < 1.5
    assert 0.2 < found["base"] < 3.0
    assert 0.5 < found["loaded_hand_height"] < 2.2
