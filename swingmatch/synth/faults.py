"""Faults that can be planted in a style, by name and size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from swingmatch.synth.style import ForehandStyle


@dataclass(frozen=True)
class Fault:
    """A fault in plain words and what it does to a style, at a size from 0 (nothing) to 1 (gross)."""

    words: str
    apply: Callable[[ForehandStyle, float], ForehandStyle]


def _towards(**ends: float) -> Callable[[ForehandStyle, float], ForehandStyle]:
    """Move the named parameters on a straight line from the style's values to ``ends``, reached at size 1."""

    def apply(style: ForehandStyle, size: float) -> ForehandStyle:
        return replace(
            style,
            **{
                name: getattr(style, name) + size * (end - getattr(style, name)) for name, end in ends.items()
            },
        )

    return apply


def _by(**amounts: float) -> Callable[[ForehandStyle, float], ForehandStyle]:
    """Add ``size`` times the amounts to the named parameters."""

    def apply(style: ForehandStyle, size: float) -> ForehandStyle:
        return replace(style, **{name: getattr(style, name) + size * by for name, by in amounts.items()})

    return apply


def _part_early(style: ForehandStyle, size: float) -> ForehandStyle:
    """The off hand lets go as soon as the turn starts."""
    return replace(style, part_early=size * (style.turn_lead - style.apart_lead - 0.04))


def _one_block(style: ForehandStyle, size: float) -> ForehandStyle:
    """The hips turn back as far as the shoulders, and come forward with them."""
    ends = _towards(hip_turn=style.shoulder_turn - 6.0, hip_lead=0.0)
    return ends(style, size)


def _rushed(style: ForehandStyle, size: float) -> ForehandStyle:
    """Everything before the drop is late; the forward swing is as it was."""
    share = 1.0 - 0.34 * size
    return replace(
        style,
        turn_lead=style.turn_lead * share,
        apart_lead=style.apart_lead * share,
        top_lead=style.top_lead * (1.0 - 0.27 * size),
    )


def _pause(style: ForehandStyle, size: float) -> ForehandStyle:
    """The take-back is over a third of a second too early, and the hand waits there."""
    wait = 0.36 * size
    early = {name: getattr(style, name) + wait for name in ("turn_lead", "apart_lead", "top_lead")}
    return replace(style, pause=wait, **early)


#: The faults that ``cast.random_player`` draws from. Another entry would make other players of all seeds: newer ones
#: are in ``EVERY_FAULT`` alone.
FAULTS: Mapping[str, Fault] = {
    "late_contact": Fault(
        "The ball is met too far back, beside the body instead of in front.", _by(contact_front=-0.55)
    ),
    "cramped_contact": Fault(
        "The ball is met too close to the body, with a bent arm.", _by(elbow_contact=50.0, side_lean=-5.0)
    ),
    "reaching_contact": Fault(
        "The ball is met too far away, at the end of a straight arm, with the trunk leaning after it.",
        _towards(elbow_contact=8.0, side_lean=20.0),
    ),
    "straight_legs": Fault(
        "The legs stay almost straight; there is no load to drive from.",
        # Over one foot of a wide stance a leg cannot stay straight; such a player stands between the feet.
        _towards(knee_outside=17.0, knee_inside=12.0, knee_ready=16.0, weight_load=0.5),
    ),
    "narrow_base": Fault("The feet are too close together.", _towards(base_width=0.75, ready_width=0.8)),
    "little_shoulder_turn": Fault(
        "The shoulders hardly turn; the arm takes the racket back alone.",
        _towards(shoulder_turn=48.0, hip_turn=32.0),
    ),
    "hips_late": Fault(
        "Hips and shoulders turn together or the hips even follow, so that nothing is stretched.",
        _by(hip_lead=-40.0),
    ),
    "high_take_back": Fault("The hand goes back above the shoulder.", _towards(take_back_height=1.45)),
    "big_loop": Fault(
        "The racket travels a high, long loop, which costs time.", _by(loop=0.45, take_back_reach=14.0)
    ),
    "no_racket_drop": Fault(
        "The racket head does not drop below the hand before it goes forward.",
        _towards(racket_drop=-8.0, drop_height=0.45),
    ),
    "flat_path": Fault(
        "The racket comes through the ball flat or downwards.", _towards(path=-6.0, drop_height=0.5)
    ),
    "low_finish": Fault(
        "The swing stops early and low.", _towards(finish_height=0.45, finish_reach=0.15)
    ),
    "falling_back": Fault(
        "The weight stays behind and the trunk leans away from the ball.",
        _towards(lean=-16.0, weight_contact=0.22),
    ),
    "passive_off_arm": Fault("The off arm hangs instead of turning with the shoulders.", _towards(off_arm_span=0.0)),
    "stiff_arm": Fault(
        "The elbow is locked straight from the take-back on.", _towards(elbow_take_back=10.0, elbow_contact=8.0)
    ),
    "unsteady_head": Fault(
        "The head pulls up and away before the ball is hit.", _towards(head_steadiness=0.0)
    ),
    "inconsistent_contact": Fault(
        "The contact point wanders from one ball to the next.", _by(contact_spread=0.15)
    ),
}  # fmt: skip

