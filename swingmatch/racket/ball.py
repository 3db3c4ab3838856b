"""The struck ball in the pictures round a stroke: seen coming, seen leaving, and struck where the two paths meet.

Rows of small moving spots are candidates for the ball's path. A row that comes and one that leaves are joined where
they meet, each as the picture of a point that moves evenly in space; for a given moment of contact that is linear in
all unknowns, so the moment is found by a search in one dimension, well between two pictures.

Hands, shoes and the racket move too. What tells the ball from them: it keeps to such a path, comes from or goes beyond
the racket's reach, is struck within reach of the hand, and turns sharply there. Where no pair of paths passes, or two
pairs disagree, the answer is None: the ball was not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.flight import GRAVITY, Fits, fit_flights
from swingmatch.racket.spots import BALL, FASTEST, Path, camera_shifts, find_paths, find_spots

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
_STEPS = 10
#: Cases that are fitted at once.
_AT_ONCE = 400
#: How many of the clearest coming paths are tried, and leaving ones with each.
_MOST, _BEST = 12, 4
#: What one number that fits is worth, as a sum of squares: a spot by chance is anywhere within its gate, some ten
#: standard deviations across.
_WORTH = 4.0
#: Least evidence of a pair, and by how much it must beat a pair that says another moment.
_ENOUGH, _CLEAR = 70.0, 10.0
#: What a leaving path of the fewest spots takes off: many other things make one.
_SHORT_COST = 20.0
#: How far colours of one ball differ, levels; what a spot of the same colour is worth.
_COLOUR_SD, _COLOUR_WORTH = 22.0, 3.0
#: Pairs within this many seconds say the same moment.
_SAME = 0.012
#: The racket's reach from the hand: places of contact are this near, statures; a ball comes from or goes beyond it.
_REACH, _BEYOND = 0.42, 0.5
#: Longest time between the last spot of the coming path and the first of the leaving one, seconds.
_UNSEEN = 0.2
#: Wrong spots at contact can let both paths overlap by so much, seconds.
_OVERLAP = 0.2
#: What a picture between them without the ball takes off the evidence.
_UNSEEN_COST = 3.0
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

    def placed(self, scale: float, corner: NDArray[np.int_]) -> BallContact:
        """The same where its pictures were cut out at ``corner`` and then made ``scale`` times as large."""

        def back(places: Array) -> Array:
            return places / scale + corner

        return replace(
            self,
            place=back(self.place),
            coming=replace(self.coming, places=back(self.coming.places)),
            leaving=replace(self.leaving, places=back(self.leaving.places)),
        )


def ball_contact(
    times: Array,
    pictures: Sequence[Picture],
    hand: Array,
    body_height: float,
) -> BallContact | None:
    """Contact from the ball in successive pictures about a stroke, or None where the ball was not seen.

    Parameters
    ----------
    times : (T,) seconds, rising, about half a second in all.
    pictures : T arrays (h, w, 3) uint8 RGB of equal size.
    hand : (T, 2) pixels where the hitting hand is in each; NaN where unknown. body_height : of the player, pixels.
    """
    diameter = BALL * body_height
    if len(times) < _FEWEST_COMING + _FEWEST_LEAVING or diameter < SMALLEST:
        return None
    shifts = camera_shifts(pictures)
    steady = hand + shifts[len(shifts) // 2] - shifts
    spots = find_spots(times, pictures, diameter, shifts)
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
    other = max((c.evidence for c in joined if abs(c.time - best.time) > _SAME), default=0.0)
    return best if best.evidence - other > _CLEAR else None


def _all_joined(paths: Sequence[Path], times: Array, hand: Array, body_height: float) -> list[BallContact]:
    """Every pair of paths that meets where a hand with a racket is."""
    seen = np.isfinite(hand).all(axis=1)
    if not seen.any():
        return []

    def from_hand(t: Array, places: Array) -> Array:
        at = np.stack([np.interp(t, times[seen], hand[seen, axis]) for axis in (0, 1)], axis=-1)
        return np.linalg.norm(places - at, axis=-1) / body_height

    leaving = [p.part(slice(_LEAVING + _OFF)) for p in paths if p.spots >= _FEWEST_LEAVING]
    if not leaving:
        return []
    goes = np.array([from_hand(p.times, p.places).max() for p in leaving])
    starts = np.array([p.times[0] for p in leaving])
    out = []
    for before in _clearest(paths, body_height):
        comes = float(from_hand(before.times, before.places).max())
        own = np.median(before.colours, axis=0)
        like = np.array([(np.abs(p.colours - own).max(axis=1) < 3.0 * _COLOUR_SD).sum() for p in leaving])
        follows = (starts > before.times[-1] - _OVERLAP) & (starts < before.times[-1] + _UNSEEN)
        # Seen along its way the ball stays near the hand in the picture; nothing else there flies straight for so long.
        long = np.array([before.spots >= _COMING and p.spots >= _LEAVING for p in leaving])
        apart = (np.maximum(goes, comes) >= _BEYOND) | long
        able = np.flatnonzero((like >= _FEWEST_LEAVING) & follows & apart)
        for found in _joined(before, [leaving[i] for i in able], body_height):
            if float(from_hand(np.asarray(found.time), found.place)) <= _REACH:
                out.append(found)
    return out


def _clearest(paths: Sequence[Path], body_height: float) -> list[Path]:
    """Paths whose ends look most like a coming ball's, few spots in two of them."""
    cuts = [p.part(slice(-_COMING - _OFF, None)) for p in paths if len(p.times) >= _FEWEST_COMING]
    if not cuts:
        return []
    cases = [
        _Case(cut, None, off, 0)
        for cut in cuts
        for off in range(_OFF + 1)
        if cut.spots > off + _FEWEST_COMING
    ]
    fits = _fit(cases, np.array([c.last for c in cases]), body_height)
    best: dict[int, tuple[float, Path]] = {}
    for case, cost in zip(cases, fits.cost, strict=True):
        evidence = _WORTH * (2 * case.count - 5) - float(cost)
        if evidence > best.get(id(case.coming), (0.0,))[0]:
            best[id(case.coming)] = evidence, case.coming
    out: list[Path] = []
    for _, path in sorted(best.values(), key=lambda f: -f[0]):
        if all(_shared(path, other) < 0.7 for other in out):
            out.append(path)
    return out[:_MOST]


