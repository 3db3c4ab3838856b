"""Looking for the ball in a clip: the pictures about a guess of contact are read once more, about the hand only."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip
from swingmatch.clip.reader import frames
from swingmatch.errors import ClipError
from swingmatch.racket.ball import BallContact, ball_contact
from swingmatch.racket.spots import BALL

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: Seconds before and after the guess that are looked at.
BEFORE, AFTER = 0.38, 0.28
#: How far from the hand at the guess, statures to either side and up or down.
_WIDE, _HIGH = 2.4, 1.6
#: Pictures are made smaller until the ball is this wide, pixels: more does not help, and costs time.
_WIDEST = 9.0
#: Fewer pictures than this, or more than twice as long gaps as this allows, show no path.
_FEWEST, _SLOWEST_RATE = 12, 25.0


def ball_watcher(clip: Clip, track: Track, body_height: float) -> Callable[[float, str], BallContact | None]:
    """A function of a guess of contact (seconds on the clip's clock) and the hitting hand that looks for the ball.

    Parameters
    ----------
    clip, track : on the same clock, ``track`` on pictures of ``track.size``. body_height : pixels of those pictures.
    """

    def watch(guess: float, hand: str) -> BallContact | None:
        return see_ball(clip, track, body_height, guess, hand)

    return watch


def see_ball(clip: Clip, track: Track, body_height: float, guess: float, hand: str) -> BallContact | None:
    """Contact as the ball shows it about ``guess`` seconds; None where it was not seen or the clip cannot be read.

    Places in the result are pixels of pictures of ``track.size``.
    """
    path = _hand_path(track, hand)
    if path is None:
        return None
    centre = _at(path, np.array([guess]))[0]
    reach = np.array([_WIDE, _HIGH]) * body_height
    size = np.array(track.size)
    low = np.clip(np.floor(centre - reach), 0, size - 1).astype(int)
    high = np.clip(np.ceil(centre + reach), low + 1, size).astype(int)
    scale = min(1.0, _WIDEST / (BALL * body_height))
    times: list[float] = []
    pictures: list[Picture] = []
    try:
        for frame in frames(clip, guess - BEFORE, guess + AFTER, max_height=track.size[1]):
            cut = frame.image[low[1] : high[1], low[0] : high[0]]
            times.append(frame.time)
            pictures.append(_smaller(cut, scale))
    except ClipError:
        return None
    if len(times) < _FEWEST or len(times) / (times[-1] - times[0]) < _SLOWEST_RATE:
        return None
    at = np.array(times)
    found = ball_contact(at, pictures, (_at(path, at) - low) * scale, body_height * scale)
    return None if found is None else found.placed(scale, low)


def _hand_path(track: Track, hand: str) -> tuple[Array, Array] | None:
    """(N,) seconds and (N, 2) pixels at which the hitting hand is known."""
    places = track.image[:, INDEX[f"{hand}_hand"]]
    known = np.isfinite(places).all(axis=1)
    return (track.times[known], places[known]) if known.any() else None


def _at(path: tuple[Array, Array], times: Array) -> Array:
    return np.stack([np.interp(times, path[0], path[1][:, axis]) for axis in (0, 1)], axis=1)


def _smaller(picture: Picture, scale: float) -> Picture:
    if scale >= 1.0:
        return np.ascontiguousarray(picture)
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
