"""Finding the racket's five points in pictures: a small network on the square about the hitting hand.

The network (``keypoints.onnx``, 1.7 million parameters) sees three pictures about a sixtieth of a second apart and a
line for the forearm, and gives for each point how likely it is in each of 40 x 40 cells, and how likely there is a
racket at all. It was trained on generated pictures alone (``swingmatch/study/sight``): what it is worth on real film is
what those share with it. It runs on one CPU core through OpenCV.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip
from swingmatch.clip.reader import frames
from swingmatch.errors import ClipError
from swingmatch.racket.crop import APART, Square, arm_map, cut, grey, neighbours, square, stack
from swingmatch.racket.points import RacketPoints, nothing

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

_WEIGHTS = Path(__file__).with_name("keypoints.onnx")
#: Cells of a heat map are this many pixels of the square wide.
_STRIDE = 4
#: A place is the mean over the cells up to this far from the likeliest.
_REACH = 4
#: Least probability of a racket at which its points are said.
LEAST_PRESENT = 0.5
#: From the spread of a heat map to the standard deviation of the place: the spread of a heat map of a point that is
#: plainly seen (the width it was taught, pixels), a floor and a factor; ``python -m swingmatch.study.sight.check``
#: on clips of TUNING fits them.
_TAUGHT, _FLOOR, _FACTOR = 3.4, 0.9, 0.8
#: A point whose standard deviation is larger than this, statures, is not seen.
_WIDEST = 0.10
#: Weight of what the spread is of: all cells but the least likely, which together hold this much.
_REST = 0.02


@dataclass(frozen=True)
class Look:
    """What the network says of one picture: ``image`` (5, 2) and ``sd`` (5,) pixels of it, ``present`` 0..1."""

    image: Array
    sd: Array
    present: float


class RacketSight:
    """The network, loaded when it is first asked; OpenCV runs it on one core.

    An object must not be asked from two threads at once.
    """

    def __init__(self, weights: Path = _WEIGHTS) -> None:
        self._path = weights
        self._net: cv2.dnn.Net | None = None

    def answer(self, planes: NDArray[np.float32]) -> tuple[Array, float]:
        """Heat maps (5, 40, 40), before the softmax, and the probability of a racket, of ``crop.stack``'s planes."""
        if self._net is None:
            self._net = cv2.dnn.readNetFromONNX(str(self._path))
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            self._net.setInput(planes[None])
            heat, present = self._net.forward(["heat", "present"])
        finally:
            cv2.setNumThreads(threads)
        return heat[0].astype(np.float64), float(1.0 / (1.0 + np.exp(-float(present[0, 0]))))

    def look(self, planes: NDArray[np.float32], where: Square) -> Look:
        """What one picture shows, in pixels of the picture that the square was cut out of."""
        heat, present = self.answer(planes)
        places, sd = read(heat)
        return Look(where.outward(places), sd / where.scale, present)


@cache
def _sight() -> RacketSight:
    return RacketSight()


