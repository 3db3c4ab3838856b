"""``Track``: the player's keypoints over the whole clip, in the picture and in camera space."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import K


@dataclass(frozen=True)
class Track:
    """Keypoints over time, as the camera saw them.

    A long clip is looked at only where somebody swings. Each stretch that was left out is one *hole*: its first and
    its last frame are rows without keypoints, so that nothing that goes from row to row reaches across.

    Attributes
    ----------
    times : (T,) seconds, the clip's own presentation times, rising.
    image : (T, K, 2) pixels of the upright picture, x right, y down; NaN where not found.
    world : (T, K, 3) metres about the middle of the hips, camera axes: x right, y up, z towards the camera.
    visibility : (T, K) the estimator's own 0..1 guess that the keypoint is in plain view.
    size : (width, height) of the upright picture in pixels.
    bridged : (T, K) positions that were not seen but filled in between neighbours; nowhere where None is given.
    skipped : (T,) rows at the edges of holes, which were not looked at; none where None is given.
    people : most people that were in view at one time, as far as was looked.
    """

    times: NDArray[np.float64]
    image: NDArray[np.float64]
    world: NDArray[np.float64]
    visibility: NDArray[np.float64]
    size: tuple[int, int]
    bridged: NDArray[np.bool_] = None  # type: ignore[assignment]
    skipped: NDArray[np.bool_] = None  # type: ignore[assignment]
    people: int = 1

    def __post_init__(self) -> None:
        t = len(self.times)
        shapes = {"image": (t, K, 2), "world": (t, K, 3), "visibility": (t, K)}
        flags = {"bridged": (t, K), "skipped": (t,)}
        for name, want in flags.items():
            if getattr(self, name) is None:
                object.__setattr__(self, name, np.zeros(want, dtype=bool))
        for name, want in (shapes | flags).items():
            got = getattr(self, name).shape
            if got != want:
                raise ValueError(f"{name} has shape {got}, expected {want}")

    @property
    def found(self) -> NDArray[np.bool_]:
        """(T,) frames in which the player was found."""
        return np.isfinite(self.image).all(axis=2).any(axis=1)

    @property
    def share_found(self) -> float:
        """Share of the frames that were looked at in which the player was found; NaN where none was."""
        looked = ~self.skipped
        return float(self.found[looked].mean()) if looked.any() else float("nan")

    def stretch(self, time: float) -> tuple[float, float]:
        """First and last moment, seconds, of the stretch around a time between two holes.

        For a time within a hole, the stretch that is nearer.
        """
        looked = np.flatnonzero(~self.skipped)
        if len(looked) == 0:
            return float(self.times[0]), float(self.times[-1])
        edges = np.flatnonzero(np.diff(looked) > 1)
        starts = self.times[looked[np.concatenate([[0], edges + 1])]]
        stops = self.times[looked[np.concatenate([edges, [len(looked) - 1]])]]
        off = np.maximum(np.maximum(starts - time, time - stops), 0.0)
        best = int(np.argmin(off))
        return float(starts[best]), float(stops[best])
