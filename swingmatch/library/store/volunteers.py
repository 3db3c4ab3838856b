"""Models of the store as the ``Library`` of ``Volunteer`` that the choice of a model takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from swingmatch.library import consent as rules
from swingmatch.library.folder import Library
from swingmatch.library.format import Volunteer
from swingmatch.library.records import Consent, Model

#: Taken where no stature was given; swings are in statures, so it only scales a file in metres. Between the average
#: woman and man (*from memory*).
STATURE = 1.72


def to_library(models: Iterable[Model], consents: Mapping[str, Consent], problems: Iterable[str]) -> Library:
    """A volunteer for each model, every label once: the second "Ann" becomes "Ann (serve)", or "Ann 2"."""
    taken: set[str] = set()
    found = []
    for model in models:
        label = free_label(model.label, model.stroke, taken)
        taken.add(label.casefold())
        consent = consents.get(model.volunteer)
        found.append(
            Volunteer(
                label=label,
                hand=model.hand,
                swings=model.swings,
                stature=model.stature if np.isfinite(model.stature) else STATURE,
                generated=model.generated,
                licence=model.licence,
                consent=None if model.generated or consent is None else rules.words(consent),
                source=model.source,
                sex=model.sex,
                level=model.level,
                stroke=model.stroke,
                style=model.style,
                style_words=model.style_words,
                proportions={name: value for name, value in model.proportions.items() if np.isfinite(value)},
                id=model.id,
            )
        )
    return Library(tuple(sorted(found, key=lambda v: v.label.casefold())), tuple(problems))


def free_label(label: str, stroke: str, taken: set[str]) -> str:
    """The label, or one like it whose lower case is not ``taken``."""
    candidates = [label, f"{label} ({stroke})"]
    number = 1
    while True:
        for candidate in candidates:
            if candidate.casefold() not in taken:
                return candidate
        number += 1
        candidates = [f"{label} {number}"]
