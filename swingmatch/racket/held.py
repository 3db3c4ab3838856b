"""The racket in the hand of a lifted body: looked for in the pictures, with what the coach marked, and fitted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.ball import BallContact
from swingmatch.racket.fit import arm_of, fit_racket
from swingmatch.racket.hoop import RacketShape
from swingmatch.racket.path import RacketPath
from swingmatch.racket.points import RacketPoints
from swingmatch.racket.spots import BALL
from swingmatch.racket.strings import ball_sd, struck_at
from swingmatch.racket.view import View

Array = NDArray[np.float64]
Hand = Literal["right", "left"]

#: Looks for the racket between two moments about contact (start, stop, contact, in seconds) in one hand; None where
#: nothing can be looked at.
Finder = Callable[[float, float, float, Hand], RacketPoints | None]
#: Looks for the struck ball about a moment (seconds).
BallFinder = Callable[[float, Hand], BallContact | None]
#: Seconds before and after contact in which the racket is looked for: from the take-back to the finish.
BEFORE, AFTER = 1.1, 0.7
#: A ball that is struck so far from contact, seconds, is not this stroke's.
_SAME = 0.1


@dataclass(frozen=True)
class Held:
    """A racket over one stroke on the lifted body's axes, and where the ball met it.

    Attributes
    ----------
    path : see ``RacketPath``. struck : (3,) statures, struck_draws : (S, 3); None where it was not seen.
    """

    path: RacketPath
    struck: Array | None = None
    struck_draws: Array | None = None

    @property
    def points(self) -> Array:
        """(T, 5, 3) statures."""
        return self.path.points

    @property
    def draws(self) -> Array:
        """(S, T, 5, 3) statures."""
        return self.path.draws

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(T,) whether it is known well enough to be spoken of."""
        return self.path.seen


@dataclass(frozen=True)
class RacketWatcher:
    """Gives the racket of a lifted stroke.

    Attributes
    ----------
    size : of the pictures that the body was tracked in. body_height : of the player in them, pixels.
    find : looks in the pictures; None where only marks are used. marks : what the coach marked, on the clip's clock.
    ball : looks for the struck ball, or None. shape : of the racket.
    """

    size: tuple[int, int]
    body_height: float
    find: Finder | None = None
    marks: RacketPoints | None = None
    ball: BallFinder | None = None
    shape: RacketShape | None = None

    def __call__(
        self, times: Array, points: Array, draws: Array, tilt: float, contact: float, hand: Hand
    ) -> Held | None:
        """The racket of one stroke, None where it was not seen at all.

        Parameters
        ----------
        times : (T,) seconds. points, draws : (T, K, 3), (S, T, K, 3) statures, level axes, the camera at the origin.
        tilt : by how much the camera looks down, radians. contact : seconds. hand : the one that holds the racket.
        """
        start, stop = max(contact - BEFORE, float(times[0])), min(contact + AFTER, float(times[-1]))
        marked = None if self.marks is None else _within(self.marks, start, stop)
        found = None if self.find is None else self.find(start, stop, contact, hand)
        if marked is None and found is None:
            return None
        view = View(self.size, tilt)
        arm = arm_of(times, points, draws, hand)
        path = fit_racket(arm, view, found, contact, marks=marked, shape=self.shape)
        if not path.seen.any():
            return None
        struck = self._struck(path, view, contact, hand)
        return Held(path) if struck is None else Held(path, *struck)

    def _struck(self, path: RacketPath, view: View, contact: float, hand: Hand) -> tuple[Array, Array] | None:
        """Where the ball met the strings; the ball is looked for only where they are known at contact."""
        near = np.abs(path.times - contact) < 0.99 * float(np.median(np.diff(path.times)))
        if self.ball is None or not path.seen[near].all():
            return None
        ball = self.ball(contact, hand)
        if ball is None or abs(ball.time - contact) > _SAME:
            return None
        return struck_at(path, view, ball.place, ball_sd(BALL * self.body_height), contact)


def _within(points: RacketPoints, start: float, stop: float) -> RacketPoints | None:
    inside = (points.times >= start) & (points.times <= stop)
    if not points.known[inside].any():
        return None
    return RacketPoints(points.times[inside], points.image[inside], points.sd[inside])
