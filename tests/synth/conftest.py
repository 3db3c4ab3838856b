"""A plain standing figure for the tests of the picture half of the generator."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX, SIDES, K
from swingmatch.synth.motion import Motion, SwingTruth

CONTACT = 0.25


def standing(duration: float = 0.5, stature: float = 1.8) -> Motion:
    """Somebody who stands facing the target and slowly lifts the right arm; a ball flies in and bounces."""
    times = np.arange(0.0, duration + 1e-9, 1 / 240)
    shares: dict[str, tuple[float, float, float]] = {"nose": (0.064, 0.92, 0.0)}
    for side in SIDES:
        sign = 1.0 if side == "right" else -1.0
        shares |= {
            f"{side}_ear": (0.0, 0.93, sign * 0.042),
            f"{side}_shoulder": (0.0, 0.818, sign * 0.11),
            f"{side}_elbow": (0.0, 0.63, sign * 0.15),
            f"{side}_wrist": (0.03, 0.49, sign * 0.16),
            f"{side}_hand": (0.04, 0.44, sign * 0.16),
            f"{side}_hip": (0.0, 0.53, sign * 0.055),
            f"{side}_knee": (0.01, 0.285, sign * 0.06),
            f"{side}_ankle": (0.0, 0.039, sign * 0.06),
            f"{side}_heel": (-0.03, 0.012, sign * 0.06),
            f"{side}_toe": (0.12, 0.010, sign * 0.07),
        }
    points = np.full((len(times), K, 3), np.nan)
    for name, share in shares.items():
        points[:, INDEX[name]] = np.array(share) * stature
    for name in ("right_wrist", "right_hand"):
        points[:, INDEX[name], 0] += 0.3 * times
    hand = points[:, INDEX["right_hand"]]
    marks = np.array([[-0.1, 0, 0], [0.25, 0, 0], [0.585, 0, 0], [0.42, 0.13, 0], [0.42, -0.13, 0]])
    ball = np.stack([2.0 - 5.0 * times, 0.034 + 2.0 * np.abs(times - 0.3), 0.6 + 0.0 * times], axis=1)
    return Motion(
        times,
        points,
        hand[:, None] + marks,
        ball,
        "right",
        stature,
        (SwingTruth({"contact": CONTACT}, {"late contact": 0.5}),),
    )


@pytest.fixture(scope="session")
def motion() -> Motion:
    """The standing figure."""
    return standing()
