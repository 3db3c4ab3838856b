"""The racket: how it drops, where its face looks, how it goes through the ball and comes over.

Angles of the face are those of the side that strikes the ball, against the ground as in D6 of the check values: 90
stands upright, less is closed (looks down), more is open (looks up).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from swingmatch.stroke.kinematics import peak
from swingmatch.stroke.movement import Movement

Array = NDArray[np.float64]

#: The racket's way to the ball is its mean over this long before contact, s.
LAST = 0.1
#: The head's fastest moment is looked for over this long before contact, s (A10: the forward swing takes 0.32 s).
_SWINGS = 0.35
#: Fewest pictures with the racket over the last tenth of a second, or in the drop, and least share of them.
_FEWEST, _SHARE = 3, 0.5
#: The racket comes over for this long after contact, s.
COMES_OVER = 0.1

#: Between these the face is called neutral in the drop, degrees (*common practice, no source*).
DOWN, OPEN = 75.0, 105.0
#: A face at contact: closed below, open above (A20: 80.4 +- 3.6 with topspin, Kwon et al. 2017; the middle between its
#: upper end and upright, and as far beyond upright: *common practice, no source*).
CLOSED_AT, OPEN_AT = 87.0, 93.0
#: Middles of the grips as the turn of the face against the palm, degrees. A handle has eight sides, so a grip is 45
#: degrees from the next: *common practice, no source*.
GRIPS: tuple[tuple[str, float], ...] = (
    ("continental", -45.0),
    ("eastern", 0.0),
    ("semi-western", 45.0),
    ("western", 90.0),
)
#: How far the palm may look from where one keypoint of the hand says, degrees: the hand also bends towards thumb and
#: little finger (*common practice, no source*).
_PALM_SD = 20.0
#: A wrist that is bent back less than this does not show where the palm looks, degrees.
_BENT = 10.0


def face_angle(movement: Movement) -> Array:
    """Angle of the striking face to the ground: 90 upright, less closed (looks down), more open, degrees (D6)."""
    return 90.0 + np.degrees(np.arcsin(np.clip(movement.face[:, 1], -1.0, 1.0)))


def known(movement: Movement, start: float, stop: float, values: Array) -> tuple[Array, Array]:
    """Seconds (N,) and ``values`` (N, ...) between two moments where they are known; nothing where half are not."""
    at, found = movement.over(start, stop, values)
    fine = np.isfinite(found).all(axis=tuple(range(1, found.ndim)))
    if fine.sum() < _FEWEST or fine.mean() < _SHARE:
        return np.zeros(0), np.zeros((0, *found.shape[1:]))
    return at[fine], found[fine]


def face_in_drop(movement: Movement) -> float:
    """Angle of the striking face to the ground through the drop: 90 upright, less down, more open, degrees (D6).

    The mean from the end of the take-back to the start of the forward swing.
    """
    _, angles = known(
        movement, movement.when("end_of_take_back"), movement.when("forward_start"), face_angle(movement)
    )
    return float(np.mean(angles)) if len(angles) else float("nan")


def butt_to_ball(movement: Movement) -> float:
    """Where the butt cap points as the forward swing starts, seen from above, degrees.

    Against the line from the butt to where the ball will be met: 0 at that place, positive past it to the ball's side.
    """
    start = movement.when("forward_start")
    if movement.racket is None:
        return float("nan")
    there = _at_contact(movement)
    butt = movement.at_time(start, movement.racket[:, 0])
    to_ball, points = there - butt, -movement.at_time(start, movement.shaft)
    turn = np.arctan2(points[2], points[0]) - np.arctan2(to_ball[2], to_ball[0])
    return float(np.degrees(np.arctan2(np.sin(turn), np.cos(turn))))


def _at_contact(movement: Movement) -> Array:
    """(3,) where the ball is met: the place itself where it was seen, else the middle of the strings."""
    return movement.struck if movement.struck is not None else movement.at("contact", movement.strings)


def path_angle(movement: Movement) -> float:
    """Low to high: slope of the string bed's way over the last 100 ms before contact, degrees.

    The angle over the ground of the string-bed centre's mean velocity; positive when it rises.
    """
    at, way = known(movement, -LAST, 0.0, movement.strings)
    if not len(at) or at[-1] - at[0] < 0.5 * LAST:
        return float("nan")
    centred = at - at.mean()
    x, y, z = centred @ (way - way.mean(axis=0))
    return float(np.degrees(np.arctan2(y, np.hypot(x, z))))


def path_at_contact(movement: Movement) -> float:
    """Low to high into the ball: slope of the string-bed centre's velocity just before contact, degrees (D5).

    Over the ground; positive when it rises. From the last pictures before contact alone (E18).
    """
    at, velocity = _before(movement)
    if not len(at) or at[-1] < -_SOON:
        return float("nan")
    x, y, z = velocity[-1]
    return float(np.degrees(np.arctan2(y, np.hypot(x, z))))


#: What is told of the last moment before contact must be seen this soon before it, s: one picture at 25 a second.
_SOON = 0.042


def _before(movement: Movement) -> tuple[Array, Array]:
    """Seconds from contact (N,) and velocity (N, 3) of the strings' centre, from pictures before contact alone."""
    frames = movement.times if movement.frames is None else movement.frames
    earlier = frames[frames <= 1e-9]
    if not len(earlier):
        return np.zeros(0), np.zeros((0, 3))
    inside = (movement.times >= -_SWINGS) & (movement.times <= earlier[-1] + 1e-9)
    at, way = movement.times[inside], movement.strings[inside]
    fine = np.isfinite(way).all(axis=1)
    if fine.sum() < _FEWEST or fine.mean() < _SHARE:
        return np.zeros(0), np.zeros((0, 3))
    # Only from known to known neighbour: a hole is no straight line.
    velocity = np.gradient(way, at, axis=0, edge_order=2)
    fine = np.isfinite(velocity).all(axis=1)
    return at[fine], velocity[fine]


