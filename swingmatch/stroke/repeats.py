"""Across the swings of a clip: what repeats, what varies, and how well contact repeats.

The spread that is seen between swings holds the error of measuring each of them. What the drawn bodies say of it is
taken out, as variance, down to nothing at most. Errors that all swings of a clip share do not spread them, and the
drawn bodies know only in part which are shared. On the track of a generated player whose contact scattered by 0.07 arm
lengths (2 pixels of noise, no sound) 0.08 were seen, where the drawn bodies stated an error of 0.13, and of 0.68 with
the uncertainty of contact's time. So the player's own spread lies between the two numbers given, and a plain word must
hold for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from swingmatch.errors import StrokeError
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.kinematics import Ellipsoid, ellipsoid
from swingmatch.stroke.measure import NINE_IN_TEN, Measure, difference
from swingmatch.stroke.movement import Movement
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: Median absolute deviation to the standard deviation of a normal distribution: 1 / norm.ppf(0.75).
_MAD_TO_SD = 1.4826
#: Robust standard deviations from the median that the furthest of n normal values exceeds once in twenty times, by
#: number of values (simulated, 60 000 samples each; an even number needs a little less than its odd neighbours).
#: Fewer than five swings are too often near each other by chance for any to be set apart.
_APART: dict[int, float] = {5: 7.8, 7: 5.8, 9: 5.1, 11: 4.7, 15: 4.3, 20: 4.0, 30: 3.8, 50: 3.8}
_ENOUGH = min(_APART)

#: Root-mean-square distance of contact from its mean, arm lengths, up to which it repeats well and from which it
#: wanders: about 8 and 16 cm (*common practice, no source*; a racket head is some 25 cm wide).
REPEATS_WELL, WANDERS = 0.12, 0.24
#: The plain words; "varies" says that contact does not repeat well, and leaves open whether it wanders.
WELL, VARIES, WANDERING = "repeats well", "varies", "wanders"
TOO_FEW = "too few swings to tell"
NOT_FROM_HERE = "cannot be told from this view"
_RESAMPLES = 4000
#: Events at which the forward swing and the turn start; of a serve, the racket's low point and the loaded position.
_FORWARD, _TURN = ("forward_start", "racket_low"), ("turn_start", "loaded")


@dataclass(frozen=True)
class Repeat:
    """One measure over the swings of a clip.

    Attributes
    ----------
    row : what is measured. mean : in ``row.unit``, NaN where no swing shows it.
    seen : standard deviation between swings (divisor n - 1), NaN for fewer than two.
    error : root mean square of the swings' stated standard deviations.
    own : the player's own spread, ``seen`` less ``error`` as variances, never negative.
    count : swings that show it. outliers : their places in the clip, from 0, in order.
    """

    row: Row
    mean: float
    seen: float
    error: float
    own: float
    count: int
    outliers: tuple[int, ...] = ()


@dataclass(frozen=True)
class Spread:
    """How far repeats lie from their mean.

    Attributes
    ----------
    own : root-mean-square distance with the error of measuring taken out, never negative.
    low, high : ends of the 90 % interval of the player's own distance; ``low`` with the error taken out, ``high``
        without, so that it holds however much of the error all repeats share.
    seen : the distance as measured. seen_low : lower end of the interval if nothing of it were error.
    error : what was taken out.
    count : repeats that were known. All but ``error`` and ``count`` are NaN for fewer than two.
    """

    own: float
    low: float
    high: float
    seen: float
    seen_low: float
    error: float
    count: int


@dataclass(frozen=True)
class Scatter:
    """Repeatability of contact.

    Attributes
    ----------
    of : "string bed" where the racket is known in all swings, else "hitting hand".
    points : (N, 3) contact from the centre of mass, arm lengths, X to the target, Y up, Z to the ball's side; NaN where
        it cannot be told. One row a swing, in the order given.
    arm : arm length, shoulder to knuckles, statures.
    body : the ellipsoid of the player's own scatter, error taken out; its spread is ``radius.own``. NaN for fewer than
        four points.
    radius : root-mean-square distance of the points from their mean, arm lengths.
    metres : the same in metres, where the stature is known.
    forward, turn : of the time from the start of the forward swing, and of the turn, to contact, ms. Of a serve: from
        the racket's low point, and from the loaded position.
    word : one of the plain words.
    """

    of: str
    points: Array
    arm: float
    body: Ellipsoid
    radius: Spread
    metres: Spread | None
    forward: Spread
    turn: Spread
    word: str


# Measures -----------------------------------------------------------------------------------------------


def summary(measures_per_swing: Sequence[Sequence[Measure]]) -> tuple[Repeat, ...]:
    """Every measure over the swings of a clip, in the order of the first swing's.

    What a swing does not show (``Measure.visible``), and NaN, is left out. Angles are taken to the nearest whole turn
    of each other. A swing is an outlier in a measure when at least five swings show it and it lies further from
    their median than all of: what the furthest of so many usual swings exceeds once in twenty times, in robust standard
    deviations (median absolute deviation); the 90 % interval of its own and the median's error together; and what a
    coach would call a clear difference (``Row.useful``).

    Raises
    ------
    StrokeError : the swings are not of one kind of stroke.
    """
    if not measures_per_swing:
        return ()
    keys = [tuple(one.row.key for one in measures) for measures in measures_per_swing]
    if len(set(keys)) > 1:
        raise StrokeError("Only swings of one kind of stroke can be put together.")
    return tuple(_repeat(repeats) for repeats in zip(*measures_per_swing, strict=True))


def _repeat(repeats: Sequence[Measure]) -> Repeat:
    row = repeats[0].row
    shown = [i for i, one in enumerate(repeats) if one.visible and np.isfinite(one.value)]
    values = _near_each_other(row, [repeats[i].value for i in shown])
    sds = np.array([repeats[i].sd for i in shown])
    nan = float("nan")
    count = len(shown)
    if count == 0:
        return Repeat(row, nan, nan, nan, nan, 0)
    mean, error = float(values.mean()), float(np.sqrt(np.mean(sds**2)))
    seen = float(values.std(ddof=1)) if count > 1 else nan
    own = float(np.sqrt(max(seen**2 - error**2, 0.0))) if count > 1 else nan
    outliers = tuple(shown[k] for k in np.flatnonzero(_outlying(values, sds, row.useful)))
    return Repeat(row, mean, seen, error, own, count, outliers)


def _near_each_other(row: Row, values: Sequence[float]) -> Array:
    """Angles to the nearest whole turn of the one that is nearest to all: (N,), whatever the order."""
    if row.unit != "deg" or not values:
        return np.array(values)
    away = [(sum(abs(difference(row, v, one)) for v in values), abs(one), one) for one in values]
    _, _, middle = min(away)
    return np.array([middle + difference(row, v, middle) for v in values])


def _outlying(values: Array, sds: Array, useful: float) -> NDArray[np.bool_]:
    """Which of ``values`` (N,) with standard deviations ``sds`` (N,) are set apart from the others: (N,)."""
    if len(values) < _ENOUGH:
        return np.zeros(len(values), dtype=bool)
    off = np.abs(values - np.median(values))
    robust = _MAD_TO_SD * float(np.median(off))
    # A median varies by sqrt(pi / 2) times as much as a mean.
    of_median = np.sqrt(0.5 * np.pi * np.mean(sds**2) / len(values))
    unsure = NINE_IN_TEN * np.hypot(sds, of_median)
    apart = np.interp(len(values), list(_APART), list(_APART.values()))
    return np.asarray(off > np.maximum(np.maximum(apart * robust, unsure), useful))


# Contact ------------------------------------------------------------------------------------------------


def contact_scatter(
    swings: Sequence[Swing],
    stature: float | None = None,
    seed: int = 0,
    *,
    contact_sds: Sequence[float] | None = None,
) -> Scatter:
    """How well contact repeats over the swings of a clip.

    The error of measuring comes from the drawn bodies (``Swing.draws``), with contact moved by its own error and the
    events found anew. What counts is how far they spread the swings: that part of the azimuth's error which all swings
    share cancels.

    Parameters
    ----------
    stature : of the player in metres, where known. seed : of the drawn numbers, for the same answer every time.
    contact_sds : standard deviation of each swing's contact time, s; 0 where None.

    Raises
    ------
    StrokeError : there is no swing, or they are not of one kind of stroke and one hand.
    """
    definition = _one_stroke(swings)
    if contact_sds is not None and len(contact_sds) != len(swings):
        raise ValueError(f"there are {len(contact_sds)} contact_sds for {len(swings)} swings")
    strung = all(swing.racket is not None for swing in swings)
    movements = [definition.movement(swing) for swing in swings]
    arm = float(np.nanmedian([movement.arm for movement in movements]))
    points = np.array([_contact_point(movement, strung) for movement in movements]) / arm
    starts = np.array([_starts(movement) for movement in movements])

    rng = np.random.default_rng(seed)
    drawn = [
        _draw(swing, definition, strung, 0.0 if contact_sds is None else contact_sds[i], rng)
        for i, swing in enumerate(swings)
    ]
    place_error = _error([at / arm - own for (at, _), own in zip(drawn, points, strict=True)])
    start_error = _error([at - own for (_, at), own in zip(drawn, starts, strict=True)])

    radius = spread_of(points, place_error, rng)
    forward, turn = (
        spread_of(starts[:, i, None], start_error[i, None, i, None], rng) for i in range(starts.shape[1])
    )
    return Scatter(
        of="string bed" if strung else "hitting hand",
        points=points,
        arm=arm,
        body=_without(ellipsoid(points), place_error),
        radius=radius,
        metres=None if stature is None else _times(radius, arm * stature),
        forward=forward,
        turn=turn,
        word=word_for(radius),
    )


def word_for(radius: Spread) -> str:
    """The plain word for a radius of contact in arm lengths, said only where all of its interval supports it."""
    found = _word_within(radius.low, radius.high)
    if radius.count < 3 or not np.isfinite(radius.high):
        return TOO_FEW
    if found is not None:
        return found
    # Where even scatter that is all the player's own would not tell, it takes more swings; else less error.
    return TOO_FEW if _word_within(radius.seen_low, radius.high) is None else NOT_FROM_HERE


def _word_within(low: float, high: float) -> str | None:
    if high <= REPEATS_WELL:
        return WELL
    if low >= WANDERS:
        return WANDERING
    return VARIES if low >= REPEATS_WELL else None


def spread_of(points: Array, error: Array, rng: np.random.Generator) -> Spread:
    """Root-mean-square distance of points (N, D) from their mean, with a bootstrap interval over the points.

    ``error`` (D, D) is the covariance that measuring adds; its trace is taken out of that of the points' covariance
    (divisor n - 1), and out of the lower end of the interval. The upper end stays, because errors can only add to what
    is seen, and how much they add is known less well than that. Points with a NaN are left out.

    Notes
    -----
    A clip holds few swings, and the usual bootstraps, which draw them anew, miss the larger scatter that a few swings
    did not happen to show. On 3 to 12 normal points in one and three dimensions, nominally 90 %, these were seen to
    cover the truth: percentile 52-85 %, BCa 30-83 %, and 88-98 % the one used here, a parametric bootstrap: new swings
    are drawn from the normal distribution with the points' own covariance, and the interval holds the scatters from
    which a ratio like that of drawn to true scatter would give the one seen. With heavy tails (Student's t, 5 degrees
    of freedom) it covers 77-90 %.
    """
    known = points[np.isfinite(points).all(axis=1)]
    count = len(known)
    taken = float(np.trace(error))
    if count < 2:
        nan = float("nan")
        return Spread(nan, nan, nan, nan, nan, float(np.sqrt(taken)), count)
    parts = np.linalg.svd(known - known.mean(axis=0), compute_uv=False) ** 2 / (count - 1)
    seen = float(parts.sum())
    if seen > 0.0:
        # The covariance's trace of drawn normal points is this sum; drawing it takes no points.
        chi = rng.chisquare(count - 1, size=(_RESAMPLES, len(parts))) / (count - 1)
        few, many = np.quantile(chi @ (parts / seen), [0.05, 0.95])
    else:
        few = many = 1.0

    def less(variance: float) -> float:
        return float(np.sqrt(max(variance - taken, 0.0)))

    return Spread(
        own=less(seen),
        low=less(seen / many),
        high=float(np.sqrt(seen / few)),
        seen=float(np.sqrt(seen)),
        seen_low=float(np.sqrt(seen / many)),
        error=float(np.sqrt(taken)),
        count=count,
    )


def _one_stroke(swings: Sequence[Swing]) -> Definition:
    if not swings:
        raise StrokeError("There is no swing to look at.")
    if len({(swing.stroke, swing.hand) for swing in swings}) > 1:
        raise StrokeError("Only swings of one kind of stroke and one hand can be put together.")
    return definition_of(swings[0])


def _contact_point(movement: Movement, strung: bool) -> Array:
    """(3,) string bed or hitting hand from the centre of mass at contact, statures, on the ball's side."""
    path = movement.string_bed if strung else movement.hand
    return np.asarray(movement.at("contact", path - movement.com))


