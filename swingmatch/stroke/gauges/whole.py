"""Measures of the swing as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swingmatch.stroke.movement import Movement


def tempo(movement: Movement) -> float:
    """Tempo: time from the turn's start to the forward swing's start, over the time from there to contact."""
    start, forward = movement.when("turn_start"), movement.when("forward_start")
    return (forward - start) / -forward


@dataclass(frozen=True)
class HeadMovement:
    """A gauge: how far the head moves against the ground from the forward swing's start to 100 ms after contact.

    The largest distance from where it is at contact, statures.
    """

    start: str = "forward_start"

    def __call__(self, movement: Movement) -> float:
        _, head = movement.over(movement.when(self.start), 0.1, movement.head)
        if not np.isfinite(head).any():
            return float("nan")
        return float(np.nanmax(np.linalg.norm(head - movement.at("contact", movement.head), axis=1)))
