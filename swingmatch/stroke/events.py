"""The events of a groundstroke, each from its definition, on keypoints with the ball on the right (+Z).

Kinematic definitions (the hand is the hitting hand unless said otherwise; of a two-handed backhand the front one):

- *end of take-back*: the hand is farthest back against the hips.
- *lowest hand*: the hand is lowest between the end of take-back and contact.
- *start of forward swing*: last moment before contact at which the hand moves towards the target with a tenth of its
  later peak speed.
- *hands apart*: where the rise of the hands' distance begins, on the line through its tenth and three tenths: before
  the end of the take-back in a forehand, between there and contact in a one-handed backhand.
- *turn start*: where the rise of the shoulder turn begins, on the line through its tenth and three tenths.
- *ready*: where the hips begin to stir before the turn, as for the split step, or the stillest moment.
- *end of follow-through*: after contact, the hand's speed against the chest first falls under 15 % of its peak.
- *recovery*: the shoulders face the target again and the hands as close as they come, or the end of the film.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import middle
from swingmatch.stroke import measures as m

Array = NDArray[np.float64]
Side = Literal["right", "left"]
#: When the hands leave each other: in the take-back, as the forward swing starts, or not before contact.
Hands = Literal["part early", "part late", "stay"]

#: Earliest end of take-back before contact and longest preparation before that, s (*common practice, no source*).
_LONGEST_FORWARD = 0.9
_LONGEST_PREPARATION = 1.4
#: Share of a rise at which it has begun, of the peak hand speed at which the hand has begun to go forward, and at which
#: the follow-through has ended.
_BEGUN = 0.10
_BEGUN_FORWARD = 0.10
ENDED = 0.15
#: Hand and hips together slower than this are still, statures a second.
STILL = 0.15
#: Shoulders this near to where they were at ready face the target again, degrees.
_FACING = 6.0
#: The hips stir at these speeds as the split step starts, statures a second, at most so long before the turn, s.
_STIRS = (0.1, 0.2)
_LONGEST_SPLIT = 0.6
#: Share of the hands' later distance by which they have closed again at recovery.
_CLOSED = 0.02


def last_before(times: Array, condition: NDArray[np.bool_], before: float, after: float) -> float | None:
    """Last time in (after, before) at which the condition holds."""
    where = np.flatnonzero(condition & (times < before) & (times > after))
    return float(times[where[-1]]) if len(where) else None


def first_after(times: Array, condition: NDArray[np.bool_], after: float) -> float | None:
    """First time after ``after`` at which the condition holds."""
    where = np.flatnonzero(condition & (times > after))
    return float(times[where[0]]) if len(where) else None


def _begin(
    times: Array, rise: Array, levels: tuple[float, float], before: float, after: float
) -> float | None:
    """When a rise began: the line through where it last passed two levels, back to nothing.

    Where the rise is slow a threshold comes late by the threshold; the line takes that out.
    """
    low = last_before(times, rise < levels[0], before, after)
    high = last_before(times, rise < levels[1], before, after)
    if low is None or high is None:
        return low
    return max(low - (high - low) * levels[0] / (levels[1] - levels[0]), after)


def extreme(times: Array, values: Array, start: float, stop: float) -> float | None:
    """Time of the smallest value in [start, stop]."""
    where = np.flatnonzero((times >= start) & (times <= stop) & np.isfinite(values))
    return float(times[where[np.argmin(values[where])]]) if len(where) else None


def forehand_events(times: Array, points: Array, contact: float) -> dict[str, float]:
    """Events of a forehand, see ``groundstroke_events``."""
    return groundstroke_events(times, points, contact)


def groundstroke_events(
    times: Array, points: Array, contact: float, *, hitting: Side = "right", hands: Hands = "part early"
) -> dict[str, float]:
    """All events that the stretch of film holds, in order of time.

    Parameters
    ----------
    times : (T,) seconds, rising. points : (T, K, 3) court axes, the ball on +Z. contact : seconds.
    hitting : the arm that holds the racket. hands : when the hands leave each other.

    Returns
    -------
    event name -> seconds; an event that was not found is left out.
    """
    hips, chest = middle(points, "hip"), middle(points, "shoulder")
    hand = m.joint(points, f"{hitting}_hand")
    back = (hand - hips)[:, 0]
    shoulders = m.shoulder_turn(points)
    events = {"contact": contact}

    take_back = extreme(times, back, contact - _LONGEST_FORWARD, contact - 0.08)
    if take_back is None:
        return events
    events["end_of_take_back"] = take_back
    lowest = extreme(times, hand[:, 1], take_back, contact)
    forward_speed = np.gradient(hand[:, 0], times)
    forward = (times > take_back) & (times <= contact)
    if lowest is not None and forward.any():
        slow = forward_speed < _BEGUN_FORWARD * np.nanmax(forward_speed[forward])
        start = last_before(times, slow, contact, take_back - 0.1)
        events["lowest_hand"] = lowest
        events["forward_start"] = max(start if start is not None else take_back, take_back)

    early = (times >= take_back - _LONGEST_PREPARATION) & (times <= take_back)
    before = take_back - _LONGEST_PREPARATION
    square = np.nanmedian(shoulders[early][: max(1, early.sum() // 5)])
    span = np.nanmax(shoulders[early]) - square
    begun = _begin(times, shoulders - square, (_BEGUN * span, 3.0 * _BEGUN * span), take_back, before)
    if begun is not None:
        events["turn_start"] = begun
        restless = m.speed(hips, times)
        still = _begin(times, restless, _STIRS, begun, begun - _LONGEST_SPLIT)
        ready = still if still is not None else extreme(times, restless, begun - _LONGEST_SPLIT, begun)
        if ready is not None:
            events["ready"] = ready
    gap = m.hands_distance(points)
    together = float(np.nanpercentile(gap[early], 10))
    parting = early if hands != "part late" else (times >= take_back) & (times <= contact)
    reach = float(np.nanmax(gap[parting])) - together if parting.any() else 0.0
    parted = (_BEGUN * reach, 3.0 * _BEGUN * reach)
    if hands == "part early":
        apart = _begin(times, gap - together, parted, take_back, before)
        if apart is not None and apart > events.get("turn_start", -np.inf):
            events["hands_apart"] = apart
    elif hands == "part late":
        apart = _begin(times, gap - together, parted, contact, take_back)
        if apart is not None:
            events["hands_apart"] = apart

    against_chest = m.speed(hand - chest, times)
    after = times >= contact
    if after.any():
        peak = np.nanmax(against_chest[(times > contact - 0.1) & (times < contact + 0.15)])
        end = first_after(times, against_chest < ENDED * peak, contact + 0.08)
        if end is not None:
            events["end_of_follow_through"] = end
            later = times > end + 0.1
            closest = float(np.nanmin(gap[later])) if later.any() else together
            near = gap < closest + _CLOSED * reach if hands != "stay" else True
            home = (np.abs(shoulders - square) < _FACING) & near
            back_again = first_after(times, home, end + 0.1)
            events["recovery"] = back_again if back_again is not None else float(times[-1])
    return dict(sorted(events.items(), key=lambda item: item[1]))
