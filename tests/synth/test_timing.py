"""When and how fast the parts of a made-up forehand move, over a sample of players, against published values.

Row ids: Landlinger et al. 2010, J Sports Sci Med 9:643-651 (A1-A5, A13, A16, A17; E elite, H high-performance
players). Where the study gives a spread, the band is the groups' mean -+ 2 SD, joined; where it gives none (A13, A16),
the group means themselves with the margin that is stated. Single players draw from wide styles, so medians are judged.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.stroke.measures import hip_turn, separation, shoulder_turn, speed
from swingmatch.synth.cast import TUNING, VOLUNTEERS, Player, random_player
from swingmatch.synth.forehand import RATE

PLAYERS = (*VOLUNTEERS, *(random_player(TUNING[i]) for i in range(9)))


def timing(player: Player) -> dict[str, float]:
    """Peaks around contact of a player's right-handed, faultless swing: ``_at`` seconds, others as named."""
    motion = replace(player, hand="right", faults={}).perform(swings=1, variation=0.0)
    contact = round(motion.swings[0].events["contact"] * RATE)
    window = slice(contact - 120, contact + 48)
    times, hips = motion.times, middle(motion.points, "hip")
    since = times[window] - times[contact]
    found = {}
    for name in ("shoulder", "elbow", "wrist"):
        about_hips = speed(motion.points[:, INDEX[f"right_{name}"]] - hips, times)[window]
        found[f"{name}_at"] = since[np.argmax(about_hips)]
    shoulder = motion.points[:, INDEX["right_shoulder"]][:, [0, 2]]
    found["shoulder"] = speed(shoulder, times)[window].max()
    racket = speed(motion.racket[:, 2][:, [0, 2]], times)[window]
    found |= {"racket_at": since[np.argmax(racket)], "racket": racket.max()}
    for name, turn in (("pelvis", hip_turn), ("trunk", shoulder_turn)):
        found[f"{name}_at"] = since[np.argmax(-np.gradient(turn(motion.points), times)[window])]
    found["separation"] = separation(motion.points)[contact - 240 : contact].max()
    return found


@pytest.fixture(scope="module")
def sample() -> dict[str, np.ndarray]:
    rows = [timing(player) for player in PLAYERS]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("pelvis_at", -0.093 - 2 * 0.012, -0.075 + 2 * 0.008),  # A1: H -0.093 +- 0.012, E -0.075 +- 0.008
        ("trunk_at", -0.075 - 2 * 0.011, -0.057 + 2 * 0.004),  # A2: H -0.075 +- 0.011, E -0.057 +- 0.004
        ("racket", 31.1 - 2 * 1.9, 33.1 + 2 * 2.4),  # A4: H 31.1 +- 1.9, E 33.1 +- 2.4 m/s
        ("shoulder", 2.5 - 2 * 0.4, 3.0 + 2 * 0.4),  # A5: H 2.5 +- 0.4, E 3.0 +- 0.4 m/s
        ("separation", 27.0 - 5.0, 33.0 + 5.0),  # A13: E 27, H 33 degrees, no spread read; 5 to either side
        ("shoulder_at", -0.060 - 0.005, -0.045 + 0.005),  # A16: H -0.060, E -0.045; no spread read; 5 ms
        ("elbow_at", -0.045, -0.030),  # A16: H -0.040, E -0.039; 5 ms below and 9 ms above
        ("wrist_at", -0.045, -0.030),  # A16: H -0.040, E -0.037; 5 ms below and 7 ms above
        ("racket_at", -0.003 - 0.006, -0.002 + 0.006),  # A17: -0.003 and -0.002; 6 ms = 3 samples of 480 Hz
    ],
)
def test_the_median_player_is_within_the_published_band(sample, name, low, high):
    assert low <= np.median(sample[name]) <= high


def test_parts_of_the_body_peak_in_the_published_order(sample):
    """A1 before A2 in every player; A16, A17: arm before racket in every player, medians outwards."""
    assert (sample["pelvis_at"] < sample["trunk_at"]).all()
    assert (sample["wrist_at"] < sample["racket_at"]).all()
    assert (sample["elbow_at"] < sample["racket_at"]).all()
    shoulder, elbow, wrist, racket = (
        np.median(sample[f"{name}_at"]) for name in ("shoulder", "elbow", "wrist", "racket")
    )
    # A16 has elbow and wrist within 2 ms of one another, which is one sample here: no order between the two.
    assert shoulder < min(elbow, wrist)
    assert max(elbow, wrist) < racket


def test_pelvis_leads_the_trunk_by_the_published_lag(sample):
    """A3: 0.018 s in both groups (difference of means, no spread); 6 ms = 3 samples of 480 Hz."""
    assert np.median(sample["trunk_at"] - sample["pelvis_at"]) == pytest.approx(0.018, abs=0.006)


def test_no_racket_is_too_slow_or_too_fast(sample):
    """Every player, 25..33 m/s: what the generator is meant to make, from a club player's stroke to A4's elite mean."""
    assert sample["racket"].min() > 25.0
    assert sample["racket"].max() < 33.1
