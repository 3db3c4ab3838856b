"""How fast the ball's way bends down in the picture, from which follows by how much a clip is slowed.

A ball in flight falls with gravity; in a clip slowed ``f`` times it seems to fall with ``g / f ** 2``. The player's own
height gives the scale: the ball is struck within reach. Its way towards or away from the camera bends the picture too
and is fitted with it (``racket.flight``); seen from the front or back little is left that tells, and the uncertainty
says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.body.track import Track
from swingmatch.clip.clip import Frame
from swingmatch.errors import ClipError
from swingmatch.racket.ball import SMALLEST, ball_contact
from swingmatch.racket.flight import CLOSING
from swingmatch.racket.spots import BALL, Path

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Read = Callable[[float, float], Iterable[Frame]]

#: Seconds of real time before and after the fastest hand that are looked at.
_BEFORE, _AFTER = 0.38, 0.30
#: How far from the hand, statures to either side, and up or down; pictures are made smaller until the ball is so wide.
_WIDE, _HIGH, _WIDEST = 2.4, 1.6, 9.0
#: Pictures a second of real time that are looked at: more of them bring the ball's places no further apart, and cost
#: time; fewer than the second number show no path.
_RATE, _SLOWEST_RATE = 62.0, 25.0
_FEWEST = 12
#: How well a spot's place is known, balls, and of the way from one picture to the next.
_SPOT_SD, _STREAK_SD = 0.07, 0.02


@dataclass(frozen=True)
class Fall:
    """How a ball fell: acceleration downwards and its standard deviation, statures a second squared of the clip."""

    acceleration: float
    sd: float

    def slowed(self, factor: float) -> Fall:
        """The same where the clip plays ``factor`` times slower."""
        return Fall(self.acceleration / factor**2, self.sd / factor**2)


def see_fall(
    read: Read, track: Track, hand: str, fastest: float, factor: float, body_height: float
) -> Fall | None:
    """The fall of the ball that comes to a stroke, looked for as if the clip were slowed ``factor`` times.

    Parameters
    ----------
    read : pictures of ``track.size`` between two times of the clip. track : on the same clock.
    hand : "left" or "right", which hits. fastest : seconds at which it is fastest.
    factor : only sets how long a part of the clip is looked at, and how fast a ball may be; the answer is the clip's
        own. body_height : pixels.

    Returns
    -------
    None where the ball was not seen coming and leaving, or the pictures cannot be read.
    """
    places = track.image[:, INDEX[f"{hand}_hand"]]
    known = np.isfinite(places).all(axis=1)
    if not known.any() or BALL * body_height < SMALLEST:
        return None

    def hand_at(times: Array) -> Array:
        return np.stack([np.interp(times, track.times[known], places[known, a]) for a in (0, 1)], axis=1)

    size = np.array(track.size)
    centre = hand_at(np.array([fastest]))[0]
    reach = np.array([_WIDE, _HIGH]) * body_height
    low = np.clip(np.floor(centre - reach), 0, size - 1).astype(int)
    high = np.clip(np.ceil(centre + reach), low + 1, size).astype(int)
    scale = min(1.0, _WIDEST / (BALL * body_height))
    step = factor / _RATE
    times: list[float] = []
    pictures: list[Picture] = []
    try:
        for frame in read(fastest - _BEFORE * factor, fastest + _AFTER * factor):
            if not times or frame.time > times[-1] + 0.9 * step:
                times.append(frame.time)
                pictures.append(_smaller(frame.image[low[1] : high[1], low[0] : high[0]], scale))
    except ClipError:
        return None
    at = np.array(times)
    if len(at) < _FEWEST or len(at) * factor / (at[-1] - at[0]) < _SLOWEST_RATE:
        return None
    seen = ball_contact(at / factor, pictures, (hand_at(at) - low) * scale, body_height * scale)
    return None if seen is None else fall_of(seen.coming, body_height * scale).slowed(factor)


def fall_of(path: Path, body_height: float) -> Fall:
    """Fall along one path: ``y (1 + w s) = P + b s + G s^2 / 2`` and the like across, by least squares."""
    middle = path.places.mean(axis=0)
    x = (path.places - middle) / body_height
    s = path.times - path.times[-1]
    way = float(np.median(np.linalg.norm(np.diff(x, axis=0), axis=1)))
    weight = 1.0 / (_SPOT_SD * BALL + _STREAK_SD * way)
    none, one = np.zeros_like(s), np.ones_like(s)
    # Unknowns: place and speed across, place and speed down, fall, closing.
    across = np.stack([one, s, none, none, none, -s * x[:, 0]], axis=1)
    down = np.stack([none, none, one, s, 0.5 * s**2, -s * x[:, 1]], axis=1)
    matrix = weight * np.concatenate([across, down])
    right = weight * x.T.ravel()
    normal = matrix.T @ matrix
    normal[5, 5] += 1.0 / CLOSING[0] ** 2
    unknown = np.linalg.solve(normal, matrix.T @ right)
    spare = max(2 * len(s) - 6, 1)
    wrong = float(((matrix @ unknown - right) ** 2).sum()) / spare
    sd = float((np.linalg.inv(normal)[4, 4] * max(1.0, wrong)) ** 0.5)
    return Fall(float(unknown[4]), sd)


def _smaller(picture: Picture, scale: float) -> Picture:
    if scale >= 1.0:
        return np.ascontiguousarray(picture)
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
