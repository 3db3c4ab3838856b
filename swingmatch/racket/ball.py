"""The struck ball in the pictures round a stroke: seen coming, seen leaving, and struck where the two paths meet.

Rows of small moving spots are candidates for the ball's path. A row that comes and one that leaves are joined where
they meet, each as the picture of a point that moves evenly in space; for a given moment of contact that is linear in
all unknowns, so the moment is found by a search in one dimension, well between two pictures.

Hands, shoes and the racket move too. What tells the ball from them: it keeps to such a path, comes from or goes beyond
the racket's reach, is struck within reach of the hand, and turns sharply there. Where no pair of paths passes, or two
pairs disagree, the answer is None: the ball was not seen.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.flight import GRAVITY, Fits, fit_flights
from swingmatch.racket.spots import BALL, Path, camera_shifts, find_paths, find_spots

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: A ball smaller than this in the picture, pixels across, cannot be told from noise.
SMALLEST = 2.5
#: Most spots of the coming and of the leaving path that are used: the picture of a flight is simple only for a while.
_COMING, _LEAVING = 9, 7
#: Fewest spots of either, and how many at contact may be left off because they are the racket's.
_FEWEST_COMING, _FEWEST_LEAVING, _OFF = 4, 3, 4
#: How well a spot's place is known: balls, and of the way from one picture to the next (a streak's middle).
_SPOT_SD, _STREAK_SD = 0.07, 0.02
#: Moments tried between two paths.
_STEPS = 14
#: The clearest paths of either kind that are tried.
_MOST = 25
#: What one number that fits is worth, as a sum of squares: a spot by chance is anywhere within its gate, some ten
#: standard deviations across.
_WORTH = 4.0
#: Least evidence of a pair, and by how much it must beat a pair that says another moment.
_ENOUGH, _CLEAR = 64.0, 10.0
#: Pairs within this many seconds say the same moment.
_SAME = 0.012
#: The racket's reach from the hand: places of contact are this near, statures; a ball comes from or goes beyond it.
_REACH, _BEYOND = 0.42, 0.5
#: Longest time between the last spot of the coming path and the first of the leaving one, seconds.
_UNSEEN = 0.09
#: The paths of a struck ball differ at least this much in speed on the picture, statures a second.
_TURNED = 3.0


@dataclass(frozen=True)
class BallContact:
    """Contact as the ball shows it.

    Attributes
    ----------
    time, sd : of contact, seconds. place : (2,) pixels of the picture, where the ball was struck.
    coming, leaving : the spots that it rests on. evidence : see ``_ENOUGH``.
    """

    time: float
    sd: float
    place: Array
    coming: Path
    leaving: Path
    evidence: float


def ball_contact(
    times: Array,
    pictures: Sequence[Picture],
    hand: Array,
    body_height: float,
    origin: tuple[float, float] = (0.0, 0.0),
) -> BallContact | None:
    """Contact from the ball in successive pictures about a stroke, or None where the ball was not seen.

    Parameters
    ----------
    times : (T,) seconds, rising, about half a second in all.
    pictures : T arrays (h, w, 3) uint8 RGB of equal size.
    hand : (T, 2) pixels of the whole picture where the hitting hand is in each; NaN where unknown.
    body_height : of the player, pixels. origin : of ``pictures`` in the whole picture, pixels.
    """
    diameter = BALL * body_height
    if len(times) < _FEWEST_COMING + _FEWEST_LEAVING or diameter < SMALLEST:
        return None
    shifts = camera_shifts(pictures)
    steady = hand + shifts[len(shifts) // 2] - shifts
    spots = find_spots(times, pictures, diameter, shifts, origin)
    return join_paths(find_paths(spots, diameter), times, steady, body_height)


def join_paths(paths: Sequence[Path], times: Array, hand: Array, body_height: float) -> BallContact | None:
    """The moment at which a path that comes and one that leaves meet near the hand.

    Parameters
    ----------
    paths : from ``find_paths``. times : (T,) seconds. hand : (T, 2) pixels, NaN where unknown.
    body_height : pixels.
    """
    joined = sorted(_all_joined(paths, times, hand, body_height), key=lambda c: -c.evidence)
    if not joined or joined[0].evidence < _ENOUGH:
        return None
    best = joined[0]
    others = [c.evidence for c in joined if abs(c.time - best.time) > _SAME]
    return best if best.evidence - max(others, default=0.0) > _CLEAR else None


def _all_joined(paths: Sequence[Path], times: Array, hand: Array, body_height: float) -> list[BallContact]:
    seen = np.isfinite(hand).all(axis=1)
    if not seen.any():
        return []

    def from_hand(t: Array, places: Array) -> Array:
        at = np.stack([np.interp(t, times[seen], hand[seen, axis]) for axis in (0, 1)], axis=-1)
        return np.linalg.norm(places - at, axis=-1) / body_height

    out = []
    for before, after in itertools.product(
        _clearest(paths, body_height, coming=True), _clearest(paths, body_height, coming=False)
    ):
        away = [float(from_hand(p.times, p.places).max()) for p in (before, after)]
        if max(away) < _BEYOND:
            continue
        found = _join(before, after, body_height)
        if found is not None and float(from_hand(np.asarray(found.time), found.place)) <= _REACH:
            out.append(found)
    return out


def _clearest(paths: Sequence[Path], body_height: float, *, coming: bool) -> list[Path]:
    """Ends of paths that may come, or starts of paths that may leave, the clearest first; few spots in two of them.

    ``_OFF`` spots more than are used are kept at contact: they may be the racket's.
    """
    most, fewest = (_COMING, _FEWEST_COMING) if coming else (_LEAVING, _FEWEST_LEAVING)
    found: list[tuple[float, Path]] = []
    for path in paths:
        n = len(path.times)
        part = slice(max(n - most - _OFF, 0), n) if coming else slice(0, most + _OFF)
        cut = Path(path.times[part], path.places[part])
        n = len(cut.times)
        use = [
            (np.arange(n) < n - off) & (np.arange(n) >= n - off - most)
            if coming
            else (np.arange(n) >= off) & (np.arange(n) < off + most)
            for off in range(min(n - fewest, _OFF) + 1)
        ]
        if use:
            kept = np.array(use)
            moments = np.array([cut.times[u][-1 if coming else 0] for u in kept])
            leaving = np.full(n, not coming)
            sd = _spot_sd(cut, body_height)
            fits = fit_flights(cut.times, cut.places, leaving, sd, moments, kept, GRAVITY * body_height)
            evidence = float((_WORTH * (2 * kept.sum(axis=1) - 5) - fits.cost).max())
            if evidence > 0.0:
                found.append((evidence, cut))
    out: list[Path] = []
    for _, path in sorted(found, key=lambda f: -f[0]):
        if all(_shared(path, other) < 0.7 for other in out):
            out.append(path)
    return out[:_MOST]


def _spot_sd(path: Path, body_height: float) -> Array:
    """(N,) pixels to which the spots of a path are known."""
    step = np.median(np.linalg.norm(np.diff(path.places, axis=0), axis=1))
    return np.full(len(path.times), _SPOT_SD * BALL * body_height + _STREAK_SD * float(step))


def _shared(path: Path, other: Path) -> float:
    """Share of a path's spots that are in another."""
    same = (path.times[:, None] == other.times) & (path.places[:, None] == other.places).all(axis=2)
    return float(same.any(axis=1).mean())


