"""When the ball is struck: from the motion of the hand, and from the sound where there is one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.lift import FOCAL
from swingmatch.clip.sound import Onsets

Array = NDArray[np.float64]

#: The wrist is fastest 0.037 s (elite) to 0.040 s (high performance) before contact: Landlinger et al. 2010 (A16).
WRIST_PEAK_BEFORE_CONTACT = 0.038
#: Standard deviation of contact from the hand alone, seconds: the spread between players, and half a frame at 60 fps.
FROM_HAND_SD = 0.020
#: ... and from the sound: the camera's distance is known to about 15 %.
FROM_SOUND_SD = 0.005
#: Speed of sound in air at 20 degrees C, metres a second.
SPEED_OF_SOUND = 343.0
#: How far from the hand's estimate a strike is looked for, seconds.
_REACH = 0.12
#: Height of an adult taken for the camera's distance, metres; 15 % wrong moves contact by 3-4 ms at 8 m.
_STATURE = 1.75


@dataclass(frozen=True)
class Contact:
    """Time of contact on the clip's clock, its standard deviation, both seconds, and what it rests on."""

    time: float
    sd: float
    source: str


def from_hand(fastest: float) -> Contact:
    """Contact from the moment at which the hitting hand is fastest, seconds."""
    return Contact(fastest + WRIST_PEAK_BEFORE_CONTACT, FROM_HAND_SD, "hand")


def camera_distance(body_height: float, size: tuple[int, int]) -> float:
    """Distance of the camera in metres for a player ``body_height`` pixels tall in a picture of ``size``."""
    return FOCAL * max(size) * _STATURE / body_height


@dataclass(frozen=True)
class Strikes:
    """Sudden sounds brought back to when they were made: (N,) seconds on the clip's clock, and their strengths."""

    times: Array
    strengths: Array


SILENCE = Strikes(np.zeros(0), np.zeros(0))


def strikes(onsets: Onsets | None, distance: float) -> Strikes:
    """Sounds as heard from ``distance`` metres, when they were made; empty without sound."""
    if onsets is None:
        return SILENCE
    return Strikes(onsets.times - distance / SPEED_OF_SOUND, onsets.strengths)


def find_contact(fastest: float, heard: Strikes) -> Contact:
    """Contact of one stroke.

    Parameters
    ----------
    fastest : moment at which the hand is fastest, seconds.
    heard : the clip's sounds; the strike is looked for among those near the hand's estimate.
    """
    guess = from_hand(fastest)
    # A loud sound a little off is likelier to be the strike than a faint one exactly there.
    score = heard.strengths * np.exp(-0.5 * ((heard.times - guess.time) / (2.0 * guess.sd)) ** 2)
    score[np.abs(heard.times - guess.time) > _REACH] = 0.0
    if len(score) == 0 or score.max() <= 0.0:
        return guess
    return Contact(float(heard.times[int(np.argmax(score))]), FROM_SOUND_SD, "sound")
