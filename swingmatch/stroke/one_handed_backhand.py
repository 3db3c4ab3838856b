"""The one-handed backhand: the off hand leads the racket back and lets go as the forward swing starts.

The ball is on the right in all that follows (``Movement``): a right-hander has been mirrored, and the hitting arm, on
the side of the net, is the left one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke import style
from swingmatch.stroke.definition import Definition
from swingmatch.stroke.events import groundstroke_events
from swingmatch.stroke.forehand import FOREHAND, RACKET_WORDS, duration_rows
from swingmatch.stroke.kinematics import stance
from swingmatch.stroke.two_handed_backhand import PHASES, shared_rows

Array = NDArray[np.float64]

EVENTS = (
    "ready",
    "turn_start",
    "end_of_take_back",
    "lowest_hand",
    "hands_apart",
    "forward_start",
    "contact",
    "end_of_follow_through",
    "recovery",
)


def events(times: Array, points: Array, contact: float) -> dict[str, float]:
    """Events of a one-handed backhand: (T,) s, (T, K, 3) with the ball on +Z, s; see ``groundstroke_events``."""
    return groundstroke_events(times, points, contact, hitting="left", hands="part late")


ONE_HANDED_BACKHAND = Definition(
    name="one-handed backhand",
    events=EVENTS,
    phases=PHASES,
    instants=FOREHAND.instants,
    find_events=events,
    measures=(*shared_rows(), *duration_rows(PHASES)),
    backhand=True,
    words={"stance_angle": stance, **RACKET_WORDS},
    style=style.GROUNDSTROKE,
    teaching=style.GROUNDSTROKE_TEACHES,
)
