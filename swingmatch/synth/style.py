"""``ForehandStyle``: how a made-up player hits a forehand, in a coach's terms and in real units.

Most of it says as much about any groundstroke: ``GroundstrokeStyle``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np

Style = TypeVar("Style", bound="GroundstrokeStyle")


@dataclass(frozen=True)
class GroundstrokeStyle:
    """Parameters of a groundstroke with the ball on the player's right (on the other side it is the mirror image).

    Angles in degrees, times in seconds, distances as named. Turns follow D3 (line against the baseline, 0 =
    square to the net, larger = turned further back), the face follows D6 (90 = vertical, less = closed).
    Defaults are a sound semi-open forehand. Values without a row id are *common practice, no source*.

    Attributes
    ----------
    stance : angle of the line from the outside to the inside foot: 0 open (feet along the baseline), 45
        semi-open, 90 neutral (feet along the line to the target), above 90 closed.
    base_width : ankle to ankle in shoulder widths when the stance is set.
    ready_width : the same at ready.
    step_out : how far the outside foot steps sideways to the ball, statures.
    knee_ready, knee_outside : knee flexion at ready; of the outside (back) leg at the deepest load.
    knee_inside : flexion of the inside (front) knee at contact.
    weight_load, weight_contact : share of the weight over the front foot at load and at contact, 0..1.
    shoulder_turn, hip_turn : largest turns of the shoulder and the hip line (A30).
    shoulder_contact, hip_contact : the same at contact.
    hip_lead : ms from the pelvis's to the trunk's fastest turn (A3: 18).
    trunk_peak : seconds before contact at which the trunk turns fastest (A2: 0.057 to 0.075).
    take_back_height : hand at the end of the take-back, 0 hip .. 1 shoulder height.
    take_back_reach : direction of the hand from the hitting shoulder at the end of the take-back; 0 straight ahead
        of the chest, 90 in line with the shoulders, more = behind the back.
    loop : how far the hand rises above a straight take-back, in hip-to-shoulder heights.
    off_arm_span : 0 hangs passive .. 1 stretched across at shoulder height during the take-back.
    elbow_take_back, elbow_contact : elbow flexion. How far aside of the body the ball is met follows from the
        latter, since the arm's length is fixed.
    drop_height : lowest hand before the forward swing, 0 hip .. 1 shoulder height.
    racket_drop : how far the racket points below the horizontal at the bottom of the drop.
    face_drop : face angle through the drop. face : at contact (A20: 80.4 +- 3.6).
    path : direction of the string-bed centre at contact above the horizontal (A19: 18.6 +- 4.3).
    racket_contact : how far the racket points below the horizontal at contact.
    racket_aim : direction of the racket at contact, 90 parallel to the baseline, more = tip behind the hand.
    contact_front : string-bed centre ahead of the middle of the hips, arm lengths.
    contact_height : above the middle of the hips, arm lengths.
    contact_spread : spread of the contact point between repeats, arm lengths.
    finish_height : hand at the finish, 0 hip .. 1 shoulder .. 1.3 beside the ear.
    finish_reach : how far the arm wraps round: 1 full, 0 stops in front of the chest.
    lean, side_lean : trunk lean towards the target, and to the hitting side, at contact.
    wrist_lag : wrist extension as the racket lags most.
    head_steadiness : 1 still on the ball through contact .. 0 pulled up and away before it.
    split : height of the split step's hop, metres.
    turn_lead, apart_lead, top_lead, slot_lead : seconds before contact of: start of the turn, hands apart, hand at
        the top of the take-back, hand in the slot (bottom of the drop).
    finish_time, recovery_time : seconds from contact to the finish, and from the finish to ready.
    forward_time : spread of the forward turn before its fastest instant; smaller = more explosive.
    racket_rate : fastest turn of the racket about the vertical, degrees a second.
    back_foot_round : 1 the back foot comes round after contact, 0 stays behind on its toes.

    What follows is nothing in a sound stroke; faults need it.

    balance_save : 1 the back foot leaves the ground at contact already and lands far round, to catch a fall.
    back_heel : 1 the back heel comes up as the weight leaves it, 0 stays on the ground until after contact.
    arm_lead : seconds before contact at which the arm swings fastest against the chest (with the turn of the trunk it
        puts the wrist's fastest instant where A16 has it); larger = slowing into contact.
    elbow_through : elbow flexion added from contact until 0.07 s after it; sound arms go on stretching.
    part_early : seconds that the off hand lets go before ``apart_lead``.
    pause : seconds that the hand waits at the top of the take-back.
    """

    stance: float = 50.0
    base_width: float = 1.55
    ready_width: float = 1.15
    step_out: float = 0.17
    knee_ready: float = 38.0
    knee_outside: float = 54.0
    knee_inside: float = 30.0
    weight_load: float = 0.36
    weight_contact: float = 0.60
    shoulder_turn: float = 99.0
    hip_turn: float = 70.0
    shoulder_contact: float = 11.0
    hip_contact: float = 10.0
    hip_lead: float = 18.0
    trunk_peak: float = 0.066
    take_back_height: float = 0.85
    take_back_reach: float = 88.0
    loop: float = 0.12
    off_arm_span: float = 0.9
    elbow_take_back: float = 65.0
    elbow_contact: float = 38.0
    drop_height: float = 0.16
    racket_drop: float = 32.0
    face_drop: float = 55.0
    face: float = 82.0
    path: float = 18.6
    racket_contact: float = 12.0
    racket_aim: float = 92.0
    contact_front: float = 0.66
    contact_height: float = 0.20
    contact_spread: float = 0.03
    finish_height: float = 1.12
    finish_reach: float = 1.0
    lean: float = 6.0
    side_lean: float = 5.0
    wrist_lag: float = 60.0
    head_steadiness: float = 1.0
    split: float = 0.025
    turn_lead: float = 0.92
    apart_lead: float = 0.60
    top_lead: float = 0.36
    slot_lead: float = 0.13
    finish_time: float = 0.34
    recovery_time: float = 0.85
    forward_time: float = 0.082
    racket_rate: float = 2030.0
    back_foot_round: float = 1.0
    balance_save: float = 0.0
    back_heel: float = 1.0
    arm_lead: float = 0.042
    elbow_through: float = -4.0
    part_early: float = 0.0
    pause: float = 0.0


@dataclass(frozen=True)
class ForehandStyle(GroundstrokeStyle):
    """A right-hander's forehand."""


#: Standard deviation between repeats of one player, of the parameters that vary; own judgement, *common practice*.
REPEAT_SPREAD: dict[str, float] = {
    "stance": 3.0,
    "base_width": 0.04,
    "step_out": 0.012,
    "knee_outside": 2.5,
    "knee_inside": 2.5,
    "weight_load": 0.02,
    "shoulder_turn": 2.5,
    "hip_turn": 2.5,
    "shoulder_contact": 2.5,
    "hip_contact": 2.5,
    "hip_lead": 2.0,
    "take_back_height": 0.03,
    "take_back_reach": 2.0,
    "elbow_take_back": 3.0,
    "elbow_contact": 2.0,
    "drop_height": 0.02,
    "racket_drop": 2.5,
    "face_drop": 2.5,
    "face": 1.5,
    "path": 1.5,
    "racket_contact": 1.5,
    "racket_aim": 1.5,
    "finish_height": 0.03,
    "lean": 1.0,
    "side_lean": 1.0,
    "racket_rate": 25.0,
}
#: Parameters that a slower or quicker repeat stretches together, and the spread of that factor.
TEMPO = ("turn_lead", "apart_lead", "top_lead", "slot_lead", "finish_time", "recovery_time")
TEMPO_SPREAD = 0.025


def vary(style: Style, rng: np.random.Generator, amount: float = 1.0) -> Style:
    """One repeat of a style: every parameter moved a little; ``amount`` 0 gives the style itself.

    Always draws the same number of values, so repeats with different amounts share their random numbers.
    """
    draws = {name: float(np.clip(rng.normal(), -2.0, 2.0)) for name in REPEAT_SPREAD}
    spot = np.clip(rng.normal(size=2), -2.0, 2.0)
    tempo = 1.0 + amount * TEMPO_SPREAD * float(np.clip(rng.normal(), -2.0, 2.0))
    changes = {
        name: getattr(style, name) + amount * REPEAT_SPREAD[name] * draw for name, draw in draws.items()
    }
    changes["contact_front"] = style.contact_front + amount * style.contact_spread * float(spot[0])
    changes["contact_height"] = style.contact_height + amount * style.contact_spread * float(spot[1])
    changes.update({name: getattr(style, name) * tempo for name in TEMPO})
    return replace(style, **changes)


def names() -> tuple[str, ...]:
    """Names of all parameters."""
    return tuple(f.name for f in fields(ForehandStyle))
