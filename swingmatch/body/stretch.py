"""One stretch of a track without gaps, which is what fits over many frames need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.track import Track

Array = NDArray[np.float64]

#: A stretch in which the player is missing from more of the frames than this is not used.
MOST_MISSING = 0.25
#: Fewest frames of a stretch.
_FEWEST = 10


@dataclass(frozen=True)
class Stretch:
    """Keypoints over a stretch of time, none missing.

    Attributes
    ----------
    times : (T,) seconds, rising. image : (T, K, 2) pixels. world : (T, K, 3) metres, camera axes.
    visibility : (T, K) in 0..1; 0 where a position was filled in, because that is a guess.
    """

    times: Array
    image: Array
    world: Array
    visibility: Array


def stretch_of(track: Track, start: float, stop: float) -> Stretch | None:
    """The part of ``track`` from ``start`` to ``stop`` seconds, or None where too much of it is missing.

    Gaps are bridged by straight lines and held at the ends, each keypoint by itself. A keypoint that is never seen
    cannot be filled in, and there is then no stretch.
    """
    inside = (track.times >= start) & (track.times <= stop)
    if inside.sum() < _FEWEST or (~track.found[inside]).mean() > MOST_MISSING:
        return None
    times = track.times[inside]
    known = np.isfinite(track.image[inside]).all(axis=2) & np.isfinite(track.world[inside]).all(axis=2)
    if not known.any(axis=0).all():
        return None

    def filled(values: Array) -> Array:
        flat = values[inside].reshape(len(times), -1)
        for column in flat.T:
            seen = np.isfinite(column)
            column[~seen] = np.interp(times[~seen], times[seen], column[seen])
        return flat.reshape(len(times), *values.shape[1:])

    visibility = np.where(known, track.visibility[inside], 0.0)
    return Stretch(times, filled(track.image), filled(track.world), visibility)
