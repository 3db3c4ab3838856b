"""``Track``: the player's keypoints over the whole clip, in the picture and in camera space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import K


@dataclass(frozen=True)
class Track:
    """Keypoints over time, as the camera saw them.

    Attributes
    ----------
    times : (T,) seconds, the clip's own presentation times, rising.
    image : (T, K, 2) pixels of the upright picture, x right, y down; NaN where not found.
    world : (T, K, 3) metres about the middle of the hips, camera axes: x right, y up, z towards the camera.
    visibility : (T, K) the estimator's own 0..1 guess that the keypoint is in plain view.
    size : (width, height) of the upright picture in pixels.
    """

    times: NDArray[np.float64]
    image: NDArray[np.float64]
    world: NDArray[np.float64]
    visibility: NDArray[np.float64]
    size: tuple[int, int]

    def __post_init__(self) -> None:
        t = len(self.times)
        for name, want in (("image", (t, K, 2)), ("world", (t, K, 3)), ("visibility", (t, K))):
            got = getattr(self, name).shape
            if got != want:
                raise ValueError(f"{name} has shape {got}, expected {want}")

    @property
    def found(self) -> NDArray[np.bool_]:
        """(T,) frames in which the player was found."""
        return np.isfinite(self.image).all(axis=2).any(axis=1)