def _starts(movement: Movement) -> Array:
    """(2,) ms from the start of the forward swing, and of the turn, to contact."""
    return -1000.0 * np.array(
        [
            next((movement.when(name) for name in names if name in movement.events), np.nan)
            for names in (_FORWARD, _TURN)
        ]
    )


def _draw(
    swing: Swing, definition: Definition, strung: bool, contact_sd: float, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Contact points (S, 3) and starts (S, 2) of the drawn bodies; one row, the swing's own, where it is exact."""
    if swing.draws is None:
        own = definition.movement(swing)
        return _contact_point(own, strung)[None], _starts(own)[None]
    count = len(swing.draws)
    # Evenly spread quantiles make a normal distribution of few draws. Contact is off in every swing by itself.
    late = norm.ppf((rng.permutation(count) + 0.5) / count)
    places, starts = [], []
    for by, points in zip(late, swing.draws, strict=True):
        contact = swing.contact + contact_sd * float(by)
        events = definition.find_events(swing.times, definition.on_ball_side(points, swing.hand), contact)
        movement = definition.movement(replace(swing, points=points, draws=None, events=events))
        places.append(_contact_point(movement, strung))
        starts.append(_starts(movement))
    return np.array(places), np.array(starts)


def _error(off: Sequence[Array]) -> Array:
    """Covariance (D, D) by which errors spread the swings of a clip.

    ``off`` has for every swing (S, D) departures of its draws. Over each draw of all swings the covariance between the
    swings is taken (divisor n - 1), and the mean over the draws: what all swings of a draw share cancels, and errors
    of every swing by itself count in full.
    """
    size = off[0].shape[1]
    draws = max(len(one) for one in off)
    known = [np.broadcast_to(one, (draws, size)) if len(one) == 1 else one for one in off]
    draws = min(len(one) for one in known)
    stack = np.array([one[:draws] for one in known])
    stack = stack[np.isfinite(stack).mean(axis=(1, 2)) > 0.5]
    if len(stack) < 2:
        return np.zeros((size, size))
    centred = stack - _mean(stack, 0)
    filled = np.where(np.isfinite(centred), centred, 0.0)
    pairs = np.isfinite(centred).astype(float)
    sums = np.einsum("nsi,nsj->ij", filled, filled)
    number = np.einsum("nsi,nsj->ij", pairs, pairs) * (len(stack) - 1) / len(stack)
    return np.where(number > 0.0, sums / np.maximum(number, 1.0), 0.0)


def _mean(values: Array, axis: int) -> Array:
    """Mean of what is known; 0 where nothing is."""
    known = np.isfinite(values)
    return np.asarray(
        np.where(known, values, 0.0).sum(axis, keepdims=True) / np.maximum(known.sum(axis, keepdims=True), 1)
    )


def _without(found: Ellipsoid, error: Array) -> Ellipsoid:
    """The ellipsoid with the covariance ``error`` (3, 3) taken out.

    No axis gets shorter than nothing. What that would add is shared out, so that the trace is that of the difference
    or 0.
    """
    if not np.isfinite(found.covariance).all():
        return found
    left = found.covariance - error
    variances, axes = np.linalg.eigh(left)
    variances = np.maximum(variances, 0.0)
    total = max(float(np.trace(left)), 0.0)
    variances *= total / variances.sum() if total > 0.0 else 0.0
    covariance = (axes * variances) @ axes.T
    return Ellipsoid(found.centre, covariance, np.sqrt(variances[::-1]), axes.T[::-1], found.count)


def _times(spread: Spread, by: float) -> Spread:
    """A spread in another unit."""
    return Spread(
        spread.own * by,
        spread.low * by,
        spread.high * by,
        spread.seen * by,
        spread.seen_low * by,
        spread.error * by,
        spread.count,
    )
