"""The coarse pass over a clip: everybody in view a few times a second, and from it where somebody swings.

A long clip is followed at its full rate only there, so that it costs by its swings and not by its length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.colours import body_colours, unlikeness
from swingmatch.body.estimator import Pose, PoseEstimator
from swingmatch.body.identity import OTHER_COLOURS, Identity
from swingmatch.body.people import ALL_LEVELS, Person, find_people, paint_over
from swingmatch.body.window import (
    ROOM,
    TIGHT,
    Place,
    Window,
    estimate_in,
    place_of,
    plausible,
    window_around,
    window_at,
)
from swingmatch.clip.clip import Frame
from swingmatch.clip.sound import Onsets

Array = NDArray[np.float64]

#: Looks a second. A stroke's hand passes the body in 0.1-0.2 s and its whole path takes about 0.8 s.
SCAN_RATE = 6.0
#: Others are looked for this often, seconds, in so many levels of windows; with nobody in view, this often everywhere.
_OTHERS_EVERY, _OTHERS_LEVELS, _ANYBODY_EVERY = 4.0, 2, 1.0
#: After this long without a sighting somebody is not looked for in place any more, seconds.
_GONE = 1.5
#: Somebody who comes back is as tall as before within this factor.
_AS_TALL = 1.7
#: Somebody seen in fewer moments than this was a mistake of the model where others were seen more often.
_FEWEST = 3
#: A part of the picture whose grey changed less than this since the last look is still, levels of 255.
_STILL = 6.0
#: Width of the small picture in which change is looked for, pixels, and the longest time it spares looks, seconds.
_SMALL, _SPARE = 160, 1.0
#: Hand speed from one look to the next that may be a stroke, statures a second; and with a strike heard near it.
#: Of 24 generated strokes, seen from all round and with the looks anyhow placed in time, the slowest reached 1.6.
_FAST, _FAST_WITH_SOUND = 1.3, 0.6
#: How near a strike must be, seconds.
_NEAR = 0.3
#: What is kept before and after a candidate, seconds: more than ``stroke.cut`` keeps of a stroke.
BEFORE, AFTER = 2.0, 1.8
#: A hole shorter than this is not worth leaving out, seconds: finding the place in the file costs as much.
_SHORTEST_HOLE = 1.0


@dataclass(frozen=True, eq=False)
class Scan:
    """What the coarse pass saw.

    Attributes
    ----------
    people : everybody seen, at least one sighting each, those seen most often first.
    times : (N,) seconds of the moments that were looked at. size : (width, height) of the pictures.
    most : most people in view at one moment.
    """

    people: tuple[Person, ...]
    times: Array
    size: tuple[int, int]
    most: int


@dataclass(eq=False)
class _Trail:
    """One person on the way through the clip."""

    identity: Identity = field(default_factory=Identity)
    times: list[float] = field(default_factory=list)
    poses: list[Pose] = field(default_factory=list)
    looked: float = -np.inf

    def add(self, pose: Pose, frame: Frame) -> None:
        """A sighting; the very same pose as before was taken over without a look."""
        if not self.poses or pose is not self.poses[-1]:
            self.looked = frame.time
        self.identity.learn(pose, frame.image, frame.time)
        self.times.append(frame.time)
        self.poses.append(pose)

    def window(self, time: float) -> Window:
        place = self.identity.predicted(time)
        around = window_around(self.poses[-1])
        if place is None:
            return around
        last = place_of(self.poses[-1])
        return Window(around.left + place.x - last.x, around.top + place.y - last.y, around.side)

    def person(self, size: tuple[int, int]) -> Person:
        image = np.stack([pose.image for pose in self.poses])
        places = tuple(place_of(pose) for pose in self.poses)
        return Person(np.array(self.times), image, places, self.identity.colours, size)


class _Change:
    """Where the picture changed since somebody was last looked at, in a small grey copy."""

    def __init__(self) -> None:
        self._small: NDArray[np.uint8] | None = None
        self._scale = 1.0

    def update(self, picture: NDArray[np.uint8]) -> Callable[[Place | None], bool]:
        """Whether a place (the whole picture where None) is still, against the last picture that was given."""
        self._scale = _SMALL / picture.shape[1]
        small = cv2.resize(picture, None, fx=self._scale, fy=self._scale, interpolation=cv2.INTER_AREA)
        grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
        before, self._small = self._small, grey
        if before is None:
            return lambda place: False
        change = cv2.blur(cv2.absdiff(grey, before), (3, 3))

        def still(place: Place | None) -> bool:
            part = change
            if place is not None:
                window = window_at(place, 1.3)
                x0, y0 = (max(0, int(v * self._scale)) for v in (window.left, window.top))
                side = max(2, int(window.side * self._scale))
                part = change[y0 : y0 + side, x0 : x0 + side]
            return part.size > 0 and float(part.max()) < _STILL

        return still


def scan_people(
    frames: Iterable[Frame],
    estimator: PoseEstimator,
    *,
    rate: float = SCAN_RATE,
    on_frame: Callable[[float], None] | None = None,
) -> Scan:
    """Look at a clip a few times a second and follow everybody.

    Parameters
    ----------
    frames : in order of time; those between two looks are passed over, and small pictures do.
    estimator : see ``estimator.make_estimator``. rate : looks a second.
    on_frame : called with each frame's time in seconds.
    """
    trails: list[_Trail] = []
    times: list[float] = []
    size, most = (1, 1), 0
    searched = due = -np.inf
    change = _Change()
    for frame in frames:
        if on_frame is not None:
            on_frame(frame.time)
        if frame.time < due - 0.1 / rate:
            continue
        # The next look is due on a steady beat, or from here where frames are farther apart than that.
        due = (due if times else frame.time) + 1.0 / rate
        due = max(due, frame.time + 0.5 / rate)
        times.append(frame.time)
        size = (frame.image.shape[1], frame.image.shape[0])
        still = change.update(frame.image)
        active = [trail for trail in trails if frame.time - trail.times[-1] <= _GONE]
        before = times[-2] if len(times) > 1 else -np.inf
        # Stillness says something of those who were seen at the look before, and not for ever.
        resting = [
            trail
            for trail in active
            if trail.times[-1] == before
            and frame.time - trail.looked < _SPARE
            and still(place_of(trail.poses[-1]))
        ]
        seen = _look_at_all(active, resting, frame, estimator)
        every = _OTHERS_EVERY if active else _ANYBODY_EVERY
        if frame.time - searched >= every and (active or not still(None) or not trails):
            searched = frame.time
            levels = ALL_LEVELS if not active else _OTHERS_LEVELS
            known = [pose for _, pose in seen]
            for pose in find_people(frame.image, frame.time, estimator, levels=levels, known=known):
                trail = _comes_back(pose, frame, trails, [t for t, _ in seen])
                if trail is None:
                    trail = _Trail()
                    trails.append(trail)
                seen.append((trail, pose))
        for trail, pose in seen:
            trail.add(pose, frame)
        most = max(most, len(seen))
    people = sorted((trail.person(size) for trail in trails), key=lambda p: -len(p.times))
    lasting = [person for person in people if len(person.times) >= _FEWEST]
    return Scan(tuple(lasting or people), np.array(times), size, most)


def _look_at_all(
    active: Sequence[_Trail], resting: Sequence[_Trail], frame: Frame, estimator: PoseEstimator
) -> list[tuple[_Trail, Pose]]:
    """Everybody who is seen again; the taller ones first, painted over so that the model shows the next.

    Those ``resting`` are taken to be as they were, without a look.
    """
    seen: list[tuple[_Trail, Pose]] = []
    left = frame.image
    for trail in sorted(active, key=lambda t: -place_of(t.poses[-1]).height):
        pose = trail.poses[-1] if trail in resting else _look(trail, frame, left, estimator)
        if pose is None:
            continue
        if len(active) > 1:
            left = left.copy() if left is frame.image else left
            paint_over(left, pose)
        seen.append((trail, pose))
    return seen


def _look(
    trail: _Trail,
    frame: Frame,
    left: NDArray[np.uint8],
    estimator: PoseEstimator,
) -> Pose | None:
    """The person's pose now in ``left``, the picture without those seen already."""
    known, window = trail.identity, trail.window(frame.time)
    for room in (1.0, TIGHT / ROOM):
        window = window.narrowed(room)
        estimator.restart()
        pose = estimate_in(estimator, left, frame.time, window)
        if pose is None or not plausible(pose, window):
            return None
        if known.moves_on(pose, frame.time) and known.wears_the_same(pose, frame.image):
            return pose
        # Somebody else: without them, and with less room for others, the person may be seen.
        left = left.copy()
        paint_over(left, pose)
    return None


