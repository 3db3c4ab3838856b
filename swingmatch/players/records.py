"""What is kept of players, as plain values. Nothing here touches a disk.

Nobody is named unless the coach writes a name: a player is a *code* ("V07"), the same as in a consent.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timezone
from typing import Any, Literal

from swingmatch.findings.change import Reviewed

#: What a coach may do to a proposal.
Action = Literal["kept", "dropped", "moved", "added"]
ACTIONS: tuple[Action, ...] = ("kept", "dropped", "moved", "added")


def _now() -> datetime:
    return datetime.now(timezone.utc).replace(microsecond=0)


@dataclass(frozen=True, kw_only=True)
class Player:
    """Somebody whose strokes are reviewed.

    Attributes
    ----------
    code : of the person; the coach may write a name here as well. name : what is shown, where the coach writes one.
    hand : hitting hand, None where not known. notes : the coach's own words.
    minor, guardian : as in ``Consent``. keep_until : the last day that anything is kept; added_at : UTC.
    """

    code: str
    keep_until: date
    name: str | None = None
    hand: str | None = None
    notes: str = ""
    minor: bool = False
    guardian: str | None = None
    added_at: datetime = field(default_factory=_now)

    @property
    def label(self) -> str:
        """What is shown for the player."""
        return self.name or self.code


@dataclass(frozen=True, kw_only=True)
class KeptReview:
    """What was said of one stroke in one clip of a player.

    Attributes
    ----------
    player : code. clip : the file's name. clip_sha256 : of its bytes, so that the same clip is known again.
    date_known : whether the day of filming is known, or is only that of the file.
    reviewed_at : UTC. keep_until : the last day it is kept.
    stroke, hand : as in ``Swing``. camera_side : plain words.
    document : the explanation as it was given, JSON. numbers : what later reviews are compared with.
    """

    player: str
    clip: str
    clip_sha256: str
    date_known: bool
    keep_until: date
    stroke: str
    hand: str
    camera_side: str
    document: Mapping[str, Any]
    numbers: Reviewed
    id: str = field(default_factory=lambda: uuid.uuid4().hex)
    reviewed_at: datetime = field(default_factory=lambda: datetime.now(timezone.utc))

    @property
    def filmed_on(self) -> date:
        """Day of filming."""
        return self.numbers.day


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What the coach did to one proposal.

    Attributes
    ----------
    player : code. review : id of the review that proposed it, None where there is none. stroke : as in ``Swing``.
    fault : id in the catalogue. action : one of ``ACTIONS``.
    place_before, place_after : among the priorities, from 1; None where it was not there. made_at : UTC.
    """

    player: str
    stroke: str
    fault: str
    action: Action
    review: str | None = None
    place_before: int | None = None
    place_after: int | None = None
    made_at: datetime = field(default_factory=_now)
