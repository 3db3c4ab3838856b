"""Build of a body, measured from the keypoints of a swing, without needing a scale.

Everything is a ratio of segment lengths, so one camera and no tape measure are enough. Heights are judged from hip,
knee, ankle and shoulder, because a tracked body has no crown of the head.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES, middle

#: Segment lengths / stature, Drillis & Contini 1966 in Winter (row C1 of the check values, from memory there).
AVERAGE: Mapping[str, float] = {
    "upper_arm": 0.186,
    "forearm": 0.146,
    "thigh": 0.245,
    "shank": 0.246,
    "trunk": 0.818 - 0.530,
    "shoulder_width": 0.259,
    "hip_width": 0.191,
}
_ANKLE_TO_SHOULDER = AVERAGE["thigh"] + AVERAGE["shank"] + AVERAGE["trunk"]

#: The compared ratios, in the words of a coach, and how each is made from lengths.
RATIOS: Mapping[str, tuple[str, str]] = {
    "arm_for_height": ("arm", "height"),
    "leg_for_trunk": ("leg", "trunk"),
    "shoulders_for_height": ("shoulder_width", "height"),
    "hips_for_shoulders": ("hip_width", "shoulder_width"),
    "forearm_for_upper_arm": ("forearm", "upper_arm"),
    "shank_for_thigh": ("shank", "thigh"),
}


@dataclass(frozen=True)
class Build:
    """Ratios of a body: name, a key of ``RATIOS``, to ratio; NaN where it could not be measured."""

    ratios: Mapping[str, float]

    @property
    def against_average(self) -> dict[str, float]:
        """Each ratio over that of the table's average body: 1.05 reads five per cent more than average."""
        return {name: value / _AVERAGE_RATIOS[name] for name, value in self.ratios.items()}


def segment_lengths(points: NDArray[np.float64]) -> dict[str, float]:
    """Lengths of the segments of ``AVERAGE`` in the unit of ``points`` (T, K, 3): medians over time and both sides.

    NaN for a segment that is never seen.
    """

    def between(start: str, end: str) -> NDArray[np.float64]:
        return np.concatenate(
            [
                np.linalg.norm(points[:, INDEX[f"{s}_{start}"]] - points[:, INDEX[f"{s}_{end}"]], axis=1)
                for s in SIDES
            ]
        )

    def across(part: str) -> NDArray[np.float64]:
        return np.linalg.norm(points[:, INDEX[f"left_{part}"]] - points[:, INDEX[f"right_{part}"]], axis=1)

    samples = {
        "upper_arm": between("shoulder", "elbow"),
        "forearm": between("elbow", "wrist"),
        "thigh": between("hip", "knee"),
        "shank": between("knee", "ankle"),
        "trunk": np.linalg.norm(middle(points, "shoulder") - middle(points, "hip"), axis=1),
        "shoulder_width": across("shoulder"),
        "hip_width": across("hip"),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a segment never seen is NaN, on purpose
        return {name: float(np.nanmedian(values)) for name, values in samples.items()}


def measure_build(points: NDArray[np.float64]) -> Build:
    """Build of a body from keypoints ``points`` (T, K, 3) in any unit."""
    return build_from_lengths(segment_lengths(points))


def build_from_lengths(lengths: Mapping[str, float]) -> Build:
    """Build from lengths by the names of ``AVERAGE``, all in one unit.

    Height is taken from ankle-to-shoulder length (thigh + shank + trunk), which is 0.779 of stature in C1.
    """
    parts = dict(lengths)
    parts["arm"] = parts["upper_arm"] + parts["forearm"]
    parts["leg"] = parts["thigh"] + parts["shank"]
    parts["height"] = (parts["leg"] + parts["trunk"]) / _ANKLE_TO_SHOULDER
    return Build(
        {
            name: parts[top] / parts[bottom] if parts[bottom] > 0 else float("nan")
            for name, (top, bottom) in RATIOS.items()
        }
    )


_AVERAGE_RATIOS = dict(build_from_lengths(AVERAGE).ratios)