def _shared(path: Path, other: Path) -> float:
    """Share of a path's spots that are in another."""
    same = (path.times[:, None] == other.times) & (path.places[:, None] == other.places).all(axis=2)
    return float(same.any(axis=1).mean())


class _Case:
    """A coming and a leaving path with some of their spots next to contact left off, and so many kept beyond those."""

    def __init__(self, coming: Path, leaving: Path | None, off: int, later: int) -> None:
        n, m = coming.spots, leaving.spots if leaving is not None else 0
        self.coming, self.leaving = coming, leaving
        self.before = slice(max(n - off - _COMING, 0), n - off)
        self.after = slice(later, min(later + _LEAVING, m))
        self.last = float(coming.times[n - off - 1])
        self.first = float(leaving.times[later]) if leaving is not None else self.last
        self.count = self.before.stop - self.before.start + max(self.after.stop - self.after.start, 0)

    def parts(self) -> list[Path]:
        """The spots kept, coming and leaving."""
        parts = [self.coming.part(self.before)]
        return parts if self.leaving is None else [*parts, self.leaving.part(self.after)]

    def possible(self, body_height: float) -> bool:
        """Whether one ball can be in both, by time, speed and colour."""
        gap = self.first - self.last
        if not 0.0 < gap <= _UNSEEN or self.leaving is None:
            return False
        leap = self.leaving.places[self.after.start] - self.coming.places[self.before.stop - 1]
        return float(np.linalg.norm(leap)) < FASTEST * body_height * (gap + 0.01)

    def colour_evidence(self) -> float:
        """Evidence from all kept spots having the colour of the coming ball."""
        colours = np.concatenate([p.colours for p in self.parts()])
        off = (colours - np.median(self.parts()[0].colours, axis=0)) / _COLOUR_SD
        return float((_COLOUR_WORTH - np.minimum((off**2).mean(axis=1), 20.0)).sum())


