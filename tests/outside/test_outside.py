"""Published studies beside recorded strokes: the arithmetic on a made-up stroke, and what is robust on real ones.

Motion capture: Pulgarin-Giraldo et al. 2017, LNCS 10125:309-317, CC BY-SA 3.0, not part of this repository.
``python -m swingmatch.study outside --mocap DIR`` prints the whole table; agreement with a band is not asserted here.
"""

import os
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from swingmatch.body.skeleton import INDEX, K
from swingmatch.errors import LibraryError
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.study import __main__ as command
from swingmatch.study import captured, outside
from swingmatch.study.captured import TOGETHER, Stroke, strokes
from swingmatch.study.published import ROWS

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
real = [
    pytest.mark.mocap,
    pytest.mark.skipif(
        not (FOLDER / "index.csv").is_file(),
        reason="no motion capture here; set SWINGMATCH_MOCAP to its folder to run these",
    ),
]


def swing(hips_peak, shoulders_peak, wrist_peak, player="Q"):
    """A right-hander who turns from 80 and 110 degrees, fastest at these times; a turn is a normal law's rise."""
    times = np.arange(-1.2, 0.501, 0.01)
    hips = np.radians(80.0 * norm.sf(times, hips_peak, 0.08))
    shoulders = np.radians(110.0 * norm.sf(times, shoulders_peak, 0.07))
    points = np.full((len(times), K, 3), np.nan)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        for part, half, angle, height in (("hip", 0.15, hips, 0.95), ("shoulder", 0.2, shoulders, 1.45)):
            points[:, INDEX[f"{side}_{part}"]] = np.stack(
                [-sign * half * np.sin(angle), np.full(len(times), height), sign * half * np.cos(angle)],
                axis=1,
            )
    for part, far in (("elbow", 0.3), ("wrist", 0.55), ("hand", 0.63)):
        lag = {"elbow": -0.01, "wrist": 0.0, "hand": 0.0}[part]
        way = 2.0 * far * norm.cdf(times, wrist_peak + lag, 0.06) - far
        points[:, INDEX[f"right_{part}"]] = np.stack(
            [way, np.full(len(times), 1.0), np.full(len(times), far)], axis=1
        )
    return Stroke(player, "", "forehand", times, points, "right")


def row(what):
    return next(r for r in ROWS if r.what == what and r.kind == "forehand")


def test_what_is_taken_of_a_made_up_stroke():
    stroke = swing(-0.093, -0.072, -0.038)
    assert row("peak pelvis turn velocity").of(stroke) == pytest.approx(-0.093, abs=1e-3)
    assert row("peak trunk turn velocity").of(stroke) == pytest.approx(-0.072, abs=1e-3)
    assert row("lag of the trunk's peak behind the pelvis's").of(stroke) == pytest.approx(0.021, abs=2e-3)
    assert row("lag of the wrist's peak behind the elbow's").of(stroke) == pytest.approx(0.010, abs=1e-3)
    # 80 degrees over a bell of 0.08 s: 80 / (0.08 sqrt(2 pi)) = 398.9 at the peak; at contact x exp(-(93/80)^2 / 2).
    want = 80.0 / (0.08 * np.sqrt(2 * np.pi)) * np.exp(-0.5 * (0.093 / 0.08) ** 2)
    assert row("pelvis turn velocity at contact").of(stroke) == pytest.approx(want, rel=0.02)
    # The shoulders are turned 30 degrees further early on, and more once the hips have begun.
    fine = np.linspace(-0.6, 0.0, 6001)
    apart = 110.0 * norm.sf(fine, -0.072, 0.07) - 80.0 * norm.sf(fine, -0.093, 0.08)
    assert row("largest hip-shoulder separation").of(stroke) == pytest.approx(apart.max(), abs=0.05)
    when = row("largest hip-shoulder separation, when").of(stroke)
    assert when == pytest.approx(fine[np.argmax(apart)], abs=1e-3)


