"""Who is in a picture, who the player is, and telling people apart by their clothes."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.colours import body_colours, unlikeness
from swingmatch.body.estimator import Pose
from swingmatch.body.identity import OTHER_COLOURS, Identity
from swingmatch.body.people import Person, choose_player, find_people, read_wanted
from swingmatch.body.skeleton import K
from swingmatch.body.window import place_of, place_of_points
from swingmatch.errors import SwingmatchError, TrackError

SIZE = (480, 240)


@pytest.fixture(scope="module")
def person(bars):
    """Somebody of a height whose right hand moves; ``xs`` is where they are at each of six looks a second."""

    def make(xs, height, reach=lambda t: 0.0):
        times = np.arange(len(xs)) / 6
        image = np.stack([bars.points_of(x, 100, height, reach(t)) for x, t in zip(xs, times, strict=True)])
        places = tuple(place_of_points(points) for points in image)
        return Person(times, image, places, np.zeros((0, 3)), SIZE)

    return make


def stroke(time):
    """A right hand that goes a height to the side within a fifth of a second about one second in, and back later."""
    return float(np.interp(time, [0.9, 1.1, 2.0, 2.6], [0.0, 1.0, 1.0, 0.0]))


def test_everybody_in_the_picture_is_found_once(bars):
    model = bars.Bars()
    people = [(90, 60, 120, bars.RED), (250, 90, 80, bars.BLUE), (400, 90, 70, bars.GREEN)]
    picture = bars.picture(*people)
    found = find_people(picture, 0.0, model)
    assert sorted(round(place_of(pose).x) for pose in found) == pytest.approx([90, 250, 400], abs=2)
    # The picture itself is left as it was.
    np.testing.assert_array_equal(picture, bars.picture(*people))


def test_those_known_are_not_found_again(bars):
    picture = bars.picture((90, 60, 120, bars.RED), (300, 90, 80, bars.BLUE))
    known = [pose for pose in find_people(picture, 0.0, bars.Bars()) if place_of(pose).x < 200]
    found = find_people(picture, 0.0, bars.Bars(), known=known)
    assert [round(place_of(pose).x) for pose in found] == pytest.approx([300], abs=2)


def test_nobody_in_an_empty_picture(bars):
    assert find_people(bars.picture(), 0.0, bars.Bars()) == []


def test_the_arm_of_a_stroke_tells_the_player_from_a_larger_bystander(person):
    player, other = person([200] * 20, 90, stroke), person([330] * 20, 130)
    assert choose_player([other, player]) is player
    assert choose_player([other, player], "biggest") is other


def test_of_two_who_swing_the_nearer_one_is_the_player(person):
    player, opponent = person([260] * 20, 100, stroke), person([235] * 20, 35, stroke)
    assert choose_player([opponent, player]) is player


def test_somebody_who_walks_through_is_not_the_player(person):
    """The stroke happened while the player was hidden, so that arms say little."""
    player, passer = (
        person([220] * 14, 90),
        person(np.linspace(20, 460, 20), 120, lambda t: 0.1 * np.sin(6 * t)),
    )
    assert choose_player([passer, player]) is player


def test_a_lasting_player_is_preferred_to_somebody_seen_for_a_moment(person):
    player, other = person([240] * 30, 90), person([230] * 4, 90)
    assert choose_player([other, player], moments=30) is player


def test_the_coachs_word_stands(person):
    far_left, left, right = person([50] * 9, 25), person([150] * 9, 90, stroke), person([330] * 9, 100)
    people = [right, far_left, left]
    # Whoever is far away is not meant by "left".
    assert choose_player(people, "left") is left
    assert choose_player(people, "right") is right
    assert choose_player(people, (0.1, 0.47)) is far_left
    assert choose_player(people, (0.7, 0.6)) is right
    with pytest.raises(TrackError, match=r"Nobody stands near the point 0\.98,0\.05"):
        choose_player(people, (0.98, 0.05))
    with pytest.raises(TrackError, match="Nobody was found"):
        choose_player([], "left")


def test_swapped_sides_are_no_fast_hand(person):
    """A model that takes the sides for each other at every look moves no hand."""
    still = person([200] * 10, 100)
    image = still.image.copy()
    image[::2] = 2 * 200 * np.array([1.0, 0.0]) + image[::2] * np.array([-1.0, 1.0])
    swapped = Person(still.times, image, still.places, still.colours, SIZE)
    np.testing.assert_allclose(swapped.hand_speeds()[0], 0.0, atol=1e-9)


def test_speed_of_a_hand_and_its_moment(person):
    """A hand that goes one height in a second against the hips, while the body drifts."""
    steady = person(200 + np.arange(13), 100.0, lambda t: t)
    speeds, moments = steady.hand_speeds()
    np.testing.assert_allclose(speeds, 100.0 / steady.height, rtol=1e-9)
    np.testing.assert_allclose(moments, np.arange(12) / 6 + 1 / 12)


def test_where_somebody_was_between_two_looks(person):
    walker = person([100, 112, 124], 90)
    assert walker.place_at(1 / 12).x == pytest.approx(106)
    assert walker.place_at(0.5).x == pytest.approx(124)  # a moment after the last look
    assert walker.place_at(2.0) is None
    doubled = walker.in_pictures_of((960, 480))
    assert doubled.place_at(1 / 12).x == pytest.approx(212)
    assert doubled.height == pytest.approx(2 * walker.height)


@pytest.mark.parametrize(
    ("text", "meant"),
    [("biggest", "biggest"), (" Left", "left"), ("0.3,0.5", (0.3, 0.5)), ("0, 1", (0.0, 1.0))],
)
def test_a_coachs_word_is_read(text, meant):
    assert read_wanted(text) == meant


@pytest.mark.parametrize("text", ["", "middle", "0.3", "1.2,0.5", "0.3,0.5,0.1", "a,b", "nan,0.5"])
def test_a_word_that_is_not_understood_is_one_sentence(text):
    with pytest.raises(SwingmatchError, match=r"Say who the player is as biggest, left, right") as caught:
        read_wanted(text)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)


@settings(deadline=None)
@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_colours_are_opencvs(rgb):
    picture = np.empty((60, 60, 3), np.uint8)
    picture[:] = rgb
    rows = np.linspace(10, 50, K)
    pose = Pose(np.column_stack([np.full(K, 30.0), rows]), np.zeros((K, 3)), np.ones(K))
    colours = body_colours(picture, pose)
    expected = cv2.cvtColor(np.float32(picture[:1, :1]) / 255, cv2.COLOR_RGB2LAB)[0, 0] * [0.5, 1.0, 1.0]
    np.testing.assert_allclose(colours, np.tile(expected, (len(colours), 1)), atol=0.6)


def test_clothes_tell_people_apart_and_shade_does_not(bars):
    scene = bars.picture((100, 60, 120, bars.RED), (300, 60, 120, bars.BLUE))
    red, blue = (
        body_colours(scene, Pose(bars.points_of(x, 60, 120), np.zeros((K, 3)), np.ones(K)))
        for x in (100, 300)
    )
    darker = body_colours(scene // 10 * 9, Pose(bars.points_of(100, 60, 120), np.zeros((K, 3)), np.ones(K)))
    assert unlikeness(red, red) == 0.0
    assert unlikeness(red, blue) > 50.0
    assert unlikeness(red, darker) < OTHER_COLOURS
    assert unlikeness(red, np.zeros((0, 3))) == 0.0


def test_an_arm_before_the_shirt_is_no_other_person_but_half_of_the_clothes_is():
    rng = np.random.default_rng(0)
    grey, green, skin = (
        np.array(c) + rng.normal(0, 1, (20, 3)) for c in ([25, 0, 0], [25, -50, 40], [35, 15, 20])
    )
    known = np.concatenate([grey, green])
    assert unlikeness(known, np.concatenate([grey[:15], green[:15], skin[:9]])) < 2.0
    assert unlikeness(known, grey) > OTHER_COLOURS
    assert unlikeness(grey, known) > OTHER_COLOURS
    # A quarter may be hidden, as the other side of a shirt.
    assert unlikeness(np.concatenate([grey, grey, grey, green]), grey) < 2.0


def test_a_body_out_of_view_has_no_colours(bars):
    pose = Pose(bars.points_of(2000, 60, 120), np.zeros((K, 3)), np.ones(K))
    assert body_colours(bars.picture(), pose).shape == (0, 3)


def test_identity_goes_on_with_the_speed_seen(bars):
    identity = Identity()
    picture = bars.picture()
    for i in range(10):
        pose = Pose(bars.points_of(100 + 6 * i, 60, 100), np.zeros((K, 3)), np.ones(K))
        assert identity.moves_on(pose, i / 30)
        identity.learn(pose, picture, i / 30)
    assert identity.predicted(11 / 30).x == pytest.approx(166, abs=2)
    jumped = Pose(bars.points_of(154 + 60, 60, 100), np.zeros((K, 3)), np.ones(K))
    grown = Pose(bars.points_of(160, 0, 200), np.zeros((K, 3)), np.ones(K))
    assert not identity.moves_on(jumped, 10 / 30)
    assert not identity.moves_on(grown, 10 / 30)
    # The longer nobody was seen, the farther the player may have gone.
    assert identity.moves_on(jumped, 10 / 30 + 0.3)
