"""Which model swing is most alike in build and style, and why, in plain words.

A fault must not choose the model: a player who meets the ball late needs a model who does not. So only build and what a
stroke's definition lists as style are compared, and what the whole movement looks like counts little, as a median over
the stroke, which a fault in one part of it hardly moves. What the model is meant to teach is another list
(``Definition.teaching``) and cannot be wished for.

Of a large private library only a short list is read (``library.own``). Of what is given here, build and style of all
are compared, and movements only as long as a model might still be the best: that gives the same as comparing all.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from swingmatch.errors import LibraryError
from swingmatch.library.choosing.groups import groups_of
from swingmatch.library.choosing.moves import Moves, moves_of, unlikeness
from swingmatch.library.choosing.score import (
    MOST,
    PARTS,
    Score,
    field_of,
    least_totals,
    ranked,
    scores_of,
)
from swingmatch.library.choosing.traits import Feature, Traits, features_of, traits
from swingmatch.library.choosing.wishes import SHARES, Wishes, read_wishes, weights
from swingmatch.library.choosing.words import build_distance, explain, line, stance_name
from swingmatch.library.folder import Library
from swingmatch.library.format import Volunteer
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing

__all__ = [
    "DIRECT",
    "PARTS",
    "SHARES",
    "SHORTLIST",
    "Choice",
    "Score",
    "Wishes",
    "build_distance",
    "choose",
    "explain",
    "find_label",
    "find_volunteer",
    "read_wishes",
    "stance_name",
    "traits",
    "typical",
    "what_can_be_wished",
]

#: Up to so many models all movements are compared.
DIRECT = 60
#: So many models come out of the search.
SHORTLIST = 200
#: A player's swings whose movement is compared at most; the traits are those of all.
_SWINGS = 3
#: Two more scales between models whose grip is known to be another, and its share beside the rest of style.
_GRIP = Feature("grip", "grip", "style", 1.0, 0.25)
_OTHER_GRIP = 2.0
#: Labels that a message lists at most.
_LISTED = 40

#: A search in a library: the swing and a number give that many labels, the nearest in movement first.
Search = Callable[[Swing, int], Iterable[str]]


@dataclass(frozen=True)
class Choice:
    """The chosen model.

    Attributes
    ----------
    volunteer, swing : who, and which repeat; the swing is in the volunteer's own hand.
    reasons : sentences for the player: the choice in one line, then likenesses, then what is not alike or cannot be
        told.
    table : how unlike the models are that were looked at, the most alike first, part by part.
    wishes : what was asked for.
    """

    volunteer: Volunteer
    swing: Swing
    reasons: tuple[str, ...]
    table: tuple[Score, ...]
    wishes: Wishes

    @cached_property
    def scores(self) -> Mapping[str, float]:
        """Label to how unlike the player: 0 alike, 1 clearly different on the whole."""
        return {score.label: score.total for score in self.table}

    @property
    def line(self) -> str:
        """The choice in one line."""
        return self.reasons[0]

    def by(self, part: str) -> list[Score]:
        """The models by "build", "style" or "view" alone (what this camera side can compare), the most alike first."""
        return ranked(self.table, part)


def choose(
    swings: Sequence[Swing],
    library: Library,
    name: str | None = None,
    wishes: Wishes | None = None,
    search: Search | None = None,
) -> Choice:
    """The volunteer most alike in build and style, and the repeat to compare with.

    Parameters
    ----------
    swings : at least one swing of one player, either hand, distances in any unit.
    name : label of a volunteer to take whatever the likeness.
    wishes : what counts, where not the usual.
    search : finds the models of nearest movement in a library of more than ``SHORTLIST``.

    Raises
    ------
    LibraryError
        For an unknown ``name`` or wish, or where no volunteer plays the stroke.
    StrokeError
        Where too little of the player's swing is known.
    ValueError
        Without a swing.
    """
    if not swings:
        raise ValueError("there is no swing to choose a model for")
    wishes = wishes or Wishes()
    stroke = swings[0].stroke
    mine = [swing for swing in swings if swing.stroke == stroke]
    wanted = None if name is None else find_volunteer(library, name)
    candidates = {v.label: v for v in library if v.stroke == stroke}
    if not candidates and wanted is None:
        raise LibraryError(f"No volunteer of these model swings plays a {stroke}.")
    if search is not None and len(candidates) > SHORTLIST:
        near = set(search(typical(mine), SHORTLIST))
        candidates = {label: v for label, v in candidates.items() if label in near} or candidates
    if wanted is not None:
        candidates.setdefault(wanted.label, wanted)
    player = traits(mine)
    models = {label: traits(v.swings) for label, v in candidates.items()}
    table = _table(mine, player, candidates, models, wishes, None if wanted is None else wanted.label)
    best = wanted or candidates[table[0].label]
    score = next(score for score in table if score.label == best.label)
    reasons = explain(player, models[best.label], score.known)
    if wanted is None:
        reasons = (line(table, player, models[best.label]), *reasons)
    else:
        reasons = (f"You chose {best.label}.", *reasons)
    if wishes:
        reasons = (reasons[0], f"As you asked: {wishes}.", *reasons[1:])
    return Choice(best, best.swings[score.repeat], reasons, tuple(table), wishes)


def find_volunteer(library: Library, name: str) -> Volunteer:
    """The volunteer of that label, whatever the case; a LibraryError lists the labels there are."""
    label = find_label([v.label for v in library], name)
    return next(v for v in library if v.label == label)


def find_label(labels: Sequence[str], name: str) -> str:
    """The label that is meant, whatever the case; a LibraryError lists some that there are."""
    known = {label.casefold(): label for label in labels}
    wanted = name.strip().casefold()
    if wanted in known:
        return known[wanted]
    near = difflib.get_close_matches(wanted, known, n=1)
    hint = f' Did you mean "{known[near[0]]}"?' if near else ""
    some = ", ".join(labels[:_LISTED]) + (
        f" and {len(labels) - _LISTED} more" if len(labels) > _LISTED else ""
    )
    raise LibraryError(f'There is no model "{name}"; there are {some}.{hint}')


def what_can_be_wished(stroke: str) -> dict[str, str]:
    """What a coach may like or ignore in the choice of a stroke's model: name to words."""
    parts = {"build": "build", "style": "style", "view": "the movement, as far as this camera side shows it"}
    return parts | {f.name: f.label for f in features_of(STROKES[stroke])}


