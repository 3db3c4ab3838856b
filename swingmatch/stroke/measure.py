"""Take a swing's measures, each with its uncertainty.

The uncertainty comes from bodies drawn from what the footage allows (``Swing.draws``): every one is a whole swing, with
its contact moved by the error of contact and its events found anew, and is measured like the swing itself. The spread
is then brought to what was seen against the truth, see ``certainty``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from swingmatch.stroke.certainty import sides_that_show, stated_sd
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.movement import Movement
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Hand, Swing

Array = NDArray[np.float64]

#: Half-width of a normal distribution's 90 % interval, standard deviations.
NINE_IN_TEN = 1.645
#: How far a racket that is not tracked may point elsewhere at contact than it is taken to, degrees (*common
#: practice, no source*).
_AIM_SD = 15.0


@dataclass(frozen=True)
class Measure:
    """One number a coach can act on.

    Attributes
    ----------
    row : what is measured. value : in ``row.unit``, NaN where it cannot be told.
    sd : stated standard deviation. metres : the value in metres where the player's stature is known and it is a length.
    time : seconds on the swing's clock at which it is shown, NaN where that event was not found.
    why_not : "" where the measure may be reported, else why not, in a few words.
    sides : camera sides that would show it, where this one does not.
    """

    row: Row
    value: float
    sd: float
    time: float
    metres: float | None = None
    why_not: str = ""
    sides: tuple[str, ...] = ()

    @property
    def visible(self) -> bool:
        """Whether the value says something."""
        return self.why_not == ""

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the 90 % interval."""
        half = NINE_IN_TEN * self.sd
        return self.value - half, self.value + half


def measure(
    swing: Swing,
    *,
    contact_sd: float = 0.0,
    stature: float | None = None,
    hides: Callable[[str], str | None] = lambda key: None,
) -> tuple[Measure, ...]:
    """Every measure of a swing's stroke, in the definition's order.

    Parameters
    ----------
    contact_sd : standard deviation of the contact time, s. stature : of the player in metres, where known.
    hides : key of a measure -> why this footage cannot show it, or None.
    """
    definition = definition_of(swing)
    own = definition.movement(swing)
    values = {row.key: _value(row, own) for row in definition.measures}
    spread = spreads(swing, definition, values, contact_sd)
    frame = 1000.0 * float(np.median(np.diff(swing.times)))
    exact = swing.draws is None
    out = []
    for row in definition.measures:
        sd = spread[row.key] if exact else stated_sd(definition.name, row.key, spread[row.key])
        if row.unit == "ms" and not exact:
            # A moment is one of the film's pictures or between two: no reading is better than that (E20).
            sd = float(np.hypot(sd, frame / np.sqrt(12.0)))
        why = hides(row.key) or _why_not(row, values[row.key], sd, frame, own)
        out.append(
            Measure(
                row=row,
                value=values[row.key],
                sd=sd,
                time=row.when(own) + swing.contact,
                metres=_metres(row, values[row.key], own, stature),
                why_not=why,
                sides=_as_seen_by(swing.hand, sides_that_show(definition.name, row.key, row.useful))
                if why == UNSEEN
                else (),
            )
        )
    return tuple(out)


#: Why a measure is left out.
UNSEEN = "not visible from this view"
NO_RACKET = "the racket was not seen"
RACKET_HIDDEN = "the racket was not seen at that moment"
NO_BALL = "the ball was not seen at the racket"
NOT_FOUND = "its moment was not found"
TOO_CLOSE = "closer together than two pictures of this film"


def _why_not(row: Row, value: float, sd: float, frame: float, movement: Movement) -> str:
    if row.racket and movement.racket is None:
        return NO_RACKET
    if row.ball and movement.struck is None:
        return NO_BALL
    if not np.isfinite(value):
        found = np.isfinite([movement.when(event) for event in row.at.split("..")]).all()
        return RACKET_HIDDEN if row.racket and found else NOT_FOUND
    if not NINE_IN_TEN * sd <= row.useful:
        return UNSEEN
    if "_before_" in row.key and abs(value) < frame:
        return TOO_CLOSE
    return ""


def _as_seen_by(hand: Hand, sides: tuple[str, ...]) -> tuple[str, ...]:
    """Camera sides of a right-hander as those of a player of ``hand``."""
    if hand == "right":
        return sides
    other = {"right": "left", "left": "right"}
    return tuple(" ".join(other.get(word, word) for word in side.split()) for side in sides)


def _metres(row: Row, value: float, movement: Movement, stature: float | None) -> float | None:
    length = {"arm lengths": movement.arm, "shoulder widths": movement.shoulder_width, "statures": 1.0}
    if stature is None or row.unit not in length:
        return None
    return value * length[row.unit] * stature


def _value(row: Row, movement: Movement) -> float:
    with np.errstate(invalid="ignore", divide="ignore"):
        return float(row.of(movement))


def difference(row: Row, one: float, other: float) -> float:
    """``one - other``, angles to the nearest whole turn."""
    gap = one - other
    return gap - 360.0 * round(gap / 360.0) if row.unit == "deg" and np.isfinite(gap) else gap


def spreads(
    swing: Swing, definition: Definition, values: Mapping[str, float], contact_sd: float
) -> dict[str, float]:
    """Root-mean-square departure of the drawn swings' measures from ``values``: key -> in the measure's unit.

    0 for a swing without draws; NaN where hardly any of the draws gives the measure.
    """
    if swing.draws is None:
        return dict.fromkeys(values, 0.0)
    count = len(swing.draws)
    # Evenly spread quantiles make a normal distribution of few draws; the bodies are in no order.
    rng = np.random.default_rng(0)
    late, about, up = (norm.ppf((rng.permutation(count) + 0.5) / count) for _ in range(3))
    off: dict[str, list[float]] = {key: [] for key in values}
    for i, draw in enumerate(swing.draws):
        drawn = _drawn(swing, definition, i, draw, swing.contact + contact_sd * float(late[i]))
        movement = definition.movement(drawn, (_AIM_SD * float(about[i]), _AIM_SD * float(up[i])))
        for row in definition.measures:
            off[row.key].append(difference(row, _value(row, movement), values[row.key]))
    return {key: _rms(np.array(found)) for key, found in off.items()}


def _drawn(swing: Swing, definition: Definition, i: int, points: Array, contact: float) -> Swing:
    """The drawn body ``i`` as a swing, with its own events and the racket that goes with it."""
    events = definition.find_events(swing.times, definition.on_ball_side(points, swing.hand), contact)

    def own(draws: Array | None, known: Array | None) -> Array | None:
        return known if draws is None else draws[i % len(draws)]

    return replace(
        swing,
        points=points,
        draws=None,
        events=events,
        racket=own(swing.racket_draws, swing.racket),
        racket_draws=None,
        struck=own(swing.struck_draws, swing.struck),
        struck_draws=None,
    )


def _rms(off: Array) -> float:
    known = off[np.isfinite(off)]
    return float(np.sqrt(np.mean(known**2))) if len(known) >= 0.5 * len(off) else float("nan")
