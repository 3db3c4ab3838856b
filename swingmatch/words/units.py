"""Sizes that a player can see: hand widths, shoulder widths, a clock; rounded by how sure they are.

One body's parts stand for another's: a hand is taken to be 0.05 statures wide (8.8 cm at 1.76 m, *from memory* of
military anthropometry), an arm to the knuckles 0.386, hip to shoulder 0.288 and a leg 0.53 statures (segment lengths of
Drillis and Contini as tabled by Winter). To speak of hand widths is *common practice, no source*.
"""

from __future__ import annotations

import math

from swingmatch.words.language import _, decimal, ngettext

_HAND = 0.05
#: Hand widths in one of a unit.
HANDS: dict[str, float] = {
    "arm lengths": 0.386 / _HAND,
    "hip-to-shoulder": 0.288 / _HAND,
    "leg lengths": 0.53 / _HAND,
    "statures": 1.0 / _HAND,
}
#: Steps to which figures are rounded, finest first: the widest that is no wider than the doubt is taken.
_STEPS: dict[str, tuple[float, ...]] = {
    "deg": (1.0, 5.0, 10.0),
    "deg/s": (10.0, 50.0, 100.0),
    "ms": (10.0, 20.0, 50.0),
    "statures/s": (0.1, 0.2, 0.5),
    "": (0.01, 0.05, 0.1),
}
_LENGTH = (0.01, 0.05, 0.1)
#: Beyond so many hand widths a count is no longer pictured; arm lengths are said.
_MOST_HANDS = 8


def step_of(unit: str, doubt: float) -> float:
    """The step to which a figure is rounded that is in doubt by ``doubt`` (standard deviation, in ``unit``)."""
    steps = _STEPS.get(unit, _LENGTH)
    return max((step for step in steps if step <= doubt), default=steps[0])


def figure(value: float, unit: str, doubt: float, *, bare: bool = False) -> str:
    """A value with its unit, no finer than it is known; ``bare`` leaves out the unit's words, not the degree sign."""
    if not math.isfinite(value):
        return _("unknown")
    step = step_of(unit, doubt)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    text = decimal(step * round(value / step), digits)
    if unit in ("deg", "deg/s"):
        return text + ("°" if unit == "deg" else "" if bare else "°/s")
    return text if bare or not unit else f"{text} {unit_words(unit)}"


def unit_words(unit: str) -> str:
    """The words of a unit."""
    known = {
        "arm lengths": _("arm lengths"),
        "shoulder widths": _("shoulder widths"),
        "hip-to-shoulder": _("of the way from hip to shoulder"),
        "leg lengths": _("leg lengths"),
        "statures": _("body heights"),
        "statures/s": _("body heights a second"),
        "ms": "ms",
    }
    return known.get(unit, unit)


def size(value: float, unit: str, doubt: float, floor: float) -> str:
    """How large a difference is, as a player sees it: "about 2 hand widths"; how clear where the unit is no picture.

    ``value``, ``doubt`` (standard deviation) and ``floor`` (smallest that matters) in ``unit``; the sign is left to
    the words around.
    """
    if unit in HANDS:
        return _hands(abs(value) * HANDS[unit], doubt * HANDS[unit])
    if unit == "shoulder widths":
        return _shoulders(abs(value))
    if unit == "ms":
        return _seconds(abs(value), doubt)
    share = abs(value) / floor if floor > 0 else 1.0
    if share < 1.5:
        return _("a little")
    return _("clearly") if share < 3.0 else _("much")


def _hands(count: float, doubt: float) -> str:
    if count > _MOST_HANDS:
        return _("about {number} arm lengths").format(number=decimal(count / HANDS["arm lengths"], 1))
    if count < 0.35:
        return _("a finger's width")
    if count < 0.75:
        return _("about half a hand width")
    if count < 1.25:
        return _("about one hand width")
    if count < 1.75 and doubt < 0.5:
        return _("about one and a half hand widths")
    whole = max(2, round(count)) if count >= 1.75 else round(count + 1e-9)
    return ngettext("about {number} hand width", "about {number} hand widths", whole).format(number=whole)


def _shoulders(count: float) -> str:
    quarters = max(1, round(4 * count))
    known = {
        1: _("about a quarter of a shoulder width"),
        2: _("about half a shoulder width"),
        3: _("about three quarters of a shoulder width"),
        4: _("about one shoulder width"),
    }
    return known.get(quarters) or _("about {number} shoulder widths").format(number=decimal(quarters / 4, 1))


def _seconds(ms: float, doubt: float) -> str:
    if ms < 75.0 and doubt >= 20.0:
        return _("less than a tenth of a second")
    if 75.0 <= ms < 125.0:
        return _("about a tenth of a second")
    return _("about {number} s").format(
        number=decimal(0.01 * 5 * round(ms / 50.0) if ms >= 125 else ms / 1000.0, 2)
    )


def clock(degrees: float) -> str:
    """A direction as on a clock face, 0 degrees up at twelve and clockwise positive, to the half hour."""
    half = round((degrees % 360.0) / 15.0) % 24
    hour = half // 2 or 12
    if half % 2:
        return _("half past {hour} on the clock").format(hour=hour)
    return _("{hour} o'clock").format(hour=hour)


def moment(seconds: float) -> str:
    """A time from contact: "0.28 s before contact"."""
    rounded = round(seconds, 2)
    if abs(rounded) < 0.005:
        return _("at contact")
    number = decimal(abs(rounded), 2)
    before, after = _("{number} s before contact"), _("{number} s after contact")
    return (before if rounded < 0 else after).format(number=number)
