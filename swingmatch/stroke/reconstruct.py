"""From a smoothed track to the strokes in it: each lifted to three dimensions, on court axes, with its events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from swingmatch.body.lift import lift
from swingmatch.body.reading import Reading, read
from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.body.stretch import stretch_of
from swingmatch.body.track import Track
from swingmatch.clip.sound import Onsets
from swingmatch.errors import StrokeError
from swingmatch.stroke.contact import (
    Contact,
    Timed,
    camera_distance,
    from_ball,
    from_hand,
    from_hand_path,
    from_sound,
    fuse,
    strikes,
)
from swingmatch.stroke.cut import body_height, find_strokes, hitting_hand
from swingmatch.stroke.direction import azimuth_of, camera_to_court
from swingmatch.stroke.events import forehand_events
from swingmatch.stroke.swing import Hand, Swing

Array = NDArray[np.float64]

#: How far the camera's azimuth is off when it is told from the movement, degrees: two thirds of the clips kept for
#: tuning are nearer.
AZIMUTH_SD = 5.0


@dataclass(frozen=True)
class Strokes:
    """All strokes of one clip.

    Attributes
    ----------
    hand : the hitting hand. camera_azimuth : degrees, see ``Swing``.
    swings : in order of time, at least one. contacts : of each, with its source and uncertainty.
    notes : sentences on what was left out.
    """

    hand: Hand
    camera_azimuth: float
    swings: tuple[Swing, ...]
    contacts: tuple[Contact, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Lifted:
    times: Array
    points: Array
    draws: Array
    contact: Contact
    reading: Reading


def _on_court(lifted: _Lifted, azimuth: float, hand: Hand, azimuth_sd: float) -> Swing:
    """Turn one lifted stroke to court axes, put its origin under the hips, and find its events."""
    points = lifted.points @ camera_to_court(azimuth).T
    # Evenly spread quantiles, so that a few draws make a normal distribution; the bodies are in no order.
    count = len(lifted.draws)
    off = azimuth_sd * norm.ppf((np.arange(count) + 0.5) / count)
    draws = np.stack(
        [draw @ camera_to_court(azimuth + by).T for draw, by in zip(lifted.draws, off, strict=True)]
    )
    feet = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "toe")]
    ground = np.percentile(points[:, feet, 1].min(axis=1), 20)
    right_handed = points if hand == "right" else mirror(points)
    events = forehand_events(lifted.times, right_handed, lifted.contact.time)
    first = int(np.searchsorted(lifted.times, min(events.values())))
    hips = 0.5 * (points[first, INDEX["left_hip"]] + points[first, INDEX["right_hip"]])
    origin = np.array([hips[0], ground, hips[2]])
    return Swing(
        times=lifted.times,
        points=points - origin,
        draws=draws - origin,
        events=events,
        hand=hand,
        camera_azimuth=azimuth,
    )


def find_swings(
    track: Track,
    onsets: Onsets | None,
    *,
    hand: Hand | None = None,
    azimuth: float | None = None,
    ball: Callable[[float, Hand], Timed | None] | None = None,
    on_stroke: Callable[[int, int], None] | None = None,
) -> Strokes:
    """Cut a track into swings.

    Parameters
    ----------
    track : smoothed, of the whole clip. onsets : sudden sounds, or None without sound.
    hand, azimuth : what the coach says; told from the movement where None.
    ball : gives contact as the ball shows it for a first guess of contact in seconds and the hitting hand, or None
        where it was not seen. Asked where no strike was heard.
    on_stroke : called with (done, all) after each stroke.

    Raises
    ------
    StrokeError : no stroke is complete enough to use.
    """
    heard = strikes(onsets, camera_distance(body_height(track), track.size))
    hand = hand or hitting_hand(track, heard)
    strokes = find_strokes(track, hand, heard)
    notes: list[str] = []
    lifted: list[_Lifted] = []
    for number, stroke in enumerate(strokes, start=1):
        stretch = stretch_of(track, stroke.start, stroke.stop)
        complete = False
        if stretch is not None:
            reading = read(stretch)
            body = lift(stretch, track.size, reading)
            times, points = stretch.times, body.points
            by_hand = from_hand_path(times, points, hand, stroke.fastest)
            by_sound = from_sound(from_hand(stroke.fastest), heard)
            # Looking for the ball takes as long as a good part of the tracking; a strike that was heard is enough.
            by_ball = from_ball(ball(by_hand.time, hand)) if ball is not None and not by_sound else []
            contact = fuse([by_hand, *by_sound, *by_ball])
            complete = stroke.start + 0.5 < contact.time < stroke.stop - 0.15
        if complete:
            lifted.append(_Lifted(times, points, body.draws, contact, reading))
        else:
            notes.append(f"The swing at {stroke.fastest:.1f} s is cut off or hidden and was left out.")
        if on_stroke is not None:
            on_stroke(number, len(strokes))
    if not lifted:
        raise StrokeError(
            "No swing is in view from its preparation to its follow-through; film a little longer."
        )
    told = azimuth is None
    if azimuth is None:
        azimuth = azimuth_of(sum((s.reading.target.sum(axis=0) for s in lifted), np.zeros(2)))
    return Strokes(
        hand=hand,
        camera_azimuth=azimuth,
        swings=tuple(_on_court(stroke, azimuth, hand, AZIMUTH_SD if told else 0.0) for stroke in lifted),
        contacts=tuple(stroke.contact for stroke in lifted),
        notes=tuple(notes),
    )
