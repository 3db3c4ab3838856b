"""The study of accuracy: its tables on hand-made errors, its draws, and one clip whose answer is known."""

from __future__ import annotations

import json

import numpy as np
import pytest

from swingmatch.body.estimator import make_estimator
from swingmatch.findings.compare import COLUMNS
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.direction import SIDES, side_name
from swingmatch.study import measure, sample, tables
from swingmatch.study.measure import ANGLES, Errors, errors_of, true_swings
from swingmatch.synth.cast import HELD_OUT, TUNING


def errors(side="right side", **fields):
    defaults = {"frames": 200, "found": 190, "swings": 1, "matched": 1, "hand_right": True}
    return Errors(side=side, **(defaults | fields))


def row(text, start):
    """Cells of the one line of a table that starts with ``start``."""
    (line,) = [line for line in text.splitlines() if line.startswith(f"| {start}")]
    return [cell.strip() for cell in line.strip("|").split("|")][1:]


def test_spread_is_of_sizes():
    assert tables.spread([]) == "–"
    assert tables.spread([-4.0, 2.0, 0.0]) == "2.0 / 3.6"
    assert tables.spread(np.arange(-10.0, 11.0), 0) == "5 / 9"


def test_summary_counts_every_clip_and_pools_the_usable_ones():
    three = [
        errors(contact_sound=[10.0, -20.0], azimuth=[4.0], events={"ready": [-30.0]}, extra=1),
        errors("front", found=200, contact_sound=[30.0], hand_right=False, events={"ready": [50.0]}),
        errors("back", frames=0, found=0, matched=0, hand_right=False, failed="No swing was found."),
    ]
    text = tables.summary(three)
    assert "3 clips, 3 swings, 400 frames" in text
    assert "1 clips could not be used" in text
    assert row(text, "frames tracked") == ["97.5 %"]
    assert row(text, "swings found") == ["2 of 3; 1"]
    # A clip that could not be used counts against the hand, too.
    assert row(text, "hitting hand") == ["1 of 3 clips"]
    assert row(text, "contact with sound") == ["20.0 / 28.0"]
    assert row(text, "contact without sound") == ["–"]
    assert row(text, "ready") == ["40 / 48 (2 found)"]
    assert "could not be used: No swing was found." in text


def test_summary_of_nothing_usable():
    text = tables.summary([errors(frames=0, found=0, matched=0, hand_right=False, failed="Dark.")])
    assert row(text, "frames tracked") == ["0.0 %"]


def test_angles_are_tabled_by_side():
    two = [
        errors("right side", angles={"off elbow": [2.0]}, raw_angles={"off elbow": [8.0]}),
        errors("front", angles={"off elbow": [4.0]}),
    ]
    fitted, raw = tables.summary(two).split("The same angles")
    # Columns in the order of the circle, then all together.
    assert row(fitted, "off elbow") == ["4 / 4", "2 / 2", "3 / 4"]
    assert row(raw, "off elbow") == ["–", "8 / 8", "8 / 8"]


def test_times_are_shares_of_the_bare_model():
    two = [errors(seconds={"bare pose model": 2.0, "sound": 1.0}) for _ in range(2)]
    assert row(tables.summary(two), "sound") == ["0.50"]


def test_accuracy_is_root_mean_square_drawn_towards_all_sides():
    """Worked by hand: (n * mean square of the side + 3 * mean square of all) / (n + 3), then the root."""
    key = ("hip_turn", "drop")
    clips = [errors("front", quantities={key: [3.0, -4.0]}), errors("back", quantities={key: [1.0, 1.0]})]
    overall = (9 + 16 + 1 + 1) / 4
    found = tables.accuracy(clips)["hip_turn"]["drop"]
    assert found["front"] == pytest.approx(((25 + 3 * overall) / 5) ** 0.5, abs=1e-3)
    assert found["back"] == pytest.approx(((2 + 3 * overall) / 5) ** 0.5, abs=1e-3)
    # A bias is an error: always 5 too much is 5, not 0.
    biased = tables.accuracy([errors("front", quantities={key: [5.0] * 4})])
    assert biased == {"hip_turn": {"drop": {"front": 5.0}}}


