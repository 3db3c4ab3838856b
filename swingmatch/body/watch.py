"""From a clip's pictures to the raw track of its player, at the cost of the swings.

A short clip is followed from end to end. A long one is looked at a few times a second first and followed at its full
rate only where somebody swings. Where several people are in view, that first look tells who the player is.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import chain
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.estimator import PoseEstimator
from swingmatch.body.follow import at_first_sight, follow, join
from swingmatch.body.people import Person, Wanted, choose_player, find_people
from swingmatch.body.scan import SCAN_RATE, Scan, scan_people, swing_spans
from swingmatch.body.track import Track
from swingmatch.body.window import place_of_points
from swingmatch.clip.clip import Frame
from swingmatch.clip.sound import Onsets
from swingmatch.errors import TrackError
from swingmatch.progress import Progress, silent

#: Clips up to this long are followed from end to end, seconds.
SHORT = 12.0
#: Pictures taller than this are made smaller while they are decoded; the player is enlarged again for the model.
TALLEST = 1080
#: ... and than this for the coarse pass.
_SCAN_TALLEST = 540
#: A track is the player's if its trunk is within so many heights of the player's in half of the moments.
_THE_SAME = 0.4


class Read(Protocol):
    """Gives the clip's frames between two times in seconds, the clip's own ends where None."""

    def __call__(
        self, start: float | None, stop: float | None, tallest: int, every: float | None = None
    ) -> Iterable[Frame]:
        """No taller than ``tallest`` pixels; only one frame in each period of ``every`` seconds where given."""


def watch(
    read: Read,
    times: NDArray[np.float64],
    estimator: PoseEstimator,
    *,
    onsets: Onsets | None = None,
    wanted: Wanted | None = None,
    progress: Progress = silent,
) -> Track:
    """The raw track of a clip's player.

    Parameters
    ----------
    read : gives pictures. times : (N,) seconds of all of the clip's frames.
    estimator : see ``estimator.make_estimator``. onsets : the clip's sudden sounds, None without sound.
    wanted : whom the coach means; told from the movement where None.
    progress : called with the step's name and the share done.

    Returns
    -------
    Track of every frame of a short clip; of the frames around swings, with holes between, of a long one.

    Raises
    ------
    TrackError : the clip has no pictures, or the player is in none of them.
    """
    if times[-1] - times[0] <= SHORT:
        return _watch_all(read, times, estimator, wanted, progress)
    scan = _scan(read, times, estimator, progress)
    player = choose_player(scan.people, wanted, len(scan.times))
    gap = float(np.median(np.diff(times)))
    spans = swing_spans(player, onsets, float(times[0]), float(times[-1]) + gap)
    total, done = sum(b - a for a, b in spans), 0.0
    tracks: list[Track] = []
    for a, b in spans:
        on_frame = _shares(progress, a - done, total)
        # Hidden for the whole of a span: the others may do.
        with contextlib.suppress(TrackError):
            tracks.append(
                follow(read(a, b, TALLEST), estimator, player=player, count=False, on_frame=on_frame)
            )
        done += b - a
    progress(_FOLLOWING, 1.0)
    if not tracks:
        raise TrackError("The player was lost in every swing; film the whole body, larger and in good light.")
    return replace(join(tracks, times), people=scan.most)


_FOLLOWING = "following the player"


def _shares(progress: Progress, start: float, length: float) -> Callable[[float], None]:
    return lambda time: progress(_FOLLOWING, min(max((time - start) / max(length, 1e-6), 0.0), 0.999))


def _scan(read: Read, times: NDArray[np.float64], estimator: PoseEstimator, progress: Progress) -> Scan:
    start, length = float(times[0]), max(float(times[-1] - times[0]), 1e-6)
    scan = scan_people(
        read(None, None, _SCAN_TALLEST, 1.0 / SCAN_RATE),
        estimator,
        on_frame=lambda time: progress("looking for the swings", min((time - start) / length, 0.999)),
    )
    progress("looking for the swings", 1.0)
    return scan


def _watch_all(
    read: Read,
    times: NDArray[np.float64],
    estimator: PoseEstimator,
    wanted: Wanted | None,
    progress: Progress,
) -> Track:
    """Every frame. Only where several people are in view is the coarse pass needed to tell the player."""
    pictures = iter(read(None, None, TALLEST))
    first = next(pictures, None)
    if first is None:
        raise TrackError("The clip holds no pictures to track.")
    people = find_people(first.image, first.time, estimator)
    on_frame = _shares(progress, float(times[0]), float(times[-1] - times[0]))
    raw: Track | None = None
    if len(people) <= 1:
        alone = at_first_sight(people[0], first) if people else None
        raw = follow(chain([first], pictures), estimator, player=alone, wanted=wanted, on_frame=on_frame)
    if raw is None or raw.people > 1:
        scan = _scan(read, times, estimator, progress)
        player = choose_player(scan.people, wanted, len(scan.times))
        most = max(scan.most, len(people), 0 if raw is None else raw.people)
        if raw is None or not is_of(raw, player):
            raw = follow(read(None, None, TALLEST), estimator, player=player, count=False, on_frame=on_frame)
        raw = replace(raw, people=most)
    progress(_FOLLOWING, 1.0)
    return raw


def is_of(track: Track, player: Person) -> bool:
    """Whether a raw track is the player's, as a coarse pass saw them."""
    player = player.in_pictures_of(track.size)
    off = [
        place.distance(place_of_points(track.image[i]))
        for i in np.flatnonzero(track.found)
        if (place := player.place_at(float(track.times[i]))) is not None
    ]
    return bool(off) and float(np.median(off)) <= _THE_SAME
