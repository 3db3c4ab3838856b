"""Real people at real speed must not be called slow, whatever they hit.

Optical motion capture (Pulgarin-Giraldo et al. 2017, LNCS 10125:309-317, CC BY-SA 3.0), not part of this repository.
Players P1-P4 helped to set the figures of ``slow_motion``; what is asserted is of P5-P8.
"""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.body.smooth import smooth
from swingmatch.footage.slow_motion import FACTORS, from_evidence
from swingmatch.library.bvh import read_keypoints

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
_KEPT = [
    INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("shoulder", "wrist", "hip", "ankle")
]
#: Eight seconds, about what a player sends, from the middle of each recording.
_SECONDS = 8.0


@pytest.fixture(scope="module")
def pieces():
    """(stroke, motion of eight seconds) of each recording of the players that nothing was set on."""
    out = []
    with (FOLDER / "index.csv").open() as index:
        for row in csv.DictReader(index):
            if row["player"] not in ("P5", "P6", "P7", "P8"):
                continue
            times, points = read_keypoints(FOLDER / row["file"])
            # These recordings have no face; the nose stands where it would for the height of the body.
            shoulders, hips = middle(points, "shoulder"), middle(points, "hip")
            points = points.copy()
            points[:, INDEX["nose"]] = shoulders + 0.41 * (shoulders - hips)
            whole = np.isfinite(points[:, _KEPT]).all(axis=(1, 2))
            inside = whole & (np.abs(times - times[len(times) // 2]) <= _SECONDS / 2)
            centre = np.median(middle(points[inside], "hip"), axis=0) * np.array([1.0, 0.0, 1.0])
            at = times[inside] - times[inside][0]
            out.append((row["stroke"], SimpleNamespace(times=at, points=points[inside] - centre)))
    return out


def judged(see, pieces, factor):
    """What is said of every piece when it is shown ``factor`` times as slowly; no sound, noise of two pixels."""
    answers = []
    for i, (_, motion) in enumerate(pieces):
        track = see(
            motion,
            (90.0, 0.0, 135.0, -90.0, 45.0, 180.0)[i % 6],
            rate=30.0 * max(factor, 2.0),
            noise=2.0,
            seed=i,
        )
        answers.append(from_evidence(smooth(replace(track, times=track.times * factor)), None))
    counts = {f"{f:g}": sum(answer.factor == f for answer in answers) for f in FACTORS}
    print(f"\nshown {factor:g} times as slowly, taken for: {counts}, sure: {sum(a.sure for a in answers)}")
    return answers


def test_real_speed_is_never_surely_slow_and_seldom_asked(see, pieces):
    answers = judged(see, pieces, 1.0)
    assert len(answers) >= 12
    assert not any(answer.factor != 1.0 and answer.sure for answer in answers)
    assert sum(answer.factor == 1.0 for answer in answers) >= 0.9 * len(answers)


@pytest.mark.parametrize("factor", [4.0, 8.0])
def test_slowed_people_are_not_surely_at_real_speed(see, pieces, factor):
    answers = judged(see, pieces, factor)
    assert not any(answer.factor == 1.0 and answer.sure for answer in answers)
    assert sum(answer.factor > 1.0 for answer in answers) >= 0.9 * len(answers)
