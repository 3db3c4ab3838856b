"""What the library is searched by: every swing as a matrix of one size, contact always in the same row.

The columns are those by which two swings are compared (``swingmatch.align.features``): unit directions of the body's
segments, scaled so that the Euclidean distance of two rows is an angle in degrees. The racket's direction is one more
segment, so there are 36 columns. It is known of some swings only and left out unless asked for; then the search ranks
by the same quantity as the comparison.

Two things differ from the comparison. Time is resampled to the same number of moments before contact and after it, so
tempo is taken out and has to be ranked by itself; and contact is held by the band of the warp, not pinned.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.features import SEGMENT_NAMES, SEGMENT_WEIGHTS, features, rows
from swingmatch.align.warp import AFTER_MARGIN, MAX_AFTER, MAX_BEFORE, MIN_BEFORE
from swingmatch.errors import StrokeError
from swingmatch.series import resample
from swingmatch.stroke.swing import Swing

FRAMES = 120
#: The row of contact. Of the longest span that is compared, 1.6 s lie before contact and 0.7 s after it: about one
#: moment in 19 ms on both sides.
CONTACT_ROW = 83
#: Segments in the order of their columns, three (X, Y, Z) each.
SEGMENTS: tuple[str, ...] = (*SEGMENT_NAMES, "racket")
COLUMNS = 3 * len(SEGMENTS)
#: The racket counts as much as the forearm that holds it. *Our own judgement.*
_WEIGHTS = np.append(SEGMENT_WEIGHTS, 2.0)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
#: (COLUMNS,) the share that each column has in a squared distance; sums to 1.
SHARES: NDArray[np.float64] = np.repeat(_WEIGHTS / 3.0, 3)

_STARTS = ("ready", "turn_start", "hands_apart")
_BUTT, _TIP = 0, 2


def swing_features(swing: Swing, racket: bool = False) -> NDArray[np.float32]:
    """The matrix of a swing of either hand (a left-hander is mirrored): (FRAMES, COLUMNS), degrees.

    Rows are evenly spaced in time from the first event that is known of ready, turn start and hands apart (else from
    the first moment, at most ``MAX_BEFORE`` seconds) to contact in row ``CONTACT_ROW``, and from there to
    ``AFTER_MARGIN`` seconds after the end of the follow-through, as far as recorded. The columns of a segment that is
    seen too little are NaN throughout, those of the racket also unless ``racket`` asks for them; a column is never
    NaN in part.

    Raises
    ------
    StrokeError
        Where too little is known before contact, or no segment is seen for long enough.
    """
    swing = swing.as_right_handed()
    times = _times(swing)
    found = features(swing, times)
    if not found.seen.any():
        raise StrokeError(
            "The swing cannot be searched by, because no part of the body is seen for long enough."
        )
    directions = np.full((FRAMES, len(SEGMENTS), 3), np.nan)
    directions[:, :-1][:, found.seen] = found.directions[:, found.seen]
    if racket and swing.racket is not None:
        directions[:, -1] = _racket_directions(swing.times, swing.racket, times)
    return rows(directions, _WEIGHTS).astype(np.float32)


def resampled(matrix: NDArray[np.floating], frames: int = FRAMES) -> NDArray[np.float32]:
    """A series (T, D) of any length brought to ``frames`` rows, evenly, straight between rows: (frames, D)."""
    own = np.arange(len(matrix), dtype=np.float64)
    at = np.linspace(0.0, len(matrix) - 1.0, frames)
    return resample(np.asarray(matrix, dtype=np.float64), own, at).astype(np.float32)


def in_degrees(distance: float, frames: int = FRAMES) -> float:
    """A distance as the search gives it, in degrees a segment: root mean square over the moments of a swing."""
    return float(distance / np.sqrt(frames))


def _times(swing: Swing) -> NDArray[np.float64]:
    start = next((swing.events[e] for e in _STARTS if e in swing.events), swing.times[0])
    start = max(start, swing.times[0], swing.contact - MAX_BEFORE)
    end = swing.events.get("end_of_follow_through", swing.contact + MAX_AFTER - AFTER_MARGIN) + AFTER_MARGIN
    end = min(max(end, swing.contact), swing.times[-1])
    if not swing.contact - start >= MIN_BEFORE or not end >= swing.contact:
        raise StrokeError(
            f"Only {max(swing.contact - start, 0.0):.2f} s of the swing are known before contact, "
            "which is too little to search by."
        )
    before = np.linspace(start, swing.contact, CONTACT_ROW + 1)
    return np.concatenate([before, np.linspace(swing.contact, end, FRAMES - CONTACT_ROW)[1:]])


def _racket_directions(
    clock: NDArray[np.float64], racket: NDArray[np.float64], times: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Unit directions from butt to tip at ``times`` (N,): (N, 3); NaN throughout where the racket is hardly known."""
    along = racket[:, _TIP] - racket[:, _BUTT]
    length = np.linalg.norm(along, axis=1)
    known = np.isfinite(length) & (length > 1e-9)
    if known.mean() < 0.6:  # as for the body's segments
        return np.full((len(times), 3), np.nan)
    unit = along[known] / length[known, None]
    between = np.stack([np.interp(times, clock[known], unit[:, axis]) for axis in range(3)], axis=1)
    return between / np.maximum(np.linalg.norm(between, axis=1, keepdims=True), 1e-9)
