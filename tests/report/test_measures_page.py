"""The page's section on measures: pictures, marks on them, and what is written beside them."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX
from swingmatch.report.marks import Body, Line, Ring, marks, plan
from swingmatch.report.measures_page import measures_section
from swingmatch.report.shots import nearest_frame, take_shots
from swingmatch.stroke.mass import centre_of_mass
from swingmatch.stroke.measure import NO_RACKET
from swingmatch.stroke.strokes import STROKES

FOREHAND = STROKES["forehand"]
ROWS = {row.key: row for row in FOREHAND.measures}
COSTS = 2_000_000  # the most bytes that the section may add to a page


def with_measures(scene, measured):
    return replace(scene.review, measures=measured.measures, scatters=measured.scatters)


@pytest.fixture(scope="module")
def section(scene, measured):
    return measures_section(with_measures(scene, measured), scene.frames)


def body_at(scene, seconds, swing=0, **other):
    """The player at a time from contact, on a shot without a picture."""
    review = scene.review
    own = replace(review.pairs[swing].player, **other)
    frame = nearest_frame(review.track, own.contact + seconds)
    shot = take_shots(review.track, {frame}, None)[frame]
    return Body(own, FOREHAND, review.track, shot)


def test_every_visible_measure_is_shown_once(section, measured):
    visible = {m.row.key for one in measured.measures for m in one if m.visible}
    assert 20 < len(visible) < len(ROWS)
    assert section.count("<details class='one'>") == len(visible)
    hidden = len(ROWS) - len(visible)
    assert f"<span class='under'>{hidden} more</span>" in section


def test_every_picture_is_there_once_and_every_one_is_used(section):
    stored = re.findall(r"<g id='(shot-\d+)'>", section)
    used = re.findall(r"<use href='#(shot-\d+)'/>", section)
    assert len(stored) == len(set(stored)) == section.count("data:image/jpeg")
    assert set(used) == set(stored)
    assert len(used) > len(stored)
    assert len(section) < COSTS


def test_the_section_is_well_formed(section):
    """Every tag is closed and every attribute in quotes, so that a mark cannot swallow the next."""
    root = ElementTree.fromstring(section.replace(" open>", " open=''>"))
    for path in root.iter("path"):
        assert re.fullmatch(r"[MLahVvmlHC0-9 .\-]+", path.get("d"))
        assert not list(path)
    assert [h.text for h in root.iter("h2")] == ["What was measured"]
    for picture in root.iter("svg"):
        assert picture.get("aria-label") or picture.get("aria-hidden") == "true"


def test_values_are_those_of_the_swing_that_is_shown_first(section, scene, measured):
    turn = next(m for m in measured.measures[scene.review.best] if m.row.key == "contact_shoulder_turn")
    assert turn.visible
    shown = re.search(r"Shoulder line to the target</span><span class='value'><strong>([−\d]+)°", section)
    assert shown is not None
    assert float(shown.group(1).replace("−", "-")) == pytest.approx(turn.value, abs=0.51)
    assert "3 swings: mean " in section
    assert f"Values and pictures are of swing {scene.review.best + 1} unless" in section


def test_how_contact_repeats_is_said(section, measured):
    word = measured.scatters["forehand"].word
    assert f"<h3>From swing to swing</h3><span class='under'>contact: {word}</span>" in section


def test_a_swing_that_shows_more_lends_its_picture(scene, measured):
    """What cannot be seen in the swing that is shown first comes from another one, which is named."""
    best = scene.review.best
    dark = tuple(
        replace(m, why_not="out of the picture") if m.row.key == "contact_shoulder_turn" else m
        for m in measured.measures[best]
    )
    measures = (*measured.measures[:best], dark, *measured.measures[best + 1 :])
    text = measures_section(replace(scene.review, measures=measures), None)
    assert "At contact (swing 1)" in text
    assert "2 swings: mean " in text


def test_without_measures_there_is_no_section_and_without_pictures_the_marks_remain(scene, measured):
    assert measures_section(scene.review, None) == ""
    text = measures_section(with_measures(scene, measured), None)
    assert "data:image" not in text
    assert "<g class='ink'>" in text
    blind = tuple(tuple(replace(m, why_not=NO_RACKET) for m in one) for one in measured.measures)
    text = measures_section(replace(scene.review, measures=blind), scene.frames)
    assert "Nothing could be measured with enough certainty" in text
    assert "<article>" not in text


def test_a_crop_shows_what_the_clip_shows(scene):
    """A bright square in the clip's picture lies in the crop where ``place`` says."""
    track = scene.review.track
    frame = nearest_frame(track, scene.review.pairs[0].player.contact)
    spot = track.image[frame, INDEX["right_hand"]]

    class Frame:
        time = float(track.times[frame]) + 0.002
        image = np.zeros((track.size[1], track.size[0], 3), np.uint8)

    x, y = np.round(spot).astype(int)
    Frame.image[y - 3 : y + 4, x - 3 : x + 4] = 255
    shot = take_shots(track, {frame}, lambda start, stop: [Frame])[frame]
    picture = cv2.imdecode(np.frombuffer(shot.picture, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert picture.shape == shot.size[::-1]
    rows, columns = np.nonzero(picture > 128)
    np.testing.assert_allclose([columns.mean(), rows.mean()], shot.place(spot), atol=1.5)


def test_all_pictures_are_in_one_scale_and_hold_the_body(scene):
    track = scene.review.track
    frames = [nearest_frame(track, scene.review.pairs[0].player.contact + t) for t in (-0.4, 0.0, 0.4)]
    shots = take_shots(track, frames, scene.frames)
    assert list(shots) == frames
    assert len({(shot.size, shot.zoom) for shot in shots.values()}) == 1
    for frame, shot in shots.items():
        seen = shot.place(track.image[frame])
        assert (seen > 0).all()
        assert (seen < np.array(shot.size)).all()


def test_a_frame_without_the_player_has_no_picture(scene):
    image = scene.review.track.image.copy()
    image[7] = np.nan
    track = replace(scene.review.track, image=image)
    assert list(take_shots(track, {7, 8}, None)) == [8]
    assert take_shots(track, {7}, None) == {}


@pytest.mark.parametrize("hand", ["right", "left"])
def test_marks_are_on_the_players_own_side(make_scene, hand):
    scene = make_scene(hand=hand, azimuth=70.0 if hand == "right" else -70.0, swings=1)
    body = body_at(scene, 0.0)
    image = body.track.image[body.shot.frame]
    other = "left" if hand == "right" else "right"
    for name, own in (
        ("hitting_hand", f"{hand}_hand"),
        ("other_elbow", f"{other}_elbow"),
        ("right_knee", f"{hand}_knee"),  # the outside leg
    ):
        np.testing.assert_allclose(body.point(name), body.shot.place(image[INDEX[own]]))
    np.testing.assert_allclose(body.point("centre_of_mass"), body.shot.place(centre_of_mass(image)))


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_strings_are_marked_where_the_racket_is(make_scene, hand):
    """The player's racket, known here, is drawn by the scene's own camera."""
    scene = make_scene(hand=hand, azimuth=70.0 if hand == "right" else -70.0, swings=1)
    own = scene.review.pairs[0].player
    use = (scene.review.track.times >= own.times[0]) & (scene.review.track.times <= own.times[-1])
    body = body_at(scene, -0.1, racket=scene.racket[use])
    strings = scene.view.project(scene.racket[body.shot.frame, 3:5].mean(axis=0))[:2]
    np.testing.assert_allclose(body.point("string_bed"), body.shot.place(strings), atol=0.03 * body.stature)


def test_a_bend_has_an_arc_of_its_angle(scene):
    body = body_at(scene, -0.4)
    shapes = marks(ROWS["elbow_flexion"], body)
    limb = [body.point(f"hitting_{part}") for part in ("shoulder", "elbow", "wrist")]
    first, second = limb[1] - limb[0], limb[2] - limb[1]
    bend = np.degrees(np.arccos(first @ second / np.linalg.norm(first) / np.linalg.norm(second)))
    arc = next(s for s in shapes if isinstance(s, Line) and len(s.points) > 5)
    ends = np.array(arc.points)[[0, -1]] - limb[1]
    swept = np.degrees(np.arccos(ends[0] @ ends[1] / np.prod(np.linalg.norm(ends, axis=1))))
    assert swept == pytest.approx(bend, abs=1e-6)
    assert bend > 20.0


def test_a_height_is_marked_between_hips_and_shoulders(scene):
    body = body_at(scene, 0.0)
    shapes = marks(ROWS["contact_height"], body)
    levels = [s for s in shapes if isinstance(s, Line) and s.dashed]
    assert {round(level.points[0][1], 6) for level in levels} == {
        round(float(body.point(name)[1]), 6) for name in ("mid_hip", "mid_shoulder")
    }
    (ring,) = [s for s in shapes if isinstance(s, Ring)]
    np.testing.assert_allclose(ring.at, body.point("hitting_hand"))


def test_from_above_the_target_is_up_and_the_players_right_is_right(scene):
    body = body_at(scene, -0.42)
    size = 120.0
    lines = [s for s in plan(ROWS["shoulder_turn"], body, size) if isinstance(s, Line) and not s.dashed]
    (shoulders,) = lines
    points = body.swing.at(np.array([body.time]))[0]
    across = points[INDEX["right_shoulder"]] - points[INDEX["left_shoulder"]]
    drawn = np.subtract(shoulders.points[1], shoulders.points[0])
    # Court X leads to the target, Z to the right; pixels go right and down.
    np.testing.assert_allclose(drawn, np.array([across[2], -across[0]]) * size, atol=1e-6)
    for key in ("contact_elbow_flexion", "contact_front_knee_flexion", "hip_speed", "preparation_time"):
        assert plan(ROWS[key], body, size) == ()


@pytest.mark.parametrize("stroke", STROKES)
@pytest.mark.parametrize("seconds", [-0.42, 0.0, 0.45])
def test_every_measure_of_every_stroke_has_marks(scene, stroke, seconds):
    definition = STROKES[stroke]
    body = replace(body_at(scene, seconds, stroke=stroke), definition=definition)
    bare = [row.key for row in definition.measures if not marks(row, body)]
    assert bare == []


def test_a_player_who_is_lost_leaves_no_marks_behind(scene):
    body = body_at(scene, 0.0)
    image = body.track.image.copy()
    image[body.shot.frame, INDEX["right_elbow"]] = np.nan
    body = replace(body, track=replace(body.track, image=image))
    for key in ("contact_elbow_flexion", "contact_shoulder_turn"):
        for shape in marks(ROWS[key], body):
            numbers = shape.at if isinstance(shape, Ring) else shape.points
            assert np.isfinite(np.array(numbers)).all()
    assert not any(
        isinstance(s, Line) and len(s.points) == 3 for s in marks(ROWS["contact_elbow_flexion"], body)
    )