def _comes_back(pose: Pose, frame: Frame, trails: Sequence[_Trail], taken: Sequence[_Trail]) -> _Trail | None:
    """The person seen earlier, and not now, whose clothes and size are these; None for somebody new."""
    colours, place = body_colours(frame.image, pose), place_of(pose)
    off = {
        i: unlikeness(trail.identity.colours, colours)
        for i, trail in enumerate(trails)
        if trail not in taken and place.times_taller(place_of(trail.poses[-1])) <= _AS_TALL
    }
    best = min(off, key=lambda i: off[i], default=None)
    return None if best is None or off[best] > OTHER_COLOURS else trails[best]


def swing_spans(
    player: Person, onsets: Onsets | None, start: float, stop: float
) -> list[tuple[float, float]]:
    """Where the player may swing: spans (from, to) in seconds, rising and apart, within ``start`` and ``stop``.

    Candidates are moments of a fast hand, of a sound with a hand that moves, and of a sound while the player was
    not seen. Where there is none, the fastest moment is taken, so that there is something to look at.
    """
    speeds, moments = player.hand_speeds()
    candidates = moments[speeds >= _FAST].tolist()
    if onsets is not None:
        for time in onsets.times:
            near = np.abs(moments - time) <= _NEAR
            unseen = np.abs(player.times - time).min() > _NEAR
            if unseen or (near.any() and speeds[near].max() >= _FAST_WITH_SOUND):
                candidates.append(float(time))
    if not candidates:
        candidates = [float(moments[int(np.argmax(speeds))]) if len(speeds) else float(player.times[0])]
    spans: list[tuple[float, float]] = []
    for time in sorted(candidates):
        first, last = max(time - BEFORE, start), min(time + AFTER, stop)
        if spans and first - spans[-1][1] < _SHORTEST_HOLE:
            spans[-1] = (spans[-1][0], max(spans[-1][1], last))
        elif last > first:
            spans.append((first, last))
    return spans
