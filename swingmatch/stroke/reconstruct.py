"""From a smoothed track to the strokes in it: each lifted to three dimensions, named, on court axes, with its events.

Which hand hits and what each stroke is are told from the lifted bodies together, because in the picture a
right-hander's backhand looks much like a left-hander's forehand: first every fast moment of either hand is looked at,
all of them settle the hand, then each stroke of that hand gets its name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from swingmatch.body.lift import lift
from swingmatch.body.reading import Reading, read
from swingmatch.body.skeleton import INDEX
from swingmatch.body.stretch import stretch_of
from swingmatch.body.track import Track
from swingmatch.clip.sound import Onsets
from swingmatch.errors import StrokeError
from swingmatch.stroke.contact import (
    SILENCE,
    Contact,
    Strikes,
    Timed,
    camera_distance,
    from_ball,
    from_hand,
    from_hand_path,
    from_highest_hand,
    from_sound,
    fuse,
    strikes,
)
from swingmatch.stroke.cut import Stroke, able_hands, body_height, cut, fastest_moments
from swingmatch.stroke.direction import camera_to_court
from swingmatch.stroke.recognise import Recognised, common_hand, recognise
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Hand, Swing
from swingmatch.stroke.target import common_azimuth, target_of

Array = NDArray[np.float64]

#: A fast hand at most this long before a serve's is its toss, seconds: nobody hits and then serves within it. In
#: recorded serves the toss is 1.0 to 1.15 s before contact.
TOSS = 1.5
#: Standard deviation of contact from the hand of a backhand alone, seconds: ``from_hand_path`` knows forehands only.
#: Rough, from four filmed recordings kept for tuning, of which one was off by 0.3.
_BACKHAND_SD = 0.10


class Racket(Protocol):
    """A racket over the frames of a lifted stroke, on the body's axes.

    (T, 5, 3) points, (S, T, 5, 3) draws that go with the body's, (T,) where it is seen, and where the ball met it:
    (3,) and (S, 3), or None.
    """

    @property
    def points(self) -> Array: ...
    @property
    def draws(self) -> Array: ...
    @property
    def seen(self) -> NDArray[np.bool_]: ...
    @property
    def struck(self) -> Array | None: ...
    @property
    def struck_draws(self) -> Array | None: ...


#: (T,) s, (T, K, 3), (S, T, K, 3) statures on the camera's level axes, its tilt in radians, contact in s, and the
#: hitting hand give the racket, or None where it was not seen.
RacketFinder = Callable[[Array, Array, Array, float, float, Hand], Racket | None]


@dataclass(frozen=True)
class Strokes:
    """All strokes of one clip.

    Attributes
    ----------
    hand : the hitting hand. camera_azimuth : degrees, see ``Swing``.
    swings : in order of time, at least one. contacts : of each, with its source and uncertainty.
    notes : sentences on what was left out.
    recognised : of each swing, what else it might have been, the hand being known.
    azimuth_sd : standard deviation of the azimuth, degrees. court_seen : whether the court's lines told of it.
    """

    hand: Hand
    camera_azimuth: float
    swings: tuple[Swing, ...]
    contacts: tuple[Contact, ...]
    notes: tuple[str, ...]
    recognised: tuple[Recognised, ...] = ()
    azimuth_sd: float = 0.0
    court_seen: bool = False


@dataclass(frozen=True)
class _Body:
    """One stretch in space: (T,) s, (T, K, 3) and (S, T, K, 3) statures on camera axes, which look down by ``tilt``."""

    times: Array
    points: Array
    draws: Array
    reading: Reading
    tilt: float


@dataclass(frozen=True)
class _Lifted:
    body: _Body
    contact: Contact
    recognised: Recognised
    racket: Racket | None = None


class _Lifting:
    """Lifts stretches of one track, each once."""

    def __init__(self, track: Track) -> None:
        self._track = track
        self._done: dict[tuple[float, float], _Body | None] = {}

    def __call__(self, stroke: Stroke) -> _Body | None:
        """The body over a stroke, or None where too much of it is missing."""
        key = (stroke.start, stroke.stop)
        if key not in self._done:
            stretch = stretch_of(self._track, *key)
            if stretch is None:
                self._done[key] = None
            else:
                reading = read(stretch)
                body = lift(stretch, self._track.size, reading)
                self._done[key] = _Body(stretch.times, body.points, body.draws, reading, body.tilt)
        return self._done[key]


def hitting_hand(track: Track, heard: Strikes = SILENCE, *, stroke: str | None = None) -> Hand:
    """The hitting hand of a clip, told from every fast moment of either hand; see ``recognise``.

    Raises ``StrokeError`` when neither hand ever moves as fast as in a stroke.
    """
    return _hitting_hand(track, heard, stroke, _Lifting(track))


def _hitting_hand(track: Track, heard: Strikes, stroke: str | None, lifting: _Lifting) -> Hand:
    moments = fastest_moments(track, None, heard)
    told: list[tuple[float, Recognised]] = []
    for one in cut(track, moments):
        body = lifting(one)
        if body is not None:
            told.append((one.fastest, _recognise(body, one.fastest, heard).given(stroke=stroke)))
    kept = _without_tosses([moment for moment, _ in told], [what for _, what in told])
    return common_hand([what for moment, what in told if moment in kept])


def _recognise(body: _Body, fastest: float, heard: Strikes) -> Recognised:
    guess = from_hand(fastest)
    contact = fuse([guess, *from_sound(guess, heard)])
    return recognise(body.times, body.points, contact.time)


def _without_tosses(moments: Sequence[float], told: Sequence[Recognised]) -> list[float]:
    """The moments but for those that are the toss of a serve that follows."""
    kept: list[float] = []
    serve = np.inf
    for moment, what in sorted(zip(moments, told, strict=True), key=lambda pair: -pair[0]):
        if serve - moment <= TOSS:
            continue
        kept.append(moment)
        serve = moment if what.stroke == "serve" else np.inf
    return kept[::-1]


def _strokes_of(
    track: Track, hand: Hand, stroke: str | None, heard: Strikes, lifting: _Lifting
) -> list[tuple[Stroke, Recognised | None]]:
    """Every stroke of the hand with its name, or with None where it cannot be lifted."""
    # From behind or in front, the hitting hand may go along the line of sight and look slow in the picture.
    looked_at = hand if hand in able_hands(track) else None
    moments = fastest_moments(track, looked_at, heard)
    told: dict[float, Recognised] = {}
    for one in cut(track, moments):
        body = lifting(one)
        if body is not None:
            told[one.fastest] = _recognise(body, one.fastest, heard).given(hand=hand, stroke=stroke)
    kept = _without_tosses(list(told), list(told.values()))
    # What cannot be lifted stays in, so that it is said that it was left out.
    moments = np.array([m for m in moments if m in kept or m not in told])
    return [(one, told.get(one.fastest)) for one in cut(track, moments)]


def _by_hand(body: _Body, fastest: float, hand: Hand, stroke: str) -> Contact:
    """Contact from the hitting hand, as the stroke shows it."""
    if stroke == "forehand":
        return from_hand_path(body.times, body.points, hand, fastest)
    if stroke == "serve":
        return from_highest_hand(body.times, body.points, hand, fastest)
    return replace(from_hand(fastest), sd=_BACKHAND_SD)


def _on_court(lifted: _Lifted, azimuth: float, hand: Hand, azimuth_sd: float) -> Swing:
    """Turn one lifted stroke to court axes, put its origin under the hips, and find its events.

    The racket goes with its body, each drawn one with the drawn body that holds it.
    """
    body, definition = lifted.body, STROKES[lifted.recognised.stroke]
    points = body.points @ camera_to_court(azimuth).T
    # Evenly spread quantiles, so that a few draws make a normal distribution; the bodies are in no order.
    count = len(body.draws)
    off = azimuth_sd * norm.ppf((np.arange(count) + 0.5) / count)

    def drawn_on_court(draws: Array) -> Array:
        turned = [
            draw @ camera_to_court(azimuth + by).T
            for draw, by in zip(draws, np.resize(off, len(draws)), strict=True)
        ]
        return np.stack(turned)

    draws = drawn_on_court(body.draws)
    feet = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "toe")]
    ground = np.percentile(points[:, feet, 1].min(axis=1), 20)
    events = definition.find_events(body.times, definition.on_ball_side(points, hand), lifted.contact.time)
    first = int(np.searchsorted(body.times, min(events.values())))
    hips = 0.5 * (points[first, INDEX["left_hip"]] + points[first, INDEX["right_hip"]])
    origin = np.array([hips[0], ground, hips[2]])
    swing = Swing(
        times=body.times,
        points=points - origin,
        draws=draws - origin,
        events=events,
        hand=hand,
        camera_azimuth=azimuth,
        stroke=definition.name,
        azimuth_sd=azimuth_sd,
    )
    racket = lifted.racket
    if racket is None:
        return swing
    turn = camera_to_court(azimuth).T
    with_racket = replace(
        swing,
        racket=racket.points @ turn - origin,
        racket_draws=drawn_on_court(racket.draws) - origin,
        racket_seen=racket.seen,
    )
    if racket.struck is None or racket.struck_draws is None:
        return with_racket
    return replace(
        with_racket,
        struck=racket.struck @ turn - origin,
        struck_draws=drawn_on_court(racket.struck_draws) - origin,
    )


def find_swings(
    track: Track,
    onsets: Onsets | None,
    *,
    hand: Hand | None = None,
    stroke: str | None = None,
    azimuth: float | None = None,
    azimuth_sd: float = 0.0,
    court: Callable[[float, float], tuple[float, float] | None] | None = None,
    ball: Callable[[float, Hand], Timed | None] | None = None,
    racket: RacketFinder | None = None,
    on_stroke: Callable[[int, int], None] | None = None,
) -> Strokes:
    """Cut a track into swings.

    Parameters
    ----------
    track : smoothed, of the whole clip. onsets : sudden sounds, or None without sound.
    hand, stroke, azimuth : what the coach says; told from the movement where None. ``stroke`` is a name of
        ``strokes.STROKES`` and then holds for all swings of the clip.
    azimuth_sd : standard deviation of an azimuth that the coach says, degrees.
    court : betters an azimuth and its standard deviation, degrees, with what the court's lines tell; None where they
        tell nothing.
    ball : gives contact as the ball shows it for a first guess of contact in seconds and the hitting hand, or None
        where it was not seen. Asked where no strike was heard.
    racket : gives the racket of a stroke once its body is lifted and contact is known.
    on_stroke : called with (done, all) after each stroke.

    Raises
    ------
    StrokeError : no stroke is complete enough to use, or there is no stroke of that name.
    """
    if stroke is not None and stroke not in STROKES:
        raise StrokeError(f"There is no stroke named {stroke!r}; known are {', '.join(STROKES)}.")
    heard = strikes(onsets, camera_distance(body_height(track), track.size))
    lifting = _Lifting(track)
    hand = hand or _hitting_hand(track, heard, stroke, lifting)
    strokes = _strokes_of(track, hand, stroke, heard, lifting)
    notes: list[str] = []
    lifted: list[_Lifted] = []
    for number, (one, what) in enumerate(strokes, start=1):
        body = lifting(one) if what is not None else None
        complete = False
        if what is not None and body is not None:
            by_hand = _by_hand(body, one.fastest, hand, what.stroke)
            by_sound = from_sound(from_hand(one.fastest), heard)
            # Looking for the ball takes as long as a good part of the tracking; a strike that was heard is enough.
            by_ball = from_ball(ball(by_hand.time, hand)) if ball is not None and not by_sound else []
            contact = fuse([by_hand, *by_sound, *by_ball])
            complete = one.start + 0.5 < contact.time < one.stop - 0.15
            if complete:
                held = None
                if racket is not None:
                    held = racket(body.times, body.points, body.draws, body.tilt, contact.time, hand)
                lifted.append(_Lifted(body, contact, what, held))
        if not complete:
            notes.append(f"The swing at {one.fastest:.1f} s is cut off or hidden and was left out.")
        if on_stroke is not None:
            on_stroke(number, len(strokes))
    if not lifted:
        raise StrokeError(
            "No swing is in view from its preparation to its follow-through; film a little longer."
        )
    if azimuth is None:
        azimuth, azimuth_sd = common_azimuth([_target(one, hand) for one in lifted])
    better = court(azimuth, azimuth_sd) if court is not None and azimuth_sd > 0.0 else None
    if better is not None:
        azimuth, azimuth_sd = better
    return Strokes(
        hand=hand,
        camera_azimuth=azimuth,
        swings=tuple(_on_court(one, azimuth, hand, azimuth_sd) for one in lifted),
        contacts=tuple(one.contact for one in lifted),
        notes=tuple(notes),
        recognised=tuple(one.recognised for one in lifted),
        azimuth_sd=azimuth_sd,
        court_seen=better is not None,
    )


def _target(lifted: _Lifted, hand: Hand) -> tuple[Array, float]:
    body = lifted.body
    return target_of(
        body.times, body.points, lifted.contact.time, body.reading, hand, lifted.recognised.stroke
    )
