"""``Curves``: every quantity of one swing over time, taken once and read many times."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, K
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]


def _other_arm() -> NDArray[np.intp]:
    """(K,) the keypoints with a left and a right arm in each other's place."""
    order = np.arange(K)
    for part in ("shoulder", "elbow", "wrist", "hand"):
        left, right = INDEX[f"left_{part}"], INDEX[f"right_{part}"]
        order[[left, right]] = right, left
    return order


_OTHER_ARM = _other_arm()


@dataclass(frozen=True)
class Curves:
    """Quantities of one swing.

    Attributes
    ----------
    swing : whose they are. clock : (T,) seconds from its contact.
    values : key of a quantity -> (T,) in its unit, with the ball on the right.
    turned : the same if the camera's azimuth is greater by its standard deviation.
    """

    swing: Swing
    clock: Array
    values: Mapping[str, Array]
    turned: Mapping[str, Array]


def curves_of(swing: Swing) -> Curves:
    """The quantities of a swing over time."""
    # Nothing here needs the drawn bodies, and turning them takes long.
    bare = replace(swing, draws=None, racket=None, racket_draws=None, racket_seen=None)
    values = _computed(bare)
    turned = _computed(bare.turned(bare.azimuth_sd)) if bare.azimuth_sd else values
    return Curves(swing, swing.times - swing.contact, values, turned)


def _computed(swing: Swing) -> dict[str, Array]:
    definition = definition_of(swing)
    points = definition.on_ball_side(swing.points, swing.hand)
    # Quantities call the hitting arm the right one; on the ball's side it is a backhand's left.
    arms = points[:, _OTHER_ARM] if definition.backhand else points
    return {key: row.compute(arms if row.arm else points) for key, row in QUANTITIES.items()}
