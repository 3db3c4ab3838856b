"""Follow one person through a clip: pictures in order of time to a raw ``Track``.

The pose model is accurate only while the person is large in its input (measured on generated figures: under about
a quarter of the picture's height its answers are wrong although it still reports somebody). So the player is first
found in the whole picture, or in parts of it when small, and then followed in an enlarged window that moves in steps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import Pose, PoseEstimator
from swingmatch.body.skeleton import K
from swingmatch.body.track import Track
from swingmatch.clip.reader import Frame
from swingmatch.errors import TrackError

#: Window height over the player's height in the picture; room for a raised racket and a wide lunge.
_WINDOW = 2.0
#: The window is moved when the player's middle has drifted by this share of the window's side.
_DRIFT = 0.12
#: Fewer pixels than this either way hold no player.
_LEAST = 16
#: The window is enlarged to at least this height before the model sees it.
_INPUT_HEIGHT = 480
#: Frames without the player after which the whole picture is searched again.
_LOST_AFTER = 3
#: ... and again every so many frames: a search costs up to some seventy looks.
_SEARCH_EVERY = 10
#: A person must cover this share of the window's height for the model's answer to count.
_SMALLEST = 0.25
#: Neighbouring search windows are at most this share of their side apart.
_SEARCH_STEP = 0.6


@dataclass(frozen=True)
class Window:
    """Square part of a picture in pixels: top-left corner and side (may reach or lie beyond the picture)."""

    left: float
    top: float
    side: float

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


def _extent(pose: Pose) -> tuple[float, float, float]:
    """Middle (x, y) and height of a person in pixels. Height from nose to feet, over 0.9 to reach the crown."""
    low, high = pose.image.min(axis=0), pose.image.max(axis=0)
    middle = 0.5 * (low + high)
    trunk_up = float(high[1] - pose.image[0, 1]) / 0.9
    return float(middle[0]), float(middle[1]), max(trunk_up, 1.0)


def _window_around(pose: Pose) -> Window:
    x, y, height = _extent(pose)
    side = _WINDOW * height
    return Window(x - side / 2, y - side / 2, side)


def _search_windows(width: int, height: int) -> Iterator[Window]:
    """Where to look for a player: the whole picture, then squares of falling size that overlap and cover it."""
    yield Window(0.0, 0.0, float(max(width, height)))
    for parts in (2, 3, 5):
        side = max(width, height) / parts * 1.25
        for row in _starts(height, side):
            for column in _starts(width, side):
                yield Window(column, row, side)


def _starts(length: int, side: float) -> list[float]:
    """Where windows of ``side`` begin along a picture's edge of ``length`` pixels."""
    room = max(length - side, 0.0)
    return np.linspace(0.0, room, int(np.ceil(room / (_SEARCH_STEP * side))) + 1).tolist()


def _estimate_in(estimator: PoseEstimator, frame: Frame, window: Window) -> Pose | None:
    part, left, top, scale = window.cut(frame.image)
    if min(part.shape[:2]) < _LEAST:
        return None
    pose = estimator.estimate(part, frame.time)
    if pose is None:
        return None
    image = pose.image / scale + np.array([left, top])
    return Pose(image=image, world=pose.world, visibility=pose.visibility)


def _plausible(pose: Pose, window: Window) -> bool:
    """Whether the person is large enough in the window for the model to be right."""
    return _extent(pose)[2] > _SMALLEST * window.side


def _left(pose: Pose, window: Window) -> bool:
    """Whether the player has drifted from the middle of the window or no longer fits it."""
    x, y, height = _extent(pose)
    half = window.side / 2
    drift = max(abs(x - window.left - half), abs(y - window.top - half))
    return drift > _DRIFT * window.side or not 0.8 < _WINDOW * height / window.side < 1.25


def _find(estimator: PoseEstimator, frame: Frame) -> tuple[Pose, Window] | None:
    """Look for the player afresh: the pose, and the window around the player that it was seen in."""
    height, width = frame.image.shape[:2]
    for window in _search_windows(width, height):
        estimator.restart()
        pose = _estimate_in(estimator, frame, window)
        if pose is None:
            continue
        # A second look in a fitting window confirms the first and is the one that counts.
        close = _window_around(pose)
        estimator.restart()
        again = _estimate_in(estimator, frame, close)
        if again is not None and _plausible(again, close):
            return again, close
    return None


def follow(
    frames: Iterable[Frame],
    estimator: PoseEstimator,
    *,
    on_frame: Callable[[float], None] | None = None,
) -> Track:
    """Raw keypoints of one person in every frame.

    Parameters
    ----------
    frames : in order of time.
    estimator : see ``estimator.make_estimator``.
    on_frame : called with each frame's time in seconds, for a progress bar.

    Returns
    -------
    Track with NaN where the player was not found.

    Raises
    ------
    TrackError : no frame came, or nobody was found in any.
    """
    times: list[float] = []
    poses: list[Pose | None] = []
    size = (0, 0)
    window: Window | None = None
    # Frames in a row without the player; it starts so that the first frame is searched.
    missed = _LOST_AFTER - 1
    for frame in frames:
        size = (frame.image.shape[1], frame.image.shape[0])
        pose = None if window is None else _estimate_in(estimator, frame, window)
        if window is not None and pose is not None and _plausible(pose, window):
            missed = 0
            if _left(pose, window):
                window = _window_around(pose)
                estimator.restart()
        else:
            pose = None
            missed += 1
            if missed >= _LOST_AFTER:
                window = None
                if (missed - _LOST_AFTER) % _SEARCH_EVERY == 0:
                    found = _find(estimator, frame)
                    if found is not None:
                        pose, window = found
                        missed = 0
        times.append(frame.time)
        poses.append(pose)
        if on_frame is not None:
            on_frame(frame.time)
    if not times:
        raise TrackError("The clip holds no pictures to track.")
    if all(pose is None for pose in poses):
        raise TrackError("Nobody was found in the clip; film the whole body, larger and in good light.")
    return _as_track(times, poses, size)


def _as_track(times: list[float], poses: list[Pose | None], size: tuple[int, int]) -> Track:
    image = np.full((len(times), K, 2), np.nan)
    world = np.full((len(times), K, 3), np.nan)
    visibility = np.zeros((len(times), K))
    for i, pose in enumerate(poses):
        if pose is not None:
            image[i], world[i], visibility[i] = pose.image, pose.world, pose.visibility
    return Track(times=np.asarray(times), image=image, world=world, visibility=visibility, size=size)