#: All that can be planted: ``FAULTS``, and what they lack of the patterns that a coach names.
EVERY_FAULT: Mapping[str, Fault] = {
    **FAULTS,
    "contact_too_far_in_front": Fault(
        "The ball is met too far in front, with the arm stretched and the trunk bent after it.",
        _by(contact_front=0.26, elbow_contact=-20.0, lean=9.0),
    ),
    "low_contact": Fault(
        "The ball is met too low, near the knees.", _towards(contact_height=-0.24, racket_contact=26.0)
    ),
    "high_contact": Fault("The ball is met too high, above the shoulder.", _towards(contact_height=0.80)),
    "face_open_contact": Fault("The strings look up at contact.", _by(face=16.0)),
    "face_closed_contact": Fault("The strings look down at contact.", _by(face=-16.0)),
    "face_up_drop": Fault("The strings look up all through the drop.", _towards(face_drop=112.0)),
    "weight_back": Fault(
        "The weight stays on the back foot, whose heel does not come up.",
        _towards(weight_load=0.22, weight_contact=0.12, back_heel=0.0),
    ),
    "back_foot_saves_balance": Fault(
        "The player falls away from the ball, and the back foot comes round early and far to save the balance.",
        _towards(side_lean=-11.0, balance_save=1.0),
    ),
    "one_block": Fault("Hips and shoulders are turned back as one block.", _one_block),
    "hips_ahead": Fault(
        "The hips tear loose ahead and are round past the ball at contact.", _by(hip_lead=55.0, hip_contact=-30.0)
    ),
    "arm_only": Fault(
        "The arm swings alone: hips and shoulders are turned little and hardly come forward.",
        _towards(shoulder_turn=66.0, hip_turn=44.0, shoulder_contact=36.0, hip_contact=30.0, forward_time=0.12),
    ),
    "shoulders_stay_turned": Fault(
        "The shoulders do not come round: they are still turned sideways when the ball is met.",
        _by(shoulder_contact=28.0),
    ),
    "slowing": Fault(
        "The swing is fastest long before the ball and slows into contact.",
        _towards(arm_lead=0.085, trunk_peak=0.115, racket_rate=1450.0),
    ),
    "rushed_take_back": Fault("The turn starts late and the take-back is rushed.", _rushed),
    "hands_part_early": Fault("The off hand lets go of the racket as the turn starts.", _part_early),
    "long_take_back": Fault("The hand goes far back behind the body.", _by(take_back_reach=40.0)),
    "paused_swing": Fault("The racket is back early and waits; the swing starts from standing.", _pause),
    "collapsed_elbow": Fault(
        "The elbow stays folded from the take-back to the finish.",
        _by(elbow_take_back=38.0, elbow_contact=20.0, elbow_through=24.0),
    ),
    "leaning_over": Fault("The trunk bends forward over the ball.", _by(lean=20.0)),
}  # fmt: skip


def apply_faults(style: ForehandStyle, faults: Mapping[str, float]) -> ForehandStyle:
    """A style with faults planted, in the order given.

    Raises
    ------
    ValueError : for an unknown fault, or a size outside 0..1.
    """
    for name, size in faults.items():
        if name not in EVERY_FAULT:
            raise ValueError(f"unknown fault {name!r}, expected one of {', '.join(EVERY_FAULT)}")
        if not 0.0 <= size <= 1.0:
            raise ValueError(f"fault {name!r} has size {size}, expected 0 to 1")
        style = EVERY_FAULT[name].apply(style, size)
    return style
