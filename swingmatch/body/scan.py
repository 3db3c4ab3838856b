"""The coarse pass over a clip: everybody in view now and then, and from it where somebody swings.

A long clip is followed at its full rate only there, so that it costs by its swings and not by its length. Small
pictures are compared a few times a second. Somebody who rests is looked at seldom, somebody who moves now and then,
and where the arms went somewhere between two looks, the moments between are looked at too.
"""

from __future__ import annotations

from collections import deque
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
    place_of_points,
    plausible,
    window_around,
    window_at,
)
from swingmatch.clip.clip import Frame
from swingmatch.clip.sound import Onsets

Array = NDArray[np.float64]

#: Moments a second. A stroke's hand passes the body in 0.1-0.2 s and its whole path takes about 0.8 s.
SCAN_RATE = 6.0
#: Somebody who moves is looked at this often, somebody who stirs, and somebody who rests, seconds.
_LOOK_EVERY, _STIR_EVERY, _REST_EVERY = 0.5, 1.0, 4.0
#: Arms that went so far between two looks, statures, are looked at in every moment between and after. Of 60 generated
#: and 14 recorded strokes, seen from all round and with the looks anyhow placed in time, none went less than 0.19.
_ARMS_MOVED = 0.15
#: A trunk that went so far between two looks is looked at in every moment too, heights: it could get out of sight.
_TRUNK_MOVED = 0.35
#: Somebody this near to the middle of the last window is looked for in the same one again, heights, if they
#: are as large within this factor.
_IN_PLACE, _SAME_SIZE = 0.3, 1.25
#: Others are looked for this often where something moves away from those known, and where nothing does, seconds.
_OTHERS_EVERY, _OTHERS_SELDOM, _OTHERS_LEVELS = 4.0, 20.0, 2
#: With nobody in view anybody is looked for this often, seconds, and after so many vain searches less and less often.
_ANYBODY_EVERY, _ANYBODY_SELDOM = 1.0, 8.0
#: After this long without a sighting somebody is not looked for in place any more, seconds.
_GONE = 1.5
#: Somebody who comes back is as tall as before within this factor.
_AS_TALL = 1.7
#: Somebody seen in fewer moments than this was a mistake of the model where others were seen more often.
_FEWEST = 3
#: Moments that are kept for going back to.
_HELD = round(_STIR_EVERY * SCAN_RATE) - 1
#: Width of the small picture in which change is looked for, pixels, and what counts as a change, levels of 255.
_SMALL, _CHANGED = 240, 12
#: Somebody stirs, and moves, who changes this much of the picture from one moment to the next, heights squared. The
#: fastest moments of generated and recorded strokes change 0.13 and more, standing ready 0.05 to 0.15.
_STIRS, _MOVES = 0.03, 0.08
#: Somebody new changes this share of the picture.
_SOMEBODY = 0.002
#: Hand speed from one look to the next that may be a stroke, statures a second; and with a strike heard near it.
#: Of 60 generated strokes, looked at anyhow in time, the slowest reached 1.4, of 14 recorded ones 1.0.
_FAST, _FAST_WITH_SOUND = 0.9, 0.6
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
    """One person on the way through the clip.

    Attributes
    ----------
    times, poses : sightings, rising. missed : seconds of looks in vain.
    moved : most change of the picture there since the last look, heights squared. busy : each moment is looked at.
    seen_in : the window of the last sighting.
    """

    identity: Identity = field(default_factory=Identity)
    times: list[float] = field(default_factory=list)
    poses: list[Pose] = field(default_factory=list)
    missed: list[float] = field(default_factory=list)
    moved: float = np.inf
    busy: bool = False
    seen_in: Window | None = None

    @property
    def last(self) -> Place:
        """Where the person was seen last."""
        return place_of(self.poses[-1])

    @property
    def in_view(self) -> bool:
        """Whether the last look was not in vain."""
        return not self.missed or self.missed[-1] < self.times[-1]

    def active(self, time: float) -> bool:
        """Whether the person is worth a look in place."""
        return self.in_view or time - self.times[-1] <= _GONE

    def due(self, time: float) -> bool:
        """Whether it is time for a look; half a moment early is in time."""
        if self.busy or not self.in_view:
            return True
        every = _LOOK_EVERY if self.moved >= _MOVES else _STIR_EVERY if self.moved >= _STIRS else _REST_EVERY
        return time - self.times[-1] >= every - 0.5 / SCAN_RATE

    def went(self, pose: Pose) -> bool:
        """Whether arms or trunk are so far from where they were at the last sighting that moments between count."""
        if self.last.distance(place_of(pose)) >= _TRUNK_MOVED:
            return True
        two = np.stack([self.poses[-1].image, pose.image])
        pair = Person(_PAIR, two, (self.last, place_of(pose)), np.zeros((0, 3)), (1, 1))
        return float(pair.hand_speeds()[0][0]) * float(np.ptp(_PAIR)) >= _ARMS_MOVED

    def add(self, pose: Pose, frame: Frame) -> None:
        """A sighting."""
        self.busy = bool(self.poses) and self.went(pose)
        self.identity.learn(pose, frame.image, frame.time)
        self.times.append(frame.time)
        self.poses.append(pose)
        self.moved = 0.0

    def is_seen_in(self, pose: Pose, frame: Frame) -> bool:
        """Whether a pose in a frame is this person's."""
        return self.identity.moves_on(pose, frame.time) and self.identity.wears_the_same(pose, frame.image)

    def window(self, time: float) -> Window:
        place = self.identity.predicted(time)
        around = window_around(self.poses[-1])
        if place is None:
            return around
        return Window(around.left + place.x - self.last.x, around.top + place.y - self.last.y, around.side)

    def person(self, moments: Array, size: tuple[int, int]) -> Person:
        """The person as seen, and on straight ways from sighting to sighting at moments that needed no look."""
        times, image = np.array(self.times), np.stack([pose.image for pose in self.poses])
        later = moments[moments > times[0]]
        before = np.searchsorted(times, later, side="right") - 1
        after = np.append(times, np.inf)[before + 1]
        # Nothing is known between a sighting and the next where a look was in vain.
        known = np.searchsorted(self.missed, times[before]) == np.searchsorted(self.missed, after)
        at = np.union1d(times, later[known])
        flat = image.reshape(len(image), -1)
        ways = np.stack([np.interp(at, times, column) for column in flat.T], axis=1)
        image = ways.reshape(len(at), *image.shape[1:])
        return Person(at, image, tuple(map(place_of_points, image)), self.identity.colours, size)


