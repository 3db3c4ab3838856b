"""``Motion``: a made-up performance with its exact truth, before any camera looks at it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import K
from swingmatch.stroke.swing import Hand


@dataclass(frozen=True)
class SwingTruth:
    """What was put into one generated swing: event name -> seconds, and the planted faults, name -> size."""

    events: Mapping[str, float]
    faults: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Motion:
    """A generated player hitting one or more swings, sampled densely (at least 240 Hz).

    Attributes
    ----------
    times : (T,) seconds from 0, evenly spaced.
    points : (T, K, 3) metres on court axes (X target, Y up, Z right); origin on the
        ground at the ready place.
    racket : (T, 5, 3) metres: butt, throat, tip, left edge, right edge.
    ball : (T, 3) metres; NaN while there is no ball in play.
    hand : hitting hand. stature : metres.
    swings : truth of each swing, in order of time.
    """

    times: NDArray[np.float64]
    points: NDArray[np.float64]
    racket: NDArray[np.float64]
    ball: NDArray[np.float64]
    hand: Hand
    stature: float
    swings: tuple[SwingTruth, ...]

    def __post_init__(self) -> None:
        t = len(self.times)
        for name, want in (("points", (t, K, 3)), ("racket", (t, 5, 3)), ("ball", (t, 3))):
            got = getattr(self, name).shape
            if got != want:
                raise ValueError(f"{name} has shape {got}, expected {want}")
