"""Whether pictures in which nobody was found are upside down: the pose model knows people who stand on their feet."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from swingmatch.body.estimator import PoseEstimator
from swingmatch.body.people import find_people
from swingmatch.body.skeleton import INDEX
from swingmatch.clip.clip import Frame

#: Levels of search windows (``body.people``): the whole picture and its larger parts are enough for a player.
_LEVELS = 2


def upside_down(frames: Iterable[Frame], estimator: PoseEstimator) -> bool:
    """Whether somebody stands upright in most of the frames once these are turned by half a turn."""
    standing = []
    for frame in frames:
        turned = np.ascontiguousarray(frame.image[::-1, ::-1])
        people = find_people(turned, frame.time, estimator, levels=_LEVELS)
        standing.append(
            any(pose.image[INDEX["nose"], 1] < pose.image[INDEX["left_ankle"], 1] for pose in people)
        )
    return bool(standing) and 2 * sum(standing) > len(standing)
