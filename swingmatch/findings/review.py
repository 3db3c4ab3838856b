"""``Review``: all that is said about one player's clip, ready to be shown. No computation, no files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.body.track import Track
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.explanation import Explanation
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.stroke.measure import Measure
from swingmatch.stroke.repeats import Scatter
from swingmatch.stroke.swing import Swing


@dataclass(frozen=True)
class Finding:
    """One thing said to the player, with its evidence.

    Attributes
    ----------
    title : a few plain words, for instance "Contact is late".
    sentence : one sentence with the figures: what, by how much, when.
    cue, drill : what to think of and what to practise; empty for a strength.
    deviation : the evidence; the first one where there are several.
    """

    title: str
    sentence: str
    cue: str
    drill: str
    deviation: Deviation


@dataclass(frozen=True)
class Pair:
    """One swing of the player set beside the model.

    ``player`` and ``model`` are both on court axes, statures, in the player's own hand (a right-handed model
    has been mirrored for a left-handed player). ``differences`` is (N, K): at each of the alignment's N
    moments and each keypoint, how far the joint departs from the model, degrees of the segment that leads to
    it, NaN where this view cannot tell.
    """

    player: Swing
    model: Swing
    alignment: Alignment
    differences: NDArray[np.float64]

    @property
    def events(self) -> dict[str, float]:
        """The stroke's events on the player's clock, seconds: the model's, carried by the warp.

        Both halves of a picture then share one set of phases, and an event that was not found in the player's own
        movement has its place. Where the warp does not reach, the player's own event stands.
        """
        first, last = self.alignment.model_times[[0, -1]]
        out = {}
        for name, time in self.model.events.items():
            at = time - self.model.contact
            if first <= at <= last:
                out[name] = float(self.alignment.to_player(np.array([at]))[0]) + self.player.contact
        latest = max(out.values(), default=self.player.contact)
        if "recovery" not in out and self.player.events.get("recovery", -np.inf) > latest:
            out["recovery"] = self.player.events["recovery"]
        if "ready" not in out and self.player.events.get("ready", np.inf) < min(
            out.values(), default=-np.inf
        ):
            out["ready"] = self.player.events["ready"]
        return out


@dataclass(frozen=True)
class Review:
    """What the coach sees of one clip.

    Attributes
    ----------
    player : name to show, from the file's name or the coach.
    clip : the clip's file name. track : the player's track, for drawing on the film.
    camera_side : plain words, for instance "right side".
    model_name : the volunteer's label. model_reasons : sentences that say why this model was chosen.
    model_generated : True when no person was recorded.
    pairs : one a swing, in the order of the clip. best : index of the swing shown first.
    deviations : all of them over all swings, for the joint-by-phase map.
    strengths, changes : what works, and the two or three things worth changing (may be empty).
    not_visible : labels of quantities that this view cannot show.
    notes : sentences on the footage and its limits.
    slow : how many times slower than life the clip plays; all times here are real, the clip's are ``slow`` times these.
    measures : of each swing, in the order of ``pairs``; empty where nothing was measured.
    scatters : stroke -> how well contact repeats, of every stroke that was played more than once.
    explanation : all that is said, in words; ``strengths`` and ``changes`` are what page and film show of it.
    evidence, patterns : what it rests on.
    """

    player: str
    clip: str
    track: Track
    camera_side: str
    model_name: str
    model_reasons: tuple[str, ...]
    model_generated: bool
    pairs: tuple[Pair, ...]
    best: int
    deviations: tuple[Deviation, ...]
    strengths: tuple[Finding, ...]
    changes: tuple[Finding, ...]
    not_visible: tuple[str, ...]
    notes: tuple[str, ...]
    slow: float = 1.0
    measures: tuple[tuple[Measure, ...], ...] = ()
    scatters: Mapping[str, Scatter] = field(default_factory=dict)
    explanation: Explanation | None = None
    evidence: Evidence | None = None
    patterns: tuple[Pattern, ...] = ()
