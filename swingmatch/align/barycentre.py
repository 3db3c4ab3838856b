"""``typical``: a player's typical swing, the average of repeats at the same moments of the stroke.

The idea is DTW barycentre averaging (Petitjean, Ketterlin and Gancarski, Pattern Recognition 44:678-693, 2011): align
all repeats to a reference, average what is matched, take the average as the next reference. Here the alignment is
``warp.align``, so contact stays on contact and clocks stay smooth, and two more things are averaged: the clock, so that
the typical swing has the repeats' mean tempo and not the first reference's, and a body, so that it is a swing again.

Positions must not be averaged: an arm that points a little elsewhere in every repeat would come out too short. What is
averaged is the direction of every segment; the body is then put together again from the hips outwards, with bones of
one length.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.features import features, normalised_weights, rows
from swingmatch.align.warp import RATE, align, distance
from swingmatch.body.skeleton import INDEX, SIDES, K, mirror
from swingmatch.errors import StrokeError
from swingmatch.series import dense, resample
from swingmatch.stroke.swing import Hand, Swing

Array = NDArray[np.float64]
#: A point of the body as shares of marks (keypoints, then the racket's points).
Shares = dict[int, float]

#: Rounds of aligning and averaging at most; the first two make nearly all of the difference.
ROUNDS = 3
#: A round that brings the swings nearer by less than this share is the last.
_SETTLED = 0.02
_SOLES = [INDEX[f"{side}_{part}"] for side in SIDES for part in ("heel", "toe")]
_BUTT, _THROAT, _TIP, _LEFT, _RIGHT = range(K, K + 5)


@dataclass(frozen=True)
class _Segment:
    """A direction that is averaged: from one place to another; ``bone`` where its length does not change."""

    start: Shares
    end: Shares
    bone: bool


def typical(swings: Sequence[Swing]) -> Swing:
    """The typical swing of repeats of one stroke by one player.

    Parameters
    ----------
    swings : at least one, of one stroke and hand, on court axes. Draws are not used.

    Returns
    -------
    Swing
        Times in seconds from contact, about ``RATE`` a second, over what all repeats show. An event that more than
        half of the repeats have is at the mean of its moments on the common clock. With a racket where all have one;
        without draws. The average of one swing, or of equal ones, is that swing.

    Raises
    ------
    StrokeError
        There is no swing, they are not of one stroke and hand, or too little of one is known before contact.
    """
    if not swings:
        raise StrokeError("There is no swing to average.")
    if len({(swing.stroke, swing.hand) for swing in swings}) > 1:
        raise StrokeError("Only swings of one kind of stroke and one hand can be averaged.")
    repeats = [_prepared(swing) for swing in swings]
    best = _medoid(repeats)
    best = _average(best, repeats)
    apart = _apart(best, repeats)
    for _ in range(ROUNDS - 1 if len(repeats) > 1 else 0):
        new = _average(best, repeats)
        now = _apart(new, repeats)
        if now < apart:
            best, gain, apart = new, 1.0 - now / apart, now
            if gain >= _SETTLED:
                continue
        break
    return _by_hand(best, swings[0].hand)


def _prepared(swing: Swing) -> Swing:
    """Right-handed, contact at 0, dense enough that straight lines between samples cut no corners, without draws."""
    right = replace(swing, draws=None).as_right_handed()
    times, points = dense(right.times, right.points, RATE)
    racket = None if right.racket is None else dense(right.times, right.racket, RATE)[1]
    if racket is not None and len(racket) != len(times):
        racket = resample(right.racket, right.times, times)  # type: ignore[arg-type]
    events = {name: time - right.contact for name, time in right.events.items()}
    return replace(right, times=times - right.contact, points=points, racket=racket, events=events)


def _by_hand(swing: Swing, hand: Hand) -> Swing:
    if hand == "right":
        return swing
    racket = swing.racket
    if racket is not None:
        racket = racket[:, [0, 1, 2, 4, 3]] * np.array([1.0, 1.0, -1.0])
    return replace(
        swing,
        points=mirror(swing.points),
        racket=racket,
        hand=hand,
        camera_azimuth=-swing.camera_azimuth,
    )


def _medoid(repeats: Sequence[Swing]) -> Swing:
    """The repeat that is nearest to all others at the same seconds from contact, tempo and all."""
    start = max(swing.times[0] for swing in repeats)
    stop = min(swing.times[-1] for swing in repeats)
    at = np.arange(np.ceil(start * RATE), np.floor(stop * RATE) + 1) / RATE
    found = [features(swing, at) for swing in repeats]
    weights = normalised_weights(*(one.seen for one in found))
    table = np.array([rows(one.directions, weights) for one in found])
    totals = [float(((table - one) ** 2).sum()) for one in table]
    return repeats[int(np.argmin(totals))]


def _apart(swing: Swing, repeats: Sequence[Swing]) -> float:
    """Root mean square of the distances from a swing to the repeats, degrees a segment."""
    return float(np.sqrt(np.mean([distance(one, swing) ** 2 for one in repeats])))


def _average(reference: Swing, repeats: Sequence[Swing]) -> Swing:
    """All repeats averaged at the moments of the reference, on their mean clock."""
    warps = [align(reference, swing) for swing in repeats]

    def clock(i: int, at: Array) -> Array:
        """The repeat's seconds from contact at the reference's; beyond the warp both run alike."""
        warp = warps[i]
        inside = np.clip(at, warp.player_times[0], warp.player_times[-1])
        return warp.to_model(inside) + (at - inside)

    def back(i: int, at: float) -> float:
        warp = warps[i]
        inside = np.clip(at, warp.model_times[0], warp.model_times[-1])
        return float(warp.to_player(inside) + (at - inside))

    start = max(back(i, swing.times[0]) for i, swing in enumerate(repeats))
    stop = min(back(i, swing.times[-1]) for i, swing in enumerate(repeats))
    # A hair, so that rounding does not lose the first or the last sample.
    at = np.arange(np.ceil(start * RATE - 1e-6), np.floor(stop * RATE + 1e-6) + 1) / RATE
    own = [clock(i, at) for i in range(len(repeats))]
    mean_clock = np.mean(own, axis=0)

    counts = Counter(name for swing in repeats for name in swing.events)
    events = {}
    for name, count in counts.items():
        moments = [back(i, swing.events[name]) for i, swing in enumerate(repeats) if name in swing.events]
        moment = float(np.interp(np.mean(moments), at, mean_clock))
        if 2 * count > len(repeats) and at[0] - 1e-6 <= np.mean(moments) <= at[-1] + 1e-6:
            events[name] = moment
    events["contact"] = 0.0

    with_racket = all(swing.racket is not None for swing in repeats)
    marks = np.array(
        [
            resample(_marks(swing, with_racket), swing.times, times)
            for swing, times in zip(repeats, own, strict=True)
        ]
    )
    body = _rebuilt(marks, with_racket)
    return replace(
        reference,
        times=mean_clock,
        points=body[:, :K],
        racket=body[:, K:] if with_racket else None,
        events=events,
        camera_azimuth=_mean_angle([swing.camera_azimuth for swing in repeats]),
    )


def _marks(swing: Swing, with_racket: bool) -> Array:
    """(T, K, 3), or (T, K + 5, 3) with the racket's points behind."""
    if not with_racket or swing.racket is None:
        return swing.points
    return np.concatenate([swing.points, swing.racket], axis=1)