def _join(coming: Path, leaving: Path, body_height: float) -> BallContact | None:
    """Contact where two paths meet, with none to a few of their spots next to it left off; None where they do not."""
    n, m = len(coming.times), len(leaving.times)
    frame = float(np.median(np.diff(coming.times)))
    steps = np.linspace(0.0, 1.0, _STEPS)
    moments, use = [], []
    for a, b in itertools.product(
        range(min(n - _FEWEST_COMING, _OFF) + 1), range(min(m - _FEWEST_LEAVING, _OFF) + 1)
    ):
        last, first = coming.times[n - 1 - a], leaving.times[b]
        if 0.0 < first - last <= _UNSEEN:
            before = (np.arange(n) < n - a) & (np.arange(n) >= n - a - _COMING)
            after = (np.arange(m) >= b) & (np.arange(m) < b + _LEAVING)
            moments.append(last - 0.4 * frame + steps * (first - last + 0.8 * frame))
            use.append(np.concatenate([before, after]))
    if not moments:
        return None
    times, places = (
        np.concatenate([coming.times, leaving.times]),
        np.concatenate([coming.places, leaving.places]),
    )
    sd = np.concatenate([_spot_sd(coming, body_height), _spot_sd(leaving, body_height)])
    is_leaving = np.arange(n + m) >= n

    def fits(at: Array, which: NDArray[np.bool_]) -> Fits:
        return fit_flights(times, places, is_leaving, sd, at, which, GRAVITY * body_height)

    kept = np.array(use)
    cost = fits(np.concatenate(moments), np.repeat(kept, _STEPS, axis=0)).cost.reshape(len(kept), _STEPS)
    evidence = _WORTH * (2 * kept.sum(axis=1) - 9) - cost.min(axis=1)
    best = int(np.argmax(evidence))
    k = int(np.argmin(cost[best]))
    if k in (0, _STEPS - 1):
        return None
    # Near its least the cost is a parabola in the moment; its bend is the moment's certainty.
    step = 0.25 * float(moments[best][1] - moments[best][0])
    fine = moments[best][k] + step * np.arange(-4, 5)
    bend, slope, _ = np.polyfit(
        fine - fine[4], fits(fine, np.repeat(kept[best : best + 1], 9, axis=0)).cost, 2
    )
    if bend <= 0.0:
        return None
    moment = float(fine[4] - slope / (2.0 * bend))
    there = fits(np.array([moment]), kept[best : best + 1])
    least = float(there.cost[0])
    if np.linalg.norm(there.velocities[0, 1] - there.velocities[0, 0]) < _TURNED * body_height:
        return None
    spare = 2 * int(kept[best].sum()) - 9
    sd_moment = float((1.0 / bend) ** 0.5 * max(1.0, least / spare) ** 0.5)
    before, after = kept[best][:n], kept[best][n:]
    return BallContact(
        moment,
        sd_moment,
        there.place[0],
        Path(coming.times[before], coming.places[before]),
        Path(leaving.times[after], leaving.places[after]),
        _WORTH * spare - least,
    )