def _fastest(movement: Movement) -> tuple[float, float]:
    """Seconds from contact and size, statures/s, of the head's fastest moment before contact."""
    at, velocity = _before(movement)
    return peak(at, np.linalg.norm(velocity, axis=1)) if len(at) else (float("nan"), float("nan"))


@dataclass(frozen=True)
class HeadSpeed:
    """A gauge: speed of the string-bed centre at its fastest before contact, statures/s.

    From pictures before contact alone: nothing is smoothed across it (E18).
    """

    def __call__(self, movement: Movement) -> float:
        return _fastest(movement)[1]

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return _fastest(movement)[0]


@dataclass(frozen=True)
class HeadPeak:
    """A gauge: when the string-bed centre is fastest, ms before contact; 0 where it still speeds up into the ball.

    From pictures before contact alone: nothing is smoothed across it (E18).
    """

    def __call__(self, movement: Movement) -> float:
        return abs(1000.0 * _fastest(movement)[0])

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        return _fastest(movement)[0]


def pronation(movement: Movement) -> float:
    """Turn of the racket's face about the forearm from contact to 100 ms after it, degrees; positive over the ball.

    What the forearm's own swing carries along is taken off. The body's keypoints do not show the forearm turning about
    itself; the racket does.
    """
    if movement.racket is None:
        return float("nan")
    forearm = _unit(movement.joint("hitting_wrist") - movement.joint("hitting_elbow"))
    first, last = (movement.at_time(t, forearm) for t in (0.0, COMES_OVER))
    before, after = (movement.at_time(t, movement.face) for t in (0.0, COMES_OVER))
    turned = _about(_unit(last), _carried(_unit(first), _unit(last), before), after)
    # Over the ball is towards the palm: about the forearm, elbow to wrist, against the clock for a left arm.
    return turned * (1.0 if movement.hitting == "left" else -1.0)


def _carried(start: Array, stop: Array, what: Array) -> Array:
    """(3,) ``what`` turned by the least turn that brings the unit vector ``start`` on ``stop``."""
    axis = np.cross(start, stop)
    sine, cosine = float(np.linalg.norm(axis)), float(start @ stop)
    if not sine > 1e-12:
        return what
    axis = axis / sine
    return np.asarray(what * cosine + np.cross(axis, what) * sine + axis * (axis @ what) * (1.0 - cosine))


def _about(axis: Array, one: Array, other: Array) -> float:
    """Angle from ``one`` to ``other`` (3,) about the unit vector ``axis``, degrees in -180..180."""
    first, last = (v - (v @ axis) * axis for v in (one, other))
    return float(np.degrees(np.arctan2(np.cross(first, last) @ axis, first @ last)))


