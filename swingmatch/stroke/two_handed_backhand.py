"""The two-handed backhand: the body's side of a forehand mirrored, both hands on the racket through contact.

The ball is on the right in all that follows (``Movement``): a right-hander has been mirrored. The front hand, the one
at the butt, is then the left one; it is called the hitting hand, as it is the one a right-hander calls so.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke import style
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.events import groundstroke_events
from swingmatch.stroke.forehand import FOREHAND, RACKET_WORDS, duration_rows
from swingmatch.stroke.kinematics import stance

Array = NDArray[np.float64]

EVENTS = tuple(event for event in FOREHAND.events if event != "hands_apart")
PHASES = (
    ("preparation", "ready", "turn_start"),
    ("take-back", "turn_start", "end_of_take_back"),
    *(phase for phase in FOREHAND.phases if phase[0] not in ("preparation", "take-back")),
)
#: Measures of a forehand that say nothing where both hands stay on the racket.
_NOT_HERE = frozenset({"hands_together_until", "hands_part_at", "other_arm_span", "other_hand_height"})


#: How a forehand is gripped says nothing of a backhand.
_FOREHAND_ONLY = frozenset({"grip"})


def events(times: Array, points: Array, contact: float) -> dict[str, float]:
    """Events of a two-handed backhand: (T,) s, (T, K, 3) with the ball on +Z, s; see ``groundstroke_events``."""
    return groundstroke_events(times, points, contact, hitting="left", hands="stay")


def shared_rows() -> tuple[Row, ...]:
    """What a backhand is measured by as a forehand is; the shoulders turn further back in every backhand (B1)."""
    own = {"finish_shoulder_turn": "Shoulder line at the finish (negative: past square)"}
    return tuple(
        replace(row, label=own.get(row.key, row.label))
        for row in FOREHAND.measures
        if not row.key.endswith("_duration") and row.key not in _FOREHAND_ONLY
    )


TWO_HANDED_BACKHAND = Definition(
    name="two-handed backhand",
    events=EVENTS,
    phases=PHASES,
    instants=FOREHAND.instants,
    find_events=events,
    measures=(*(row for row in shared_rows() if row.key not in _NOT_HERE), *duration_rows(PHASES)),
    backhand=True,
    words={"stance_angle": stance, **RACKET_WORDS},
    style=style.GROUNDSTROKE,
    teaching=tuple(key for key in style.GROUNDSTROKE_TEACHES if key not in _NOT_HERE),
)
