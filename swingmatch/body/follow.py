"""Follow one person through a clip: pictures in order of time to a raw ``Track``.

The player is first found among the people in the picture, and then followed in an enlarged window that moves along.
Every answer of the pose model must go on from the last one in place and size and wear the same colours; when the
model jumps to somebody else it is set back to where the player should be, and if the player is hidden there the frame
stays empty.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

import numpy as np

from swingmatch.body.colours import body_colours
from swingmatch.body.estimator import Pose, PoseEstimator
from swingmatch.body.identity import Identity
from swingmatch.body.people import Person, Wanted, choose_player, find_people, paint_over
from swingmatch.body.skeleton import K
from swingmatch.body.track import Track
from swingmatch.body.window import (
    TIGHT,
    Place,
    Window,
    estimate_in,
    moved_along,
    place_of,
    plausible,
    window_around,
    window_at,
)
from swingmatch.clip.clip import Frame
from swingmatch.errors import TrackError

#: Frames without the player after which the whole picture is searched again.
_LOST_AFTER = 3
#: ... and again every so many frames: a search costs up to some seventy looks.
_SEARCH_EVERY = 10
#: For this long after the last sighting the place where the player should be is looked at in every frame, seconds.
_HIDDEN = 1.0
#: A pose this far from where the coarse pass saw the player is somebody else's, heights.
_ASTRAY = 0.6
#: How often others in view are counted, seconds, and how many levels of windows that takes.
_COUNT_EVERY, _COUNT_LEVELS = 2.0, 2


class Follower:
    """Follows one person; pictures come in order of time.

    Parameters
    ----------
    estimator : see ``estimator.make_estimator``.
    player : the person as a coarser pass saw them; anybody where None.
    wanted : whom to take at first sight, where there is no ``player``.
    count : whether to look now and then how many people are in view.
    """

    def __init__(
        self,
        estimator: PoseEstimator,
        player: Person | None = None,
        wanted: Wanted | None = None,
        *,
        count: bool = True,
    ) -> None:
        self._estimator = estimator
        self._player, self._wanted = player, wanted
        self._identity = Identity(None if player is None else player.colours)
        self._window: Window | None = None
        # Frames in a row without the player; it starts so that the first frame is searched.
        self._missed = _LOST_AFTER - 1
        self._seen = -np.inf
        self._counted = -np.inf if count else np.inf
        self.people = 0

    def step(self, frame: Frame) -> Pose | None:
        """The player's pose in the next frame, or None where hidden or out of view."""
        if self._player is not None:
            self._player = self._player.in_pictures_of((frame.image.shape[1], frame.image.shape[0]))
        pose = None if self._window is None else self._look(frame, self._window)
        if pose is None:
            self._missed += 1
            if self._missed >= _LOST_AFTER:
                self._window = None
                if (self._missed - _LOST_AFTER) % _SEARCH_EVERY == 0:
                    pose = self._search(frame)
                elif frame.time - self._seen <= _HIDDEN:
                    pose = self._look_where_expected(frame)
        if pose is None:
            return None
        self._missed, self._seen = 0, frame.time
        before = self._identity.place
        self._identity.learn(pose, frame.image, frame.time)
        if self._window is None or before is None:
            self._window = window_around(pose)
            self._estimator.restart()
        else:
            self._window = moved_along(self._window, before, pose)
        if frame.time - self._counted >= _COUNT_EVERY:
            self._count(frame, pose)
        return pose

    def _look(self, frame: Frame, window: Window) -> Pose | None:
        pose = estimate_in(self._estimator, frame.image, frame.time, window)
        if pose is None or not plausible(pose, window):
            return None
        if self._is_player(pose, frame):
            return pose
        # The model went over to somebody else: without them it may see the player where the player should be.
        place = self._expected(frame.time)
        if place is None:
            return None
        window, left = window_at(place, TIGHT), frame.image.copy()
        paint_over(left, pose)
        self._estimator.restart()
        pose = estimate_in(self._estimator, left, frame.time, window)
        if pose is not None and plausible(pose, window) and self._is_player(pose, frame):
            return pose
        self._estimator.restart()
        return None

    def _expected(self, time: float) -> Place | None:
        seen = None if self._player is None else self._player.place_at(time)
        return seen or self._identity.predicted(time)

    def _is_player(self, pose: Pose, frame: Frame) -> bool:
        seen = None if self._player is None else self._player.place_at(frame.time)
        if seen is not None and seen.distance(place_of(pose)) > _ASTRAY:
            return False
        return self._identity.moves_on(pose, frame.time) and self._identity.wears_the_same(pose, frame.image)

    def _search(self, frame: Frame) -> Pose | None:
        """Look for the player afresh: where the coarse pass says, else everywhere."""
        pose = self._look_where_expected(frame)
        if pose is not None:
            return pose
        people = find_people(frame.image, frame.time, self._estimator)
        self.people = max(self.people, len(people))
        if self._player is None and self._identity.predicted(frame.time) is None:
            return self._first(people, frame)
        fitting = [pose for pose in people if self._is_player(pose, frame)]
        expected = self._expected(frame.time)
        if not fitting:
            return None
        return fitting[0] if expected is None else min(fitting, key=lambda p: expected.distance(place_of(p)))

    def _look_where_expected(self, frame: Frame) -> Pose | None:
        """A look at where the coarse pass saw the player, or where the player was last."""
        place = self._expected(frame.time)
        if place is None:
            return None
        self._estimator.restart()
        return self._look(frame, window_at(place))

    def _first(self, people: Sequence[Pose], frame: Frame) -> Pose | None:
        """Whom to follow at first sight."""
        if not people:
            return None
        seen = [at_first_sight(pose, frame) for pose in people]
        chosen = choose_player(seen, self._wanted or "biggest")
        return people[next(i for i, person in enumerate(seen) if person is chosen)]

    def _count(self, frame: Frame, pose: Pose) -> None:
        """Count who else is in view; at first sight that is known already."""
        if self.people == 0 or np.isfinite(self._counted):
            others = find_people(frame.image, frame.time, self._estimator, levels=_COUNT_LEVELS, known=[pose])
            self.people = max(self.people, 1 + len(others))
        self._counted = frame.time


