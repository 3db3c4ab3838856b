"""The coach's own models beside those that ship, for a choice; of a large library only a short list is read.

What is listed of a model without opening its arrays holds its build and style, and the search holds its movement. Of
more than ``SHORTLIST`` models of a stroke, those nearest in either come further; the others are alike in neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from swingmatch.library.choose import SHORTLIST, typical
from swingmatch.library.choosing.score import field_of, least_totals
from swingmatch.library.choosing.traits import Feature, Traits, features_of, traits
from swingmatch.library.choosing.wishes import Wishes, weights
from swingmatch.library.folder import Library
from swingmatch.library.records import Entry, Purpose
from swingmatch.library.search.features import swing_features
from swingmatch.library.search.nearest import nearest
from swingmatch.library.store import Store
from swingmatch.library.store.reading import Filter
from swingmatch.library.store.volunteers import free_label
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing

_NONE = Library(())


@dataclass(frozen=True)
class OwnModels:
    """What a choice may take: models of the store that are agreed for ``purpose``, and those that ``shipped`` holds.

    Attributes
    ----------
    store : an open one. purpose : what a model has to be agreed for. shipped : taken as they are; none where empty.
    """

    store: Store
    purpose: Purpose = "own_use"
    shipped: Library = _NONE

    def labels(self, on: date | None = None) -> dict[str, str]:
        """Id -> label, each label once, also beside the shipped ones: of those the coach's own are marked."""
        taken: set[str] = set()
        theirs = {volunteer.label.casefold() for volunteer in self.shipped}
        out = {}
        for entry in self.store.models(on, self.purpose):
            label = free_label(entry.label, entry.stroke, taken)
            taken.add(label.casefold())
            out[entry.id] = f"{label} (own)" if label.casefold() in theirs else label
        return out

    def names(self) -> tuple[str, ...]:
        """All labels there are."""
        return (*self.labels().values(), *(volunteer.label for volunteer in self.shipped))

    def of(self, swings: Sequence[Swing], name: str | None = None, wishes: Wishes | None = None) -> Library:
        """The models that may be chosen for a player's ``swings``, of one stroke.

        ``name`` : label of one that has to be among them. ``wishes`` : as the choice will have them.
        """
        stroke = swings[0].stroke
        labels = self.labels()
        entries = self.store.models(purpose=self.purpose, wanted=Filter(stroke=stroke))
        ids = None
        if len(entries) > SHORTLIST:
            ids = {
                *self._moving_alike(swings, entries),
                *_built_alike(swings, entries, wishes or Wishes()),
                *(id for id, label in labels.items() if name and label.casefold() == name.strip().casefold()),
            }
        found = self.store.library(purpose=self.purpose, stroke=None if ids else stroke, ids=ids)
        own = tuple(replace(v, label=labels.get(v.id, v.label)) for v in found)
        both = sorted((*own, *self.shipped), key=lambda v: v.label.casefold())
        return Library(tuple(both), (*found.problems, *self.shipped.problems))

    def _moving_alike(self, swings: Sequence[Swing], entries: Sequence[Entry]) -> list[str]:
        """Ids of the models whose movement is nearest, exactly as if all were measured."""
        matrix = swing_features(typical(swings))
        allowed = {entry.id for entry in entries}
        return [id for id, _ in nearest(matrix, self.store.features(), SHORTLIST, allowed=allowed)]


def _built_alike(swings: Sequence[Swing], entries: Sequence[Entry], wishes: Wishes) -> list[str]:
    """Ids of the models nearest in build and style, by what is listed of them."""
    definition = STROKES[swings[0].stroke]
    features = features_of(definition)
    models = {entry.id: _listed(entry, features) for entry in entries}
    field = field_of(traits(swings), models, *weights(wishes, definition, features))
    order = np.argsort(least_totals(field), kind="stable")
    return [field.labels[i] for i in order[:SHORTLIST]]


def _listed(entry: Entry, features: Sequence[Feature]) -> Traits:
    values = np.array([entry.traits.get(feature.name, np.nan) for feature in features])
    return Traits(tuple(features), values, np.zeros(len(features)))