def _fit(cases: Sequence[_Case], moments: Array, body_height: float) -> Fits:
    """All cases at once, ``len(moments) / len(cases)`` moments each, padded to the same length."""
    size = _COMING + _LEAVING
    count = len(cases)
    times, places = np.zeros((count, size)), np.zeros((count, size, 2))
    use, sd = np.zeros((count, size), bool), np.ones((count, size))
    for row, case in enumerate(cases):
        times[row], places[row] = case.last, case.coming.places[case.before.stop - 1]
        for part, start in zip(case.parts(), (0, _COMING), strict=False):
            here = slice(start, start + part.spots)
            step = float(np.median(np.linalg.norm(np.diff(part.places, axis=0), axis=1)))
            times[row, here], places[row, here], use[row, here] = part.times, part.places, True
            sd[row, here] = _SPOT_SD * BALL * body_height + _STREAK_SD * step
    each = len(moments) // count
    leaving = np.arange(size) >= _COMING
    times, places, sd, use = (np.repeat(v, each, axis=0) for v in (times, places, sd, use))
    return fit_flights(times, places, leaving, sd, moments, use.astype(bool), GRAVITY * body_height)


def _joined(coming: Path, leaving: Sequence[Path], body_height: float) -> list[BallContact]:
    """Contacts of one coming path with each leaving path that it can meet, the likeliest few."""
    cases = [
        case
        for path in leaving
        for off in range(min(coming.spots - _FEWEST_COMING, _OFF) + 1)
        for later in range(min(path.spots - _FEWEST_LEAVING, _OFF) + 1)
        if (case := _Case(coming, path, off, later)).possible(body_height)
    ]
    colour = np.array([case.colour_evidence() for case in cases])
    cases = [case for case, value in zip(cases, colour, strict=True) if value > 0.0]
    colour = colour[colour > 0.0]
    if not cases:
        return []
    frame = float(np.median(np.diff(coming.times)))
    grid = np.stack([np.linspace(c.last - 0.4 * frame, c.first + 0.4 * frame, _STEPS) for c in cases])
    # A few cases at a time: the equations of thousands take hundreds of megabytes.
    parts = [slice(k, k + _AT_ONCE) for k in range(0, len(cases), _AT_ONCE)]
    cost = np.concatenate([_fit(cases[part], grid[part].ravel(), body_height).cost for part in parts])
    cost = cost.reshape(grid.shape)
    # Where the ball should have been seen and was not, something spoke against this pair.
    missed = np.maximum(np.array([(c.first - c.last) / frame for c in cases]) - 1.0, 0.0)
    short = np.array([c.after.stop - c.after.start == _FEWEST_LEAVING for c in cases])
    more = colour - _UNSEEN_COST * missed - _SHORT_COST * short
    evidence = _WORTH * np.array([2 * c.count - 9 for c in cases]) - cost.min(axis=1) + more
    out: list[BallContact] = []
    for i in np.argsort(-evidence)[: 4 * _BEST]:
        found = _refined(cases[i], grid[i], cost[i], body_height)
        if found is not None and len(out) < _BEST:
            out.append(replace(found, evidence=found.evidence + float(more[i])))
    return out


def _refined(case: _Case, grid: Array, cost: Array, body_height: float) -> BallContact | None:
    """Contact between the points of a coarse grid of moments; None where the cost has no least within it."""
    k = int(np.argmin(cost))
    if k in (0, len(grid) - 1):
        return None
    # Near its least the cost is a parabola in the moment; its bend is the moment's certainty.
    fine = grid[k] + (grid[1] - grid[0]) * np.linspace(-1.0, 1.0, 17)
    fits = _fit([case], fine, body_height)
    k = int(np.clip(np.argmin(fits.cost), 3, 13))
    near = slice(k - 3, k + 4)
    bend, slope, _ = np.polyfit(fine[near] - fine[k], fits.cost[near], 2)
    if bend <= 0.0:
        return None
    moment = float(fine[k] - slope / (2.0 * bend))
    there = _fit([case], np.array([moment]), body_height)
    if np.linalg.norm(there.velocities[0, 1] - there.velocities[0, 0]) < _TURNED * body_height:
        return None
    least, spare = float(there.cost[0]), 2 * case.count - 9
    sd = float((1.0 / bend) ** 0.5 * max(1.0, least / spare) ** 0.5)
    coming, leaving = case.parts()
    return BallContact(moment, sd, there.place[0], coming, leaving, _WORTH * spare - least)
