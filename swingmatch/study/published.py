"""Published values of forehands, backhands and serves, and how each is taken from a recorded stroke.

The values are those of the rows A and B of the check values, mean and standard deviation of each group. Angles are in
degrees, times in seconds from contact, turns positive turned back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import middle
from swingmatch.stroke import isb
from swingmatch.stroke import kinematics as kin
from swingmatch.stroke import measures as m
from swingmatch.study.captured import Stroke

Array = NDArray[np.float64]

#: Half-width of a band where a source gives a mean alone: share of the mean, and no less than this many seconds
#: (twice the largest SD of a peak's time in row A1).
_NO_SD, _NO_SD_TIME = 0.25, 0.024
#: How well the target is known, degrees.
_TARGET = 15.0

# What is taken of a stroke --------------------------------------------------------------------------------

Value = Callable[[Stroke], float]


def _rates(s: Stroke) -> dict[str, Array]:
    """(T,) forward turn velocities of pelvis and trunk, degrees a second."""
    return {"hips": -kin.turn_rate(s.times, s.hips), "shoulders": -kin.turn_rate(s.times, s.shoulders)}


def _peak_turn(part: str, start: float = -0.35, stop: float = 0.10) -> Value:
    return lambda s: s.peak(_rates(s)[part], start, stop)[0]


def _peak_speed(part: str) -> Value:
    return lambda s: s.peak(s.speed(part), -0.25, 0.10)[0]


def _forward_turn(part: str) -> Value:
    """Turn from the start of the forward swing to contact, degrees."""
    return lambda s: s.at(getattr(s, part), s.forward_start) - s.at(getattr(s, part))


def _separation(s: Stroke) -> Array:
    return s.shoulders - s.hips


def _internal_rate(s: Stroke) -> Array:
    """(T,) internal rotation velocity of the upper arm in its thorax, degrees a second (YXY); NaN where unknown."""
    angles = np.unwrap(np.nan_to_num(isb.shoulder_angles(s.points, s.hitting)[:, 2]), period=360.0)
    known = np.isfinite(isb.shoulder_angles(s.points, s.hitting)[:, 2])
    return kin.turn_rate(s.times, np.where(known, angles, np.nan))


def _flexion(joint: str) -> Callable[[Stroke], Array]:
    if joint == "elbow":
        return lambda s: isb.elbow_flexion(s.points, s.hitting)
    return lambda s: isb.knee_flexion(s.points, "left")


def _elbow_extension(s: Stroke) -> Array:
    return -np.gradient(_flexion("elbow")(s), s.times)


def _inclination(s: Stroke) -> Array:
    """(T,) angle of the trunk from the vertical, degrees."""
    trunk = middle(s.points, "shoulder") - middle(s.points, "hip")
    return m.angle_between(trunk, np.broadcast_to([0.0, 1.0, 0.0], trunk.shape))


def _elevation(s: Stroke) -> Array:
    return isb.shoulder_angles(s.points, s.hitting)[:, 1]


def _external(s: Stroke) -> Array:
    """(T,) external rotation of the upper arm in its thorax, YXY, degrees."""
    return -isb.shoulder_angles(s.points, s.hitting)[:, 2]


def _most_external(s: Stroke) -> tuple[float, float]:
    return s.peak(_external(s), -0.4, 0.0)


def _loaded(s: Stroke) -> float:
    """The front knee is deepest bent, 1.2 to 0.1 s before contact."""
    return s.peak(_flexion("knee")(s), -1.2, -0.1)[0]


def _first_before(*parts: Value) -> Value:
    """1 where the moments come in this order, else 0."""
    return lambda s: float(np.all(np.diff([part(s) for part in parts]) > 0.0))


# Rows ------


@dataclass(frozen=True)
class Row:
    """One published value and how it is taken here.

    Attributes
    ----------
    ids : rows of the check values. kind : of ``Stroke``. what : in words. unit : of all values.
    of : the value of one stroke. published : (mean, SD or None) of each group. sample : who the groups are.
    note : what differs from the source's definition. turned : whether it depends on the target's direction.
    share : whether it is the share of strokes that have an order which all groups show; plausible from a half on.
    """

    ids: str
    kind: str
    what: str
    unit: str
    of: Value
    published: tuple[tuple[float, float | None], ...]
    sample: str
    note: str = ""
    turned: bool = False
    share: bool = False

    @property
    def band(self) -> tuple[float, float]:
        """Lowest and highest plausible mean, by the rule in the module's docstring."""
        if self.share:
            return 0.5, 1.0
        edges = []
        for mean, sd in self.published:
            least = _NO_SD_TIME if self.unit == "s" else 0.0
            half = 2.0 * sd if sd is not None else max(_NO_SD * abs(mean), least)
            edges += [mean - half, mean + half]
        more = _TARGET if self.turned else 0.0
        return min(edges) - more, max(edges) + more