def _table(
    swings: Sequence[Swing],
    player: Traits,
    volunteers: Mapping[str, Volunteer],
    models: Mapping[str, Traits],
    wishes: Wishes,
    wanted: str | None,
) -> list[Score]:
    """The scores of all models that may be the best, and of the one that is wanted."""
    if wishes.grip is not None:
        player, models = _with_grips(player, models, volunteers, wishes.grip)
    shares, own = weights(wishes, STROKES[swings[0].stroke], player.features)
    field = field_of(player, models, shares, own)
    counts = {label: len(v.swings) for label, v in volunteers.items()}
    groups = groups_of(models, counts, own)
    least = dict(zip(field.labels, least_totals(field), strict=True))
    count = min(len(swings), _SWINGS)
    mine = [moves_of(swings[i]) for i in np.linspace(0, len(swings) - 1, count).round().astype(int)]
    members: dict[str, list[str]] = {}
    for label in sorted(groups, key=lambda label: (least[label], label.casefold())):
        members.setdefault(groups[label], []).append(label)
    views: dict[str, tuple[float, float, int]] = {}
    best = np.inf
    for some in members.values():
        # Groups come by their best member, none of which can be nearer than that; nor any group after.
        if len(least) > DIRECT and least[some[0]] > best:
            break
        its = {label: _view(mine, volunteers[label]) for label in some}
        views |= its
        if len(least) > DIRECT:
            best = min(best, max(score.total for score in scores_of(field, its)))
    if wanted is not None and wanted not in views:
        views[wanted] = _view(mine, volunteers[wanted])
    return scores_of(field, views, counts, groups)


def _view(mine: Sequence[Moves], volunteer: Volunteer) -> tuple[float, float, int]:
    size, sure, repeat = unlikeness(mine, [moves_of(swing) for swing in volunteer.swings], MOST)
    return size, sure, repeat


def typical(swings: Sequence[Swing]) -> Swing:
    """The swing of middle length from the first turn to contact: what a search looks for."""
    lasting = [swing.contact - swing.events.get("turn_start", swing.times[0]) for swing in swings]
    return swings[int(np.argsort(lasting)[len(lasting) // 2])]


def _with_grips(
    player: Traits, models: Mapping[str, Traits], volunteers: Mapping[str, Volunteer], grip: str
) -> tuple[Traits, dict[str, Traits]]:
    """Traits with one more feature: whether the grip is the player's. Unknown where a volunteer's is not written."""

    def more(one: Traits, value: float) -> Traits:
        return Traits((*one.features, _GRIP), np.append(one.values, value), np.append(one.sds, 0.0))

    def other(volunteer: Volunteer) -> float:
        known = volunteer.style.get("grip")
        if known is None:
            return float("nan")
        return 0.0 if str(known).casefold() == grip.casefold() else _OTHER_GRIP

    # The player's own is set beside that of the nearest model, as a value beyond all models' would be.
    return more(player, 0.0), {label: more(one, other(volunteers[label])) for label, one in models.items()}
