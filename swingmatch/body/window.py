"""Where in a picture the pose model looks: square windows, and how large a person is in one.

The pose model is accurate only while the person is large in its input (measured on generated figures: under about
a quarter of the picture's height its answers are wrong although it still reports somebody), so it is shown an
enlarged window instead of the whole picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import Pose, PoseEstimator
from swingmatch.body.skeleton import INDEX, SIDES

#: Window side over the player's height in the picture; room for a raised racket and a wide lunge.
ROOM = 2.0
#: ... and where others shall have little room.
TIGHT = 1.3
#: A person must cover this share of the window's height for the model's answer to count.
SMALLEST = 0.25
#: Fewer pixels than this either way hold no player.
_LEAST = 16
#: The window is enlarged to at least this height before the model sees it.
_INPUT_HEIGHT = 480
#: Neighbouring search windows are at most this share of their side apart.
_SEARCH_STEP = 0.6
#: Share of the way to the best window that is gone from one picture to the next.
_DRAWN = 0.1
_TRUNK = [INDEX[f"{side}_{part}"] for side in SIDES for part in ("shoulder", "hip")]


@dataclass(frozen=True)
class Window:
    """Square part of a picture in pixels: top-left corner and side (may reach or lie beyond the picture)."""

    left: float
    top: float
    side: float

    def narrowed(self, share: float) -> Window:
        """The same middle with ``share`` of the side."""
        off = 0.5 * (1.0 - share) * self.side
        return Window(self.left + off, self.top + off, share * self.side)

    def cut(self, picture: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float, float, float]:
        """The part inside the picture, enlarged if small, with its left, top and pixels per picture pixel.

        A part too small to hold a player is not enlarged.
        """
        height, width = picture.shape[:2]
        x0, y0 = max(0, int(self.left)), max(0, int(self.top))
        x1, y1 = min(width, int(self.left + self.side)), min(height, int(self.top + self.side))
        part = picture[y0 : max(y1, 0), x0 : max(x1, 0)]
        scale = max(1.0, _INPUT_HEIGHT / max(y1 - y0, 1))
        if scale > 1.0 and min(part.shape[:2]) >= _LEAST:
            part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
        return np.ascontiguousarray(part), float(x0), float(y0), scale


@dataclass(frozen=True)
class Place:
    """Where somebody is in a picture, pixels: middle of the trunk (it hardly moves with the arms), and height."""

    x: float
    y: float
    height: float

    def distance(self, other: Place) -> float:
        """Between the two middles, in heights of this one."""
        return float(np.hypot(self.x - other.x, self.y - other.y)) / self.height

    def times_taller(self, other: Place) -> float:
        """Height of the larger over that of the smaller, at least 1."""
        return max(self.height / other.height, other.height / self.height)


def place_of(pose: Pose) -> Place:
    """Where a person is: see ``Place``."""
    return place_of_points(pose.image)


def place_of_points(image: NDArray[np.float64]) -> Place:
    """Where somebody with keypoints ``image`` (K, 2) pixels is."""
    x, y = image[_TRUNK].mean(axis=0)
    return Place(float(x), float(y), _extent(image)[2])


def box_of(pose: Pose) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the keypoints, pixels."""
    low, high = pose.image.min(axis=0), pose.image.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _extent(image: NDArray[np.float64]) -> tuple[float, float, float]:
    """Middle (x, y) and height of a person in pixels. Height from nose to feet, over 0.9 to reach the crown."""
    low, high = image.min(axis=0), image.max(axis=0)
    middle = 0.5 * (low + high)
    trunk_up = float(high[1] - image[0, 1]) / 0.9
    return float(middle[0]), float(middle[1]), max(trunk_up, 1.0)


def window_around(pose: Pose) -> Window:
    """The window in which a person is best looked at."""
    x, y, height = _extent(pose.image)
    side = ROOM * height
    return Window(x - side / 2, y - side / 2, side)


def window_at(place: Place, room: float = ROOM) -> Window:
    """A window around the place where somebody should be."""
    side = room * place.height
    return Window(place.x - side / 2, place.y - side / 2, side)


def moved_along(window: Window, before: Place, pose: Pose) -> Window:
    """A window that goes along with a person who was at ``before`` when it was last placed.

    It moves with the trunk, so that the model, which looks first where the person was in its picture, finds them
    there again without having to start afresh; place and size are drawn to the best ones in small steps.
    """
    now, best = place_of(pose), window_around(pose)
    left, top = window.left + now.x - before.x, window.top + now.y - before.y
    return Window(
        left + _DRAWN * (best.left - left),
        top + _DRAWN * (best.top - top),
        window.side + _DRAWN * (best.side - window.side),
    )


def plausible(pose: Pose, window: Window) -> bool:
    """Whether the person is large enough in the window for the model to be right."""
    return _extent(pose.image)[2] > SMALLEST * window.side


def estimate_in(
    estimator: PoseEstimator, picture: NDArray[np.uint8], time: float, window: Window
) -> Pose | None:
    """The person seen in one window of a picture, in pixels of the whole picture."""
    part, left, top, scale = window.cut(picture)
    if min(part.shape[:2]) < _LEAST:
        return None
    pose = estimator.estimate(part, time)
    if pose is None:
        return None
    image = pose.image / scale + np.array([left, top])
    return Pose(image=image, world=pose.world, visibility=pose.visibility)


def search_levels(width: int, height: int) -> Iterator[list[Window]]:
    """Where to look for people: the whole picture, then squares of falling size that overlap and cover it."""
    yield [Window(0.0, 0.0, float(max(width, height)))]
    for parts in (2, 3, 5):
        side = max(width, height) / parts * 1.25
        yield [Window(x, y, side) for y in _starts(height, side) for x in _starts(width, side)]


def _starts(length: int, side: float) -> list[float]:
    """Where windows of ``side`` begin along a picture's edge of ``length`` pixels."""
    room = max(length - side, 0.0)
    return np.linspace(0.0, room, int(np.ceil(room / (_SEARCH_STEP * side))) + 1).tolist()
