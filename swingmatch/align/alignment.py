"""``Alignment``: the time warp between a player's swing and a model swing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Alignment:
    """Pairs of instants at which both are at the same moment of the stroke.

    Attributes
    ----------
    player_times : (N,) seconds from the player's contact, strictly rising.
    model_times : (N,) seconds from the model's contact, strictly rising; ``model_times[i]`` is the model's
        time at the moment of the stroke that the player has at ``player_times[i]``. Contact meets contact:
        some ``i`` has zero in both.
    distance : mean distance of the aligned features, degrees a segment.
    """

    player_times: NDArray[np.float64]
    model_times: NDArray[np.float64]
    distance: float

    def __post_init__(self) -> None:
        if self.player_times.shape != self.model_times.shape or self.player_times.ndim != 1:
            raise ValueError("player_times and model_times must be one-dimensional and of one length")
        if (np.diff(self.player_times) <= 0).any() or (np.diff(self.model_times) <= 0).any():
            raise ValueError("both clocks of an alignment must rise strictly")

    def to_model(self, player_times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Model's time for each player's time, both in seconds from contact; held at the ends."""
        return np.interp(player_times, self.player_times, self.model_times)

    def to_player(self, model_times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Player's time for each model's time, both in seconds from contact; held at the ends."""
        return np.interp(model_times, self.model_times, self.player_times)
