"""The events of a forehand, each from its definition, on a right-handed swing's keypoints on court axes.

Kinematic definitions (the hand is the hitting hand unless said otherwise):

- *end of take-back*: the hand is farthest back against the hips.
- *lowest hand*: the hand is lowest between the end of take-back and contact.
- *start of forward swing*: last moment before contact at which the hand moves towards the target with a tenth of its
  later peak speed.
- *hands apart*: last moment before the end of take-back at which the hands are within a hand's breadth of each other.
- *turn start*: the shoulders have made a tenth of their turn from ready to the end of take-back.
- *ready*: stillest moment shortly before the turn.
- *end of follow-through*: after contact, the hand's speed against the chest first falls under 15 % of its peak.
- *recovery*: the shoulders face the target again and the hand is still, or the end of what was filmed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import middle
from swingmatch.stroke import measures as m

Array = NDArray[np.float64]

#: Earliest end of take-back before contact and longest preparation before that, s (*common practice, no source*).
_LONGEST_FORWARD = 0.9
_LONGEST_PREPARATION = 1.4
#: Share of the shoulder turn at which the turn has begun, of the peak hand speed at which the hand has begun to go
#: forward, and at which the follow-through has ended.
_BEGUN_TURN = 0.10
_BEGUN_FORWARD = 0.10
_ENDED = 0.15
#: Hands closer than this many arm lengths are together.
TOGETHER = 0.22


def _last(times: Array, condition: NDArray[np.bool_], before: float, after: float) -> float | None:
    """Last time in (after, before) at which the condition holds."""
    where = np.flatnonzero(condition & (times < before) & (times > after))
    return float(times[where[-1]]) if len(where) else None


def _first(times: Array, condition: NDArray[np.bool_], after: float) -> float | None:
    where = np.flatnonzero(condition & (times > after))
    return float(times[where[0]]) if len(where) else None


def _extreme(times: Array, values: Array, start: float, stop: float) -> float | None:
    """Time of the smallest value in [start, stop]."""
    where = np.flatnonzero((times >= start) & (times <= stop) & np.isfinite(values))
    return float(times[where[np.argmin(values[where])]]) if len(where) else None


def forehand_events(times: Array, points: Array, contact: float) -> dict[str, float]:
    """All events that the stretch of film holds, in order of time.

    Parameters
    ----------
    times : (T,) seconds, rising. points : (T, K, 3) right-handed, court axes. contact : seconds.

    Returns
    -------
    event name -> seconds; an event that was not found is left out.
    """
    hips, chest = middle(points, "hip"), middle(points, "shoulder")
    hand = m.joint(points, "right_hand")
    back = (hand - hips)[:, 0]
    shoulders = m.shoulder_turn(points)
    events = {"contact": contact}

    take_back = _extreme(times, back, contact - _LONGEST_FORWARD, contact - 0.08)
    if take_back is None:
        return events
    events["end_of_take_back"] = take_back
    lowest = _extreme(times, hand[:, 1], take_back, contact)
    forward_speed = np.gradient(hand[:, 0], times)
    forward = (times > take_back) & (times <= contact)
    if lowest is not None and forward.any():
        slow = forward_speed < _BEGUN_FORWARD * np.nanmax(forward_speed[forward])
        start = _last(times, slow, contact, take_back - 0.1)
        events["lowest_hand"] = lowest
        events["forward_start"] = max(start if start is not None else take_back, take_back)

    early = (times >= take_back - _LONGEST_PREPARATION) & (times <= take_back)
    apart = _last(times, m.hands_distance(points) < TOGETHER, take_back, take_back - _LONGEST_PREPARATION)
    turned, square = np.nanmax(shoulders[early]), np.nanmedian(shoulders[early][: max(1, early.sum() // 5)])
    begun = _last(
        times,
        shoulders < square + _BEGUN_TURN * (turned - square),
        take_back,
        take_back - _LONGEST_PREPARATION,
    )
    if begun is not None:
        events["turn_start"] = begun
        stillness = m.speed(hand, times) + m.speed(hips, times)
        ready = _extreme(times, stillness, begun - 0.5, begun)
        if ready is not None:
            events["ready"] = ready
    if apart is not None and apart > events.get("turn_start", -np.inf):
        events["hands_apart"] = apart

    against_chest = m.speed(hand - chest, times)
    after = times >= contact
    if after.any():
        peak = np.nanmax(against_chest[(times > contact - 0.1) & (times < contact + 0.15)])
        end = _first(times, against_chest < _ENDED * peak, contact + 0.08)
        if end is not None:
            events["end_of_follow_through"] = end
            facing = np.abs(shoulders - square) < 15.0
            back_again = _first(times, facing & (against_chest < _ENDED * peak), end + 0.1)
            events["recovery"] = back_again if back_again is not None else float(times[-1])
    return dict(sorted(events.items(), key=lambda item: item[1]))
