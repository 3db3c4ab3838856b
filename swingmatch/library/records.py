"""What the library holds, as plain values: people's consent, model swings, players' footage, and their media.

Nobody is named here unless the coach writes a name: a person is a *code* of the coach's choice ("V07"), and the same
code stands in the consent, the models and the footage of that person. Nothing in this module touches a disk.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from swingmatch.library.format import GENERATED
from swingmatch.stroke.swing import Hand, Swing

if TYPE_CHECKING:
    from swingmatch.library.model import Spread

#: What somebody can agree to: the coach's own use; showing it to students; showing the face in it; passing it on in a
#: set that others get.
Purpose = Literal["own_use", "show_students", "show_face", "shared_set"]
PURPOSES: tuple[Purpose, ...] = ("own_use", "show_students", "show_face", "shared_set")

#: What a file of the library holds: the video itself; single pictures of it; the keypoints found in it; a small
#: picture for lists; the swings, their mean and spread; any other file that belongs to the same person.
Kind = Literal["clip", "frames", "track", "thumbnail", "swings", "other"]
KINDS: tuple[Kind, ...] = ("clip", "frames", "track", "thumbnail", "swings", "other")


@dataclass(frozen=True, kw_only=True)
class Consent:
    """What one person agreed to. Of several records with one code the latest ``agreed_on`` counts.

    It is a record of what was agreed, and does not replace the agreement: local law and the club's own rules decide
    what has to be asked, of whom and in which form, above all where the person is a minor.

    Attributes
    ----------
    code : of the person. agreed_on : the day of the agreement.
    own_use, show_students, show_face, shared_set : what was agreed.
    until : the last day on which it holds; None without an end.
    minor : whether a guardian has to agree, and ``guardian`` who did: a code, or whatever the coach writes.
    paper_sha256 : of the signed paper, photographed or scanned; the paper itself stays with the coach.
    withdrawn_on : the day from which it no longer holds.
    name : only where the coach writes one.
    """

    code: str
    agreed_on: date
    own_use: bool = True
    show_students: bool = False
    show_face: bool = False
    shared_set: bool = False
    until: date | None = None
    minor: bool = False
    guardian: str | None = None
    paper_sha256: str | None = None
    withdrawn_on: date | None = None
    name: str | None = None


@dataclass(frozen=True, kw_only=True)
class Media:
    """A file of the library, kept under the hash of its bytes.

    Attributes
    ----------
    kind : one of ``KINDS``. sha256 : of its bytes, 64 hexadecimal digits. size : bytes.
    name : a file name for people ("repeat_1.mp4"), unique within a model or a piece of footage.
    """

    kind: Kind
    sha256: str
    size: int
    name: str


@dataclass(frozen=True, kw_only=True)
class NewMedia:
    """A file to be taken into the library: its bytes, or where they lie."""

    kind: Kind
    name: str
    source: bytes | Path


def new_id() -> str:
    """A name for a model or a piece of footage, not given before: 32 hexadecimal digits."""
    return uuid.uuid4().hex


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What is known of a model without opening its arrays: what lists, filters and the choice by style need.

    Attributes
    ----------
    id : of the model. volunteer : code of the person, or of the made-up figure.
    label : what is shown for it; whatever the consent allows.
    stroke, hand : as in ``Swing``. repeats : number of swings.
    generated : True where no person was recorded. source, licence : of the data.
    stance, grip, take_back : in words, None where not known. tempo : seconds from the start of the turn to contact.
    level, sex : in words. stature : metres, NaN where not given.
    build : ratios by the names of ``build.RATIOS``. proportions : segment lengths over stature.
    traits : any numbers computed once and compared often (style and teaching features by name).
    style, style_words : taste for people to read, as in ``Volunteer``.
    tags : the coach's own words. notes : sentences on its quality.
    contains : codes of all people of whom something is in it, the volunteer first; an average over several people
        names them all. media : its files. added_at : UTC.
    """

    volunteer: str
    label: str
    stroke: str
    hand: Hand
    generated: bool
    licence: str
    id: str = field(default_factory=new_id)
    source: str = GENERATED
    stance: str | None = None
    grip: str | None = None
    take_back: str | None = None
    tempo: float = float("nan")
    level: str = ""
    sex: str | None = None
    stature: float = float("nan")
    build: Mapping[str, float] = field(default_factory=dict)
    proportions: Mapping[str, float] = field(default_factory=dict)
    traits: Mapping[str, float] = field(default_factory=dict)
    style: Mapping[str, str | float] = field(default_factory=dict)
    style_words: tuple[str, ...] = ()
    tags: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    contains: tuple[str, ...] = ()
    media: tuple[Media, ...] = ()
    repeats: int = 0
    added_at: datetime = field(default_factory=lambda: datetime.now(timezone.utc).replace(microsecond=0))


@dataclass(frozen=True, kw_only=True)
class Model(Entry):
    """A model with its arrays.

    Attributes
    ----------
    swings : at least one repeat; statures, court axes, seconds from contact, the volunteer's own hand.
    mean : the mean swing of the repeats; None where it has not been computed. spread : of the repeats about it.
    apart : of each repeat, how unlike the mean it is, degrees a segment; empty where it has not been computed.
    """

    swings: tuple[Swing, ...]
    mean: Swing | None = None
    spread: Spread | None = None
    apart: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not self.swings:
            raise ValueError("a model needs at least one swing")
        object.__setattr__(self, "repeats", len(self.swings))
        if not self.generated and self.source == GENERATED:
            object.__setattr__(self, "source", "")
        if self.volunteer not in self.contains:
            object.__setattr__(self, "contains", (self.volunteer, *self.contains))


@dataclass(frozen=True, kw_only=True)
class Footage:
    """What was filmed of a player on one occasion. The same consent is needed as for a volunteer.

    Attributes
    ----------
    player : code of the person. filmed_on : day. keep_until : the last day it is kept; removed after that.
    stroke : what was played, "" where not known. note : the coach's own words. media : its files. added_at : UTC.
    """

    player: str
    filmed_on: date
    keep_until: date
    id: str = field(default_factory=new_id)
    stroke: str = ""
    note: str = ""
    media: tuple[Media, ...] = ()
    added_at: datetime = field(default_factory=lambda: datetime.now(timezone.utc).replace(microsecond=0))


@dataclass(frozen=True, kw_only=True)
class Withdrawal:
    """All that is kept of a withdrawal, so that an old copy is not taken in again.

    ``code_hash`` is SHA-256 over the store's own salt and the code. It hides the code from a reader's eye only: who
    has the store can try short codes out.
    """

    code_hash: str
    withdrawn_on: date
