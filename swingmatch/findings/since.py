"""What changed since the last review, as sentences."""

from __future__ import annotations

import math

from swingmatch.findings.change import Change, Changes
from swingmatch.words import say


def since(changes: Changes) -> tuple[str, ...]:
    """First which review this one is beside, then the targets, the faults named last time, and contact."""
    titles = {one.title for one in changes.targets}
    out = [say.since_opening(changes.since, changes.days, changes.same_side)]
    out += [_target(one) for one in changes.targets]
    # A fault that was a target is told with its figures already.
    out += [
        say.fault_then_and_now(one.title, one.verdict) for one in changes.faults if one.title not in titles
    ]
    if changes.contact is not None:
        out.append(say.contact_then_and_now(changes.contact.verdict))
    return tuple(out)


def _target(one: Change) -> str:
    towards = -math.copysign(1.0, one.before)
    ends = sorted((towards * one.low, towards * one.high))
    gain = abs(one.before) - abs(one.after)
    return say.target_then_and_now(
        one.title, one.verdict, one.unit, (gain, ends[0], ends[1]), one.smallest, one.reason
    )
