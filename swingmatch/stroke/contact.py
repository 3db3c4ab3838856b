"""When the ball is struck: from the hand's path, from the sound, and from the ball, each with its uncertainty, fused.

The ball, where it was seen coming and leaving, and the sound are good to a few milliseconds; the hand by itself tells
contact to some hundredths of a second only. Estimates that agree are averaged by their certainty. One that
does not agree with a surer one is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from swingmatch.body.lift import FOCAL
from swingmatch.body.skeleton import INDEX, middle
from swingmatch.clip.sound import Onsets
from swingmatch.stroke.swing import Hand

Array = NDArray[np.float64]

#: The wrist is fastest 0.037 s (elite) to 0.040 s (high performance) before contact: Landlinger et al. 2010 (A16).
WRIST_PEAK_BEFORE_CONTACT = 0.038
#: Standard deviation of contact from the hand alone, seconds. On 24 generated tuning clips tracked from pixels, each
#: left out of the fit once, the error is 31 ms (median) and 71 ms (90th percentile). Through the whole way, where the
#: hand now and then is lost or the take-back is taken for the hit, one in ten is more than 100 ms off.
FROM_HAND_SD = 0.060
#: Speed of sound in air at 20 degrees C, metres a second.
SPEED_OF_SOUND = 343.0
#: An onset is found to within a level's 2 ms and the strings' 4-5 ms of contact (D2, Brody; Cross), seconds.
ONSET_SD = 0.0015
#: Relative standard deviation of the camera's distance: statures differ by 6 %, phones' fields of view by 12 %
#: (*from memory*), the body's height in the picture is read to about 8 %.
DISTANCE_SD = 0.15
#: How far from the hand's estimate a strike is looked for, seconds.
_REACH = 0.12
#: Height of an adult taken for the camera's distance, metres; 15 % wrong moves contact by 3-4 ms at 8 m.
_STATURE = 1.75
#: Two estimates disagree when they are this many standard deviations apart.
_APART = 3.0
#: Ball and sound have errors of their own that no spread of theirs shows, seconds. How far a phone's sound is off its
#: pictures, and how long its picture takes to be read out, is not known here and not in it.
_LEAST_SD = 0.002


class Timed(Protocol):
    """An estimate of contact: its time and standard deviation, seconds."""

    @property
    def time(self) -> float: ...
    @property
    def sd(self) -> float: ...


@dataclass(frozen=True)
class Contact:
    """Time of contact on the clip's clock, its standard deviation, both seconds, and what it rests on.

    Attributes
    ----------
    source : the surest of ``sources``.
    sources : "sound", "ball", "hand": the estimates that agree and were averaged, the surest first.
    """

    time: float
    sd: float
    source: str
    sources: tuple[str, ...] = ()

    @property
    def sd_ms(self) -> float:
        """Standard deviation in milliseconds."""
        return 1000.0 * self.sd


def from_hand(fastest: float) -> Contact:
    """Contact from the moment at which the hitting hand is fastest, seconds."""
    return Contact(fastest + WRIST_PEAK_BEFORE_CONTACT, FROM_HAND_SD, "hand", ("hand",))


def fuse(estimates: Sequence[Contact]) -> Contact:
    """The estimates' mean by inverse variance, those left out that a surer one contradicts.

    Raises ``ValueError`` without any estimate.
    """
    if not estimates:
        raise ValueError("there is no estimate of contact to fuse")
    agreed: list[Contact] = []
    for one in sorted(estimates, key=lambda e: e.sd):
        if all(abs(one.time - other.time) <= _APART * np.hypot(one.sd, other.sd) for other in agreed):
            agreed.append(one)
    weights = np.array([1.0 / e.sd**2 for e in agreed])
    time = float(weights @ [e.time for e in agreed] / weights.sum())
    return Contact(time, float(weights.sum() ** -0.5), agreed[0].source, tuple(e.source for e in agreed))


# Hand ---------------------------------------------------------------------------------------------------

#: Seconds about a moment at which the hand is looked at, and what is looked at: the wrist's speed against the hips,
#: and where the wrist is from the hitting shoulder on the ground's plane, along the shoulder line (away from the other
#: shoulder) and in front of the chest. The weights are a ridge regression of a bump of 40 ms at contact, fitted on
#: generated clips of the tuning seeds.
_LAGS = np.array([-0.12, -0.08, -0.04, 0.0, 0.04, 0.08, 0.12])
_WEIGHTS = np.array(
    [
        [-0.007, 0.115, 0.075, 0.065, 0.031, -0.025, 0.046],
        [-0.004, -0.036, 0.015, 0.009, 0.045, 0.108, -0.151],
        [-0.110, -0.042, 0.013, 0.049, 0.013, -0.013, 0.124],
    ]
)
#: Units of the wrist's speed (statures a second) and of its place (arm lengths are about 0.33 statures).
_SPEED_UNIT, _FASTEST, _ARM = 5.0, 1.5, 0.33
#: Smoothing of the hand's path, seconds.
_SMOOTH = 0.02
#: How far from the fastest hand contact is looked for, seconds.
_AROUND_FASTEST = 0.40
#: Where the highest hand of a serve is looked for, seconds from the fastest.
_HIGHEST = (-0.25, 0.15)


def from_hand_path(times: Array, points: Array, hand: Hand, fastest: float) -> Contact:
    """Contact from the path of the hitting arm in space.

    Parameters
    ----------
    times : (T,) seconds. points : (T, K, 3) statures, camera axes (x right, y up, z towards the camera) or court axes.
    fastest : where the hand looks fastest in the picture; contact is looked for about it.
    """
    near = np.abs(times - fastest - WRIST_PEAK_BEFORE_CONTACT) <= _AROUND_FASTEST
    if near.sum() < 3:
        return from_hand(fastest)
    cues = _cues(times, points, hand)
    score = np.zeros(len(times))
    for cue, weights in zip(cues, _WEIGHTS, strict=True):
        for lag, weight in zip(_LAGS, weights, strict=True):
            score += weight * np.interp(times + lag, times, cue)
    score = np.where(near & np.isfinite(score), score, -np.inf)
    if not np.isfinite(score).any():
        return from_hand(fastest)
    return Contact(_peak(times, score), FROM_HAND_SD, "hand", ("hand",))


def from_highest_hand(times: Array, points: Array, hand: Hand, fastest: float) -> Contact:
    """Contact of a serve from the moment at which the hitting hand is highest.

    A server meets the ball at full stretch; in serves the wrist may be fastest well after contact.

    Parameters
    ----------
    times : (T,) seconds. points : (T, K, 3) y up. fastest : where the hand looks fastest in the picture.
    """
    near = (times >= fastest + _HIGHEST[0]) & (times <= fastest + _HIGHEST[1])
    if not near.any():
        return from_hand(fastest)
    height = points[near, INDEX[f"{hand}_wrist"], 1]
    return Contact(float(times[near][np.argmax(height)]), FROM_HAND_SD, "hand", ("hand",))


def _cues(times: Array, points: Array, hand: Hand) -> Array:
    """(3, T) what ``_WEIGHTS`` are for."""
    other, sign = ("left", -1.0) if hand == "right" else ("right", 1.0)
    step = float(np.median(np.diff(times)))
    smooth = gaussian_filter1d(points, _SMOOTH / step, axis=0)
    wrist = smooth[:, INDEX[f"{hand}_wrist"]] - middle(smooth, "hip")
    speed = np.linalg.norm(np.gradient(wrist, times, axis=0), axis=1)
    shoulder = points[:, INDEX[f"{hand}_shoulder"]]
    arm = points[:, INDEX[f"{hand}_wrist"]] - shoulder
    line = shoulder - points[:, INDEX[f"{other}_shoulder"]]
    far = np.hypot(arm[:, 0], arm[:, 2]) / _ARM
    turned = sign * (np.arctan2(arm[:, 2], arm[:, 0]) - np.arctan2(line[:, 2], line[:, 0]))
    return np.stack([np.minimum(speed / _SPEED_UNIT, _FASTEST), far * np.cos(turned), far * np.sin(turned)])


def _peak(times: Array, score: Array) -> float:
    """Time of the highest value, between samples by a parabola."""
    k = int(np.argmax(score))
    if 0 < k < len(score) - 1 and np.isfinite(score[k - 1 : k + 2]).all():
        before, at, after = score[k - 1 : k + 2]
        bend = before - 2.0 * at + after
        if bend < 0.0:
            return float(times[k] + 0.25 * (times[k + 1] - times[k - 1]) * (before - after) / bend)
    return float(times[k])


# Ball ---------------------------------------------------------------------------------------------------


def from_ball(seen: Timed | None) -> list[Contact]:
    """Contact as the ball showed it; nothing where it was not seen."""
    if seen is None:
        return []
    return [Contact(seen.time, float(np.hypot(seen.sd, _LEAST_SD)), "ball", ("ball",))]


# Sound --------------------------------------------------------------------------------------------------


def camera_distance(body_height: float, size: tuple[int, int]) -> float:
    """Distance of the camera in metres for a player ``body_height`` pixels tall in a picture of ``size``."""
    return FOCAL * max(size) * _STATURE / body_height


@dataclass(frozen=True)
class Strikes:
    """Sudden sounds brought back to when they were made: (N,) seconds on the clip's clock, and their strengths.

    ``sd`` is how well those times are known, seconds.
    """

    times: Array
    strengths: Array
    sd: float = 0.005


SILENCE = Strikes(np.zeros(0), np.zeros(0))


def strikes(onsets: Onsets | None, distance: float) -> Strikes:
    """Sounds as heard from ``distance`` metres, when they were made; empty without sound."""
    if onsets is None:
        return SILENCE
    late = distance / SPEED_OF_SOUND
    sd = float(np.sqrt((DISTANCE_SD * late) ** 2 + ONSET_SD**2 + _LEAST_SD**2))
    return Strikes(onsets.times - late, onsets.strengths, sd)


def from_sound(guess: Contact, heard: Strikes) -> list[Contact]:
    """Contact from the sound that fits a first guess best; nothing where no sound is near it.

    A strike elsewhere (the opponent's, a neighbour's) is fainter, or is not where the arm moves. A loud sound a little
    off is likelier to be the strike than a faint one exactly there.
    """
    off = heard.times - guess.time
    score = heard.strengths * np.exp(-0.5 * (off / 0.04) ** 2)
    score[np.abs(off) > _REACH] = 0.0
    if len(score) == 0 or score.max() <= 0.0:
        return []
    return [Contact(float(heard.times[int(np.argmax(score))]), heard.sd, "sound", ("sound",))]
