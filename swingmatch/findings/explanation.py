"""``Explanation``: what is said to the player of one clip, in words. No computation, no files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swingmatch.findings.deviation import Deviation


@dataclass(frozen=True)
class Cited:
    """One piece of evidence as a sentence, and the deviation that it cites."""

    sentence: str
    deviation: Deviation


@dataclass(frozen=True)
class Praise:
    """What works: a few words, the evidence, and the probability that it is inside the model's spread."""

    title: str
    evidence: Cited
    sure: float


@dataclass(frozen=True)
class Change:
    """One thing worth changing, or seen and left out.

    Attributes
    ----------
    id : of the catalogue; empty for a pattern without a name. title : what a coach says.
    sure : probability, 0 to 1; ``sure_words`` in words. size : 1 is the size that a coach would mention.
    swings, of : how many of the player's swings show it. seen : the same as a sentence.
    reason : why it stands in its place; of something left out, why it is.
    evidence : weightiest first.
    costs, cause, cue, drill, steps, dose, caution : as in the catalogue; empty where it has none.
    confused : sentences on what else it could be, where it is not sure.
    symptoms : what it explains; listed under it.
    parts : name -> factor of its rank. source : as in the catalogue. own : whether the coach wrote the entry.
    """

    id: str
    title: str
    sure: float
    sure_words: str
    size: float
    swings: int
    of: int
    seen: str
    reason: str
    evidence: tuple[Cited, ...]
    costs: str = ""
    cause: str = ""
    cue: str = ""
    drill: str = ""
    steps: tuple[str, ...] = ()
    dose: str = ""
    caution: str = ""
    confused: tuple[str, ...] = ()
    symptoms: tuple[Change, ...] = ()
    parts: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    own: bool = False


@dataclass(frozen=True)
class Explanation:
    """What a coach would say, first what works.

    Attributes
    ----------
    language : in which all sentences are. player, model : names. generated : whether the model is a generated figure.
    stroke, camera_side : as in the data ("forehand", "right side"). swings : how many. opening : that as a sentence.
    strengths : at most four. priorities : at most three. left_out : seen, but not among the priorities.
    unnamed : recurring patterns that the catalogue does not know.
    repeatability : sentences on what repeats. since : sentences on what changed since the last review.
    settle : sentences on which footage would settle what is open. cautions : sentences.
    """

    language: str
    player: str
    model: str
    generated: bool
    stroke: str
    camera_side: str
    swings: int
    opening: str
    strengths: tuple[Praise, ...]
    priorities: tuple[Change, ...]
    left_out: tuple[Change, ...]
    unnamed: tuple[Change, ...]
    repeatability: tuple[str, ...]
    since: tuple[str, ...]
    settle: tuple[str, ...]
    cautions: tuple[str, ...]
