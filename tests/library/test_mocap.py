"""Real people: does the aligned distance know a player's own swings, and a forehand from a backhand or serve?

Optical motion capture (Pulgarin-Giraldo et al. 2017, LNCS 10125:309-317, CC BY-SA 3.0), not part of this repository.
Strokes are cut by a plain rule that knows nothing of the analysis: peaks of the faster hand's speed.
"""

import csv
import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import butter, filtfilt, find_peaks

from swingmatch.align.warp import distance
from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.library.build import measure_build
from swingmatch.library.bvh import read_keypoints
from swingmatch.library.choose import build_distance
from swingmatch.stroke.swing import Swing

FOLDER = Path(
    os.environ.get("SWINGMATCH_MOCAP", Path(__file__).parents[2].parent / "shared" / "data" / "mocap")
)
pytestmark = [
    pytest.mark.mocap,
    pytest.mark.skipif(
        not (FOLDER / "index.csv").is_file(),
        reason="no motion capture here; set SWINGMATCH_MOCAP to its folder to run these",
    ),
]
BEFORE, AFTER = 1.0, 0.6  # seconds about contact
EACH = 5  # swings of a recording at most, spread over its length; keeps the pairs few


@dataclass(frozen=True)
class Stroke:
    player: str
    kind: str
    swing: Swing


def hand_speeds(times, points):
    """Speed of the left and right wrist (T, 2), m/s, from positions below 12 Hz."""
    b, a = butter(2, 12.0 / 0.802 * 2 * (times[1] - times[0]))
    wrists = filtfilt(b, a, points[:, [INDEX["left_wrist"], INDEX["right_wrist"]]], axis=0)
    return wrists, np.linalg.norm(np.gradient(wrists, times, axis=0), axis=2)


def cut(times, points):
    """Swings of one recording, each on court axes of its own.

    Hitting hand: the one with the higher 99.5th percentile of speed. A stroke: a peak of its speed above 60 % of that,
    1.5 s apart. Contact: 20 ms before the peak. Target: the hand's horizontal velocity at contact.
    """
    wrists, speeds = hand_speeds(times, points)
    top = np.percentile(speeds, 99.5, axis=0)
    side = int(np.argmax(top))
    step = times[1] - times[0]
    peaks, _ = find_peaks(speeds[:, side], height=0.6 * top[side], distance=round(1.5 / step))
    swings = []
    for peak in peaks:
        contact = peak - round(0.02 / step)
        first, last = contact - round(BEFORE / step), contact + round(AFTER / step)
        if first < 0 or last >= len(times):
            continue
        x, _, z = np.gradient(wrists[:, side], times, axis=0)[contact]
        x, z = x / np.hypot(x, z), z / np.hypot(x, z)
        window = points[first : last + 1] @ np.array([[x, 0, -z], [0, 1, 0], [z, 0, x]])
        clock = times[first : last + 1] - times[contact]
        swings.append(Swing(clock, window, {"contact": 0.0}, ("left", "right")[side]))
    picked = np.unique(np.linspace(0, len(swings) - 1, EACH).round().astype(int)) if swings else []
    return [swings[i] for i in picked]


@cache
def recordings():
    """Player, stroke and (times, points) of every file."""
    with (FOLDER / "index.csv").open() as index:
        return [(r["player"], r["stroke"], read_keypoints(FOLDER / r["file"])) for r in csv.DictReader(index)]


@cache
def strokes():
    return tuple(Stroke(player, kind, swing) for player, kind, body in recordings() for swing in cut(*body))


@cache
def distances():
    """Symmetric (n, n) distances of all strokes, with infinity on the diagonal."""
    every = strokes()
    table = np.full((len(every), len(every)), np.inf)
    for i in range(len(every)):
        for j in range(i):
            table[i, j] = table[j, i] = distance(every[i].swing, every[j].swing)
    return table


def nearest(table):
    """Index of the nearest allowed column for each row."""
    assert np.isfinite(table).any(axis=1).all()
    return np.argmin(table, axis=1)


def test_enough_strokes_were_cut():
    kinds = {(s.player, s.kind) for s in strokes()}
    assert len(kinds) == 24  # 8 players x 3 strokes
    assert len(strokes()) >= 4 * 24


@pytest.mark.parametrize("kind", ["forehand", "backhand", "serve"])
def test_a_players_swing_is_nearest_to_the_players_other_swings(kind, record_property):
    """1-NN among strokes of one kind. Chance is the share of the others that are the same player's, about 1 in 8."""
    own = [i for i, s in enumerate(strokes()) if s.kind == kind]
    who = np.array([strokes()[i].player for i in own])
    found = who[nearest(distances()[np.ix_(own, own)])] == who
    chance = np.mean([(np.sum(who == w) - 1) / (len(who) - 1) for w in who])
    record_property("rate", float(found.mean()))
    record_property("chance", float(chance))
    print(
        f"\n{kind}: own swings nearest in {found.sum()} of {len(found)} ({found.mean():.3f}), chance {chance:.3f}"
    )
    # "far more often than chance": at least half of the way from chance to certainty
    assert found.mean() > 0.5 + 0.5 * chance


def test_a_stroke_is_nearest_to_its_kind_among_other_players(record_property):
    """Leave one player out: a stroke's nearest neighbour among all other players' strokes is of its kind."""
    who = np.array([s.player for s in strokes()])
    kind = np.array([s.kind for s in strokes()])
    table = np.where(who[:, None] == who[None, :], np.inf, distances())
    found = kind[nearest(table)] == kind
    for name in ("forehand", "backhand", "serve"):
        mine = kind == name
        chance = np.mean([np.mean(kind[who != w] == name) for w in who[mine]])
        rate = found[mine].mean()
        record_property(f"{name}", float(rate))
        print(
            f"\n{name}: nearest of its kind in {found[mine].sum()} of {mine.sum()} ({rate:.3f}), chance {chance:.3f}"
        )
        assert rate > 0.5 + 0.5 * chance


def test_a_mirrored_player_comes_out_the_same():
    other = strokes()[0].swing
    for stroke in strokes()[::17]:
        flipped = Swing(
            stroke.swing.times,
            mirror(stroke.swing.points),
            stroke.swing.events,
            "left" if stroke.swing.hand == "right" else "right",
        )
        assert distance(flipped, stroke.swing) == 0.0
        assert distance(flipped, other) == distance(stroke.swing, other)


def test_build_tells_players_apart_across_their_recordings():
    """A player's build in one recording is nearest to the same player's in another, among all players."""
    builds = [measure_build(points) for _, _, (_, points) in recordings()]
    who = np.array([player for player, _, _ in recordings()])
    table = np.array([[build_distance(a, b) for b in builds] for a in builds])
    np.fill_diagonal(table, np.inf)
    rate = np.mean(who[nearest(table)] == who)
    chance = np.mean([(np.sum(who == w) - 1) / (len(who) - 1) for w in who])
    print(f"\nbuild: own recording nearest in {rate:.3f}, chance {chance:.3f}")
    assert rate > 0.5 + 0.5 * chance
