"""The stroke clock: which moment of the player and of the model a film shows, and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.findings.review import Pair, Review
from swingmatch.stroke.swing import phase_bounds

FPS = 30
#: Share of real speed: the first swing around the stroke, and everywhere else.
SLOW, HALF = 0.25, 0.5
#: Seconds for which the film stands still, and the events at which it does.
HOLD_FIRST, HOLD_OTHERS = 1.2, 0.5
HOLD_EVENTS = {"end_of_take_back": "End of take-back", "contact": "Contact"}
#: Seconds shown before contact and after it where the events that should bound the film are unknown.
_BEFORE, _AFTER, _LONGEST = 1.2, 0.8, 2.0


@dataclass(frozen=True)
class Moment:
    """One picture of the film.

    Attributes
    ----------
    output : seconds from the film's start.
    pair : index of the swing. frame : index into the track of the player's picture.
    player, model : seconds from the contact of each; the same moment of the stroke.
    speed : share of real speed, 0 while the film stands still.
    hold : caption of the event at which it stands still, or "".
    """

    output: float
    pair: int
    frame: int
    player: float
    model: float
    speed: float
    hold: str


def shown_span(pair: Pair) -> tuple[float, float]:
    """First and last moment to show, seconds from the player's contact."""
    events, contact = pair.events, pair.player.contact
    start = events.get("turn_start", events.get("ready", events.get("hands_apart", contact - _BEFORE))) - 0.15
    stop = events.get("end_of_follow_through", contact + _AFTER) + 0.15
    start = max(start, contact - _LONGEST, float(pair.player.times[0]))
    stop = min(stop, contact + _LONGEST, float(pair.player.times[-1]))
    return start - contact, stop - contact


def moments(review: Review, fps: float = FPS) -> list[Moment]:
    """Every picture of the film in order: the best swing first, then the others at half speed.

    The player's picture is the clip's nearest one, and the model is taken at the moment of *that* picture, so
    that both halves always show the same moment of the stroke. Only while the film holds an event does it take
    the event's own time, which may fall between two pictures.
    """
    out: list[Moment] = []
    clock = 0.0
    order = [review.best, *(i for i in range(len(review.pairs)) if i != review.best)]
    for place, index in enumerate(order):
        for player, speed, hold in _swing_times(review.pairs[index], fps, first=place == 0):
            pair = review.pairs[index]
            frame = int(np.argmin(np.abs(review.track.times - (pair.player.contact + player))))
            shown = player if hold else float(review.track.times[frame]) - pair.player.contact
            model = float(pair.alignment.to_model(np.array([shown]))[0])
            out.append(Moment(clock, index, frame, shown, model, speed, hold))
            clock = len(out) / fps
    return out


def _swing_times(pair: Pair, fps: float, first: bool) -> list[tuple[float, float, str]]:
    """(player's seconds from contact, speed, caption of a hold) of every picture of one swing."""
    start, stop = shown_span(pair)
    contact, events = pair.player.contact, pair.events
    slow_from = events.get("hands_apart", events.get("turn_start", contact - 0.6)) - contact
    slow_to = events.get("end_of_follow_through", contact + 0.4) - contact
    stops = sorted(
        (events[name] - contact, words)
        for name, words in HOLD_EVENTS.items()
        if name in events and start <= events[name] - contact <= stop
    )
    length = HOLD_FIRST if first else HOLD_OTHERS
    out: list[tuple[float, float, str]] = []
    t = start
    while t <= stop:
        while stops and stops[0][0] <= t:
            at, words = stops.pop(0)
            out += [(at, 0.0, words)] * round(length * fps)
        speed = SLOW if first and slow_from <= t <= slow_to else HALF
        out.append((t, speed, ""))
        t += speed / fps
    return out


def progress(events: Mapping[str, float], time: float) -> tuple[float, str]:
    """Place on the stroke clock, 0 to 1, and the phase's name ("" outside every phase).

    Each phase takes an equal part of the clock, however short it is: a forward swing of a tenth of a second
    is where the eye wants to look. An event belongs to the phase that it ends.
    ``events`` and ``time`` share one clock, in seconds.
    """
    bounds = phase_bounds(events)
    if not bounds:
        return 0.5, ""
    names = list(bounds)
    edges = np.array([bounds[names[0]][0], *(bounds[n][1] for n in names)])
    place = float(np.interp(time, edges, np.linspace(0, 1, len(edges))))
    if time < edges[0] or time > edges[-1]:
        return place, ""
    return place, names[max(int(np.searchsorted(edges, time, side="left")) - 1, 0)]


def differences_at(pair: Pair, player: float) -> NDArray[np.float64]:
    """(K,) degrees by which each joint departs from the model at a time from the player's contact."""
    return pair.differences[int(np.argmin(np.abs(pair.alignment.player_times - player)))]
