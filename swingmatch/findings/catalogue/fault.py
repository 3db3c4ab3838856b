"""``Fault``: one entry of the catalogue. No files, no computation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Sign:
    """One thing that a fault does to what is measured.

    Attributes
    ----------
    of : key of a quantity of the comparison, "duration", "shift", or key of a measure of the stroke.
    when : columns of the comparison in which it shows; empty for a measure, which has its own moment.
    amount : player minus model at the size that a coach would mention, in floors of ``of``; its sign is the direction.
    """

    of: str
    when: tuple[str, ...]
    amount: float

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the deviations it speaks of, as in ``Deviation.key``."""
        return tuple(f"{self.of}@{column}" for column in self.when) or (self.of,)


@dataclass(frozen=True)
class Drill:
    """How a change is practised.

    Attributes
    ----------
    words : what to do, one or two sentences. steps : the progression, easiest first. dose : how much, how often.
    """

    words: str
    steps: tuple[str, ...]
    dose: str


@dataclass(frozen=True)
class Fault:
    """A fault pattern.

    Attributes
    ----------
    id : name in data, for instance "late_contact". stroke : as in ``stroke.strokes.STROKES``.
    title : what a coach says of it. signs : what it does to the measures.
    costs : what it costs the player, one sentence. cause : usual cause upstream, one sentence.
    causes : ids of faults that explain this one when both are seen, the likeliest first.
    confused : ids of faults -> how to tell this one from them, a few words.
    cue : what the player thinks of. drill : what the player practises.
    caution : where load or pain comes in; else empty.
    consequence : weight for the ball that comes of it, 0.5 to 2. teachable : 0.5 (slow to change) to 1.5 (quick).
    order : place in the chain from the ground and the preparation (0) to the finish (1).
    source : row of a published study, or "common practice, no source".
    own : whether the coach wrote or changed it.
    """

    id: str
    stroke: str
    title: str
    signs: tuple[Sign, ...]
    costs: str
    cause: str
    causes: tuple[str, ...]
    confused: Mapping[str, str]
    cue: str
    drill: Drill
    caution: str
    consequence: float
    teachable: float
    order: float
    source: str
    own: bool = False

    @property
    def weights(self) -> dict[str, float]:
        """Key of each deviation in the signature -> its amount in floors."""
        return {key: sign.amount for sign in self.signs for key in sign.keys}


@dataclass(frozen=True)
class Virtue:
    """What is worth praising when it agrees with the model.

    Attributes
    ----------
    key : of a deviation. title : what a coach says. matters : weight, 0.5 to 2.
    """

    key: str
    title: str
    matters: float


@dataclass(frozen=True)
class Catalogue:
    """All that one stroke's deviations may be called.

    Attributes
    ----------
    stroke : as in ``stroke.strokes.STROKES``. faults, virtues : in the data's order.
    floors : key of a measure -> smallest difference that matters on court, in the measure's unit. A measure that is not
        here is no evidence.
    """

    stroke: str
    faults: tuple[Fault, ...]
    virtues: tuple[Virtue, ...]
    floors: Mapping[str, float]

    def __getitem__(self, name: str) -> Fault:
        """The fault of an id. Raises ``KeyError``."""
        for fault in self.faults:
            if fault.id == name:
                return fault
        raise KeyError(name)
