"""``BackhandStyle``: how a made-up player hits a backhand, with one hand or two; random styles; faults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from swingmatch.synth.style import TEMPO, GroundstrokeStyle

Hands = Literal[1, 2]


@dataclass(frozen=True)
class BackhandStyle(GroundstrokeStyle):
    """Parameters of a backhand, seen with the ball on the player's right: a right-hander's is mirrored in the end.

    What ``GroundstrokeStyle`` says of the hitting arm holds for the front one (of two hands, the one at the butt), so
    ``take_back_reach`` is counted across the chest. ``apart_lead`` is only the half of the way back; the hands do not
    part there. Defaults are a sound two-handed backhand; ``ONE_HANDED`` is the other. Values without a row id are
    *common practice, no source*.

    Attributes
    ----------
    release_lead : seconds before contact at which the off hand begins to let go; of one hand only.
    off_arm_span : 1 the off arm stays stretched back after letting go .. 0 it hangs; of one hand only.
    wrist_contact : extension of the front wrist at contact (B15: 23). ``wrist_lag`` is its extension before.
    """

    stance: float = 72.0
    base_width: float = 1.5
    step_out: float = 0.13
    knee_outside: float = 50.0
    knee_inside: float = 34.0
    weight_contact: float = 0.66
    shoulder_turn: float = 85.0
    hip_turn: float = 66.0
    shoulder_contact: float = 12.0
    hip_contact: float = 18.5
    take_back_height: float = 0.66
    take_back_reach: float = 58.0
    loop: float = 0.06
    elbow_take_back: float = 28.0
    elbow_contact: float = 24.0
    drop_height: float = 0.20
    racket_drop: float = 20.0
    face_drop: float = 62.0
    face: float = 84.0
    path: float = 17.0
    racket_aim: float = 89.0
    contact_front: float = 0.68
    finish_height: float = 1.15
    lean: float = 7.0
    side_lean: float = 5.0
    wrist_lag: float = 0.0
    racket_rate: float = 1800.0
    release_lead: float = 0.315
    wrist_contact: float = 8.0


TWO_HANDED = BackhandStyle()
ONE_HANDED = BackhandStyle(
    stance=95.0,
    base_width=1.5,
    knee_outside=46.0,
    knee_inside=34.0,
    weight_contact=0.74,
    shoulder_turn=119.0,
    hip_turn=89.0,
    shoulder_contact=80.0,
    hip_contact=69.0,
    trunk_peak=0.09,
    take_back_height=0.80,
    take_back_reach=46.0,
    loop=0.12,
    elbow_take_back=45.0,
    elbow_contact=22.0,
    drop_height=0.20,
    racket_drop=24.0,
    racket_contact=18.0,
    racket_aim=94.0,
    contact_front=1.0,
    contact_height=0.16,
    finish_height=1.45,
    lean=9.0,
    side_lean=-3.0,
    wrist_lag=-8.0,
    wrist_contact=34.0,
    racket_rate=1520.0,
    forward_time=0.10,
    back_foot_round=0.0,
)
SOUND: Mapping[Hands, BackhandStyle] = {1: ONE_HANDED, 2: TWO_HANDED}

#: How far a sound player's parameters lie from ``SOUND`` at most; own judgement, *common practice, no source*.
_SPREAD: Mapping[str, float] = {
    "base_width": 0.15,
    "knee_outside": 8.0,
    "knee_inside": 6.0,
    "shoulder_turn": 9.0,
    "hip_turn": 8.0,
    "shoulder_contact": 5.0,
    "hip_contact": 5.0,
    "hip_lead": 6.0,
    "take_back_height": 0.14,
    "take_back_reach": 5.0,
    "loop": 0.05,
    "elbow_take_back": 9.0,
    "racket_drop": 8.0,
    "face_drop": 7.0,
    "face": 3.5,
    "path": 6.0,
    "racket_aim": 3.0,
    "contact_height": 0.14,
    "finish_height": 0.08,
    "lean": 3.0,
    "racket_rate": 110.0,
    "off_arm_span": 0.1,
}
#: The same, where the two kinds differ.
_SPREAD_OF: Mapping[Hands, Mapping[str, float]] = {
    1: {"stance": 11.0, "contact_front": 0.08, "elbow_contact": 4.0, "wrist_contact": 10.0},
    2: {"stance": 24.0, "contact_front": 0.10, "elbow_contact": 8.0, "wrist_contact": 6.0},
}


def random_backhand_style(rng: np.random.Generator, hands: Hands) -> BackhandStyle:
    """A sound backhand drawn about ``SOUND`` of that many hands, each parameter evenly within its spread."""
    sound = SOUND[hands]
    drawn = {
        name: getattr(sound, name) + most * float(rng.uniform(-1.0, 1.0))
        for name, most in {**_SPREAD, **_SPREAD_OF[hands]}.items()
    }
    tempo = float(rng.uniform(0.88, 1.15))
    drawn |= {name: getattr(sound, name) * tempo for name in TEMPO if name != "slot_lead"}
    return replace(sound, **drawn)


@dataclass(frozen=True)
class BackhandFault:
    """A fault in plain words and what it does to a style, at a size from 0 (nothing) to 1 (gross)."""

    words: str
    apply: Callable[[BackhandStyle, float], BackhandStyle]


def _late(style: BackhandStyle, size: float) -> BackhandStyle:
    return replace(style, contact_front=style.contact_front - 0.45 * size)


def _straight(style: BackhandStyle, size: float) -> BackhandStyle:
    ends = {"knee_outside": 17.0, "knee_inside": 12.0, "knee_ready": 16.0, "weight_load": 0.5}
    return replace(
        style, **{n: getattr(style, n) + size * (end - getattr(style, n)) for n, end in ends.items()}
    )


def _short(style: BackhandStyle, size: float) -> BackhandStyle:
    shoulders, hips = 0.5 * size * style.shoulder_turn, 0.45 * size * style.hip_turn
    # Who turns back little is no further round at contact than others, but cannot be further back than at the turn.
    return replace(
        style,
        shoulder_turn=style.shoulder_turn - shoulders,
        hip_turn=style.hip_turn - hips,
        shoulder_contact=min(style.shoulder_contact, style.shoulder_turn - shoulders - 8.0),
        hip_contact=min(style.hip_contact, style.hip_turn - hips - 6.0),
        # The hand goes back later when the body does not take it, and the off hand stays on as long.
        release_lead=style.release_lead - 0.06 * size,
    )


FAULTS: Mapping[str, BackhandFault] = {
    "late_contact": BackhandFault(
        "The ball is met too far back, beside the body instead of in front.", _late
    ),
    "straight_legs": BackhandFault(
        "The legs stay almost straight; there is no load to drive from.", _straight
    ),
    "short_turn": BackhandFault("The shoulders hardly turn; the arms take the racket back alone.", _short),
}


def apply_faults(style: BackhandStyle, faults: Mapping[str, float]) -> BackhandStyle:
    """A style with faults planted, in the order given.

    Raises
    ------
    ValueError : for an unknown fault, or a size outside 0..1.
    """
    for name, size in faults.items():
        if name not in FAULTS:
            raise ValueError(f"unknown fault {name!r}, expected one of {', '.join(FAULTS)}")
        if not 0.0 <= size <= 1.0:
            raise ValueError(f"fault {name!r} has size {size}, expected 0 to 1")
        style = FAULTS[name].apply(style, size)
    return style
