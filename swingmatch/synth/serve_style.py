"""``ServeStyle``: how a made-up player serves, the faults that can be planted in it, and random styles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np


@dataclass(frozen=True)
class ServeStyle:
    """Parameters of a right-hander's serve (a left-hander's is the mirror image).

    Angles in degrees, times in seconds, distances as named. Turns follow D3 (line against the baseline, 0 = square to
    the net, larger = turned further back). Defaults are a sound flat serve of a good player. Values without a row id
    are *common practice, no source*.

    Attributes
    ----------
    stance_width : ankle to ankle in shoulder widths at the start.
    stance : angle of the line from the back to the front foot: 0 along the baseline, 90 towards the target.
    feet_together : 0 the feet stay apart (platform), 1 the back foot comes up to the front one during the toss.
    knee_ready, knee_load, knee_contact : front-knee flexion at ready, deepest (B29: 64.5 +- 9.7), at contact (B28: 24).
    weight_load : share of the weight over the front foot at the deepest bend, 0..1.
    jump : how far the front foot leaves the ground, metres.
    step_in : how far into the court the front foot lands, statures.
    shoulder_turn, hip_turn : largest turns of the shoulder and the hip line.
    shoulder_contact, hip_contact : the same at contact.
    trunk_peak : seconds before contact at which the trunk turns fastest (B27: 0.058 to 0.075).
    hip_lead : ms from the pelvis's to the trunk's fastest turn.
    trunk_spread, hip_spread : spread in seconds of the turn before its fastest instant; smaller = more explosive.
    pace : how long the turns of trunk, hips, elbow and upper arm take against the fastest servers (B24), 1 = as long.
    trunk_load : inclination of the trunk from the vertical, away from the target, at the deepest bend (B29: 25 +- 7.1).
    trunk_contact : inclination of the trunk from the vertical at contact, to the off side and forwards (B23: 48 above
        the horizontal, which is 42).
    trunk_side : direction of that inclination: 0 straight ahead, 90 straight to the off side.
    elbow_load : elbow flexion at the deepest bend. elbow_drop : as the racket drops (B21: 104).
    elbow_contact : elbow flexion at contact (B28, B31: 20 to 30).
    abduction_load, abduction_contact : upper arm against the trunk, 90 = in line with the shoulders (B22: 101; B31,
        B33: 108 to 111 at contact).
    rotation_load : turn of the forearm about the upper arm at the deepest bend: 0 forearm ahead of the chest, 90
        upright, 180 backwards. rotation_low : the largest, as the racket drops (B20: 172).
    off_arm_top : how far the tossing arm rises above the chest's level, towards the target.
    off_arm_rise : 1 the tossing arm rises fully and stays up until the deepest bend .. 0 it is dropped at the release.
    contact_front : string-bed centre ahead of the middle of the hips, arm lengths.
    contact_spread : spread of the contact point between repeats, arm lengths.
    face : tilt of the strings at contact, 90 = upright, less = turned down.
    face_aim : direction that the strings face at contact, 0 the target, positive to the right.
    racket_side : how far the racket leans to the hitting side from the upright at contact.
    ball_speed : metres a second off the strings.
    start_lead, toss_lead, load_lead, low_lead : seconds before contact of: first movement, release of the ball, deepest
        bend, racket's low point.
    finish_time, recovery_time : seconds from contact to the finish, and from the finish to standing ready.
    """

    stance_width: float = 1.25
    stance: float = 52.0
    feet_together: float = 0.0
    knee_ready: float = 15.0
    knee_load: float = 64.5
    knee_contact: float = 24.0
    weight_load: float = 0.56
    jump: float = 0.045
    step_in: float = 0.20
    shoulder_turn: float = 108.0
    hip_turn: float = 84.0
    shoulder_contact: float = 14.0
    hip_contact: float = 20.0
    trunk_peak: float = 0.066
    hip_lead: float = 26.0
    trunk_spread: float = 0.042
    hip_spread: float = 0.067
    pace: float = 1.0
    trunk_load: float = 25.0
    trunk_contact: float = 42.0
    trunk_side: float = 70.0
    elbow_load: float = 104.0
    elbow_drop: float = 104.0
    elbow_contact: float = 25.0
    abduction_load: float = 84.0
    abduction_contact: float = 106.0
    rotation_load: float = 85.0
    rotation_low: float = 172.0
    off_arm_top: float = 62.0
    off_arm_rise: float = 1.0
    contact_front: float = 0.50
    contact_spread: float = 0.05
    face: float = 88.0
    face_aim: float = 0.0
    racket_side: float = 4.0
    ball_speed: float = 42.0
    start_lead: float = 1.85
    toss_lead: float = 0.90
    load_lead: float = 0.42
    low_lead: float = 0.115
    finish_time: float = 0.50
    recovery_time: float = 0.90


#: Standard deviation between repeats of one player, of the parameters that vary; own judgement, *common practice*.
REPEAT_SPREAD: dict[str, float] = {
    "stance": 1.5,
    "stance_width": 0.03,
    "knee_load": 2.5,
    "knee_contact": 1.5,
    "weight_load": 0.02,
    "jump": 0.005,
    "step_in": 0.012,
    "shoulder_turn": 2.5,
    "hip_turn": 2.5,
    "shoulder_contact": 2.0,
    "hip_contact": 2.0,
    "hip_lead": 2.0,
    "trunk_load": 1.5,
    "trunk_contact": 1.5,
    "trunk_side": 2.0,
    "elbow_load": 2.5,
    "elbow_drop": 2.5,
    "elbow_contact": 1.5,
    "abduction_load": 2.0,
    "abduction_contact": 1.5,
    "rotation_load": 3.0,
    "rotation_low": 2.5,
    "face": 1.0,
    "face_aim": 1.5,
    "racket_side": 1.5,
    "ball_speed": 1.0,
}
#: Parameters that a slower or quicker repeat stretches together, and the spread of that factor.
TEMPO = ("start_lead", "toss_lead", "load_lead", "finish_time", "recovery_time")
TEMPO_SPREAD = 0.02


def vary(style: ServeStyle, rng: np.random.Generator, amount: float = 1.0) -> ServeStyle:
    """One repeat of a style: every parameter moved a little; ``amount`` 0 gives the style itself.

    Always draws the same number of values, so repeats with different amounts share their random numbers.
    """
    draws = {name: float(np.clip(rng.normal(), -2.0, 2.0)) for name in REPEAT_SPREAD}
    spot = float(np.clip(rng.normal(), -2.0, 2.0))
    factor = 1.0 + amount * TEMPO_SPREAD * float(np.clip(rng.normal(), -2.0, 2.0))
    changes = {
        name: getattr(style, name) + amount * REPEAT_SPREAD[name] * draw for name, draw in draws.items()
    }
    changes["contact_front"] = style.contact_front + amount * style.contact_spread * spot
    return tempo(replace(style, **changes), factor)


def tempo(style: ServeStyle, factor: float) -> ServeStyle:
    """A style whose preparation and recovery take ``factor`` times as long (the hit itself stays as quick)."""
    return replace(style, **{name: getattr(style, name) * factor for name in TEMPO})


def random_serve_style(rng: np.random.Generator) -> ServeStyle:
    """A sound style drawn at random; always draws the same number of values.

    Knee and trunk at the deepest bend lie within 2 SD of B29 (the trunk's upper end a little less), arm and elbow at
    contact within 1 SD of B33 and B31. Other ranges are *common practice, no source*.
    """

    def draw(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    pace = draw(1.0, 2.2)
    style = ServeStyle(
        stance_width=draw(1.0, 1.5),
        stance=draw(38.0, 66.0),
        feet_together=float(rng.random() < 0.4),
        knee_ready=draw(10.0, 24.0),
        knee_load=draw(45.1, 83.9),
        knee_contact=draw(14.0, 38.0),
        weight_load=draw(0.48, 0.64),
        jump=draw(0.018, 0.07),
        step_in=draw(0.14, 0.28),
        shoulder_turn=draw(92.0, 118.0),
        hip_turn=draw(72.0, 94.0),
        shoulder_contact=draw(4.0, 26.0),
        hip_contact=draw(10.0, 30.0),
        trunk_peak=draw(0.058, 0.075) * pace,
        hip_lead=draw(14.0, 36.0) * pace,
        pace=pace,
        trunk_load=draw(10.8, 36.0),
        trunk_contact=draw(26.0, 46.0),
        trunk_side=draw(60.0, 80.0),
        elbow_load=draw(78.0, 122.0),
        elbow_drop=draw(96.0, 136.0),
        elbow_contact=draw(18.0, 46.0),
        abduction_load=draw(62.0, 92.0),
        abduction_contact=draw(96.8, 123.0),
        rotation_load=draw(40.0, 105.0),
        rotation_low=draw(136.0, 178.0),
        off_arm_top=draw(14.0, 66.0),
        contact_front=draw(0.40, 0.60),
        face=draw(85.0, 90.0),
        racket_side=draw(-6.0, 8.0),
        face_aim=draw(-8.0, 8.0),
        ball_speed=draw(46.0, 50.0) / pace,
        load_lead=max(draw(0.32, 0.48), 0.115 * pace + 0.18),
        low_lead=0.115 * pace,
    )
    return tempo(style, draw(0.9, 1.14))


@dataclass(frozen=True)
class ServeFault:
    """A fault in plain words, and the values that a style takes on at size 1."""

    words: str
    ends: Mapping[str, float]


SERVE_FAULTS: Mapping[str, ServeFault] = {
    "straight_legs": ServeFault(
        "The legs stay almost straight; there is nothing to push off with.",
        {"knee_ready": 10.0, "knee_load": 22.0, "knee_contact": 14.0, "jump": 0.012},
    ),
    "low_toss_arm": ServeFault(
        "The tossing arm drops as soon as the ball has left it.", {"off_arm_rise": 0.0}
    ),
    "low_contact": ServeFault(
        "The ball is hit too low, with a bent arm.",
        {"elbow_contact": 78.0, "abduction_contact": 76.0, "jump": 0.012, "knee_contact": 36.0},
    ),
    "no_racket_drop": ServeFault(
        "The racket does not drop behind the back before it goes up to the ball.",
        {"rotation_low": 112.0, "elbow_load": 84.0, "elbow_drop": 84.0},
    ),
    "upright_trunk": ServeFault(
        "The trunk stays upright; neither leaning away at the start nor over the front leg at contact.",
        {"trunk_load": 5.0, "trunk_contact": 12.0},
    ),
    "little_turn": ServeFault(
        "Hips and shoulders hardly turn away from the net.", {"shoulder_turn": 62.0, "hip_turn": 50.0}
    ),
    "inconsistent_toss": ServeFault("The contact point wanders from one ball to the next.", {"contact_spread": 0.2}),
}  # fmt: skip


def apply_serve_faults(style: ServeStyle, faults: Mapping[str, float]) -> ServeStyle:
    """A style with faults planted, in the order given.

    Raises
    ------
    ValueError : for an unknown fault, or a size outside 0..1.
    """
    for name, size in faults.items():
        if name not in SERVE_FAULTS:
            raise ValueError(f"unknown fault {name!r}, expected one of {', '.join(SERVE_FAULTS)}")
        if not 0.0 <= size <= 1.0:
            raise ValueError(f"fault {name!r} has size {size}, expected 0 to 1")
        style = replace(
            style,
            **{
                key: getattr(style, key) + size * (end - getattr(style, key))
                for key, end in SERVE_FAULTS[name].ends.items()
            },
        )
    return style


def names() -> tuple[str, ...]:
    """Names of all parameters."""
    return tuple(f.name for f in fields(ServeStyle))
