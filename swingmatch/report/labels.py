"""Plain words for keys: quantities, phases, joints and units."""

from __future__ import annotations

import math

_EVENT_WORDS = {
    "ready": "ready",
    "turn_start": "start of turn",
    "hands_apart": "hands apart",
    "end_of_take_back": "end of take-back",
    "lowest_hand": "lowest hand",
    "forward_start": "start of forward swing",
    "contact": "contact",
    "end_of_follow_through": "end of follow-through",
    "recovery": "recovered",
}


def sentence_case(text: str) -> str:
    """First letter upper, the rest as it is."""
    return text[:1].upper() + text[1:]


def quantity_label(key: str) -> str:
    """Label of a quantity, sentence case; an unknown key gives its own words."""
    try:
        from swingmatch.findings.quantities import QUANTITIES
    except ImportError:
        return sentence_case(key.replace("_", " "))
    known = QUANTITIES.get(key)
    return sentence_case(known.label if known is not None else key.replace("_", " "))


def quantity_joint(key: str) -> str | None:
    """Keypoint at which a quantity is best seen, or None."""
    try:
        from swingmatch.findings.quantities import QUANTITIES
    except ImportError:
        return None
    known = QUANTITIES.get(key)
    return None if known is None else known.joint


def moment_label(name: str) -> str:
    """Words for a phase or an event, lower case."""
    return _EVENT_WORDS.get(name, name.replace("_", " "))


def joint_label(keypoint: str) -> str:
    """Words for a keypoint, sentence case."""
    return sentence_case(keypoint.replace("_", " "))


def number(value: float, unit: str, *, signed: bool = False) -> str:
    """A value with its unit, rounded to what a coach can use; a true minus sign."""
    if not math.isfinite(value):
        return "unknown"
    digits = 0 if unit in ("deg", "ms") else 2
    rounded = round(value, digits) + 0.0
    text = f"{abs(rounded):.{digits}f}"
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    tail = {"deg": "°", "ms": " ms"}.get(unit, f" {unit}")
    return f"{sign}{text}{tail}"


def milliseconds(seconds: float) -> str:
    """A time from contact as words: "120 ms before contact"."""
    ms = round(seconds * 1000)
    if ms == 0:
        return "at contact"
    return f"{abs(ms)} ms {'before' if ms < 0 else 'after'} contact"