def test_order_is_a_share_of_strokes_and_players_count_alike():
    """One player with four strokes, one of them the wrong way round; another with one: (3/4 + 1) / 2."""
    first = [swing(-0.10, -0.07, -0.04)] * 3 + [swing(-0.06, -0.09, -0.04)]
    taken = [*first, swing(-0.10, -0.07, -0.04, "R")]
    (line,) = outside.compare(taken, [row("share of strokes: pelvis peak before trunk peak")])
    assert (line.players, line.count) == (2, 5)
    assert line.mean == pytest.approx(0.875)
    assert line.agrees
    (none,) = outside.compare([], [row("peak pelvis turn velocity")])
    assert none.agrees is None
    assert "| – |" in outside.text([none])


def test_bands_by_hand():
    """A1: -0.093 - 2 x 0.012 and -0.075 + 2 x 0.008; B1: 119.1 - 25 % - 15 and + 25 % + 15; A3: 0.018 -+ 0.024."""
    assert row("peak pelvis turn velocity").band == pytest.approx((-0.117, -0.059))
    b1 = next(r for r in ROWS if r.ids == "B1" and r.kind == "one-handed backhand")
    assert b1.band == pytest.approx((74.325, 163.875))
    assert row("lag of the trunk's peak behind the pelvis's").band == pytest.approx((-0.006, 0.042))
    (line,) = outside.compare([swing(-0.20, -0.07, -0.04)], [row("peak pelvis turn velocity")])
    assert line.agrees is False
    # -0.200 is 8.9 SD off -0.093 ± 0.012 and 15.6 off -0.075 ± 0.008.
    assert line.sds_off == pytest.approx(107 / 12, abs=0.1)
    assert "**no**" in outside.text([line])


def made_up(hits, heading, hand, together):
    """100 Hz of somebody who stands and sweeps the hitting wrist to ``heading`` degrees about the vertical."""
    times = np.arange(0.0, 9.0, 0.01)
    way = sum(norm.cdf(times, hit, 0.06) for hit in hits) - sum(
        norm.cdf(times, hit + 1.5, 0.3) for hit in hits
    )
    x = 0.9 * way - 0.45
    points = np.zeros((len(times), K, 3))
    sign = 1.0 if hand == "right" else -1.0
    heights = {"shoulder": 1.4, "hip": 0.9, "knee": 0.5, "ankle": 0.1, "heel": 0.0, "toe": 0.0, "ear": 1.6}
    for part, height in heights.items():
        for side, z in (("left", -0.2), ("right", 0.2)):
            points[:, INDEX[f"{side}_{part}"]] = (0.0, height, z)
    for part, far in (("elbow", 0.6), ("wrist", 1.0), ("hand", 1.1)):
        for side in ("left", "right"):
            moves = far * x if side == hand or together else np.zeros_like(x)
            z = sign * 0.6 if side == hand or together else -sign * 0.3
            points[:, INDEX[f"{side}_{part}"]] = np.stack(
                [moves, np.full_like(x, 1.0), np.full_like(x, z)], axis=1
            )
    a = np.radians(heading)
    turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    return times, points @ turn.T


@pytest.mark.parametrize("hand", ["right", "left"])
def test_strokes_are_cut_where_the_wrist_was_fastest_and_put_on_the_balls_side(monkeypatch, tmp_path, hand):
    """Sweeps at 2.503 and 6.504 s; the recording's axes are turned by 70 degrees."""
    made = {
        "f": made_up((2.503, 6.504), 70.0, hand, together=False),
        "b": made_up((2.503, 6.504), 70.0, hand, together=True),
    }
    monkeypatch.setattr(captured, "read_keypoints", lambda path: tuple(a.copy() for a in made[path.name]))
    index = "file,player,stroke\nf,P,forehand\nb,P,backhand\n"
    (tmp_path / "index.csv").write_text(index, encoding="utf-8")
    found = strokes(tmp_path)
    assert [s.kind for s in found] == ["forehand"] * 2 + ["two-handed backhand"] * 2
    assert [s.hitting for s in found] == ["right"] * 2 + ["left"] * 2
    for s in found:
        wrist = s.arm("wrist")
        fastest = s.peak(s.speed("wrist"), -0.3, 0.2)[0]
        assert fastest == pytest.approx(-WRIST_PEAK_BEFORE_CONTACT, abs=0.001)
        assert np.argmax(wrist[:, 0]) > np.argmin(wrist[:, 0])  # towards the target
        # Forehand: on the ball's side. The backhand's hands were swept on the hitting side, which is mirrored.
        assert wrist[0, 2] == pytest.approx(0.6 if s.kind == "forehand" else -0.6, abs=0.02)


