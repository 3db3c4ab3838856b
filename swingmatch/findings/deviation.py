"""``Deviation``: player minus model, for one quantity in one phase."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

#: Share of false ones that is accepted among the deviations that are said to be real (*common practice, no source*).
FALSE_SHARE = 0.1
#: What a tolerance may be made of.
Bound = Literal["floor", "error", "model's spread", "player's spread"]


@dataclass(frozen=True)
class Deviation:
    """How far the player departs from the model in one quantity, over one phase or at one event.

    Attributes
    ----------
    quantity : key of a quantity in ``findings.quantities``, for instance ``"outside_knee_flexion"``; "duration" of a
        phase; "shift", how much later than the model by the warp, negative where earlier; or key of a measure.
    phase : name of the phase ("drop"), or the event ("contact") for a quantity taken at an instant; empty for a
        measure, which has its own moment.
    unit : "deg", "arm lengths", "shoulder widths", "hip-to-shoulder", "leg lengths" or "ms".
    player, model : the two values; ``value`` is player minus model.
    spread : standard deviation over the model's own repeats; the usual one of sound players where there is one repeat.
    error : standard deviation of measurement for this quantity from this camera side.
    repeat : standard deviation of the player's own swings; 0 where there is one swing, of which alone is then spoken.
    floor : the smallest difference that matters on court.
    swings : number of the player's swings behind ``player``.
    at : player's time, seconds from contact, at which to look.
    visible : whether this view can show the quantity at all.
    peak, peak_at : the largest difference within the phase, with its sign, and where it lies, seconds from contact on
        the player's clock; NaN where there is no more than one moment.
    chance : probability that a difference as large is seen where there is none, after what was looked at beside it is
        taken into account (false discovery rate over the map); NaN before it is known.
    """

    quantity: str
    phase: str
    unit: str
    player: float
    model: float
    spread: float
    error: float
    repeat: float
    floor: float
    swings: int
    at: float
    visible: bool
    peak: float = math.nan
    peak_at: float = math.nan
    chance: float = math.nan

    @property
    def key(self) -> str:
        """Name of what is looked at: ``quantity@phase``, or the measure's key."""
        return f"{self.quantity}@{self.phase}" if self.phase else self.quantity

    @property
    def value(self) -> float:
        """Player minus model, in ``unit``."""
        return self.player - self.model

    @property
    def doubt(self) -> float:
        """Standard deviation of ``value``: model's repeats and measurement, and the player's own repeats.

        The measurement error is mostly a bias of the view, so it does not shrink with the number of swings;
        the player's own variation does.
        """
        return float((self.spread**2 + self.error**2 + self.repeat**2 / max(self.swings, 1)) ** 0.5)

    @property
    def tolerance(self) -> float:
        """What must be exceeded, in ``unit``: the floor, or twice the doubt where that is more.

        Infinite where the doubt is not known.
        """
        return math.inf if math.isnan(self.doubt) else max(self.floor, 2.0 * self.doubt)

    @property
    def in_tolerances(self) -> float:
        """``value`` in units of ``tolerance``, with its sign; 0 where the view cannot show it."""
        return self.value / self.tolerance if self.visible else 0.0

    @property
    def bound(self) -> Bound:
        """What makes the tolerance as wide as it is: the largest of its parts."""
        parts: dict[Bound, float] = {
            "floor": self.floor,
            "error": 2.0 * self.error,
            "model's spread": 2.0 * self.spread,
            "player's spread": 2.0 * self.repeat / max(self.swings, 1) ** 0.5,
        }
        return max(parts, key=parts.__getitem__)

    @property
    def weight(self) -> float:
        """Size in units of what must be exceeded; above 1 the deviation counts."""
        return abs(self.in_tolerances)

    @property
    def counts(self) -> bool:
        """Large against the model's spread and the error of measurement, enough to matter on court, and no chance.

        "No chance": among all that was looked at, not one in ten of those that count is expected to be false. Where
        nothing is known of chance it is not asked for.
        """
        return self.weight > 1.0 and (math.isnan(self.chance) or self.chance < FALSE_SHARE)