def test_a_side_with_one_value_has_no_figure():
    key = ("hip_turn", "drop")
    clips = [errors("front", quantities={key: [3.0]}), errors("back", quantities={key: [1.0, 1.0]})]
    assert set(tables.accuracy(clips)["hip_turn"]["drop"]) == {"back"}
    assert json.loads(json.dumps(tables.accuracy(clips)))


def test_seeds_for_tuning_and_for_reporting_never_meet():
    assert not set(TUNING) & set(HELD_OUT)
    tuning, held_out = (sample.shots(16, held_out=flag) for flag in (False, True))
    assert {s.seed for s in tuning} <= set(TUNING)
    assert {s.seed for s in held_out} <= set(HELD_OUT)
    with pytest.raises(ValueError, match="seeds"):
        sample.shots(10**6, held_out=True)


def test_the_shot_of_a_seed_is_always_the_same():
    assert sample.shot(7, 3) == sample.shot(7, 3)
    assert sample.shot(7, 3) != sample.shot(8, 3)
    # The place moves the camera only.
    one, other = sample.shot(7, 0), sample.shot(7, 4)
    assert (one.player, one.look, one.scene) == (other.player, other.look, other.scene)
    assert one.camera != other.camera


@pytest.mark.parametrize("held_out", [False, True])
def test_eight_shots_go_once_round_the_player(held_out):
    sides = set()
    for shot in sample.shots(8, held_out=held_out):
        azimuth = shot.camera.azimuth if shot.player.hand == "right" else -shot.camera.azimuth
        sides.add(side_name(azimuth))
    assert sides == {name for _, name in SIDES}


def test_angles_a_whole_turn_apart_are_the_same():
    off = measure._off(np.array([350.0, 179.0, 10.0, np.nan]), np.array([-10.0, -179.0, 30.0, 0.0]))
    assert off == pytest.approx([0.0, 2.0, 20.0])


def test_true_swings_are_in_statures(rendered):
    _, truth = rendered
    (true,) = true_swings(truth)
    assert true.contact == truth.swings[0].events["contact"]
    assert np.nanmax(true.points[..., 1]) < 1.4
    assert np.allclose(true.points * truth.stature, truth.points, equal_nan=True)


@pytest.fixture(scope="module")
def measured(rendered):
    return errors_of(*rendered)


def test_one_clip_is_measured_with_small_errors(measured):
    """Bounds well above what this clip gives, far below what a broken step would give."""
    assert measured.failed == ""
    assert measured.side == "right side"
    assert (measured.swings, measured.matched, measured.extra) == (1, 1, 0)
    assert measured.hand_right
    assert measured.found >= 0.95 * measured.frames
    assert abs(measured.contact_sound[0]) < 15.0
    assert abs(measured.azimuth[0]) < 20.0
    # Per cent of stature: a hand is about ten long (C1).
    assert np.median(measured.image_seen) < 5.0
    assert set(measured.angles) == set(measured.raw_angles) == set(ANGLES)
    assert np.median(measured.angles["shoulder line"]) < 30.0
    assert len(measured.seconds) == 6


def test_errors_of_quantities_are_those_the_comparison_reads(measured):
    keys = {key for key, _ in measured.quantities}
    assert keys == {*QUANTITIES, "duration"}
    assert {column for _, column in measured.quantities} <= set(COLUMNS)
    assert all(np.isfinite(v) for values in measured.quantities.values() for v in values)
    assert measured.quantities["duration", "forward swing"][0] == pytest.approx(0.0, abs=150.0)


def test_a_clip_that_cannot_be_used_is_counted_not_raised(rendered, monkeypatch):
    from swingmatch.errors import TrackError

    def fails(path):
        raise TrackError("Nobody was found.")

    monkeypatch.setattr(measure, "track_timed", fails)
    found = errors_of(*rendered)
    assert found.failed == "Nobody was found."
    assert (found.swings, found.matched) == (1, 0)


def test_the_estimator_is_there():
    """The study and the tests above rest on the bundled model; a missing one should say so by itself."""
    make_estimator().close()