def read(heat: Array) -> tuple[Array, Array]:
    """Places (5, 2) and standard deviations on each axis (5,), pixels of the square, of heat maps (5, n, n).

    The place is the mean about the likeliest cell, to a part of a cell. The deviation comes from the spread of the
    whole map about that place, so that a second hill far off makes it large.
    """
    count, rows, cols = heat.shape
    flat = heat.reshape(count, -1)
    share = np.exp(flat - flat.max(1, keepdims=True))
    share /= share.sum(1, keepdims=True)
    # A faint glow over the whole map is no second place.
    share = np.maximum(share - _REST / share.shape[1], 0.0)
    share = (share / share.sum(1, keepdims=True)).reshape(heat.shape)
    x, y = np.arange(cols), np.arange(rows)[:, None]
    best = flat.argmax(1)
    places, sd = np.empty((count, 2)), np.empty(count)
    for k in range(count):
        near = share[k] * ((np.abs(x - best[k] % cols) <= _REACH) & (np.abs(y - best[k] // cols) <= _REACH))
        at = np.array([(near * x).sum(), (near * y).sum()]) / near.sum()
        spread = 0.5 * float((share[k] * ((x - at[0]) ** 2 + (y - at[1]) ** 2)).sum()) * _STRIDE**2
        places[k] = (at + 0.5) * _STRIDE - 0.5
        sd[k] = np.sqrt(_FLOOR**2 + _FACTOR**2 * max(spread - _TAUGHT**2, 0.0))
    return places, sd


class _Shown(NamedTuple):
    """One picture on its way: seconds, pixels where hand and elbow are in it, and whether it is looked at."""

    time: float
    picture: Picture
    hand: Array
    elbow: Array
    ask: bool


def _looks(shown: Iterable[_Shown], body_height: float, sight: RacketSight) -> Iterator[Look | None]:
    """What each picture shows, None for those that are not looked at; few pictures are held at a time."""
    held: deque[_Shown] = deque()
    now = 0

    def look() -> Look | None:
        one = held[now]
        if not one.ask or not np.isfinite(one.hand).all():
            return None
        where = square(one.hand, body_height)
        before, after = neighbours(np.array([other.time for other in held]), now)
        current, earlier, later = (cut(held[n].picture, where) for n in (now, before, after))
        arm = arm_map(where.inward(one.elbow), where.inward(one.hand))
        return sight.look(stack(current, grey(earlier), grey(later), arm), where)

    for one in shown:
        held.append(one)
        # The picture after may be the one just before or just after this time.
        while held[-1].time >= held[now].time + APART:
            yield look()
            now += 1
            while held[1].time <= held[now].time - APART:
                held.popleft()
                now -= 1
    while now < len(held):
        yield look()
        now += 1


def _as_points(times: Array, looks: Sequence[Look | None], body_height: float) -> tuple[RacketPoints, Array]:
    """The points that are sure enough, and (N,) how probable a racket is."""
    image, sd = np.full((len(times), 5, 2), np.nan), np.full((len(times), 5), np.inf)
    present = np.zeros(len(times))
    for k, seen in enumerate(looks):
        if seen is None:
            continue
        present[k] = seen.present
        if seen.present >= LEAST_PRESENT:
            sure = seen.sd < _WIDEST * body_height
            image[k, sure], sd[k, sure] = seen.image[sure], seen.sd[sure]
    return RacketPoints(np.asarray(times, dtype=np.float64), image, sd), present


def racket_points(
    times: Array,
    pictures: Iterable[Picture],
    hand: Array,
    elbow: Array,
    body_height: float,
    sight: RacketSight | None = None,
) -> tuple[RacketPoints, Array]:
    """The racket's points in pictures that follow one another.

    Parameters
    ----------
    times : (N,) seconds, rising. pictures : N pictures (h, w, 3), red, green, blue. hand, elbow : (N, 2) pixels where
    the hitting hand and elbow are; NaN where not known: nothing is looked for there. body_height : pixels.

    Returns
    -------
    The points (NaN, and inf for the deviation, where nothing was seen), and (N,) how probable a racket is.
    """
    shown = (
        _Shown(float(time), picture, hand[k], elbow[k], True)
        for k, (time, picture) in enumerate(zip(times, pictures, strict=True))
    )
    return _as_points(times, list(_looks(shown, body_height, sight or _sight())), body_height)


def see_racket(
    clip: Clip, track: Track, start: float, stop: float, contact: float, hand: str, body_height: float
) -> RacketPoints:
    """The racket's points in the pictures of a clip from ``start`` to ``stop`` seconds.

    Parameters
    ----------
    clip, track : on the same clock. contact : seconds; pictures are looked at more often near it, see ``worth``.
    hand : the hitting hand, "left" or "right". body_height : pixels of pictures of ``track.size``, in which the result
    is, too.

    A clip that cannot be read gives no points at all.
    """
    arm = {part: _path(track, f"{hand}_{part}") for part in ("hand", "elbow")}
    size = track.size
    about = _window(arm["hand"], start, stop, body_height, size)
    if about is None:
        return nothing(np.zeros(0))
    low, high = about
    ask = dict(zip(clip.times, worth(clip.times, start, stop, contact), strict=True))
    times: list[float] = []

    def shown() -> Iterator[_Shown]:
        # The pictures on either side of the first and the last are looked at with them.
        for frame in frames(clip, start - 1.5 * APART, stop + 1.5 * APART, max_height=size[1]):
            times.append(frame.time)
            at = np.array([frame.time])
            hands, elbows = (_at(arm[part], at)[0] - low for part in ("hand", "elbow"))
            picture = np.ascontiguousarray(frame.image[low[1] : high[1], low[0] : high[0]])
            yield _Shown(frame.time, picture, hands, elbows, ask[frame.time])

    try:
        looks = list(_looks(shown(), body_height, _sight()))
    except ClipError:
        return nothing(np.zeros(0))
    points, _ = _as_points(np.array(times), looks, body_height)
    return RacketPoints(points.times, points.image + low, points.sd)


def racket_finder(
    clip: Clip, track: Track, body_height: float
) -> Callable[[float, float, float, str], RacketPoints]:
    """``see_racket`` of one clip, as ``held.Finder``: of start, stop and contact in seconds, and the hitting hand.

    A clip in slow motion is given with the times of ``footage.slow_motion.clip_at_real_speed``, as its track has them.
    """

    def find(start: float, stop: float, contact: float, hand: str) -> RacketPoints:
        return see_racket(clip, track, start, stop, contact, hand, body_height)

    return find


#: From so long before contact to so long after it, seconds, pictures are looked at that are at least ``_DENSE`` after
#: the one before; elsewhere, where the racket is slower, one every ``_SPARSE``. In a forehand the drop begins some
#: 0.31 s before contact (medians of the model swings).
_NEAR, _NEAR_AFTER = 0.40, 0.12
_DENSE, _SPARSE = 1.0 / 130.0, 1.0 / 32.0


def worth(times: Array, start: float, stop: float, contact: float) -> NDArray[np.bool_]:
    """(N,) which pictures, at ``times`` (N,) seconds, are looked at for a racket from ``start`` to ``stop``."""
    out = np.zeros(len(times), dtype=bool)
    last = -np.inf
    for k in np.flatnonzero((times >= start) & (times <= stop)):
        near = contact - _NEAR <= times[k] <= contact + _NEAR_AFTER
        # Times are rounded; a picture that is a millisecond early is not left out.
        if times[k] - last > (_DENSE if near else _SPARSE) - 1e-3:
            out[k], last = True, times[k]
    return out


#: A hand that was not seen for longer than this is nowhere, seconds.
_HOLE = 0.15


def _path(track: Track, name: str) -> tuple[Array, Array]:
    """(N,) seconds and (N, 2) pixels at which a keypoint is known."""
    places = track.image[:, INDEX[name]]
    known = np.isfinite(places).all(axis=1)
    return track.times[known], places[known]


def _at(path: tuple[Array, Array], times: Array) -> Array:
    """(N, 2) where a keypoint is at ``times``; NaN far from any moment at which it is known."""
    known, places = path
    if len(known) == 0:
        return np.full((len(times), 2), np.nan)
    out = np.stack([np.interp(times, known, places[:, axis]) for axis in (0, 1)], axis=1)
    right = np.clip(np.searchsorted(known, times), 0, len(known) - 1)
    away = np.minimum(np.abs(known[right] - times), np.abs(known[np.maximum(right - 1, 0)] - times))
    out[away > _HOLE] = np.nan
    return out


def _window(
    path: tuple[Array, Array], start: float, stop: float, body_height: float, size: tuple[int, int]
) -> tuple[NDArray[np.int64], NDArray[np.int64]] | None:
    """The corners of the part of the picture that all squares lie in; None where the hand is never known."""
    inside = path[1][(path[0] >= start - APART) & (path[0] <= stop + APART)]
    if len(inside) == 0:
        return None
    low = np.clip(np.floor(inside.min(0) - 0.5 * body_height), 0, np.array(size) - 1).astype(np.int64)
    high = np.clip(np.ceil(inside.max(0) + 0.5 * body_height), low + 1, size).astype(np.int64)
    return low, high
