"""``Deviation``: player minus model, for one quantity in one phase."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Deviation:
    """How far the player departs from the model in one quantity, over one phase or at one event.

    Attributes
    ----------
    quantity : key of a quantity in ``findings.quantities``, for instance ``"outside_knee_flexion"``.
    phase : name of the phase ("drop"), or the event ("contact") for a quantity taken at an instant.
    unit : "deg", "arm lengths", "shoulder widths", "hip-to-shoulder", "leg lengths" or "ms".
    player, model : the two values; ``value`` is player minus model.
    spread : standard deviation over the model's own repeats.
    error : standard deviation of measurement for this quantity from this camera side.
    repeat : standard deviation of the player's own swings, 0 where there is one swing.
    floor : the smallest difference that matters on court.
    swings : number of the player's swings behind ``player``.
    at : player's time, seconds from contact, at which to look.
    visible : whether this view can show the quantity at all.
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
    def weight(self) -> float:
        """Size in units of what must be exceeded; above 1 the deviation counts."""
        if not self.visible:
            return 0.0
        return abs(self.value) / max(self.floor, 2.0 * self.doubt)

    @property
    def counts(self) -> bool:
        """Large against the model's spread and the error of measurement, and enough to matter on court."""
        return self.weight > 1.0
