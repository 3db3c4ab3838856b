"""Mend what an estimator gets wrong for a few frames: limbs taken for each other, and keypoints that jump away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from swingmatch.body.sides import put_back
from swingmatch.body.skeleton import INDEX
from swingmatch.body.track import Track

Array = NDArray[np.float64]

#: Keypoints that are swapped together.
_LIMBS: tuple[tuple[str, ...], ...] = (("elbow", "wrist", "hand"), ("knee", "ankle", "heel", "toe"))
#: What one frame with exchanged sides costs, in statures of movement saved: a short exchange is mended, while the
#: estimator's word stands in the long run.
_EXCHANGED = 0.02
#: Movement between two frames counts up to this many statures, so that one wild keypoint does not decide.
_MOST = 0.15
#: A keypoint this far from the median of its neighbours in time is thrown out, statures.
_JUMP = 0.12
#: Half-width of that neighbourhood, seconds.
_AROUND = 0.05


def body_scale(track: Track) -> float:
    """Stature in pixels for thresholds: 90th percentile of the box around the keypoints, over 0.95; NaN if unseen."""
    seen = track.image[track.found]
    if len(seen) == 0:
        return float("nan")
    return (
        float(np.nanpercentile(np.nanmax(seen[..., 1], axis=1) - np.nanmin(seen[..., 1], axis=1), 90)) / 0.95
    )


def _complete(track: Track) -> NDArray[np.int_]:
    """Frames in which every keypoint was found."""
    return np.flatnonzero(np.isfinite(track.image).all(axis=(1, 2)))


def _exchanged(left: Array, right: Array) -> NDArray[np.bool_]:
    """Frames in which the sides are best exchanged: left and right are (T, J, 2) in statures, without NaN.

    The cheapest sequence of keep and exchange, by dynamic programming over the movement between frames.
    """

    def moved(a: Array, b: Array) -> Array:
        return np.minimum(np.linalg.norm(a[1:] - b[:-1], axis=2), _MOST).sum(axis=1)

    same, other = moved(left, left) + moved(right, right), moved(left, right) + moved(right, left)
    cost = np.zeros((len(left), 2))
    origin = np.zeros((len(left), 2), dtype=int)
    cost[0] = 0.0, _EXCHANGED
    for t in range(1, len(left)):
        for state in (0, 1):
            ways = cost[t - 1] + np.where(np.arange(2) == state, same[t - 1], other[t - 1])
            origin[t, state] = int(np.argmin(ways))
            cost[t, state] = ways[origin[t, state]] + _EXCHANGED * state
    state = int(np.argmin(cost[-1]))
    out = np.zeros(len(left), dtype=bool)
    for t in range(len(left) - 1, -1, -1):
        out[t] = bool(state)
        state = int(origin[t, state])
    return out


def mend_swaps(track: Track) -> Track:
    """Exchange the two arms, or the two legs, back in frames in which the estimator took one for the other."""
    frames = _complete(track)
    if len(frames) < 3:
        return track
    image, world, visibility = track.image.copy(), track.world.copy(), track.visibility.copy()
    scale = body_scale(track)
    for limb in _LIMBS:
        left = [INDEX[f"left_{part}"] for part in limb]
        right = [INDEX[f"right_{part}"] for part in limb]
        swap = frames[_exchanged(image[frames][:, left] / scale, image[frames][:, right] / scale)]
        for values in (image, world, visibility):
            values[swap[:, None], left + right] = values[swap[:, None], right + left]
    return replace(track, image=image, world=world, visibility=visibility)


def drop_jumps(track: Track) -> Track:
    """Set keypoints to NaN where they jump away from their neighbours in time."""
    frames = _complete(track)
    if len(frames) < 5:
        return track
    step = float(np.median(np.diff(track.times)))
    width = 2 * max(1, round(_AROUND / step)) + 1
    seen = track.image[frames]
    usual = median_filter(seen, size=(width, 1, 1), mode="nearest")
    wild = np.linalg.norm(seen - usual, axis=2) > _JUMP * body_scale(track)
    image, world = track.image.copy(), track.world.copy()
    rows, columns = np.nonzero(wild)
    image[frames[rows], columns] = np.nan
    world[frames[rows], columns] = np.nan
    return replace(track, image=image, world=world)


def mend(track: Track) -> Track:
    """The track with exchanged limbs put back and jumps taken out."""
    return drop_jumps(put_back(mend_swaps(track)))
