"""``Swing``: one stroke, on court axes, with its events.

Axes (ISB): X towards the target, Y up, Z to the right of someone facing the target; origin on the ground
under the middle of the hips at the first event. Distances are in statures (body heights) unless a swing knows
its scale, angles in degrees, times in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import K, mirror
from swingmatch.series import resample
from swingmatch.stroke.direction import camera_to_court

Hand = Literal["right", "left"]

#: Events of a groundstroke in order; a phase is named after the interval from one event to another.
EVENTS: tuple[str, ...] = (
    "ready",
    "turn_start",
    "hands_apart",
    "end_of_take_back",
    "lowest_hand",
    "forward_start",
    "contact",
    "end_of_follow_through",
    "recovery",
)
PHASES: tuple[tuple[str, str, str], ...] = (
    ("preparation", "ready", "hands_apart"),
    ("take-back", "hands_apart", "end_of_take_back"),
    ("drop", "end_of_take_back", "forward_start"),
    ("forward swing", "forward_start", "contact"),
    ("follow-through", "contact", "end_of_follow_through"),
    ("recovery", "end_of_follow_through", "recovery"),
)


@dataclass(frozen=True)
class Swing:
    """One stroke cut out of a track, or a model swing.

    Attributes
    ----------
    times : (T,) seconds, rising; clip time for a player, time from contact for a model swing.
    points : (T, K, 3) court axes, statures; NaN where unknown.
    events : name -> seconds on the same clock. Only events that were found are present; "contact" always is.
    hand : the hitting hand.
    camera_azimuth : degrees from the target direction to the camera about the vertical, 0 in front of
        the player, +90 on the player's right-hand side, 180 behind; NaN where there was no camera.
    azimuth_sd : standard deviation of the azimuth, degrees: all directions on the court may be off together by as much.
    stroke : "forehand".
    racket : (T, 5, 3) butt, throat, tip, left edge, right edge on court axes, or None where it was never seen; NaN
        where it is not known. Which edge is which, see ``mirror_racket``.
    racket_draws : (S, T, 5, 3) rackets that the footage allows as well, the i-th held by the i-th of ``draws``.
    racket_seen : (T,) whether the racket's pose is known well enough to be spoken of; None where it is exact or never
        seen.
    struck, struck_draws : (3,) and (S, 3) where the ball met the strings, court axes; None where it was not seen.
    draws : (S, T, K, 3) bodies that the footage allows as well as ``points``, drawn at random, or None where the points
        are exact. What a measure varies by over them is its uncertainty.
    """

    times: NDArray[np.float64]
    points: NDArray[np.float64]
    events: Mapping[str, float]
    hand: Hand
    camera_azimuth: float = float("nan")
    stroke: str = "forehand"
    racket: NDArray[np.float64] | None = None
    draws: NDArray[np.float64] | None = None
    azimuth_sd: float = 0.0
    racket_draws: NDArray[np.float64] | None = None
    racket_seen: NDArray[np.bool_] | None = None
    struck: NDArray[np.float64] | None = None
    struck_draws: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        if self.points.shape != (len(self.times), K, 3):
            raise ValueError(f"points has shape {self.points.shape}, expected ({len(self.times)}, {K}, 3)")
        if "contact" not in self.events:
            raise ValueError("a swing needs its contact time")

    @property
    def contact(self) -> float:
        """Time of contact in seconds."""
        return self.events["contact"]

    def as_right_handed(self) -> Swing:
        """The same swing by a right-hander: a left-hander's is mirrored, a right-hander's is returned."""
        if self.hand == "right":
            return self
        return replace(
            self,
            points=mirror(self.points),
            hand="right",
            camera_azimuth=-self.camera_azimuth,
            racket=mirror_racket(self.racket),
            draws=None if self.draws is None else mirror(self.draws),
            racket_draws=mirror_racket(self.racket_draws),
            struck=mirror_place(self.struck),
            struck_draws=mirror_place(self.struck_draws),
        )

    def turned(self, degrees: float) -> Swing:
        """The swing as it is if the camera's azimuth is greater by ``degrees``: turned about the vertical."""
        turn = camera_to_court(degrees) @ camera_to_court(0.0).T

        def turned(places: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
            return None if places is None else places @ turn.T

        return replace(
            self,
            points=self.points @ turn.T,
            camera_azimuth=self.camera_azimuth + degrees,
            racket=turned(self.racket),
            draws=turned(self.draws),
            racket_draws=turned(self.racket_draws),
            struck=turned(self.struck),
            struck_draws=turned(self.struck_draws),
        )

    def at(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Keypoints at any times, linear between samples and held at the ends: (N,) seconds to (N, K, 3)."""
        return resample(self.points, self.times, times)


def mirror_racket(racket: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """Mirror a racket (..., 5, 3) in the court's X-Y plane, as ``mirror`` does a body; None stays None.

    The edges change places, so that ``cross(tip - butt, right edge - left edge)`` stays the normal of the face that
    strikes the ball.
    """
    return None if racket is None else racket[..., [0, 1, 2, 4, 3], :] * np.array([1.0, 1.0, -1.0])


def mirror_place(place: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """Mirror places (..., 3) in the court's X-Y plane; None stays None."""
    return None if place is None else place * np.array([1.0, 1.0, -1.0])


def phase_bounds(events: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Start and end, in seconds, of every phase whose two events are known."""
    return {
        name: (events[start], events[end])
        for name, start, end in PHASES
        if start in events and end in events and events[end] > events[start]
    }