def test_a_folder_without_recordings_is_one_sentence(tmp_path):
    with pytest.raises(LibraryError, match=r"no index\.csv"):
        strokes(tmp_path)
    (tmp_path / "index.csv").write_text("file\nx\n", encoding="utf-8")
    with pytest.raises(LibraryError, match="does not list"):
        strokes(tmp_path)


def test_the_command_prints_the_table(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(command, "strokes", lambda folder: [swing(-0.093, -0.072, -0.038)])
    monkeypatch.setattr(sys, "argv", ["study", "outside", "--mocap", str(tmp_path)])
    command.main()
    out = capsys.readouterr().out
    assert "peak pelvis turn velocity | s | -0.093" in out
    monkeypatch.setattr(sys, "argv", ["study", "outside"])
    with pytest.raises(SystemExit):
        command.main()


@pytest.fixture(scope="module")
def taken():
    return strokes(FOLDER)


class TestRecorded:
    pytestmark = real

    def test_enough_strokes(self, taken):
        count = {kind: sum(s.kind == kind for s in taken) for kind in {r.kind for r in ROWS}}
        print(f"\n{count}")
        assert {s.player for s in taken if s.kind == "forehand"} == {f"P{i}" for i in range(1, 9)}
        assert count["forehand"] > 50
        assert count["two-handed backhand"] > 50
        assert count["one-handed backhand"] >= 5
        assert count["serve"] > 20

    def test_hips_before_shoulders_in_most_forehands(self, taken):
        """Landlinger et al. 2010 (A1-A3): in both groups the pelvis is fastest before the trunk, by 18 ms."""
        lag = row("lag of the trunk's peak behind the pelvis's")
        lags = np.array([lag.of(s) for s in taken if s.kind == "forehand"])
        print(
            f"\ntrunk behind pelvis: median {1000 * np.median(lags):.0f} ms, {np.mean(lags > 0):.2f} of {len(lags)}"
        )
        assert np.mean(lags > 0.0) > 0.5
        assert np.median(lags) > 0.0

    def test_trunk_before_wrist_in_most_forehands(self, taken):
        """A2 and A16: trunk at -57 and -75 ms, wrist at -37 and -40 ms."""
        lag = row("lag of the wrist's peak behind the trunk's")
        lags = np.array([lag.of(s) for s in taken if s.kind == "forehand"])
        assert np.mean(lags > 0.0) > 0.5

    def test_hands_tell_one_from_two_handed_backhands(self, taken):
        """No stroke's hands are at a distance that leaves it open."""
        gaps = {"one-handed backhand": [], "two-handed backhand": []}
        for s in taken:
            if s.kind in gaps:
                between = s.points[:, INDEX["left_wrist"]] - s.points[:, INDEX["right_wrist"]]
                gaps[s.kind].append(s.at(np.linalg.norm(between, axis=1)))
        assert max(gaps["two-handed backhand"]) < 0.8 * TOGETHER
        assert min(gaps["one-handed backhand"]) > 1.2 * TOGETHER

    def test_a_backhand_turns_the_trunk_back_and_forward(self, taken):
        """B1 and B7-B12: well past a quarter turn or near it at the end of the take-back, and forward from there."""
        for s in taken:
            if s.kind.endswith("backhand"):
                back = s.at(s.shoulders, s.take_back)
                assert back > 45.0
                assert s.at(s.shoulders) < back

    def test_a_serve_is_struck_high_with_the_arm_up(self, taken):
        """B31, B33: the upper arm is 109-111 degrees from hanging down; B21, B28: the elbow opens into contact."""
        of = {r.what: r.of for r in ROWS if r.kind == "serve"}
        serves = [s for s in taken if s.kind == "serve"]
        up = np.array([of["shoulder elevation at contact"](s) for s in serves])
        opened = np.array(
            [of["elbow flexion, arm cocked"](s) - of["elbow flexion at contact"](s) for s in serves]
        )
        assert (up > 75.0).all()
        assert np.mean(opened > 0.0) > 0.9
