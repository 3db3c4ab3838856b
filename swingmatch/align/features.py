"""What two swings are compared by: the directions of their body segments, whatever the size of the body.

A swing becomes a matrix with one row a moment and three columns (X, Y, Z of a unit vector) a segment, scaled so
that the plain Euclidean distance between two rows is an angle in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.stroke.swing import Swing

#: The segments that are compared; hands, feet and head are left out, as one camera sees their directions badly.
SEGMENT_NAMES: tuple[str, ...] = (
    "shoulder_line",
    "hip_line",
    "trunk",
    "left_upper_arm",
    "right_upper_arm",
    "left_forearm",
    "right_forearm",
    "left_thigh",
    "right_thigh",
    "left_shank",
    "right_shank",
)
S = len(SEGMENT_NAMES)

#: Weight of each segment before normalising, for a right-handed swing. The hitting arm and the turning trunk make
#: the stroke (drivers of racket speed: Elliott, Takahashi, Noffal 1997; Reid, Elliott, Crespo 2013), so they count
#: most; the shanks least, as they follow the feet's steps more than the stroke. The sizes are our own judgement.
SEGMENT_WEIGHTS: NDArray[np.float64] = np.array([2.0, 1.5, 1.5, 1.0, 2.0, 0.7, 2.0, 0.8, 0.8, 0.6, 0.6])

#: Gaps up to this long are bridged in a straight line; in 0.15 s the arm turns, but does not turn back.
SHORT_GAP = 0.15  # seconds
#: A segment that is known, short gaps bridged, in less of the span than this is left out of the comparison.
MIN_SEEN = 0.6


@dataclass(frozen=True)
class Features:
    """Segment directions of one swing at given moments, without holes.

    Attributes
    ----------
    directions : (N, S, 3) unit vectors on court axes, right-handed; a segment that is not ``seen`` is zero.
    seen : (S,) whether the segment was known well enough to be compared.
    """

    directions: NDArray[np.float64]
    seen: NDArray[np.bool_]


def segment_directions(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit directions of the compared segments: ``(T, K, 3)`` keypoints to ``(T, S, 3)``, order ``SEGMENT_NAMES``.

    The shoulder and hip lines point from left to right, the trunk from mid-hip to mid-shoulder, limbs away from the
    trunk. NaN where an end is unknown or both ends coincide. Free of the body's size and place.
    """

    def limb(start: str, end: str) -> NDArray[np.float64]:
        return points[:, INDEX[end]] - points[:, INDEX[start]]

    vectors = np.stack(
        [
            limb("left_shoulder", "right_shoulder"),
            limb("left_hip", "right_hip"),
            middle(points, "shoulder") - middle(points, "hip"),
            limb("left_shoulder", "left_elbow"),
            limb("right_shoulder", "right_elbow"),
            limb("left_elbow", "left_wrist"),
            limb("right_elbow", "right_wrist"),
            limb("left_hip", "left_knee"),
            limb("right_hip", "right_knee"),
            limb("left_knee", "left_ankle"),
            limb("right_knee", "right_ankle"),
        ],
        axis=1,
    )
    return _unit(vectors)


def features(swing: Swing, times: NDArray[np.float64]) -> Features:
    """Segment directions of ``swing`` at ``times`` (N,), seconds on the swing's own clock, holes dealt with.

    A left-hander is mirrored first. A gap of at most ``SHORT_GAP`` seconds is bridged in a straight line. A segment
    that is then still unknown for more than ``1 - MIN_SEEN`` of the moments is dropped: zero, and not ``seen``.
    In the others, longer gaps are bridged too and the ends held, so that no NaN is left.
    """
    clock = swing.times
    directions = segment_directions(swing.as_right_handed().points)
    out = np.zeros((len(times), S, 3))
    seen = np.zeros(S, dtype=bool)
    for s in range(S):
        known = np.flatnonzero(np.isfinite(directions[:, s]).all(axis=1))
        if len(known) == 0:
            continue
        seen[s] = len(times) == 0 or _covered(clock[known], times).mean() >= MIN_SEEN
        if seen[s]:
            for axis in range(3):
                out[:, s, axis] = np.interp(times, clock[known], directions[known, s, axis])
    unit = _unit(out)
    # Straight bridging of opposite directions passes through zero; there the direction before it is as good.
    return Features(np.where(np.isfinite(unit), unit, out), seen)


def normalised_weights(*seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """``SEGMENT_WEIGHTS`` of the segments that are seen in all of ``seen``, each (S,), scaled to sum 1: (S,).

    All zero where no segment is seen in all of them.
    """
    weights = SEGMENT_WEIGHTS * np.logical_and.reduce([*seen, np.ones(S, dtype=bool)])
    total = weights.sum()
    return weights / total if total > 0 else weights


def rows(directions: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows whose Euclidean distance is an angle in degrees: ``(N, S, 3)`` and (S,) weights to ``(N, S * 3)``.

    With weights w that sum to 1 and unit directions u, v the distance of two rows is

        sqrt(sum_s w_s |u_s - v_s|^2) * 180 / pi,

    the weighted root mean square over the segments of the chord between directions. The chord is the angle to within
    1.2 % up to 30 degrees, and 10 % less than it at 90 degrees. C-contiguous float64.
    """
    scaled = directions * (np.sqrt(weights) * (180.0 / np.pi))[:, None]
    return np.ascontiguousarray(scaled.reshape(len(directions), -1), dtype=np.float64)


def feature_matrix(swing: Swing, times: NDArray[np.float64]) -> NDArray[np.float64]:
    """``rows`` of one swing at ``times`` (N,) seconds on its own clock, weighted by what it shows: (N, S * 3).

    To compare two swings of which either hides a segment, take ``features`` of both and their common weights.
    """
    found = features(swing, times)
    return rows(found.directions, normalised_weights(found.seen))


def _unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(length > 1e-9, vectors / length, np.nan)


def _covered(known: NDArray[np.float64], times: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which of ``times`` lie at, or in a gap of at most ``SHORT_GAP`` between, the rising ``known`` times."""
    after = np.searchsorted(known, times)
    before = np.where(np.isin(times, known), after, after - 1)
    inside = (before >= 0) & (after < len(known))
    gap = known[np.minimum(after, len(known) - 1)] - known[np.maximum(before, 0)]
    return inside & (gap <= SHORT_GAP)
