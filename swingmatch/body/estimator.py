"""Pose estimators behind one small interface: a picture in, the 21 keypoints of one person out.

Two implementations: the model that ships inside the ``mediapipe`` wheel, and any BlazePose ``.task`` file that the
user supplies. Both give the 33 BlazePose landmarks, which are reduced to ours here and nowhere else.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, K
from swingmatch.errors import SetupError
from swingmatch.setup_check import check_native_libraries

#: Landmark numbers of the BlazePose topology that make up each keypoint (their mean where there are two).
#: Source: MediaPipe's published list of the 33 pose landmarks.
BLAZEPOSE: dict[str, tuple[int, ...]] = {
    "nose": (0,),
    "left_ear": (7,),
    "right_ear": (8,),
    **{
        f"{side}_{part}": tuple(n + offset for n in numbers)
        for part, numbers in {
            "shoulder": (11,),
            "elbow": (13,),
            "wrist": (15,),
            "hand": (17, 19),
            "hip": (23,),
            "knee": (25,),
            "ankle": (27,),
            "heel": (29,),
            "toe": (31,),
        }.items()
        for side, offset in (("left", 0), ("right", 1))
    },
}

# BlazePose's z grows away from the camera and its y grows downwards; ours do the opposite.
_TO_CAMERA_AXES = np.array([1.0, -1.0, -1.0])


@dataclass(frozen=True)
class Pose:
    """One person in one picture.

    Attributes
    ----------
    image : (K, 2) pixels, x right, y down.
    world : (K, 3) metres about the middle of the hips, camera axes: x right, y up, z towards the camera.
    visibility : (K,) 0..1.
    """

    image: NDArray[np.float64]
    world: NDArray[np.float64]
    visibility: NDArray[np.float64]


class PoseEstimator(Protocol):
    """What tracking needs of an estimator. Frames come in order of time; ``restart`` forgets the last one."""

    def estimate(self, picture: NDArray[np.uint8], time: float) -> Pose | None:
        """Find one person. ``picture`` is (H, W, 3) RGB, ``time`` in seconds; None where nobody is found."""

    def restart(self) -> None:
        """Forget the person followed so far and look for one afresh in the next picture."""

    def close(self) -> None:
        """Release the model."""


def _shares() -> NDArray[np.float64]:
    """(K, 33) how much of each landmark goes into each keypoint; one product takes the mean of all."""
    out = np.zeros((K, 33))
    for name, numbers in BLAZEPOSE.items():
        out[INDEX[name], list(numbers)] = 1.0 / len(numbers)
    return out


_SHARES = _shares()
#: Nobody is in it.
_BLANK = np.zeros((64, 64, 3), np.uint8)


def _pose(image_marks: Any, world_marks: Any, width: int, height: int) -> Pose:
    image = _SHARES @ np.array([(m.x * width, m.y * height, m.visibility) for m in image_marks])
    world = _SHARES @ np.array([(m.x, m.y, m.z) for m in world_marks]) * _TO_CAMERA_AXES
    return Pose(image=image[:, :2], world=world, visibility=image[:, 2])


@contextlib.contextmanager
def _silent() -> Iterator[None]:
    """Keep the native runtime's chatter off the coach's terminal.

    It speaks from threads of its own whenever a graph starts or meets its first picture, and has no setting for that.
    """
    sys.stderr.flush()
    saved = os.dup(2)
    with open(os.devnull, "wb") as sink:
        os.dup2(sink.fileno(), 2)
    try:
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)


class BundledEstimator:
    """The pose model inside the ``mediapipe`` wheel (``mp.solutions.pose``, complexity 1).

    Its own smoothing is off: it lags the wrist in the fast part of a stroke. Smoothing with no lag comes later.

    Two graphs of the same networks: one looks where the person was in the picture before, the other looks at every
    picture afresh and answers after ``restart``. Making the first one forget by its own ``reset`` costs five times
    a look; a blank picture, in which it loses the person, does the same at the price of one.
    """

    def __init__(self) -> None:
        check_native_libraries()
        with _silent():
            from mediapipe.python.solutions import pose as mp_pose

        self._make = lambda afresh: mp_pose.Pose(
            static_image_mode=afresh, model_complexity=1, smooth_landmarks=False, min_tracking_confidence=0.5
        )
        # Made only when a picture comes: a graph starts in threads of its own, whose chatter is over once the
        # picture's answer is there.
        self._graphs: dict[bool, Any] = {}
        self._afresh = True
        # Whether the following graph remembers somebody from before the last restart.
        self._stale = False

    def estimate(self, picture: NDArray[np.uint8], time: float) -> Pose | None:
        """Find one person in an RGB picture; None where nobody is found."""
        with _silent():
            afresh, self._afresh = self._afresh, False
            if afresh:
                self._stale = False in self._graphs
            elif self._stale:
                self._graph(False).process(_BLANK)
                self._stale = False
            result = self._graph(afresh).process(picture)
        if result.pose_landmarks is None or result.pose_world_landmarks is None:
            return None
        height, width = picture.shape[:2]
        return _pose(result.pose_landmarks.landmark, result.pose_world_landmarks.landmark, width, height)

    def _graph(self, afresh: bool) -> Any:
        if afresh not in self._graphs:
            self._graphs[afresh] = self._make(afresh)
        return self._graphs[afresh]

    def restart(self) -> None:
        """Forget the person followed so far."""
        self._afresh = True

    def close(self) -> None:
        """Release the model."""
        for graph in self._graphs.values():
            graph.close()
        self._graphs = {}

    def __enter__(self) -> BundledEstimator:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class TaskFileEstimator:
    """A BlazePose model file (``.task``) that the user supplies, run by MediaPipe's Tasks interface.

    It runs picture by picture: the interface's video mode smooths, which lags the wrist in the fast part of a
    stroke and cannot be turned off, and it can forget a player only by loading the model again.

    Raises ``SetupError`` where the file is missing or is not a pose model.
    """

    def __init__(self, model: Path) -> None:
        check_native_libraries()
        if not model.is_file():
            raise SetupError(f"There is no pose model file at {model}; give the path of a .task file.")
        from mediapipe.tasks import python as tasks
        from mediapipe.tasks.python import vision

        options = vision.PoseLandmarkerOptions(
            base_options=tasks.BaseOptions(model_asset_buffer=model.read_bytes()),
            running_mode=vision.RunningMode.IMAGE,
        )
        try:
            with _silent():
                self._model = vision.PoseLandmarker.create_from_options(options)
        except (RuntimeError, ValueError) as error:
            raise SetupError(
                f"{model.name} is not a pose landmark model that this MediaPipe can run; "
                "give a BlazePose .task file."
            ) from error

    def estimate(self, picture: NDArray[np.uint8], time: float) -> Pose | None:
        """Find one person in an RGB picture; None where nobody is found."""
        import mediapipe as mp

        image = mp.Image(image_format=mp.ImageFormat.SRGB, data=np.ascontiguousarray(picture))
        with _silent():
            result = self._model.detect(image)
        if not result.pose_landmarks:
            return None
        height, width = picture.shape[:2]
        return _pose(result.pose_landmarks[0], result.pose_world_landmarks[0], width, height)

    def restart(self) -> None:
        """Nothing to forget: every picture is looked at by itself."""

    def close(self) -> None:
        """Release the model."""
        self._model.close()


def make_estimator(model: Path | None = None) -> PoseEstimator:
    """The bundled model, or the user's own model file where one is given."""
    return BundledEstimator() if model is None else TaskFileEstimator(model)
