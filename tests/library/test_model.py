"""The mean swing and the spread of repeats: laws, and spreads that are known because they were put in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.body.skeleton import BONES, K, mirror
from swingmatch.errors import StrokeError
from swingmatch.library.model import JOINTS, make_model, mirrored
from swingmatch.stroke.forehand import FOREHAND

UPPER_ARM_UP, FOREARM_UP, KNEE = 4, 6, 7  # columns of ``movers.POSES``
SEEN = ("preparation", "take-back", "drop", "forward swing", "follow-through")  # what every warp reaches


def bent(movers, column, degrees, **more):
    style = np.zeros(8)
    style[column] = degrees
    return movers.swing(style=style, **more)


def warped(size, rate):
    return lambda t: t + size * np.sin(rate * t)


@pytest.fixture(scope="module")
def repeats(movers):
    rng = np.random.default_rng(1)
    return [
        movers.swing(
            warped(0.03 * rng.normal(), rng.uniform(2.0, 6.0)), style=rng.normal(0.0, 4.0, 8), contact=2.0 * i
        )
        for i in range(4)
    ]


@pytest.fixture(scope="module")
def model(repeats):
    return make_model(repeats)


def test_one_repeat_has_an_unknown_spread_and_not_none(movers):
    one = make_model([movers.swing()])
    assert np.isnan(one.spread.degrees).all()
    assert all(np.isnan(sd) for sd in one.spread.milliseconds.values())
    assert set(one.spread.milliseconds) == {name for name, _, _ in FOREHAND.phases}
    assert one.spread.counts.max() == 1
    assert one.apart == (0.0,)


def test_equal_repeats_have_no_spread(movers):
    same = make_model([movers.swing(), movers.swing(contact=5.0), movers.swing()])
    for phase in SEEN:
        assert same.spread.of("right_wrist", phase) == pytest.approx(0.0, abs=0.05)
        assert same.spread.milliseconds[phase] == pytest.approx(0.0, abs=1e-6)
    assert max(same.apart) == pytest.approx(0.0, abs=0.05)


@settings(max_examples=5, deadline=None)
@given(off=st.floats(1.0, 6.0), column=st.sampled_from([UPPER_ARM_UP, FOREARM_UP]))
def test_a_joint_that_varies_by_a_known_angle(movers, off, column):
    """Two repeats whose segment is raised by ``off`` and lowered by as much have the spread sqrt(2) ``off``."""
    joint = {UPPER_ARM_UP: "right_elbow", FOREARM_UP: "right_wrist"}[column]
    spread = make_model([bent(movers, column, off), bent(movers, column, -off)]).spread
    found = [spread.of(joint, phase) for phase in SEEN]
    # An azimuth or a clock that gives way takes a little of it; nothing adds to it.
    assert max(found) == pytest.approx(np.sqrt(2.0) * off, rel=0.12)
    assert np.median(found) == pytest.approx(np.sqrt(2.0) * off, rel=0.2)
    assert all(spread.of("left_ankle", phase) < 0.15 * off for phase in SEEN)


def test_a_phase_that_varies_by_a_known_time(movers):
    """Events that were moved in one repeat: 60 ms apart is a standard deviation of 60 / sqrt(2)."""
    one, other = movers.swing(), movers.swing()
    events = {**other.events, "turn_start": other.events["turn_start"]}
    events["end_of_follow_through"] += 0.060
    spread = make_model([one, replace(other, events=events)]).spread
    assert spread.milliseconds["follow-through"] == pytest.approx(60.0 / np.sqrt(2.0), abs=0.1)
    assert spread.milliseconds["drop"] == pytest.approx(0.0, abs=1e-6)


def test_the_order_of_the_repeats_does_not_matter(repeats, model):
    other = make_model(repeats[::-1])
    np.testing.assert_allclose(other.swing.points, model.swing.points, atol=1e-9)
    np.testing.assert_allclose(other.spread.degrees, model.spread.degrees, atol=1e-6, equal_nan=True)
    assert other.spread.milliseconds == pytest.approx(model.spread.milliseconds, nan_ok=True)
    assert other.apart[::-1] == pytest.approx(model.apart)


def test_a_left_hander_has_the_mirrored_model(repeats, model):
    left = [replace(swing, points=mirror(swing.points), hand="left") for swing in repeats]
    found = make_model(left)
    assert found.swing.hand == "left"
    np.testing.assert_allclose(found.swing.points, mirror(model.swing.points), atol=1e-9)
    np.testing.assert_allclose(
        mirrored(found.spread).degrees, model.spread.degrees, atol=1e-6, equal_nan=True
    )
    assert found.spread.of("left_wrist", "drop") == pytest.approx(model.spread.of("right_wrist", "drop"))
    np.testing.assert_array_equal(mirrored(mirrored(found.spread)).degrees, found.spread.degrees)


def test_size_and_clock_do_not_matter(repeats, model):
    moved = [
        replace(
            swing,
            times=swing.times + 7.0,
            points=1.8 * swing.points,
            events={name: time + 7.0 for name, time in swing.events.items()},
        )
        for swing in repeats
    ]
    found = make_model(moved).spread
    np.testing.assert_allclose(
        found.degrees, model.spread.degrees, atol=1e-3, equal_nan=True
    )  # the clock's fit
    assert found.milliseconds == pytest.approx(model.spread.milliseconds, nan_ok=True)


def test_bones_keep_their_length(model):
    for a, b, group in BONES:
        if group in ("upper_arm", "forearm", "thigh", "shank"):
            long = np.linalg.norm(model.swing.points[:, a] - model.swing.points[:, b], axis=1)
            assert np.ptp(long) < 1e-6 * long.mean()


def test_what_a_repeat_does_not_show_is_not_counted(movers):
    hidden = movers.swing()
    points = hidden.points.copy()
    points[:, 7] = np.nan  # left wrist
    spread = make_model(
        [movers.swing(), bent(movers, FOREARM_UP, 5.0), replace(hidden, points=points)]
    ).spread
    assert spread.counts[JOINTS.index("left_wrist"), 2] == 2
    assert spread.counts[JOINTS.index("right_wrist"), 2] == 3
    assert np.isfinite(spread.of("left_wrist", "drop"))
    two = make_model([movers.swing(), replace(hidden, points=points)]).spread
    assert np.isnan(two.of("left_wrist", "drop"))
    assert np.isfinite(two.of("right_wrist", "drop"))


def test_joints_are_keypoints_each_with_its_segment():
    assert len(set(JOINTS)) == len(JOINTS) < K


def test_repeats_of_two_strokes_are_no_model(movers):
    with pytest.raises(StrokeError, match="one kind of stroke"):
        make_model([movers.swing(), replace(movers.swing(), stroke="serve")])
    with pytest.raises(StrokeError):
        make_model([])
