"""``Definition``: what makes a stroke that stroke, as data and a few functions.

The pipeline knows no stroke by name. What differs between strokes stands in one module each (``forehand``,
``two_handed_backhand``, ``one_handed_backhand``, ``serve``), listed in ``strokes.STROKES``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import mirror
from swingmatch.series import dense
from swingmatch.stroke.movement import Movement, Side
from swingmatch.stroke.racket_series import between
from swingmatch.stroke.style import Style
from swingmatch.stroke.swing import Swing, mirror_place, mirror_racket

Array = NDArray[np.float64]
Gauge = Callable[[Movement], float]

#: Samples a second at which a stroke is measured: with fewer, straight lines between pictures would cut the peaks of
#: its speeds.
DENSE = 110.0

#: The parts of a stroke under which its measures are listed, in order.
PARTS = ("preparation", "take-back", "load", "drop", "forward swing", "contact", "after", "whole swing")


@dataclass(frozen=True)
class Row:
    """One measure of a stroke: what it is called, how it is taken, and when it says something.

    Attributes
    ----------
    key, label : name in code and tables, and in the trade's words. part : one of ``PARTS``.
    unit : "deg", "deg/s", "ms", "arm lengths", "shoulder widths", "hip-to-shoulder", "leg lengths", "statures",
        "statures/s" or "" for a plain ratio.
    at : the event at which it is taken, or "start..stop", two events that bound it.
    of : takes a ``Movement`` and gives the value, NaN where it cannot be told. Its docstring is the definition.
    shows : keypoints ("hitting_elbow", "left_ankle", ...) that are marked where the measure is shown.
    useful : half-width of the 90 % interval beyond which the value says nothing to a coach. *Common practice, no
        source*: about what a coach would call a clear difference.
    racket, ball : whether it needs the racket's place, and where the ball met it.
    """

    key: str
    label: str
    part: str
    unit: str
    at: str
    of: Gauge
    shows: tuple[str, ...]
    useful: float
    racket: bool = False
    ball: bool = False

    @property
    def definition(self) -> str:
        """What is measured, in a sentence or two: axes, plane, sign, event."""
        words = " ".join((getattr(self.of, "definition", None) or self.of.__doc__ or "").split())
        words = words.removeprefix("A gauge: ")
        return words[:1].upper() + words[1:]

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which the measure is shown: its own moment, or the last event of ``at``."""
        own = getattr(self.of, "when", None)
        return float(own(movement)) if own is not None else movement.when(self.at.split("..")[-1])


@dataclass(frozen=True)
class Definition:
    """One kind of stroke.

    Attributes
    ----------
    name : "forehand". events : in order of time; "contact" is among them.
    phases : (name, first event, last event). instants : (label, event) of events that are compared by themselves.
    find_events : (times (T,) s, points (T, K, 3) on the ball's side, contact s) -> event -> s.
    measures : what a coach checks. backhand : whether the ball is on the side of the hand that does not hit.
    words : what the stroke's numbers mean in the trade's words: key -> (value -> word).
    suggests : likewise where it is a guess: key -> (value, standard deviation -> words that say how sure).
    racket_rises : how far the racket points up at contact, degrees over the horizontal, out to the ball's side: where
        the string bed is taken to be while the racket is not tracked (*common practice, no source*).
    style : what sound players do in different ways; a model is chosen by it.
    teaching : keys of the measures that a model is meant to teach; a model is never chosen by them.
    """

    name: str
    events: tuple[str, ...]
    phases: tuple[tuple[str, str, str], ...]
    instants: tuple[tuple[str, str], ...]
    find_events: Callable[[Array, Array, float], dict[str, float]]
    measures: tuple[Row, ...]
    backhand: bool = False
    words: Mapping[str, Callable[[float], str | None]] = field(default_factory=dict)
    suggests: Mapping[str, Callable[[float, float], str]] = field(default_factory=dict)
    racket_rises: float = -10.0
    style: tuple[Style, ...] = ()
    teaching: tuple[str, ...] = ()

    @property
    def hitting(self) -> Side:
        """The hitting arm once the ball is on the right."""
        return "left" if self.backhand else "right"

    def phase_bounds(self, events: Mapping[str, float]) -> dict[str, tuple[float, float]]:
        """Start and end, in seconds, of every phase whose two events are known."""
        return {
            name: (events[start], events[end])
            for name, start, end in self.phases
            if start in events and end in events and events[end] > events[start]
        }

    def on_ball_side(self, points: Array, hand: Literal["right", "left"]) -> Array:
        """``points`` (..., K, 3) on court axes of a player of ``hand``, mirrored so that the ball is on +Z."""
        return mirror(points) if (hand == "left") != self.backhand else points

    def movement(self, swing: Swing, aim: tuple[float, float] = (0.0, 0.0)) -> Movement:
        """A swing of this stroke as its measures see it.

        ``aim``: by how much a racket that is not tracked is taken to point elsewhere at contact, degrees about the
        vertical and upwards.
        """
        flipped = (swing.hand == "left") != self.backhand
        times, points = dense(swing.times, self.on_ball_side(swing.points, swing.hand), DENSE)
        racket = mirror_racket(swing.racket) if flipped else swing.racket
        if racket is not None:
            seen = swing.racket_seen
            known = racket if seen is None else np.where(seen[:, None, None], racket, np.nan)
            racket = between(swing.times, known, times, swing.contact)
        return Movement(
            times=times - swing.contact,
            points=points,
            events={name: time - swing.contact for name, time in swing.events.items()},
            hitting=self.hitting,
            racket=racket,
            aim=(aim[0], self.racket_rises + aim[1]),
            frames=swing.times - swing.contact,
            struck=mirror_place(swing.struck) if flipped else swing.struck,
        )


@dataclass(frozen=True)
class At:
    """A gauge: a series over time, read at an event."""

    event: str
    series: Callable[[Movement], Array]

    def __call__(self, movement: Movement) -> float:
        return float(movement.at(self.event, movement.series(self.series)))

    @property
    def definition(self) -> str:
        return f"{self.series.__doc__} Taken at: {self.event.replace('_', ' ')}."


@dataclass(frozen=True)
class Most:
    """A gauge: the largest value of a series between two events."""

    start: str
    stop: str
    series: Callable[[Movement], Array]

    def __call__(self, movement: Movement) -> float:
        _, values = movement.over(
            movement.when(self.start), movement.when(self.stop), movement.series(self.series)
        )
        return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")

    @property
    def definition(self) -> str:
        between = f"{self.start.replace('_', ' ')} and {self.stop.replace('_', ' ')}"
        return f"{self.series.__doc__} The largest between {between}."

    def when(self, movement: Movement) -> float:
        """Seconds from contact at which it is shown."""
        at, values = movement.over(
            movement.when(self.start), movement.when(self.stop), movement.series(self.series)
        )
        return float(at[np.nanargmax(values)]) if np.isfinite(values).any() else float("nan")


@dataclass(frozen=True)
class Between:
    """A gauge: milliseconds from one event to another."""

    start: str
    stop: str

    def __call__(self, movement: Movement) -> float:
        return 1000.0 * (movement.when(self.stop) - movement.when(self.start))

    @property
    def definition(self) -> str:
        return f"Time from {self.start.replace('_', ' ')} to {self.stop.replace('_', ' ')}, ms."