def strings_from_com(movement: Movement) -> float:
    """Distance of the string-bed centre from the centre of mass at contact, arm lengths."""
    away = movement.at("contact", movement.strings) - movement.at("contact", movement.com)
    return float(np.linalg.norm(away)) / movement.arm


def struck_along(movement: Movement) -> float:
    """Where the ball meets the strings along the racket: 0 in the middle, 1 at the tip, -1 at the throat."""
    if movement.struck is None or movement.racket is None:
        return float("nan")
    half = movement.at("contact", movement.racket[:, 2]) - movement.at("contact", movement.strings)
    off = movement.struck - movement.at("contact", movement.strings)
    return float(off @ half / (half @ half))


def struck_across(movement: Movement) -> float:
    """Where the ball meets the strings across the racket: 0 in the middle, 1 at the upper edge, -1 at the lower."""
    if movement.struck is None or movement.racket is None:
        return float("nan")
    edges = movement.at("contact", movement.racket[:, 3:5])
    half = 0.5 * (edges[1] - edges[0])
    half = half if half[1] >= 0.0 else -half
    off = movement.struck - movement.at("contact", movement.strings)
    return float(off @ half / (half @ half))


def grip(movement: Movement) -> float:
    """Grip: turn of the striking face about the handle against the palm, degrees, the median of the last 100 ms.

    The palm is taken to look away from where the wrist is bent back to. 0 with the face as the palm (eastern), positive
    with the face closed against it (45 semi-western, 90 western), negative open (-45 continental). One keypoint of the
    hand tells the palm roughly: a suggestion, to be confirmed by the coach.
    """
    if movement.racket is None:
        return float("nan")
    forearm = _unit(movement.joint("hitting_wrist") - movement.joint("hitting_elbow"))
    palm = _unit(movement.hand - movement.joint("hitting_wrist"))
    # Where the hand is bent to, without what is bent along the racket (towards the thumb or the little finger).
    back = palm - forearm
    back = back - (back * movement.shaft).sum(axis=1)[:, None] * movement.shaft
    bent = 2.0 * np.degrees(np.arcsin(np.clip(0.5 * np.linalg.norm(back, axis=1), 0.0, 1.0)))
    looks = np.where((bent > _BENT)[:, None], -_unit(back), np.nan)
    turn = np.degrees(
        np.arctan2(
            (np.cross(looks, movement.face) * movement.shaft).sum(axis=1), (looks * movement.face).sum(axis=1)
        )
    )
    _, turns = known(movement, -LAST, 0.0, turn)
    if not len(turns):
        return float("nan")
    # A turn about the shaft that brings the face down is against the clock for a left arm.
    return float(np.median(turns)) * (-1.0 if movement.hitting == "right" else 1.0)


def _unit(vectors: Array) -> Array:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def drop_word(angle: float) -> str:
    """The trade's word for the face through the drop."""
    return "down" if angle < DOWN else "open" if angle > OPEN else "neutral"


def contact_word(angle: float) -> str:
    """The trade's word for the face at contact."""
    return "closed" if angle < CLOSED_AT else "open" if angle > OPEN_AT else "square"


def grip_odds(angle: float, sd: float) -> dict[str, float]:
    """How likely each grip is, by name, for an angle known to a standard deviation, degrees; they sum to 1.

    Every grip is as likely as any other before one looks, and the nearest middle in ``GRIPS`` is the grip.
    """
    middles = np.array([middle for _, middle in GRIPS])
    edges = np.concatenate([[-np.inf], 0.5 * (middles[1:] + middles[:-1]), [np.inf]])
    share = np.diff(norm.cdf((edges - angle) / np.hypot(sd, _PALM_SD)))
    return {name: float(one) for (name, _), one in zip(GRIPS, share, strict=True)}


def grip_words(angle: float, sd: float) -> str:
    """The grip as a suggestion, with how sure it is: "perhaps eastern (55 %) or semi-western"."""
    (first, share), (second, _), *_ = sorted(grip_odds(angle, sd).items(), key=lambda one: -one[1])
    return f"perhaps {first} ({100.0 * share:.0f} %) or {second}"
