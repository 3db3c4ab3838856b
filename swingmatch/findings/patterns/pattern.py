"""``Pattern``: a fault as one player shows it. No computation, no files."""

from __future__ import annotations

from dataclasses import dataclass, field

from swingmatch.findings.catalogue.fault import Fault, Virtue
from swingmatch.findings.deviation import Deviation


@dataclass(frozen=True)
class Pattern:
    """A fault that the deviations support.

    Attributes
    ----------
    fault : the entry of the catalogue; None for a recurring pattern that matches none (*unnamed*).
    size : 1 is the size that a coach would mention. size_sd : its standard deviation.
    sure : probability that it is there at a size worth a word, 0 to 1.
    evidence : the deviations that carry it, weightiest first.
    swings : how many of the player's swings show it. of : how many there are.
    explains : other patterns that this one explains; they are listed under it and not by themselves.
    """

    fault: Fault | None
    size: float
    size_sd: float
    sure: float
    evidence: tuple[Deviation, ...]
    swings: int
    of: int
    explains: tuple[Pattern, ...] = ()


@dataclass(frozen=True)
class Strength:
    """Something that agrees with the model and matters. ``sure``: probability that it is inside the model's spread."""

    virtue: Virtue
    sure: float
    deviation: Deviation


@dataclass(frozen=True)
class Priority:
    """A change worth making, and why it stands where it stands.

    Attributes
    ----------
    pattern : what is to be changed. score : the product of ``parts``.
    parts : name -> factor: "consequence", "size", "sure", "early", "teachable" and, where this coach tends to overrule,
        "coach".
    """

    pattern: Pattern
    score: float
    parts: dict[str, float] = field(default_factory=dict)
