"""``Movement``: one stroke as measures see it, on the ball's side."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.series import resample
from swingmatch.stroke import measures as m
from swingmatch.stroke.mass import centre_of_mass

Array = NDArray[np.float64]
Side = Literal["right", "left"]

#: From the knuckles to the centre of the string bed, statures: 0.45 m on somebody of 1.75 m (a racket of 0.685 m held
#: 0.07 m from the butt, the middle of its strings 0.165 m below the tip; *common practice, no source*).
HAND_TO_STRINGS = 0.257
#: Seconds between the moments of ``Movement.clock``.
_STEP = 1.0 / 240.0


@dataclass(frozen=True)
class Movement:
    """One stroke with the ball on the right (+Z), whatever the player's hand and the stroke.

    A left-hander is mirrored, and a backhand once more. The outside leg and the back hip are then the right ones before
    contact, turned back is positive, and the hitting arm is right for a forehand and a serve, left for a backhand.

    Attributes
    ----------
    times : (T,) seconds from contact, rising. points : (T, K, 3) statures, X to the target, Y up, Z to the ball.
    events : name -> seconds from contact; "contact" is 0.
    hitting : the arm that holds the racket alone or, of two, the front one.
    racket : (T, 5, 3) butt, throat, tip, the two edges, statures, NaN where it was not seen; None where it never was.
        The normal ``cross(tip - butt, second edge - first edge)`` is that of the face that strikes the ball.
    frames : seconds from contact of the pictures that ``racket`` rests on; ``times`` where None.
    struck : (3,) where the ball met the strings, statures; None where it was not seen.
    aim : where the racket is taken to point at contact while it is not known, degrees: about the vertical from the
        ball's side towards the target, and upwards.
    """

    times: Array
    points: Array
    events: Mapping[str, float]
    hitting: Side = "right"
    racket: Array | None = None
    aim: tuple[float, float] = (0.0, -10.0)
    frames: Array | None = None
    struck: Array | None = None

    @property
    def other(self) -> Side:
        """The arm that does not hit."""
        return "left" if self.hitting == "right" else "right"

    def joint(self, name: str) -> Array:
        """(T, 3) one keypoint; "hitting_" and "other_" stand for the two arms, as in "hitting_elbow"."""
        side, _, part = name.partition("_")
        if side in ("hitting", "other"):
            name = f"{self.hitting if side == 'hitting' else self.other}_{part}"
        return self.points[:, INDEX[name]]

    def middle(self, part: str) -> Array:
        """(T, 3) the middle between left and right."""
        return middle(self.points, part)

    @cached_property
    def hand(self) -> Array:
        """(T, 3) the hitting hand's knuckles."""
        return self.joint("hitting_hand")

    @cached_property
    def head(self) -> Array:
        """(T, 3) the middle of the ears."""
        return 0.5 * (self.joint("left_ear") + self.joint("right_ear"))

    @cached_property
    def com(self) -> Array:
        """(T, 3) the centre of mass of the whole body."""
        return centre_of_mass(self.points)

    @cached_property
    def arm(self) -> float:
        """Length of the hitting arm, shoulder to knuckles, statures: median over the stroke."""
        names = ("shoulder", "elbow", "wrist", "hand")
        ends = [self.joint(f"hitting_{name}") for name in names]
        lengths = [np.linalg.norm(b - a, axis=1) for a, b in itertools.pairwise(ends)]
        return float(np.nanmedian(np.sum(lengths, axis=0)))

    @cached_property
    def shoulder_width(self) -> float:
        """Distance between the shoulders, statures: median over the stroke."""
        line = self.joint("right_shoulder") - self.joint("left_shoulder")
        return float(np.nanmedian(np.linalg.norm(line, axis=1)))

    @cached_property
    def trunk(self) -> float:
        """Mid-hip to mid-shoulder, statures: median over the stroke."""
        return float(np.nanmedian(np.linalg.norm(self.middle("shoulder") - self.middle("hip"), axis=1)))

    @cached_property
    def leg(self) -> float:
        """Thigh and shank, statures: median over the stroke, mean of both legs."""
        parts = [
            np.nanmedian(np.linalg.norm(self.joint(f"{s}_{a}") - self.joint(f"{s}_{b}"), axis=1))
            for s in ("left", "right")
            for a, b in (("hip", "knee"), ("knee", "ankle"))
        ]
        return 0.5 * float(np.sum(parts))

    @cached_property
    def clock(self) -> Array:
        """(N,) evenly spaced seconds from contact over the stroke: what peaks and onsets are looked for on."""
        return np.arange(self.times[0], self.times[-1], _STEP)

    @cached_property
    def hip_turn(self) -> Array:
        """(T,) degrees; see ``measures.turn``."""
        return m.turn(self.points, "hip")

    @cached_property
    def shoulder_turn(self) -> Array:
        """(T,) degrees; see ``measures.turn``."""
        return m.turn(self.points, "shoulder")

    @cached_property
    def string_bed(self) -> Array:
        """(T, 3) the centre of the string bed; where the racket is not known, as it is at contact (``aim``)."""
        about, up = np.radians(self.aim)
        usual = self.hand + HAND_TO_STRINGS * np.array(
            [np.cos(up) * np.sin(about), np.sin(up), np.cos(up) * np.cos(about)]
        )
        if self.racket is None:
            return usual
        return np.where(np.isfinite(self.strings), self.strings, usual)

    @cached_property
    def strings(self) -> Array:
        """(T, 3) the centre of the string bed, NaN where the racket was not seen."""
        if self.racket is None:
            return np.full((len(self.times), 3), np.nan)
        return 0.5 * (self.racket[:, 3] + self.racket[:, 4])

    @cached_property
    def shaft(self) -> Array:
        """(T, 3) unit vectors from the racket's butt to its tip, NaN where it was not seen."""
        if self.racket is None:
            return np.full((len(self.times), 3), np.nan)
        return _unit(self.racket[:, 2] - self.racket[:, 0])

    @cached_property
    def face(self) -> Array:
        """(T, 3) unit normals of the face that strikes the ball, NaN where the racket was not seen."""
        if self.racket is None:
            return np.full((len(self.times), 3), np.nan)
        return _unit(np.cross(self.shaft, self.racket[:, 4] - self.racket[:, 3]))

    def series(self, of: Callable[[Movement], Array]) -> Array:
        """``of(self)``, (T, ...), worked out once however many measures rest on it."""
        if of not in self._known:
            self._known[of] = of(self)
        return self._known[of]

    @cached_property
    def _known(self) -> dict[Callable[[Movement], Array], Array]:
        return {}

    def when(self, event: str) -> float:
        """Seconds from contact of an event, NaN where it was not found."""
        return self.events.get(event, float("nan"))

    def at(self, event: str, values: Array) -> Array:
        """``values`` (T, ...) at an event, linear between pictures: (...). NaN where the event was not found."""
        return self.at_time(self.when(event), values)

    def at_time(self, time: float, values: Array) -> Array:
        """``values`` (T, ...) at ``time`` seconds from contact: (...). NaN outside what was filmed."""
        if not self.times[0] <= time <= self.times[-1]:
            return np.full(values.shape[1:], np.nan)
        right = min(max(int(np.searchsorted(self.times, time)), 1), len(self.times) - 1)
        share = (time - self.times[right - 1]) / (self.times[right] - self.times[right - 1])
        if share in (0.0, 1.0):
            return np.asarray(values[right - 1 + int(share)])
        return np.asarray(values[right - 1] + share * (values[right] - values[right - 1]))

    def over(self, start: float, stop: float, values: Array) -> tuple[Array, Array]:
        """Times (N,) and ``values`` (N, ...) on ``clock`` from ``start`` to ``stop``, both ends included.

        Empty where either is unknown or not filmed.
        """
        if not (self.times[0] <= start < stop <= self.times[-1]):
            return np.zeros(0), np.zeros((0, *values.shape[1:]))
        inside = self.clock[(self.clock > start) & (self.clock < stop)]
        at = np.concatenate([[start], inside, [stop]])
        return at, resample(values, self.times, at)

    def rate(self, values: Array) -> Array:
        """(T, ...) change of ``values`` a second."""
        return np.gradient(values, self.times, axis=0)


def _unit(vectors: Array) -> Array:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))
