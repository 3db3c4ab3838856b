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


def apply_faults(style: ForehandStyle, faults: Mapping[str, float]) -> ForehandStyle:
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
