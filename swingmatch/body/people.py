"""Who is in a picture, and who of several people is the player.

The pose model tells of one person a look. So people are looked for in windows, and whoever was found is painted over
before the next look. Over a clip the player is told by the arms of a stroke, by size, by staying in view, and by
standing near the middle; the coach may also say who it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import Pose, PoseEstimator
from swingmatch.body.skeleton import INDEX, SIDES, middle
from swingmatch.body.window import (
    Place,
    Window,
    box_of,
    estimate_in,
    place_of,
    plausible,
    search_levels,
    window_around,
)
from swingmatch.errors import SwingmatchError, TrackError

Array = NDArray[np.float64]

#: Whom to follow: one of ``NAMES``, or a point of the picture as shares of its width and height.
Wanted = str | tuple[float, float]
NAMES = ("biggest", "left", "right")
#: Two answers whose trunks are nearer than this share of a height are one person.
_SAME = 0.25
#: Mean visibility of somebody who is there: 0.8 and more on generated figures, 0.3 where the model saw a person in what
#: was painted over.
_CLEAR = 0.5
#: Levels of search windows that show everybody of a player's size, and those for finding anybody at all.
USUAL_LEVELS, ALL_LEVELS = 3, 4
#: Nobody this much smaller than the tallest is meant by "left" or "right".
_FAR_AWAY = 0.35
#: A point that the coach gives lies at most this far from somebody's box, share of the picture's width.
_NEAR_POINT = 0.12
#: Hand speed of a stroke at a low rate of pictures, statures a second; faster counts no more.
_STROKE = 2.0
#: Whoever ends this many heights from where they began has passed by.
_PASSED_BY = 2.0
#: Longest time between two sightings over which a place is interpolated, seconds.
_KNOWN = 0.7


def read_wanted(text: str) -> Wanted:
    """Whom to follow from a coach's word: "biggest", "left", "right", or "0.3,0.5" (share from the left, from the top).

    Raises ``SwingmatchError`` for anything else.
    """
    word = text.strip().lower()
    if word in NAMES:
        return word
    try:
        x, y = (float(part) for part in word.split(","))
    except ValueError:
        x = y = -1.0
    if 0.0 <= x <= 1.0 and 0.0 <= y <= 1.0:
        return x, y
    raise SwingmatchError(
        f"Say who the player is as {', '.join(NAMES)}, or as a point like 0.3,0.5 (shares of the picture's width "
        f"from the left and of its height from the top), not {text!r}."
    )


@dataclass(frozen=True, eq=False)
class Person:
    """One person over the moments at which a clip was looked at.

    Attributes
    ----------
    times : (N,) seconds, rising, N at least 1. image : (N, K, 2) pixels. places : of each sighting.
    colours : (M, 3) see ``colours.body_colours``.
    size : (width, height) of the pictures, pixels.
    """

    times: Array
    image: Array
    places: tuple[Place, ...]
    colours: Array
    size: tuple[int, int]

    def in_pictures_of(self, size: tuple[int, int]) -> Person:
        """The same person in pictures of another size, (width, height) pixels."""
        if size == self.size:
            return self
        scale = size[0] / self.size[0]
        places = tuple(Place(scale * p.x, scale * p.y, scale * p.height) for p in self.places)
        return replace(self, image=scale * self.image, places=places, size=size)

    @property
    def height(self) -> float:
        """Median height, pixels."""
        return float(np.median([place.height for place in self.places]))

    def hand_speeds(self) -> tuple[Array, Array]:
        """Speed of the faster hand against the hips from one sighting to the next, statures a second, and its moment.

        Both (N - 1,). The hands go the shorter ways between two sightings, so that it does not matter whether the
        model takes the sides for each other. Sightings more than ``_KNOWN`` seconds apart say nothing: 0.
        """
        if len(self.times) < 2:
            return np.zeros(0), np.zeros(0)
        hips = middle(self.image, "hip")
        hands = np.stack([self.image[:, INDEX[f"{side}_wrist"]] - hips for side in SIDES], axis=1)
        apart = np.diff(self.times)
        ways = [np.linalg.norm(to - hands[:-1], axis=2) for to in (hands[1:], hands[1:, ::-1])]
        straight = ways[0].sum(axis=1) <= ways[1].sum(axis=1)
        shorter = np.where(straight[:, None], ways[0], ways[1])
        speeds = shorter.max(axis=1) / (apart * self.height)
        return np.where(apart <= _KNOWN, speeds, 0.0), 0.5 * (self.times[1:] + self.times[:-1])

    def place_at(self, time: float) -> Place | None:
        """Where the person is at a time, seconds; None too far from any sighting."""
        after = int(np.searchsorted(self.times, time))
        near = [i for i in (after - 1, after) if 0 <= i < len(self.times)]
        if len(near) == 2 and self.times[after] - self.times[after - 1] <= _KNOWN:
            share = (time - self.times[after - 1]) / (self.times[after] - self.times[after - 1])
            a, b = self.places[after - 1], self.places[after]
            mix = [(1 - share) * u + share * v for u, v in ((a.x, b.x), (a.y, b.y), (a.height, b.height))]
            return Place(*mix)
        best = min(near, key=lambda i: abs(self.times[i] - time))
        return self.places[best] if abs(self.times[best] - time) <= _KNOWN / 2 else None


def find_people(
    picture: NDArray[np.uint8],
    time: float,
    estimator: PoseEstimator,
    *,
    levels: int = ALL_LEVELS,
    known: Iterable[Pose] = (),
) -> list[Pose]:
    """People in a picture besides those ``known``, in no order; the estimator forgets whom it followed.

    Parameters
    ----------
    picture : (H, W, 3) RGB. time : seconds.
    levels : how many levels of ever smaller windows to go through; beyond ``USUAL_LEVELS`` only while nobody was found.
    """
    height, width = picture.shape[:2]
    known = list(known)
    left = picture.copy()
    for pose in known:
        paint_over(left, pose)
    found: list[Pose] = []
    for level, windows in enumerate(islice(search_levels(width, height), levels)):
        if level >= USUAL_LEVELS and (found or known):
            break
        for window in windows:
            new = _confirmed(left, time, estimator, window, known + found)
            if new is not None:
                found.append(new)
                paint_over(left, new)
    estimator.restart()
    return found


def _confirmed(
    picture: NDArray[np.uint8], time: float, estimator: PoseEstimator, window: Window, known: Sequence[Pose]
) -> Pose | None:
    """Somebody new in a window. A second look in a fitting window confirms the first and is the one that counts."""
    estimator.restart()
    pose = estimate_in(estimator, picture, time, window)
    if pose is None or _among(pose, known):
        return None
    close = window_around(pose)
    estimator.restart()
    again = estimate_in(estimator, picture, time, close)
    if again is None or not plausible(again, close) or _among(again, known):
        return None
    return again if again.visibility.mean() >= _CLEAR else None


def _among(pose: Pose, others: Sequence[Pose]) -> bool:
    place = place_of(pose)
    return any(place_of(other).distance(place) < _SAME for other in others)


def paint_over(picture: NDArray[np.uint8], pose: Pose) -> None:
    """Cover somebody in a picture (H, W, 3), in place, with what is left and right of the box, blended."""
    height, width = picture.shape[:2]
    x0, y0, x1, y1 = box_of(pose)
    margin = 0.12 * (y1 - y0)
    left, right = (int(np.clip(v, 0, width)) for v in (x0 - margin, x1 + margin))
    top, bottom = (int(np.clip(v, 0, height)) for v in (y0 - margin, y1 + margin / 2))
    if right - left < 2 or bottom - top < 2:
        return
    edges = picture[top:bottom, max(left - 1, 0)], picture[top:bottom, min(right, width - 1)]
    share = np.linspace(0.0, 1.0, right - left, dtype=np.float32)[None, :, None]
    blend = edges[0][:, None].astype(np.float32) * (1 - share) + edges[1][:, None].astype(np.float32) * share
    picture[top:bottom, left:right] = cv2.blur(blend, (1, max(1, (bottom - top) // 12))).astype(np.uint8)


def choose_player(
    people: Sequence[Person], wanted: Wanted | None = None, moments: int | None = None
) -> Person:
    """Who of several people is the player.

    Parameters
    ----------
    people : as ``scan.scan_people`` gives them.
    wanted : what the coach says; told from movement, size, place and time in view where None.
    moments : how often the clip was looked at; the most sightings of anybody where None.

    Raises
    ------
    TrackError : there is nobody, or nobody near the point that the coach gave.
    """
    if not people:
        raise TrackError("Nobody was found in the clip; film the whole body, larger and in good light.")
    tallest = max(person.height for person in people)
    if wanted == "biggest":
        return max(people, key=lambda person: person.height)
    if wanted in ("left", "right"):
        near = [person for person in people if person.height >= _FAR_AWAY * tallest]
        sign = 1.0 if wanted == "left" else -1.0
        return min(near, key=lambda person: sign * float(np.median([place.x for place in person.places])))
    if isinstance(wanted, tuple):
        return _nearest(people, wanted)
    most = moments or max(len(person.times) for person in people)
    return max(people, key=lambda person: player_score(person, tallest, most))


def player_score(person: Person, tallest: float, moments: int) -> float:
    """How much somebody looks like the player: arms as fast as in a stroke, then size, time in view, and place.

    *common practice, no source*: the weights say that a stroke's arm outweighs a bystander's size, that of two who
    swing the nearer one is filmed, and that a player does not walk through the picture from side to side.
    """
    speeds, _ = person.hand_speeds()
    # The second fastest of all steps: a single one may be a keypoint gone wild.
    arm = float(np.sort(speeds)[-2]) if len(speeds) >= 2 else 0.0
    x = np.array([place.x for place in person.places])
    passed = abs(x[-1] - x[0]) / person.height
    return float(
        1.5 * min(arm / _STROKE, 1.0)
        + 1.0 * person.height / tallest
        + 0.5 * min(len(person.times) / max(moments, 1), 1.0)
        + 0.3 * (1.0 - 2.0 * np.abs(x / person.size[0] - 0.5).mean())
        - 1.0 * min(passed / _PASSED_BY, 1.0)
    )


def _nearest(people: Sequence[Person], point: tuple[float, float]) -> Person:
    """Who is nearest to a point of the first picture in which anybody was seen."""
    size = people[0].size
    at = np.array(point) * size

    def off(person: Person) -> float:
        low, high = person.image[0].min(axis=0), person.image[0].max(axis=0)
        return float(np.linalg.norm(np.maximum(np.maximum(low - at, at - high), 0.0))) / size[0]

    first = min(person.times[0] for person in people)
    early = [person for person in people if person.times[0] <= first + _KNOWN]
    best = min(early, key=off)
    if off(best) > _NEAR_POINT:
        raise TrackError(
            f"Nobody stands near the point {point[0]:g},{point[1]:g} of the clip's first pictures; "
            "give a point on the player (shares of the picture's width and height)."
        )
    return best
