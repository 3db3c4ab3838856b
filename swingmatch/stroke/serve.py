"""The serve: its events, phases and measures.

The hitting arm is on the right (``Movement``); the front foot is the left one.

Events, from their kinematic definitions:

- *toss release*: the tossing (other) hand rises fastest before it is above the head.
- *loaded*: the front knee is bent most between the release and contact, with the tossing arm up.
- *racket low*: the hitting hand is lowest between loaded and contact; where the racket is not known it stands for the
  racket's lowest point behind the back.
- *end of follow-through*: after contact, the hand's speed against the chest first falls under 15 % of its peak.
- *ready*: last still moment before the tossing hand starts to rise. *recovery*: the end of what was filmed, or when the
  hands are below the chest and the hips are slow again.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import middle
from swingmatch.stroke import measures as m
from swingmatch.stroke import style
from swingmatch.stroke.definition import At, Definition, Most, Row
from swingmatch.stroke.events import ENDED, STILL, extreme, first_after, last_before
from swingmatch.stroke.forehand import (
    BASE,
    COM,
    FEET,
    HIPS,
    HITTING_ARM,
    HITTING_HAND,
    INSIDE_LEG,
    LINES,
    OTHER_ARM,
    OUTSIDE_LEG,
    RACKET,
    SHOULDERS,
    TRUNK,
    contact_rows,
    duration_rows,
    forward_rows,
    whole_rows,
)
from swingmatch.stroke.gauges import after, body, racket, serve

Array = NDArray[np.float64]

EVENTS = ("ready", "toss_release", "loaded", "racket_low", "contact", "end_of_follow_through", "recovery")
PHASES = (
    ("toss", "ready", "toss_release"),
    ("loading", "toss_release", "loaded"),
    ("drop", "loaded", "racket_low"),
    ("upward swing", "racket_low", "contact"),
    ("follow-through", "contact", "end_of_follow_through"),
    ("recovery", "end_of_follow_through", "recovery"),
)
#: A toss is released at most and at least this long before contact, s (*common practice, no source*).
_TOSS = (1.6, 0.35)
#: Least time from the loaded position to contact, s.
_DRIVE = 0.1
#: The tossing hand rises from its lowest at most this long before the release, s.
_RISE = 1.0


def events(times: Array, points: Array, contact: float) -> dict[str, float]:
    """All events that the stretch of film holds, in order of time.

    Parameters
    ----------
    times : (T,) seconds, rising. points : (T, K, 3) right-handed, court axes. contact : seconds.

    Returns
    -------
    event name -> seconds; an event that was not found is left out.
    """
    hips, chest = middle(points, "hip"), middle(points, "shoulder")
    hand, toss = m.joint(points, "right_hand"), m.joint(points, "left_hand")
    found = {"contact": contact}
    release = extreme(times, -np.gradient(toss[:, 1], times), contact - _TOSS[0], contact - _TOSS[1])
    if release is not None:
        found["toss_release"] = release
        before = times < release
        lowest = extreme(times, toss[:, 1], release - _RISE, release)
        restless = m.speed(hand, times) + m.speed(hips, times)
        ready = last_before(times, restless < STILL, release, release - _RISE)
        if ready is None and before.any():
            ready = lowest
        if ready is not None:
            found["ready"] = ready
        knee = m.flexion(points, "left_hip", "left_knee", "left_ankle")
        loaded = extreme(times, -knee, release, contact - _DRIVE)
        if loaded is not None:
            found["loaded"] = loaded
            behind = (hand - m.joint(points, "right_shoulder"))[:, 1]
            low = extreme(times, behind, loaded, contact)
            if low is not None:
                found["racket_low"] = low
    against_chest = m.speed(hand - chest, times)
    around = (times > contact - 0.1) & (times < contact + 0.15)
    if around.any() and (times > contact).any():
        end = first_after(times, against_chest < ENDED * np.nanmax(against_chest[around]), contact + 0.08)
        if end is not None:
            found["end_of_follow_through"] = end
            calm = (m.speed(hips, times) < STILL) & (hand[:, 1] < chest[:, 1])
            home = first_after(times, calm, end + 0.1)
            found["recovery"] = home if home is not None else float(times[-1])
    return dict(sorted(found.items(), key=lambda item: item[1]))


def loaded_rows() -> tuple[Row, ...]:
    """The toss and the loaded position."""
    part, at = "load", "loaded"
    return (
        Row("toss_arm_height", "Tossing hand height", part, "hip-to-shoulder", at,
            At(at, body.other_hand_height), OTHER_ARM, 0.4),
        Row("shoulder_turn", "Shoulder turn", part, "deg", at, At(at, body.shoulder_turn), SHOULDERS, 20.0),
        Row("hip_turn", "Hip turn", part, "deg", at, At(at, body.hip_turn), HIPS, 20.0),
        Row("separation", "Hip–shoulder separation", part, "deg", at, At(at, body.separation), LINES, 15.0),
        Row("loaded_trunk_tilt", "Trunk inclination", part, "deg", at, At(at, serve.trunk_tilt), TRUNK, 12.0),
        Row("loaded_shoulder_tilt", "Shoulder over shoulder", part, "deg", at,
            At(at, body.shoulder_tilt), SHOULDERS, 12.0),
        Row("front_knee_flexion", "Bend of the front knee, most", part, "deg", f"toss_release..{at}",
            Most("toss_release", "contact", body.knee_flexion("left")), INSIDE_LEG, 15.0),
        Row("back_knee_flexion", "Bend of the back knee, most", part, "deg", f"toss_release..{at}",
            Most("toss_release", "contact", body.knee_flexion("right")), OUTSIDE_LEG, 15.0),
        Row("loaded_elbow_flexion", "Bend of the hitting elbow", part, "deg", at,
            At(at, body.elbow_flexion), HITTING_ARM, 25.0),
        Row("base_width", "Width of the base", part, "shoulder widths", at, At(at, body.base_width), BASE, 0.4),
        Row("weight_outside", "Weight on the back leg", part, "", at,
            At(at, body.weight_outside), (*COM, *BASE), 0.25),
        Row("racket_low_elbow_flexion", "Bend of the hitting elbow, racket low", "drop", "deg", "racket_low",
            At("racket_low", body.elbow_flexion), HITTING_ARM, 25.0),
        Row("arm_abduction_low", "Raise of the upper arm, racket low", "drop", "deg", "racket_low",
            At("racket_low", serve.arm_raise), HITTING_ARM, 20.0),
    )  # fmt: skip


def _contact_rows() -> tuple[Row, ...]:
    part, hit = "contact", "contact"
    return (
        *contact_rows(),
        Row("arm_abduction", "Raise of the upper arm", part, "deg", hit, At(hit, serve.arm_raise), HITTING_ARM, 15.0),
        Row("contact_trunk_tilt", "Trunk inclination", part, "deg", hit, At(hit, serve.trunk_tilt), TRUNK, 12.0),
        Row("contact_shoulder_tilt", "Shoulder over shoulder", part, "deg", hit,
            At(hit, body.shoulder_tilt), SHOULDERS, 12.0),
        Row("reach", "Reach: hand above the ground", part, "statures", hit, serve.reach, (*HITTING_HAND, *FEET), 0.06),
    )  # fmt: skip


def _after_rows() -> tuple[Row, ...]:
    part, end = "after", "end_of_follow_through"
    return (
        Row("pronation", "Forearm pronation", part, "deg", f"contact..{end}", racket.pronation, RACKET, 25.0,
            racket=True),
        Row("finish_across", "Finish across the body", part, "arm lengths", end,
            At(end, body.hand_across), HITTING_HAND, 0.25),
        Row("finish_trunk_lean", "Trunk lean to the target", part, "deg", end,
            At(end, body.trunk_forward_lean), TRUNK, 12.0),
        Row("time_to_balance", "Time to balance (after contact)", part, "ms", "contact..recovery",
            after.time_to_balance, COM, 150.0),
    )  # fmt: skip


#: What the forward swing's rows are of a groundstroke alone.
_GROUNDSTROKE = frozenset({"tempo"})

SERVE = Definition(
    name="serve",
    events=EVENTS,
    phases=PHASES,
    instants=(("loaded", "loaded"), ("contact", "contact")),
    find_events=events,
    measures=(
        *loaded_rows(),
        *forward_rows("racket_low", "loaded"),
        *_contact_rows(),
        *_after_rows(),
        *duration_rows(PHASES),
        *(row for row in whole_rows("racket_low") if row.key not in _GROUNDSTROKE),
    ),
    racket_rises=75.0,
    style=style.SERVE,
    teaching=style.SERVE_TEACHES,
)
