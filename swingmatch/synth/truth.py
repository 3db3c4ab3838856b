"""What is really in a generated clip, kept in files of its own that the analysis never opens.

Two files: ``NAME.truth.npz`` (arrays) and ``NAME.truth.json`` (what a person wants to read).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import KEYPOINTS, K
from swingmatch.stroke.swing import Hand
from swingmatch.synth.motion import SwingTruth

_ARRAYS = ("times", "points", "image", "visible", "racket", "racket_image", "ball", "ball_image")


@dataclass(frozen=True)
class ClipTruth:
    """The truth of a clip, frame by frame.

    Attributes
    ----------
    times : (T,) seconds, the presentation times of the frames.
    points : (T, K, 3) metres on court axes at those times.
    image : (T, K, 2) pixels where the keypoints are in the picture.
    visible : (T, K) True where nothing else of the figure hides the keypoint and it lies inside the picture.
    racket, racket_image : (T, 5, 3) metres and (T, 5, 2) pixels. ball, ball_image : (T, 3), (T, 2); NaN without a ball.
    hand, stature, swings : as in ``Motion``.
    camera, scene, look : the settings by name.
    """

    times: NDArray[np.float64]
    points: NDArray[np.float64]
    image: NDArray[np.float64]
    visible: NDArray[np.bool_]
    racket: NDArray[np.float64]
    racket_image: NDArray[np.float64]
    ball: NDArray[np.float64]
    ball_image: NDArray[np.float64]
    hand: Hand
    stature: float
    swings: tuple[SwingTruth, ...]
    camera: Mapping[str, object]
    scene: Mapping[str, object]
    look: Mapping[str, object]

    def __post_init__(self) -> None:
        t = len(self.times)
        for name, want in (
            ("points", (t, K, 3)),
            ("image", (t, K, 2)),
            ("visible", (t, K)),
            ("racket", (t, 5, 3)),
            ("racket_image", (t, 5, 2)),
            ("ball", (t, 3)),
            ("ball_image", (t, 2)),
        ):
            got = getattr(self, name).shape
            if got != want:
                raise ValueError(f"{name} has shape {got}, expected {want}")


def truth_paths(clip: Path) -> tuple[Path, Path]:
    """Where the truth of a clip lies: the arrays, and the text."""
    return clip.with_suffix(".truth.npz"), clip.with_suffix(".truth.json")


def write_truth(clip: Path, truth: ClipTruth) -> tuple[Path, Path]:
    """Write the truth beside the clip; gives the two files."""
    arrays, text = truth_paths(clip)
    with arrays.open("wb") as file:
        np.savez_compressed(file, **{name: getattr(truth, name) for name in _ARRAYS})
    about = {
        "about": "Truth of a generated clip; no person was recorded. Arrays are in the npz file of the same name.",
        "clip": clip.name,
        "keypoints": list(KEYPOINTS),
        "units": "seconds, metres (X to the target, Y up, Z right), pixels of the upright picture",
        "hand": truth.hand,
        "stature": truth.stature,
        "swings": [{"events": dict(s.events), "faults": dict(s.faults)} for s in truth.swings],
        "camera": dict(truth.camera),
        "scene": dict(truth.scene),
        "look": dict(truth.look),
    }
    text.write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
    return arrays, text


def read_truth(clip: Path) -> ClipTruth:
    """Read back what ``write_truth`` wrote beside the clip; FileNotFoundError where there is none."""
    arrays, text = truth_paths(clip)
    about = json.loads(text.read_text(encoding="utf-8"))
    if about["keypoints"] != list(KEYPOINTS):
        raise ValueError(f"{text.name} was written for another list of keypoints")
    with np.load(arrays, allow_pickle=False) as stored:
        values = {name: stored[name] for name in _ARRAYS}
    return ClipTruth(
        **values,
        hand=about["hand"],
        stature=about["stature"],
        swings=tuple(SwingTruth(s["events"], s["faults"]) for s in about["swings"]),
        camera=about["camera"],
        scene=about["scene"],
        look=about["look"],
    )