def at_first_sight(pose: Pose, frame: Frame) -> Person:
    """Somebody as one frame shows them."""
    size = (frame.image.shape[1], frame.image.shape[0])
    colours = body_colours(frame.image, pose)
    return Person(np.array([frame.time]), pose.image[None], (place_of(pose),), colours, size)


def follow(
    frames: Iterable[Frame],
    estimator: PoseEstimator,
    *,
    player: Person | None = None,
    wanted: Wanted | None = None,
    count: bool = True,
    on_frame: Callable[[float], None] | None = None,
) -> Track:
    """Raw keypoints of one person in every frame.

    Parameters
    ----------
    frames : in order of time.
    estimator : see ``estimator.make_estimator``.
    player : whom to follow, as a coarser pass saw them (``scan.scan_people``), in pixels of these frames.
    wanted : whom to follow at first sight where there is no ``player``; the biggest where None.
    count : whether to look now and then how many people are in view.
    on_frame : called with each frame's time in seconds, for a progress bar.

    Returns
    -------
    Track with NaN where the player was not found; ``people`` is how many were in view as far as was looked.

    Raises
    ------
    TrackError : no frame came, or the player was found in none.
    """
    follower = Follower(estimator, player, wanted, count=count)
    times: list[float] = []
    poses: list[Pose | None] = []
    size = (0, 0)
    for frame in frames:
        size = (frame.image.shape[1], frame.image.shape[0])
        times.append(frame.time)
        poses.append(follower.step(frame))
        if on_frame is not None:
            on_frame(frame.time)
    if not times:
        raise TrackError("The clip holds no pictures to track.")
    if all(pose is None for pose in poses):
        raise TrackError("Nobody was found in the clip; film the whole body, larger and in good light.")
    return _as_track(times, poses, size, max(follower.people, 1))


def _as_track(
    times: Sequence[float], poses: Sequence[Pose | None], size: tuple[int, int], people: int
) -> Track:
    image = np.full((len(times), K, 2), np.nan)
    world = np.full((len(times), K, 3), np.nan)
    visibility = np.zeros((len(times), K))
    for i, pose in enumerate(poses):
        if pose is not None:
            image[i], world[i], visibility[i] = pose.image, pose.world, pose.visibility
    return Track(np.asarray(times), image, world, visibility, size, people=people)


def join(tracks: Sequence[Track], times: np.ndarray) -> Track:
    """Tracks of parts of a clip, in order of time and apart, as one track with holes between them.

    Parameters
    ----------
    tracks : at least one, all of the same picture size.
    times : (N,) seconds of all of the clip's frames: the frames next to a part stand for the edges of the hole.

    Returns
    -------
    Track whose rows next to each part carry NaN and are marked in ``skipped``.
    """
    out: list[Track] = []
    for part in tracks:
        before = int(np.searchsorted(times, part.times[0])) - 1
        after = int(np.searchsorted(times, part.times[-1], side="right"))
        last = out[-1].times[-1] if out else -np.inf
        if before >= 0 and times[before] > last:
            out.append(_edge(float(times[before]), part.size))
        out.append(part)
        if after < len(times):
            out.append(_edge(float(times[after]), part.size))
    # A hole of a single frame has one edge; parts that touch have none.
    kept = [
        part
        for part, following in [*pairwise(out), (out[-1], None)]
        if not (part.skipped.all() and following is not None and following.times[0] <= part.times[0])
    ]
    return Track(
        times=np.concatenate([part.times for part in kept]),
        image=np.concatenate([part.image for part in kept]),
        world=np.concatenate([part.world for part in kept]),
        visibility=np.concatenate([part.visibility for part in kept]),
        size=tracks[0].size,
        bridged=np.concatenate([part.bridged for part in kept]),
        skipped=np.concatenate([part.skipped for part in kept]),
        people=max(part.people for part in kept),
    )


def _edge(time: float, size: tuple[int, int]) -> Track:
    """One row that was not looked at."""
    return Track(
        np.array([time]),
        np.full((1, K, 2), np.nan),
        np.full((1, K, 3), np.nan),
        np.zeros((1, K)),
        size,
        skipped=np.ones(1, dtype=bool),
    )
