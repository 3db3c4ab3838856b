"""Which of the player's own keypoints stand behind the names under which a measure is shown (``Row.shows``).

Those names are the ball side's (``Movement``): "right" is the side of the ball, whatever the player's hand.
"""

from __future__ import annotations

from swingmatch.stroke.definition import Definition
from swingmatch.stroke.swing import Hand

#: Names that stand for a middle of two keypoints.
_MIDDLES = {
    "mid_hip": ("left_hip", "right_hip"),
    "mid_shoulder": ("left_shoulder", "right_shoulder"),
}
#: The keypoints that carry most of the body's mass: trunk and thighs, two thirds of it.
_MASS = ("left_shoulder", "right_shoulder", "left_hip", "right_hip", "left_knee", "right_knee")


def flipped(definition: Definition, hand: Hand) -> bool:
    """Whether the player's right is the left of what the measures see."""
    return (hand == "left") != definition.backhand


def own_keypoints(name: str, definition: Definition, hand: Hand) -> tuple[str, ...]:
    """The keypoints of a player of ``hand`` that ``name`` is seen by: one, or all that it lies between.

    The racket and its strings are seen by the hand that holds them.
    """
    if name == "centre_of_mass":
        return _MASS
    if name in _MIDDLES:
        return _MIDDLES[name]
    if name in ("racket", "string_bed"):
        name = "hitting_hand"
    side, _, part = name.partition("_")
    if side in ("hitting", "other"):
        side = definition.hitting if side == "hitting" else _across(definition.hitting)
    if side not in ("left", "right"):
        return (name,)
    return (f"{_across(side) if flipped(definition, hand) else side}_{part}",)


def _across(side: str) -> str:
    return "left" if side == "right" else "right"