#: Two moments that ``Person.hand_speeds`` takes for neighbours, seconds.
_PAIR = np.array([0.0, 0.5])


class _Change:
    """Where the picture changed from one moment to the next, in a small grey copy."""

    def __init__(self) -> None:
        self._small: NDArray[np.uint8] | None = None
        self._changed: NDArray[np.bool_] | None = None
        self._scale = 1.0

    def update(self, picture: NDArray[np.uint8]) -> None:
        """Take the next moment's picture."""
        self._scale = _SMALL / picture.shape[1]
        green = cv2.extractChannel(picture, 1)  # holds most of the light and needs no arithmetic
        grey = np.asarray(
            cv2.resize(green, None, fx=self._scale, fy=self._scale, interpolation=cv2.INTER_AREA), np.uint8
        )
        before, self._small = self._small, grey
        self._changed = None if before is None else cv2.absdiff(grey, before) > _CHANGED

    def _part(self, place: Place) -> tuple[slice, slice]:
        window = window_at(place, TIGHT)
        x0, y0, x1, y1 = (
            max(0, int(self._scale * v))
            for v in (window.left, window.top, window.left + window.side, window.top + window.side)
        )
        return slice(y0, y1 + 1), slice(x0, x1 + 1)

    def at(self, place: Place) -> float:
        """How much changes where somebody is, heights squared; without end at the first moment."""
        if self._changed is None:
            return float("inf")
        height = max(self._scale * place.height, 1.0)
        return float(np.count_nonzero(self._changed[self._part(place)])) / height**2

    def elsewhere(self, places: Iterable[Place]) -> bool:
        """Whether something as large as a person moves away from some places; so it is at the first moment."""
        if self._changed is None:
            return True
        left = self._changed.copy()
        for place in places:
            left[self._part(place)] = False
        return np.count_nonzero(left) >= _SOMEBODY * left.size


def scan_people(
    frames: Iterable[Frame],
    estimator: PoseEstimator,
    *,
    rate: float = SCAN_RATE,
    on_frame: Callable[[float], None] | None = None,
) -> Scan:
    """Go through a clip a few moments a second and follow everybody.

    Parameters
    ----------
    frames : in order of time; those between two moments are passed over, and small pictures do.
    estimator : see ``estimator.make_estimator``. rate : moments a second.
    on_frame : called with each frame's time in seconds.
    """
    scanner = _Scanner(estimator)
    due = -np.inf
    for frame in frames:
        if on_frame is not None:
            on_frame(frame.time)
        if frame.time < due - 0.1 / rate:
            continue
        # The next moment is due on a steady beat, or from here where frames are farther apart than that.
        due = (due if scanner.times else frame.time) + 1.0 / rate
        due = max(due, frame.time + 0.5 / rate)
        scanner.step(frame)
    return scanner.scan()