_L10 = "6 ATP, 7 high-performance men (Landlinger et al. 2010)"
_RE02 = "18 college men (Reid & Elliott 2002)"
_G15 = "9 coaches, 14 + 5 college men, 5 college women (Genevois et al. 2015, table 2)"
_F03 = "20 Olympic players (Fleisig et al. 2003)"
_JG24 = "review of 27 studies (Jacquier-Bret & Gorce 2024)"
_TWO, _ONE = "two-handed backhand", "one-handed backhand"

ROWS: tuple[Row, ...] = (
    Row(
        "A1",
        "forehand",
        "peak pelvis turn velocity",
        "s",
        _peak_turn("hips"),
        ((-0.075, 0.008), (-0.093, 0.012)),
        _L10,
    ),
    Row(
        "A2",
        "forehand",
        "peak trunk turn velocity",
        "s",
        _peak_turn("shoulders"),
        ((-0.057, 0.004), (-0.075, 0.011)),
        _L10,
    ),
    Row(
        "A3",
        "forehand",
        "lag of the trunk's peak behind the pelvis's",
        "s",
        lambda s: _peak_turn("shoulders")(s) - _peak_turn("hips")(s),
        ((0.018, None),),
        _L10,
        "does not stand on contact",
    ),
    Row(
        "A3 order",
        "forehand",
        "share of strokes: pelvis peak before trunk peak",
        "",
        _first_before(_peak_turn("hips"), _peak_turn("shoulders")),
        ((1.0, None),),
        _L10,
        share=True,
    ),
    Row(
        "A5",
        "forehand",
        "peak horizontal speed of the hitting shoulder",
        "m/s",
        lambda s: s.peak(s.speed("shoulder", level=True), -0.35, 0.10)[1],
        ((3.0, 0.4), (2.5, 0.4)),
        _L10,
    ),
    Row(
        "A6",
        "forehand",
        "pelvis turn velocity at contact",
        "deg/s",
        lambda s: s.at(_rates(s)["hips"]),
        ((295.0, None), (168.0, None)),
        _L10,
    ),
    Row(
        "A7",
        "forehand",
        "trunk turn velocity at contact",
        "deg/s",
        lambda s: s.at(_rates(s)["shoulders"]),
        ((453.0, None), (292.0, None)),
        _L10,
    ),
    Row(
        "A8",
        "forehand",
        "speed of the hitting shoulder at contact",
        "m/s",
        lambda s: s.at(s.speed("shoulder")),
        ((2.0, None), (1.2, None)),
        _L10,
    ),
    Row(
        "A10",
        "forehand",
        "start of the forward swing",
        "s",
        lambda s: s.take_back,
        ((-0.324, 0.086), (-0.326, 0.064)),
        _L10,
        "hand farthest back; in the source the racket's, with the drop",
    ),
    Row(
        "A11",
        "forehand",
        "hips turned back farthest",
        "s",
        lambda s: s.peak(s.hips, -0.9, 0.0)[0],
        ((-0.243, 0.068), (-0.236, 0.039)),
        _L10,
    ),
    Row(
        "A12",
        "forehand",
        "largest hip-shoulder separation, when",
        "s",
        lambda s: s.peak(_separation(s), -0.6, 0.0)[0],
        ((-0.168, 0.077), (-0.148, 0.019)),
        _L10,
    ),
    Row(
        "A13",
        "forehand",
        "largest hip-shoulder separation",
        "deg",
        lambda s: s.peak(_separation(s), -0.6, 0.0)[1],
        ((27.0, None), (33.0, None)),
        _L10,
    ),
    Row(
        "A16",
        "forehand",
        "peak speed of the hitting shoulder, when",
        "s",
        _peak_speed("shoulder"),
        ((-0.045, None), (-0.060, None)),
        _L10,
    ),
    Row(
        "A16",
        "forehand",
        "peak speed of the elbow, when",
        "s",
        _peak_speed("elbow"),
        ((-0.039, None), (-0.040, None)),
        _L10,
    ),
    Row(
        "A16",
        "forehand",
        "lag of the wrist's peak behind the elbow's",
        "s",
        lambda s: _peak_speed("wrist")(s) - _peak_speed("elbow")(s),
        ((0.002, None), (0.000, None)),
        _L10,
        "does not stand on contact",
    ),
    Row(
        "A1, A2, A16",
        "forehand",
        "lag of the wrist's peak behind the trunk's",
        "s",
        lambda s: _peak_speed("wrist")(s) - _peak_turn("shoulders")(s),
        ((0.020, None), (0.035, None)),
        _L10,
        "does not stand on contact",
    ),
    Row(
        "A1, A2, A16 order",
        "forehand",
        "share of strokes: pelvis, trunk, wrist in order",
        "",
        _first_before(_peak_turn("hips"), _peak_turn("shoulders"), _peak_speed("wrist")),
        ((1.0, None),),
        _L10,
        share=True,
    ),
    Row(
        "A18",
        "forehand",
        "peak internal rotation velocity of the upper arm",
        "s",
        lambda s: s.peak(_internal_rate(s), -0.10, 0.15)[0],
        ((0.024, 0.011), (0.024, 0.013)),
        _L10,
        "after contact; YXY here, the source's convention not seen",
    ),
    Row(
        "A24",
        "forehand",
        "peak elbow angular velocity before contact",
        "s",
        lambda s: s.peak(np.abs(_elbow_extension(s)), -0.25, 0.0)[0],
        ((-0.06, None),),
        "Elliott et al. 1989",
    ),
    *(
        row
        for kind, i in ((_ONE, 0), (_TWO, 1))
        for row in (
            Row(
                "B1",
                kind,
                "shoulder line at the end of the take-back",
                "deg",
                lambda s: s.at(s.shoulders, s.take_back),
                (((119.1, None), (83.4, None))[i],),
                _RE02,
                "0 = parallel to the baseline",
                True,
            ),
            Row(
                "B6",
                kind,
                "hip line at the end of the take-back",
                "deg",
                lambda s: s.at(s.hips, s.take_back),
                (((88.0, None), (90.0, None)), ((58.0, None), (69.0, None)))[i],
                _RE02,
                "",
                True,
            ),
            Row(
                "B7, B10, B11, B12",
                kind,
                "shoulder turn, forward swing to contact",
                "deg",
                _forward_turn("shoulders"),
                (
                    ((30.1, 10.6), (51.0, 16.0), (59.0, 27.0), (51.4, None), (50.3, None)),
                    ((71.1, 13.8), (85.0, 12.0), (85.0, 13.0), (65.3, None), (64.0, None)),
                )[i],
                _G15,
                "start from the hand, not the racket",
            ),
            Row(
                "B8, B9, B10, B11, B13",
                kind,
                "hip turn, forward swing to contact",
                "deg",
                _forward_turn("hips"),
                (
                    ((19.0, 6.9), (31.4, 8.3), (26.0, 22.0), (33.0, 24.0), (35.9, None), (30.1, None)),
                    ((47.4, 10.3), (54.4, 9.0), (59.0, 12.0), (43.0, 14.0), (36.1, None), (36.6, None)),
                )[i],
                _G15,
                "start from the hand, not the racket",
            ),
            Row(
                "B14",
                kind,
                "hip-shoulder separation at contact",
                "deg",
                lambda s: s.at(_separation(s)),
                (((9.3, 7.3), (-6.5, 4.3))[i],),
                "9 coaches (Stępień et al. 2011)",
                "positive = shoulders turned back more",
            ),
        )
    ),
    Row(
        "B21",
        "serve",
        "elbow flexion, arm cocked",
        "deg",
        lambda s: s.at(_flexion("elbow")(s), _most_external(s)[0]),
        ((104.0, None),),
        _F03,
        "cocked = most external rotation (YXY)",
    ),
    Row(
        "B22",
        "serve",
        "arm abduction at contact",
        "deg",
        lambda s: s.at(_elevation(s)),
        ((101.0, None),),
        _F03,
        "elevation of YXY, whatever the plane",
    ),
    Row(
        "B23",
        "serve",
        "trunk above the horizontal at contact",
        "deg",
        lambda s: 90.0 - s.at(_inclination(s)),
        ((48.0, None),),
        _F03,
    ),
    Row(
        "B24",
        "serve",
        "peak upper-torso velocity",
        "deg/s",
        lambda s: s.peak(s.spin(isb.thorax(s.points)), -0.3, 0.05)[1],
        ((870.0, None),),
        _F03,
        "about the trunk's own axis",
    ),
    Row(
        "B24",
        "serve",
        "peak pelvis velocity",
        "deg/s",
        lambda s: s.peak(s.spin(isb.pelvis(s.points)), -0.4, 0.05)[1],
        ((440.0, None),),
        _F03,
        "about the trunk's own axis",
    ),
    Row(
        "B24",
        "serve",
        "peak elbow extension velocity",
        "deg/s",
        lambda s: s.peak(_elbow_extension(s), -0.25, 0.05)[1],
        ((1510.0, None),),
        _F03,
        "12 Hz filter lowers it",
    ),
    Row(
        "B27",
        "serve",
        "peak upper-torso velocity, when",
        "s",
        lambda s: s.peak(s.spin(isb.thorax(s.points)), -0.3, 0.05)[0],
        ((-0.058, None), (-0.075, None)),
        _F03,
    ),
    Row(
        "B28, B31",
        "serve",
        "elbow flexion at contact",
        "deg",
        lambda s: s.at(_flexion("elbow")(s)),
        ((20.0, None), (30.1, 15.9)),
        f"{_F03}; {_JG24}",
    ),
    Row(
        "B28",
        "serve",
        "front-knee flexion at contact",
        "deg",
        lambda s: s.at(_flexion("knee")(s)),
        ((24.0, None),),
        _F03,
    ),
    Row(
        "B29",
        "serve",
        "front-knee flexion, loaded",
        "deg",
        lambda s: s.at(_flexion("knee")(s), _loaded(s)),
        ((64.5, 9.7),),
        _JG24,
        "loaded = front knee deepest bent",
    ),
    Row(
        "B29",
        "serve",
        "trunk inclination, loaded",
        "deg",
        lambda s: s.at(_inclination(s), _loaded(s)),
        ((25.0, 7.1),),
        _JG24,
        "from the vertical",
    ),
    Row(
        "B31, B33",
        "serve",
        "shoulder elevation at contact",
        "deg",
        lambda s: s.at(_elevation(s)),
        ((110.7, 16.9), (108.9, 14.1)),
        f"{_JG24}; able-bodied professionals (Reid et al. 2007)",
        "YXY",
    ),
    Row(
        "B32",
        "serve",
        "most external rotation",
        "deg",
        lambda s: _most_external(s)[1],
        ((115.9, 18.3), (119.0, 18.3)),
        "able-bodied professionals (Reid et al. 2007)",
        "YXY as in the source; not the 172 of B20, whose convention is another",
    ),
)
