"""The yaw of a camera of known place is found from the lines it sees; what is no court is not taken for one."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from swingmatch.court.lines import Line
from swingmatch.court.yaw import DIRECTION_OF_PLAY_SD, CourtYaw, azimuth_from_court, yaw_of_lines
from swingmatch.stroke.direction import wrap
from swingmatch.synth.camera import Camera

ACROSS = [((x, -9.0), (x, 9.0), 0.05) for x in (-11.0, -9.0, -7.0)]


def off(yaw, azimuth):
    """Departure modulo a right angle, degrees."""
    return (yaw - azimuth + 45.0) % 90.0 - 45.0


@settings(max_examples=30, deadline=None)
@given(
    st.floats(-180, 180), st.floats(1.0, 1.9), st.floats(4.5, 7.5), st.floats(56, 72), st.floats(-2, 2),
    st.floats(-3, 3), st.floats(0.2, 1.5),
)  # fmt: skip
def test_yaw_of_exact_lines(seen_lines, body, azimuth, height, distance, view, roll, aside, behind):
    camera = Camera(azimuth, height, distance, field_of_view=view, roll=roll, size=(1280, 720))
    lines = seen_lines(camera, behind=behind, aside=aside)
    found = yaw_of_lines(lines, camera.size, body(camera))
    assume(found is not None)
    assert abs(off(found.yaw, azimuth)) < 3.0 * found.sd
    if found.square and found.sd < 2.0:
        assert abs(off(found.yaw, azimuth)) < 4.0


@pytest.mark.parametrize("azimuth", [-150.0, -100.0, -40.0, 85.0, 130.0, 170.0])
def test_a_plain_view_of_a_court_is_enough(seen_lines, body, azimuth):
    camera = Camera(azimuth, 1.5, 6.0, size=(1280, 720))
    found = yaw_of_lines(seen_lines(camera), camera.size, body(camera))
    assert found is not None
    assert found.square
    assert abs(off(found.yaw, azimuth)) < 2.5
    assert 0.0 <= found.yaw < 90.0


@pytest.mark.parametrize("azimuth", [-150.0, 85.0, 130.0])
def test_a_mirrored_picture_has_the_opposite_yaw(seen_lines, body, azimuth):
    camera = Camera(azimuth, 1.5, 6.0, roll=1.0, size=(1280, 720))
    lines, who = seen_lines(camera), body(camera)

    def mirrored(place):
        return np.array([camera.size[0] - 1 - place[0], place[1]])

    there = [replace(line, start=mirrored(line.start), stop=mirrored(line.stop)) for line in lines]
    one = yaw_of_lines(lines, camera.size, who)
    other = yaw_of_lines(there, camera.size, replace(who, feet=mirrored(who.feet)))
    assert off(one.yaw, -other.yaw) == pytest.approx(0.0, abs=0.05)
    assert one.sd == pytest.approx(other.sd, rel=0.02)
    assert one.roll == pytest.approx(-other.roll, abs=0.1)


@pytest.mark.parametrize("azimuth", [140.0, 170.0, -145.0])
def test_many_lines_tell_the_pitch_and_beat_what_was_taken_for_likely(seen_lines, azimuth):
    """Nothing is known of the player here, and the camera looks down by 12 degrees."""
    camera = Camera(azimuth, 2.2, 6.0, field_of_view=66.0, size=(1280, 720))
    found = yaw_of_lines(seen_lines(camera), camera.size)
    assert found.pitch == pytest.approx(np.degrees(np.arctan2(2.2 - 0.95, 6.0)), abs=1.5)
    assert found.pitch > 9.0
    assert abs(off(found.yaw, azimuth)) < 2.0


def test_one_line_is_less_sure(seen_lines, body):
    """From here only the baseline is in view."""
    camera = Camera(35.0, 1.5, 6.0, size=(1280, 720))
    one = yaw_of_lines(seen_lines(camera), camera.size, body(camera))
    assert one.lines == 1
    assert not one.square
    assert 4.0 < one.sd < 15.0
    assert abs(off(one.yaw, 35.0)) < 2.0 * one.sd


def test_lines_that_do_not_meet_at_right_angles_are_seldom_a_court(seen_lines, body):
    """Two families 50 or 60 degrees apart on the ground, as the marks of a parking place may be."""
    taken, looked = 0, 0
    for degrees in (50.0, 60.0):
        a = np.radians(degrees)
        slant = [
            ((-13.0, z), (-13.0 + 14.0 * np.sin(a), z + 14.0 * np.cos(a)), 0.05)
            for z in (-5.0, -3.0, -1.0, 1.0, 3.0)
        ]
        for azimuth in (150.0, -150.0, 130.0, 170.0, -120.0):
            camera = Camera(azimuth, 1.5, 6.0, size=(1280, 720))
            lines = seen_lines(camera, ACROSS + slant)
            assert len(lines) >= 6
            looked += 1
            taken += yaw_of_lines(lines, camera.size, body(camera)) is not None
    assert looked == 10
    assert taken <= 1


def test_the_same_lines_turned_to_right_angles_are_one(seen_lines, body):
    """Guards the test above: with the slant taken away the same marks are accepted."""
    camera = Camera(150.0, 1.5, 6.0, size=(1280, 720))
    along = [((-13.0, z), (1.0, z), 0.05) for z in (-5.0, -3.0, -1.0, 1.0, 3.0)]
    assert yaw_of_lines(seen_lines(camera, ACROSS + along), camera.size, body(camera)) is not None


def test_wires_above_the_horizon_are_no_court(body, phone):
    wires = [
        Line(np.array([0.0, y]), np.array([639.0, y - 30.0]), 3.0, 640.0) for y in (40.0, 70.0, 100.0, 130.0)
    ]
    assert yaw_of_lines(wires, phone.size, body(phone)) is None


@pytest.mark.parametrize("times", [6.0, 0.1])
def test_bands_of_another_width_are_no_paint(seen_lines, body, times):
    """A road's edge, a seam: six times as wide as a court's line, or a tenth."""
    camera = Camera(85.0, 1.5, 4.0, size=(1920, 1080))
    lines = [line for line in seen_lines(camera) if line.width > 20.0]
    assert lines
    assert yaw_of_lines(lines, camera.size, body(camera)) is not None
    other = [replace(line, width=line.width * times) for line in lines]
    assert yaw_of_lines(other, camera.size, body(camera)) is None


def test_scattered_lines_are_seldom_a_court(body, phone):
    rng = np.random.default_rng(0)
    taken = 0
    for _ in range(40):
        middle = rng.uniform((50, 230), (590, 340), (8, 2))
        way = rng.normal(size=(8, 2))
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        half = rng.uniform(20, 60, 8)[:, None]
        lines = [
            Line(m - h * w, m + h * w, 2.5, 2 * float(h[0]))
            for m, w, h in zip(middle, way, half, strict=True)
        ]
        taken += yaw_of_lines(lines, phone.size, body(phone)) is not None
    assert taken <= 4


def test_no_lines_no_court(phone):
    assert yaw_of_lines([], phone.size) is None


# Azimuth ------------------------------------------------------------------------------------------------


def court(yaw, sd=1.0):
    return CourtYaw(yaw, sd, 3.0, 0.0, True, 4)


@given(st.floats(-180, 180), st.floats(-12, 12))
def test_the_nearest_of_four_directions_is_taken(azimuth, error):
    """Whatever side the camera is on, the lines pull a direction read from the movement to the truth."""
    found = azimuth_from_court(court(azimuth % 90.0), wrap(azimuth + error), 15.0)
    assert found is not None
    value, sd = found
    assert abs(value) <= 180.0
    assert abs(wrap(value - azimuth)) <= 0.25 * abs(error) + 1e-6
    assert sd < DIRECTION_OF_PLAY_SD


def test_two_estimates_are_weighted_by_their_certainty():
    """The usual mean by inverse variance."""
    value, sd = azimuth_from_court(court(0.0, 3.0), 10.0, 20.0)
    court_variance = 3.0**2 + DIRECTION_OF_PLAY_SD**2
    weight = 1 / court_variance / (1 / court_variance + 1 / 400.0)
    assert value == pytest.approx(10.0 * (1 - weight))
    assert sd == pytest.approx((1 / court_variance + 1 / 400.0) ** -0.5)


def test_between_two_directions_neither_is_taken():
    assert azimuth_from_court(court(20.0), 65.0, 30.0) is None
    assert azimuth_from_court(court(20.0), 50.0, 30.0) is None


def test_a_movement_that_contradicts_the_lines_is_left_alone():
    assert azimuth_from_court(court(0.0), 35.0, 5.0) is None


def test_the_spread_of_play_is_that_of_the_court():
    """Places and aims drawn evenly on a singles court (row D2), less a margin of 0.6 m at each sideline."""
    rng = np.random.default_rng(1)
    place, aim = rng.uniform(-3.0, 3.0, 200_000), rng.uniform(-3.5, 3.5, 200_000)
    spread = np.degrees(np.std(np.arctan2(aim - place, 21.0)))
    assert spread == pytest.approx(DIRECTION_OF_PLAY_SD, abs=0.2)
