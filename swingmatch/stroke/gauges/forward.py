"""The forward swing: which part starts and peaks when, how fast, and the hand's way to the ball."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke.kinematics import (
    log_dimensionless_jerk,
    onset,
    path_angle,
    peak,
    segment_rate,
    turn_rate,
)
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]

#: A part's forward movement has begun when this share of the rise of its speed is done.
BEGUN = 0.10
#: The event at which the body is wound up, in a groundstroke.
WOUND = "end_of_take_back"
#: What is looked at before contact at most, and after it (a part may be fastest a little after), s.
_LONGEST, _AFTER = 0.6, 0.06
#: A part may start before the hand is farthest back, by at most this, s.
_EARLIER = 0.1
#: The hand's way to the ball is its mean over this long before contact, s.
LAST = 0.1


def hip_speed(movement: Movement) -> Array:
    """Speed at which the hip line turns forward about the vertical, degrees/s."""
    return -turn_rate(movement.times, movement.hip_turn)


def shoulder_speed(movement: Movement) -> Array:
    """Speed at which the shoulder line turns forward about the vertical, degrees/s."""
    return -turn_rate(movement.times, movement.shoulder_turn)


def upper_arm_speed(movement: Movement) -> Array:
    """Speed at which the hitting upper arm changes its direction in space, degrees/s."""
    arm = movement.joint("hitting_elbow") - movement.joint("hitting_shoulder")
    return segment_rate(movement.times, arm)


def forearm_speed(movement: Movement) -> Array:
    """Speed at which the hitting forearm changes its direction in space, degrees/s."""
    return segment_rate(movement.times, movement.joint("hitting_wrist") - movement.joint("hitting_elbow"))


def hand_speed(movement: Movement) -> Array:
    """Speed of the hitting hand, statures/s."""
    return np.linalg.norm(movement.rate(movement.hand), axis=1)


Speed = Callable[[Movement], Array]


def _forward(movement: Movement, speed: Speed, wound: str) -> tuple[Array, Array]:
    """Seconds from contact (N,) and a part's speed (N,) in the forward swing: from a little before ``wound``."""
    start = max(movement.when(wound) - _EARLIER, -_LONGEST)
    inside = (movement.times >= start) & (movement.times <= _AFTER)
    return movement.times[inside], movement.series(speed)[inside]


def _peak(movement: Movement, speed: Speed, wound: str) -> tuple[float, float]:
    """Seconds from contact and size of a part's fastest moment in the forward swing."""
    return peak(*_forward(movement, speed, wound))


@dataclass(frozen=True)
class PeakTime:
    """A gauge: when a part is fastest in the forward swing, ms before contact."""

    speed: Speed
    wound: str = WOUND

    def __call__(self, movement: Movement) -> float:
        return -1000.0 * _peak(movement, self.speed, self.wound)[0]

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return -0.001 * self(movement)

    @property
    def definition(self) -> str:
        return f"{self.speed.__doc__} When it is largest, ms before contact (negative after)."


@dataclass(frozen=True)
class PeakSpeed:
    """A gauge: how fast a part is at its fastest in the forward swing."""

    speed: Speed
    wound: str = WOUND

    def __call__(self, movement: Movement) -> float:
        return _peak(movement, self.speed, self.wound)[1]

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return _peak(movement, self.speed, self.wound)[0]

    @property
    def definition(self) -> str:
        return f"{self.speed.__doc__} The largest of the forward swing."


@dataclass(frozen=True)
class StartTime:
    """A gauge: when a part begins to go forward, ms before contact."""

    speed: Speed
    wound: str = WOUND

    def __call__(self, movement: Movement) -> float:
        times, values = _forward(movement, self.speed, self.wound)
        if not np.isfinite(values).any():
            return float("nan")
        fastest = int(np.nanargmax(values))
        # The arm still moves as the take-back ends, so the rise is counted from its slowest moment.
        slowest = max(float(np.nanmin(values[: fastest + 1])), 0.0)
        return -1000.0 * onset(times, values - slowest, fastest, BEGUN)

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return -0.001 * self(movement)

    @property
    def definition(self) -> str:
        return (
            f"{self.speed.__doc__} The last moment before its largest at which a tenth of its rise from its slowest "
            "in the forward swing is done, ms before contact."
        )


@dataclass(frozen=True)
class Gap:
    """A gauge: by how much one part's moment comes before another's, ms."""

    first: PeakTime | StartTime
    second: PeakTime | StartTime

    def __call__(self, movement: Movement) -> float:
        return self.first(movement) - self.second(movement)

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return self.second.when(movement)

    @property
    def definition(self) -> str:
        one, other = self.first.definition, self.second.definition
        return f"By how much one comes before the other, ms. First: {one} Second: {other}"


def hand_path_angle(movement: Movement) -> float:
    """Low to high: slope of the hitting hand's mean velocity over the last 100 ms before contact, degrees.

    Over the ground, whatever the direction along it; positive when the hand rises.
    """
    return path_angle(movement.times, movement.hand, -LAST, 0.0)


@dataclass(frozen=True)
class SpeedKept:
    """A gauge: the hand's speed at contact over its largest in the forward swing."""

    wound: str = WOUND

    def __call__(self, movement: Movement) -> float:
        return (
            float(movement.at("contact", movement.series(hand_speed)))
            / _peak(movement, hand_speed, self.wound)[1]
        )

    @property
    def definition(self) -> str:
        return f"{self.__doc__} 1 where it does not slow into the ball."


def com_speed(movement: Movement) -> Array:
    """Speed of the centre of mass towards the target, statures/s."""
    return movement.rate(movement.com[:, 0])


@dataclass(frozen=True)
class Smoothness:
    """A gauge: log dimensionless jerk of the hitting hand's path from the forward swing's start to the finish.

    Nearer to 0 is smoother (Balasubramanian et al. 2012, 2015: see ``kinematics.log_dimensionless_jerk``).
    """

    start: str = "forward_start"

    def __call__(self, movement: Movement) -> float:
        start, stop = movement.when(self.start), movement.when("end_of_follow_through")
        inside = (movement.times >= start) & (movement.times <= stop)
        return log_dimensionless_jerk(movement.times[inside], movement.hand[inside])