class _Scanner:
    """Everybody seen so far; ``step`` takes one moment after the other."""

    def __init__(self, estimator: PoseEstimator) -> None:
        self._estimator = estimator
        self._trails: list[_Trail] = []
        self._change = _Change()
        # Whom the model follows.
        self._asked: _Trail | None = None
        # The last moments, for going back to.
        self._held: deque[Frame] = deque(maxlen=_HELD)
        self._searched, self._vain, self._stirred = -np.inf, 0, True
        self._most = 0
        self.times: list[float] = []
        self._size = (1, 1)

    def step(self, frame: Frame) -> None:
        """Look at whoever is due, and for others where something moves."""
        self.times.append(frame.time)
        self._size = (frame.image.shape[1], frame.image.shape[0])
        self._change.update(frame.image)
        active = [trail for trail in self._trails if trail.active(frame.time)]
        for trail in active:
            trail.moved = max(trail.moved, self._change.at(trail.last))
        self._stirred = self._stirred or self._change.elsewhere(trail.last for trail in active)
        self._look_at_due(active, frame)
        if frame.time - self._searched >= self._search_after(bool(active)):
            self._search(active, frame)
        self._most = max(self._most, sum(trail.in_view for trail in self._trails))
        self._held.append(frame)

    def scan(self) -> Scan:
        """What was seen."""
        moments = np.array(self.times)
        people = [trail.person(moments, self._size) for trail in self._trails]
        people.sort(key=lambda person: -len(person.times))
        lasting = [person for person in people if len(person.times) >= _FEWEST]
        return Scan(tuple(lasting or people), moments, self._size, self._most)

    def _look_at_due(self, active: Sequence[_Trail], frame: Frame) -> None:
        """The taller ones first, painted over so that the model shows the next."""
        left = frame.image
        for trail in sorted(active, key=lambda t: -t.last.height):
            if trail.due(frame.time):
                self._look(trail, frame, left)
            if trail.in_view and len(active) > 1:
                left = left.copy() if left is frame.image else left
                paint_over(left, trail.poses[-1])

    def _look(self, trail: _Trail, frame: Frame, left: NDArray[np.uint8]) -> None:
        """Look at somebody in ``left``, the picture without those seen already; go back where that is too little."""
        pose = self._ask(trail, frame, left)
        if pose is None or trail.went(pose):
            looked = max([trail.times[-1], *trail.missed[-1:]])
            back = [held for held in self._held if held.time > looked]
            for held in back:
                others = [t for t in self._trails if t is not trail and t.in_view]
                between = self._ask(trail, held, _without(held.image, others))
                if between is not None:
                    trail.add(between, held)
            if pose is None and back and trail.times[-1] >= back[0].time:
                pose = self._ask(trail, frame, left)
        if pose is None:
            trail.missed.append(frame.time)
        else:
            trail.add(pose, frame)

    def _ask(self, trail: _Trail, frame: Frame, left: NDArray[np.uint8]) -> Pose | None:
        """The person's pose in a picture without those seen already."""
        asked, self._asked = self._asked, trail
        pose = _in_place(trail, frame, left, self._estimator) if asked is trail else None
        return pose or _look(trail, frame, left, self._estimator)

    def _search_after(self, company: bool) -> float:
        """Seconds after which it is time to look for others (for anybody where nobody is in view) again."""
        first, seldom = (_OTHERS_EVERY, _OTHERS_SELDOM) if company else (_ANYBODY_EVERY, _ANYBODY_SELDOM)
        return min(first * 2**self._vain, seldom) if self._stirred else seldom

    def _search(self, active: Sequence[_Trail], frame: Frame) -> None:
        stirred, self._stirred = self._stirred, False
        self._searched, self._asked = frame.time, None
        seen = [trail for trail in active if trail.in_view]
        known = [trail.poses[-1] for trail in seen]
        levels = _OTHERS_LEVELS if active else ALL_LEVELS
        found = find_people(frame.image, frame.time, self._estimator, levels=levels, known=known)
        # What moves all the time and is nobody, as trees do, is not worth many searches.
        self._vain = self._vain + 1 if stirred and not found else 0
        for pose in found:
            trail = _comes_back(pose, frame, self._trails, seen)
            if trail is None:
                trail = _Trail()
                self._trails.append(trail)
            seen.append(trail)
            trail.add(pose, frame)


def _without(picture: NDArray[np.uint8], others: Iterable[_Trail]) -> NDArray[np.uint8]:
    """The picture without other people, where there are any."""
    left = picture
    for trail in others:
        left = left.copy() if left is picture else left
        paint_over(left, trail.poses[-1])
    return left


def _in_place(trail: _Trail, frame: Frame, left: NDArray[np.uint8], estimator: PoseEstimator) -> Pose | None:
    """The person's pose in the same window as before, by a model that still follows them: half a fresh look's cost.

    None where the person has left the window's middle or its size, or what is seen is in doubt.
    """
    window = trail.seen_in
    if window is None:
        return None
    middle = Place(window.left + window.side / 2, window.top + window.side / 2, window.side / ROOM)
    if middle.distance(trail.last) > _IN_PLACE or middle.times_taller(trail.last) > _SAME_SIZE:
        return None
    pose = estimate_in(estimator, left, frame.time, window)
    if pose is None or not plausible(pose, window) or not trail.is_seen_in(pose, frame):
        return None
    return pose


def _look(
    trail: _Trail,
    frame: Frame,
    left: NDArray[np.uint8],
    estimator: PoseEstimator,
) -> Pose | None:
    """The person's pose now in ``left``, the picture without those seen already."""
    window, trail.seen_in = trail.window(frame.time), None
    for room in (1.0, TIGHT / ROOM):
        window = window.narrowed(room)
        estimator.restart()
        pose = estimate_in(estimator, left, frame.time, window)
        if pose is None or not plausible(pose, window):
            return None
        if trail.is_seen_in(pose, frame):
            trail.seen_in = window
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