def _mean_angle(degrees: Sequence[float]) -> float:
    """Mean direction, degrees; NaN where none is known."""
    known = np.radians([one for one in degrees if np.isfinite(one)])
    if len(known) == 0:
        return float("nan")
    return float(np.degrees(np.arctan2(np.sin(known).mean(), np.cos(known).mean())))


# The body, averaged by directions -----------------------------------------------------------------------


def _middle(part: str) -> Shares:
    return {INDEX[f"{side}_{part}"]: 0.5 for side in SIDES}


def _rebuilt(marks: Array, with_racket: bool) -> Array:
    """Average body: marks (R, T, M, 3) of all repeats at the same moments to (T, M, 3).

    The middle of the hips is averaged as a place, every segment as a direction, and the lowest sole is at its mean
    height. Bones have the median of all their lengths; what a trunk is made of bends, so there the length at each
    moment is the mean of the repeats'.
    """
    out = np.full(marks.shape[1:], np.nan)
    hips = _mean(_place(marks, _middle("hip")))

    def add(segment: _Segment) -> Array:
        """(T, 3) the averaged way from start to end."""
        way = _place(marks, segment.end) - _place(marks, segment.start)
        length = np.linalg.norm(way, axis=-1, keepdims=True)
        unit = way / np.where(length > 0.0, length, 1.0)
        towards = _mean(unit)
        size = np.linalg.norm(towards, axis=-1, keepdims=True)
        known = length[np.isfinite(length)]
        mean_length = _mean(length)
        if segment.bone and len(known):
            mean_length = np.where(np.isfinite(mean_length), np.median(known), np.nan)
        return np.asarray(towards / np.where(size > 0.0, size, 1.0) * mean_length)

    def pair(part: str, middle: Array, bone: bool) -> None:
        left, right = (INDEX[f"{side}_{part}"] for side in SIDES)
        half = 0.5 * add(_Segment({left: 1.0}, {right: 1.0}, bone))
        out[:, left], out[:, right] = middle - half, middle + half

    def chain(*points: int) -> None:
        for start, end in itertools.pairwise(points):
            out[:, end] = out[:, start] + add(_Segment({start: 1.0}, {end: 1.0}, True))

    pair("hip", hips, True)
    shoulders = hips + add(_Segment(_middle("hip"), _middle("shoulder"), False))
    pair("shoulder", shoulders, False)
    ears = shoulders + add(_Segment(_middle("shoulder"), _middle("ear"), False))
    pair("ear", ears, True)
    out[:, INDEX["nose"]] = ears + add(_Segment(_middle("ear"), {INDEX["nose"]: 1.0}, True))
    for side in SIDES:
        chain(*(INDEX[f"{side}_{part}"] for part in ("shoulder", "elbow", "wrist", "hand")))
        chain(*(INDEX[f"{side}_{part}"] for part in ("hip", "knee", "ankle")))
        for part in ("heel", "toe"):
            chain(INDEX[f"{side}_ankle"], INDEX[f"{side}_{part}"])
    if with_racket:
        chain(INDEX["right_hand"], _BUTT, _THROAT, _TIP)
        face = {_LEFT: 0.5, _RIGHT: 0.5}
        centre = out[:, _THROAT] + add(_Segment({_THROAT: 1.0}, face, True))
        half = 0.5 * add(_Segment({_LEFT: 1.0}, {_RIGHT: 1.0}, True))
        out[:, _LEFT], out[:, _RIGHT] = centre - half, centre + half
    # A leg of averaged directions reaches a little further than the legs did.
    sunk = out[:, _SOLES, 1].min(axis=1) - _mean(marks[:, :, _SOLES, 1].min(axis=2))
    out[:, :, 1] -= np.where(np.isfinite(sunk), sunk, 0.0)[:, None]
    return out


def _place(marks: Array, shares: Shares) -> Array:
    """(R, T, 3) a place given as shares of marks."""
    return np.sum([share * marks[:, :, mark] for mark, share in shares.items()], axis=0)


def _mean(values: Array) -> Array:
    """Mean over the repeats that know it: (R, T, D) to (T, D), NaN where none does."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
