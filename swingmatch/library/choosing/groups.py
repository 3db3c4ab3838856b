"""Models of one style as groups, whatever the player: a film cannot choose within a group, and need not.

Two neighbours in a large library differ by less than any film shows. Which of them is nearer to a player then depends
on the camera side. So a group is chosen, and of it a model.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from swingmatch.library.choosing.traits import Traits

#: How far a model may be from the first of its group in any one feature of style, in scales: midway between what words
#: call alike (``words.ALIKE``) and a clear difference. Our own judgement.
REACH = 0.7


def groups_of(
    models: Mapping[str, Traits], swings: Mapping[str, int], counts: Mapping[str, float]
) -> dict[str, str]:
    """Label -> label of the first model of its group.

    Models come in the order of most ``swings``, then of their labels. Each joins the nearest first one within
    ``REACH`` in every feature of style that counts for something (``counts``: feature -> share), or begins a group. A
    feature that is not known of one of the two is taken as alike. Where no style counts, every model is a group.
    """
    if not any(
        f.group == "style" and counts.get(f.name, 0.0) > 0.0 for t in models.values() for f in t.features
    ):
        return {label: label for label in models}
    order = sorted(models, key=lambda label: (-swings.get(label, 0), label.casefold()))
    firsts: list[str] = []
    places = np.empty((0, 0))
    out = {}
    for label in order:
        place = np.array(
            [
                value / feature.scale
                for feature, value in zip(models[label].features, models[label].values, strict=True)
                if feature.group == "style" and counts.get(feature.name, 0.0) > 0.0
            ]
        )
        if firsts:
            apart = np.nan_to_num(np.abs(places - place)).max(axis=1, initial=0.0)
            nearest = int(np.argmin(apart))
            if apart[nearest] <= REACH:
                out[label] = firsts[nearest]
                continue
        firsts.append(label)
        places = place[None] if len(firsts) == 1 else np.vstack((places, place))
        out[label] = label
    return out
