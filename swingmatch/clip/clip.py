"""``Clip``: what is known of one video file before its pictures are decoded; ``Frame``: one picture of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Clip:
    """One video file as it arrived.

    Attributes
    ----------
    path : the file.
    width, height : pixels of the upright picture, rotation and pixel shape allowed for.
    times : (N,) seconds at which each picture is shown, strictly rising, 0 for the first.
    duration : seconds, from the first picture to the end of the last one.
    nominal_rate : pictures a second by the file's header, NaN where it says nothing.
    measured_rate : pictures a second by the times themselves: one over the median gap.
    has_sound : there is a sound stream that can be decoded.
    notes : sentences on what is odd with the footage.
    rotation : quarter turn in degrees (0, 90, 180, 270), clockwise, that brings a stored picture upright.
    mirrored : a stored picture is also mirrored left to right, before the turn.
    ticks : (N,) the file's own timestamps of the pictures in the order of ``times``; None where the file has
        none that can be trusted, so that pictures are told apart by counting.
    origin : seconds on the file's clock of the first picture; sound times are brought to it.
    capture_rate : pictures a second at which the scene was taken, by what the phone wrote into the file; NaN
        where it wrote nothing. Times are not rescaled by it.
    """

    path: Path
    width: int
    height: int
    times: NDArray[np.float64]
    duration: float
    nominal_rate: float
    measured_rate: float
    has_sound: bool
    notes: tuple[str, ...] = ()
    rotation: int = 0
    mirrored: bool = False
    ticks: NDArray[np.int64] | None = field(default=None, repr=False)
    origin: float = 0.0
    capture_rate: float = math.nan

    @property
    def frame_count(self) -> int:
        """Number of pictures in the file."""
        return len(self.times)

    @property
    def varies(self) -> bool:
        """Whether the frame rate varies: a tenth of the gaps or more are half as long again as the median."""
        gaps = np.diff(self.times)
        return bool(
            np.quantile(gaps, 0.9) > 1.5 * np.median(gaps) or np.quantile(gaps, 0.1) < np.median(gaps) / 1.5
        )


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture of a clip.

    Attributes
    ----------
    index : position in the clip's ``times``.
    time : seconds from the clip's first picture.
    image : (height, width, 3) RGB uint8, upright, contiguous.
    """

    index: int
    time: float
    image: NDArray[np.uint8]
