"""Whether a new pose is still the person who is followed: place and size go on smoothly, colours are the same."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.colours import body_colours, unlikeness
from swingmatch.body.estimator import Pose
from swingmatch.body.window import Place, place_of

Array = NDArray[np.float64]

#: The trunk may be off its predicted place by this share of the height, plus so many heights a second since it was
#: last seen, up to the third number. A sprint is about 4 statures a second (*common practice, no source*).
_JUMP, _PACE, _FARTHEST = 0.25, 3.0, 1.2
#: Height may differ by this factor from the last one seen, a crouch or a raised foot.
_TALLER = 1.6
#: Colours farther apart than this are somebody else's: on generated figures a player's own differ by up to 8 units
#: (see ``colours``) from picture to picture, those of somebody in other clothes by 12 or more.
OTHER_COLOURS = 9.5
#: A look that is farther off than this is not remembered: part of it may be what stands in front.
_SURE = 5.0
#: Looks of the same person that are remembered, and how far apart they are taken, seconds.
_LOOKS, _BETWEEN = 8, 0.15
#: How long a speed is carried on when nothing is seen, seconds.
_CARRY = 0.3


class Identity:
    """What is known of the person followed so far.

    Parameters
    ----------
    colours : (N, 3) that are known beforehand, as from a coarser pass; may be empty.
    """

    def __init__(self, colours: Array | None = None) -> None:
        self._first = np.zeros((0, 3)) if colours is None else colours
        self._looks: deque[Array] = deque(maxlen=_LOOKS)
        self._learned = -np.inf
        #: Where the person was seen last.
        self.place: Place | None = None
        self._time = -np.inf
        self._pace = np.zeros(2)

    @property
    def colours(self) -> Array:
        """(N, 3) colours known so far."""
        return np.concatenate([self._first, *self._looks])

    def predicted(self, time: float) -> Place | None:
        """Where the person should be at a time, seconds; None before the first sighting."""
        if self.place is None:
            return None
        x, y = np.array([self.place.x, self.place.y]) + self._pace * min(time - self._time, _CARRY)
        return Place(float(x), float(y), self.place.height)

    def moves_on(self, pose: Pose, time: float) -> bool:
        """Whether place and size go on smoothly from what was seen last."""
        before, now = self.predicted(time), place_of(pose)
        if before is None:
            return True
        reach = min(_JUMP + _PACE * (time - self._time), _FARTHEST)
        return before.distance(now) <= reach and before.times_taller(now) <= _TALLER

    def wears_the_same(self, pose: Pose, picture: NDArray[np.uint8]) -> bool:
        """Whether the colours are those known so far."""
        return unlikeness(self.colours, body_colours(picture, pose)) <= OTHER_COLOURS

    def learn(self, pose: Pose, picture: NDArray[np.uint8], time: float) -> None:
        """Take a pose as the person's own."""
        place = place_of(pose)
        if self.place is not None and 0 < time - self._time <= _CARRY:
            pace = np.array([place.x - self.place.x, place.y - self.place.y]) / (time - self._time)
            # Half a tenth of a second's memory: the trunk of one picture is off by a few pixels.
            share = min((time - self._time) / 0.05, 1.0)
            self._pace = (1 - share) * self._pace + share * pace
        else:
            self._pace = np.zeros(2)
        self.place, self._time = place, time
        if time - self._learned >= _BETWEEN:
            self._learned = time
            colours = body_colours(picture, pose)
            if len(colours) and unlikeness(self.colours, colours) <= _SURE:
                self._looks.append(colours)
