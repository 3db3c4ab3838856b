"""Zero-lag smoothing of a track, with short gaps bridged and long ones left open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, filtfilt

from swingmatch.body.skeleton import KEYPOINTS
from swingmatch.body.track import Track
from swingmatch.series import resample

Array = NDArray[np.float64]

#: A gap up to this long is bridged by interpolation; a longer one stays NaN.
LONGEST_GAP = 0.12
#: Low-pass cutoffs in Hz: 6-10 for body points, more for the ends of the arms (sources E15, from memory).
CUTOFF = 8.0
CUTOFF_ARMS = 12.0
_ARMS = np.array([name.endswith(("elbow", "wrist", "hand")) for name in KEYPOINTS])
#: Two passes of a second-order Butterworth filter lower its cutoff by this factor: (sqrt(2) - 1) ** 0.25 (Winter).
TWO_PASS = (2**0.5 - 1) ** 0.25


def low_pass(values: Array, rate: float, cutoff: float) -> Array:
    """Fourth-order zero-lag Butterworth filter along the first axis.

    ``values`` (T, ...) evenly spaced at ``rate`` Hz and without NaN; ``cutoff`` in Hz is where the whole filter
    (forward and backward) is down by 3 dB. Returned as it is when the rate or the length is too small to filter.
    """
    design = cutoff / TWO_PASS
    if design >= 0.45 * rate or len(values) < 15:
        return values
    b, a = butter(2, design / (rate / 2.0))
    # The ends are padded by reflection so that the filter does not bend them (source E17).
    return filtfilt(b, a, values, axis=0, padtype="odd", padlen=min(len(values) - 1, int(rate / cutoff * 3)))


def bridge(values: Array, times: Array, longest: float = LONGEST_GAP) -> Array:
    """Fill gaps of NaN no longer than ``longest`` seconds, each column by itself; (T, C) to (T, C)."""
    out = values.copy()
    for column in out.T:
        seen = np.flatnonzero(np.isfinite(column))
        for i in np.flatnonzero(np.diff(seen) > 1):
            a, b = seen[i], seen[i + 1]
            if times[b] - times[a] <= longest + 1e-9:
                column[a + 1 : b] = np.interp(times[a + 1 : b], times[[a, b]], column[[a, b]])
    return out


def _runs(seen: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open index ranges in which ``seen`` is True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], seen.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def smooth_points(points: Array, times: Array) -> Array:
    """Bridge short gaps and smooth keypoints (T, K, D) at ``times`` (T,); frame times may be uneven.

    Each keypoint by itself: one that is missing for long leaves the others as smooth as they would be with it.
    """
    t, k, d = points.shape
    out = bridge(points.reshape(t, k * d), times).reshape(points.shape)
    if t < 4:
        return out
    rate = 1.0 / float(np.median(np.diff(times)))
    seen = np.isfinite(out).all(axis=2)
    # Keypoints that are seen in the same frames are smoothed together, most often all of them at once.
    patterns, belongs = np.unique(seen, axis=1, return_inverse=True)
    for number, pattern in enumerate(patterns.T):
        for cutoff, kind in ((CUTOFF, ~_ARMS), (CUTOFF_ARMS, _ARMS)):
            members = np.flatnonzero((belongs.ravel() == number) & kind)
            for start, stop in _runs(pattern):
                if stop - start >= 4:
                    out[start:stop, members] = _smooth_run(
                        out[start:stop, members], times[start:stop], rate, cutoff
                    )
    return out


def _smooth_run(values: Array, times: Array, rate: float, cutoff: float) -> Array:
    """One stretch without gaps, (T, N, D) at ``times`` (T,): to even times at ``rate``, filtered, and back."""
    even = np.linspace(times[0], times[-1], max(2, round((times[-1] - times[0]) * rate) + 1))
    return resample(low_pass(resample(values, times, even), rate, cutoff), even, times)


def smooth(track: Track) -> Track:
    """The same track with short gaps bridged and both its picture and its space positions smoothed.

    What was bridged is a guess: it is marked in ``bridged`` and counts as hidden.
    """
    image = smooth_points(track.image, track.times)
    bridged = np.isfinite(image).all(axis=2) & ~np.isfinite(track.image).all(axis=2)
    return replace(
        track,
        image=image,
        world=smooth_points(track.world, track.times),
        visibility=np.where(bridged, 0.0, track.visibility),
        bridged=track.bridged | bridged,
    )
