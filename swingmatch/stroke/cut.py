"""Find the strokes in a track: when a hand is fastest, and what belongs to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import find_peaks

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, middle
from swingmatch.body.track import Track
from swingmatch.errors import StrokeError
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT, Strikes
from swingmatch.stroke.measures import speed
from swingmatch.stroke.recognise import HANDS
from swingmatch.stroke.swing import Hand

Array = NDArray[np.float64]

#: A stroke's hand moves at least this fast against the hips, statures a second. Elite wrists pass 5; a walk's hands
#: stay under 1.5 (*common practice, no source*).
SLOWEST_STROKE = 2.2
#: ... and at least this share of the clip's typical stroke, so that practice waves are left out.
SHARE_OF_TYPICAL = 0.55
#: Two strokes of one player are at least this far apart, seconds.
CLOSEST = 0.9
#: Half-width of the median that the hand's speed is taken over, seconds.
_STEADY = 0.025
#: A strike is at least this loud against the clip's loudest sound, and has a fast hand this near, seconds.
_LOUD, _NEAR = 0.3, 0.08
#: What is kept before and after the fastest moment, seconds.
BEFORE, AFTER = 1.7, 1.3


@dataclass(frozen=True)
class Stroke:
    """Where one stroke sits in a track: the moment of the fastest hand, and what to keep around it, seconds."""

    fastest: float
    start: float
    stop: float


def body_height(track: Track) -> float:
    """Height of the player in the picture, pixels: 90th percentile of nose to ankle, as a stature."""
    ankles = np.fmax(track.image[:, INDEX["left_ankle"], 1], track.image[:, INDEX["right_ankle"], 1])
    tall = ankles - track.image[:, INDEX["nose"], 1]
    if not np.isfinite(tall).any():
        raise StrokeError("The player's head and feet are never both in view; film the whole body.")
    return float(np.nanpercentile(tall, 90)) / NOSE_OVER_ANKLES


def hand_speed(track: Track, side: str) -> Array:
    """Speed of a hand against the middle of the hips in the picture, statures a second: (T,)."""
    if len(track.times) < 2:
        return np.zeros(len(track.times))
    from_hips = track.image[:, INDEX[f"{side}_wrist"]] - middle(track.image, "hip")
    values = speed(from_hips, track.times) / body_height(track)
    step = float(np.median(np.diff(track.times)))
    # A stroke is fast for a tenth of a second; what is fast for a frame or two is a keypoint that jumped.
    # At 30 frames a second the hit itself is as short, and every frame counts.
    half = round(_STEADY / step) if step < _STEADY else 0
    return median_filter(np.nan_to_num(values), size=2 * half + 1, mode="nearest")


def _peaks(values: Array, times: Array) -> NDArray[np.int_]:
    if len(times) < 2:
        return np.zeros(0, dtype=int)
    step = float(np.median(np.diff(times)))
    peaks, _ = find_peaks(
        np.nan_to_num(values), height=SLOWEST_STROKE, distance=max(1, round(CLOSEST / step))
    )
    return peaks


def able_hands(track: Track) -> tuple[Hand, ...]:
    """The hands that ever move as fast as a hitting hand must, at least one.

    Raises ``StrokeError`` when neither does.
    """
    able: tuple[Hand, ...] = tuple(
        side for side in HANDS if len(_peaks(hand_speed(track, side), track.times))
    )
    if not able:
        raise StrokeError("No swing was found: no hand moves as fast as in a stroke.")
    return able


def _anchored(fastest: Array, values: Array, times: Array, heard: Strikes, typical: float) -> Array:
    """Moments of the fastest hand, where a loud strike with a fast hand near it takes the place of its neighbours.

    In some views the take-back or the finish looks faster than the hit; the strike tells which it is. Of two
    loud sounds closer than two strokes can be, the louder is the strike.
    """
    if len(heard.times) == 0:
        return fastest
    fast = min(SHARE_OF_TYPICAL * typical, SLOWEST_STROKE)
    anchors: list[float] = []
    for number in np.argsort(-heard.strengths):
        moment = float(heard.times[number])
        near = np.abs(times - (moment - WRIST_PEAK_BEFORE_CONTACT)) <= _NEAR
        loud = heard.strengths[number] >= _LOUD * heard.strengths.max()
        free = all(abs(moment - other) > CLOSEST for other in anchors)
        # A keypoint that jumped can make what is typical far too fast, so a stroke's least speed is enough here.
        if loud and free and near.any() and np.nanmax(values[near]) >= fast:
            anchors.append(moment)
    at = np.sort(anchors) - WRIST_PEAK_BEFORE_CONTACT
    rest = [moment for moment in fastest if len(at) == 0 or np.abs(at - moment).min() > CLOSEST]
    return np.sort(np.concatenate([at, rest]))


def fastest_moments(track: Track, hand: Hand | None, heard: Strikes) -> Array:
    """Moments at which the hitting hand is fastest, or either hand where ``hand`` is None: (N,) seconds, rising.

    Raises ``StrokeError`` when there is none.
    """
    hands = HANDS if hand is None else (hand,)
    values = np.max([hand_speed(track, side) for side in hands], axis=0)
    peaks = _peaks(values, track.times)
    if len(peaks) == 0:
        who = "no hand" if hand is None else "the hitting hand never"
        raise StrokeError(f"No swing was found: {who} moves as fast as in a stroke.")
    typical = float(np.median(np.sort(values[peaks])[::-1][:5]))
    fastest = track.times[peaks[values[peaks] >= SHARE_OF_TYPICAL * typical]]
    return _anchored(fastest, values, track.times, heard, typical)


def cut(track: Track, fastest: Sequence[float] | Array) -> list[Stroke]:
    """What to keep round each stroke, from the moments at which the hand is fastest, seconds, rising."""
    strokes = []
    for i, moment in enumerate(fastest):
        start, stop = moment - BEFORE, moment + AFTER
        # Between two strokes the later one needs more room: its preparation is longer than a recovery.
        if i > 0:
            start = max(start, fastest[i - 1] + 0.4 * (moment - fastest[i - 1]))
        if i + 1 < len(fastest):
            stop = min(stop, moment + 0.6 * (fastest[i + 1] - moment))
        first, last = track.stretch(float(moment))
        start, stop = max(start, first), min(stop, last)
        strokes.append(Stroke(float(moment), float(start), float(stop)))
    return strokes


def find_strokes(track: Track, hand: Hand | None, heard: Strikes) -> list[Stroke]:
    """Every stroke of the hitting hand, or of either where ``hand`` is None, in order of time.

    Raises ``StrokeError`` when there is none.
    """
    return cut(track, fastest_moments(track, hand, heard))
