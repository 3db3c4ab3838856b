"""The forward swing: which part starts and peaks when, how fast, and the hand's way to the ball."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from swingmatch.series import resample
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]

#: A part's forward movement has begun when this share of the rise of its speed is done.
BEGUN = 0.10
_TINY = 1e-9
#: The event at which the body is wound up, in a groundstroke.
WOUND = "end_of_take_back"
#: What is looked at before contact at most, and after it (a part may be fastest a little after), s.
_LONGEST, _AFTER = 0.6, 0.06
#: The hand's way to the ball is its mean over this long before contact, s.
LAST = 0.1


def hip_speed(movement: Movement) -> Array:
    """Speed at which the hip line turns forward about the vertical, degrees/s."""
    return -movement.rate(movement.hip_turn)


def shoulder_speed(movement: Movement) -> Array:
    """Speed at which the shoulder line turns forward about the vertical, degrees/s."""
    return -movement.rate(movement.shoulder_turn)


def _segment_speed(movement: Movement, start: str, end: str) -> Array:
    """(T,) speed at which the segment from joint ``start`` to ``end`` changes its direction in space, degrees/s."""
    vector = movement.joint(end) - movement.joint(start)
    unit = vector / np.linalg.norm(vector, axis=1)[:, None]
    return np.degrees(np.linalg.norm(np.cross(unit, movement.rate(unit)), axis=1))


def upper_arm_speed(movement: Movement) -> Array:
    """Speed at which the hitting upper arm changes its direction in space, degrees/s."""
    return _segment_speed(movement, "hitting_shoulder", "hitting_elbow")


def forearm_speed(movement: Movement) -> Array:
    """Speed at which the hitting forearm changes its direction in space, degrees/s."""
    return _segment_speed(movement, "hitting_elbow", "hitting_wrist")


def hand_speed(movement: Movement) -> Array:
    """Speed of the hitting hand, statures/s."""
    return np.linalg.norm(movement.rate(movement.hand), axis=1)


Speed = Callable[[Movement], Array]


def _window(movement: Movement, wound: str) -> tuple[float, float]:
    """Seconds from contact in which the forward swing of every part lies: from a little before the event ``wound``."""
    start = max(movement.when(wound) - 0.1, -_LONGEST, float(movement.times[0]))
    return start, min(_AFTER, float(movement.times[-1]))


def _peak(movement: Movement, speed: Speed, wound: str) -> tuple[float, float]:
    """Seconds from contact and size of a part's fastest moment in the forward swing."""
    at, values = movement.over(*_window(movement, wound), speed(movement))
    if not np.isfinite(values).all() or len(values) < 3:
        return float("nan"), float("nan")
    k = int(np.argmax(values))
    if not 0 < k < len(values) - 2:
        return float(at[k]), float(values[k])
    # Between pictures the series is a straight line; a parabola through the pictures' own values finds the top.
    near = np.argsort(np.abs(movement.times - at[k]))[:3]
    x, y = movement.times[near] - at[k], resample(speed(movement), movement.times, movement.times[near])
    a, b, c = np.polyfit(x, y, 2)
    if a >= 0.0 or abs(b / (2.0 * a)) > np.ptp(x):
        return float(at[k]), float(values[k])
    return float(at[k] - b / (2.0 * a)), float(c - b * b / (4.0 * a))


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
        time, size = _peak(movement, self.speed, self.wound)
        at, values = movement.over(_window(movement, self.wound)[0], time, self.speed(movement))
        if not np.isfinite(values).any():
            return float("nan")
        # The arm still moves as the take-back ends, so the rise is counted from its slowest moment.
        slowest = max(float(np.nanmin(values)), 0.0)
        slow = np.flatnonzero(values < slowest + BEGUN * (size - slowest) + _TINY)
        return -1000.0 * float(at[slow[-1]])

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
    """Low to high: slope of the hitting hand's way over the last 100 ms before contact, degrees over the horizontal.

    From where the hand was 100 ms before to where it is at contact; positive when it rises.
    """
    way = movement.at("contact", movement.hand) - movement.at_time(-LAST, movement.hand)
    return float(np.degrees(np.arctan2(way[1], np.hypot(way[0], way[2]))))


@dataclass(frozen=True)
class SpeedKept:
    """A gauge: the hand's speed at contact over its largest in the forward swing."""

    wound: str = WOUND

    def __call__(self, movement: Movement) -> float:
        return (
            float(movement.at("contact", hand_speed(movement))) / _peak(movement, hand_speed, self.wound)[1]
        )

    @property
    def definition(self) -> str:
        return f"{self.__doc__} 1 where it does not slow into the ball."


def com_speed(movement: Movement) -> Array:
    """Speed of the centre of mass towards the target, statures/s."""
    return movement.rate(movement.com[:, 0])


@dataclass(frozen=True)
class Smoothness:
    """A gauge: log dimensionless jerk of the hitting hand, from the forward swing's start to the finish.

    -ln(D^3 / v^2 * integral of |d^2 v / dt^2|^2) with duration D, peak speed v and the velocity's second
    derivative: nearer to zero is smoother (Balasubramanian, Melendez-Calderon, Burdet 2012,
    doi 10.1109/TBME.2011.2179545; the formula *from memory*).
    """

    start: str = "forward_start"

    def __call__(self, movement: Movement) -> float:
        at, way = movement.over(
            movement.when(self.start), movement.when("end_of_follow_through"), movement.hand
        )
        if len(at) < 10 or not np.isfinite(way).all():
            return float("nan")
        even = np.linspace(at[0], at[-1], len(at))
        way, step = resample(way, at, even), float(even[1] - even[0])
        # Differences of pictures that are joined by straight lines would be all corners.
        window = max(7, 2 * round(0.02 / step) + 1)
        velocity = savgol_filter(way, window, 3, deriv=1, delta=step, axis=0)
        jerk = savgol_filter(way, window, 3, deriv=3, delta=step, axis=0)
        top = float(np.max(np.linalg.norm(velocity, axis=1)))
        return -float(np.log((at[-1] - at[0]) ** 3 / top**2 * np.sum(jerk**2) * step))
