"""Limbs that the estimator took for the other side's, told by the movement as a whole and put back.

``mend`` sees exchanges by the jump at their ends. One that lasts, or a body that is taken for turned round, makes no
jump; ``reading`` tells it from how the limbs move.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.reading import LIMBS, RATE, STRETCH, read
from swingmatch.body.skeleton import INDEX
from swingmatch.body.smooth import runs
from swingmatch.body.stretch import stretch_of
from swingmatch.body.track import Track
from swingmatch.series import resample

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: What a change from exchanged to not, or back, costs in log-odds: sides are not taken for each other every other
#: frame, and the network's answers for neighbouring frames are one look.
CHANGE = 8.0
#: Shortest run of frames that is read, seconds.
_SHORTEST = 0.5


def put_back(track: Track) -> Track:
    """The track with limbs that are on the other side put back."""
    out = [track.image.copy(), track.world.copy(), track.visibility.copy()]
    for start, stop in runs(track.found):
        if stop - start < 4 or track.times[stop - 1] - track.times[start] < _SHORTEST:
            continue
        odds = _odds(track, start, stop)
        for column, parts in enumerate(LIMBS.values()):
            left, right = ([INDEX[f"{side}_{part}"] for part in parts] for side in ("left", "right"))
            rows = start + np.flatnonzero(likeliest(odds[:, column]))
            for values in out:
                values[rows[:, None], left + right] = values[rows[:, None], right + left]
    return replace(track, image=out[0], world=out[1], visibility=out[2])


def _odds(track: Track, start: int, stop: int) -> Array:
    """(N, 3) log-odds that limbs are exchanged, for rows ``start`` to ``stop``; 0 where nothing can be read."""
    times = track.times[start:stop]
    total, weight = np.zeros((len(times), len(LIMBS))), np.zeros(len(times))
    # The network is at home in stretches of its training's length: they overlap by half, and all have a say.
    for begin in np.arange(times[0], max(times[-1] - STRETCH / 2, times[0] + 0.5 / RATE), STRETCH / 2):
        inside = (times >= begin) & (times <= begin + STRETCH)
        stretch = stretch_of(track, times[inside][0], times[inside][-1])
        if stretch is None:
            continue
        reading = read(stretch)
        total[inside] += resample(reading.exchanged, reading.times, times[inside])
        weight[inside] += 1.0
    # Each frame counts for the time it stands for, whatever the frame rate.
    share = RATE * float(np.median(np.diff(times)))
    return share * total / np.maximum(weight, 1.0)[:, None]


def likeliest(odds: Array, change: float = CHANGE) -> Flags:
    """The likeliest sequence of yes and no, (N,), for log-odds ``odds`` (N,) of yes where a change costs ``change``.

    Viterbi's algorithm with two states.
    """
    count = len(odds)
    cost = np.array([0.0, -odds[0]])
    came = np.zeros((count, 2), dtype=int)
    for t in range(1, count):
        ways = cost[None, :] + change * (1.0 - np.eye(2))
        came[t] = ways.argmin(axis=1)
        cost = ways.min(axis=1) + np.array([0.0, -odds[t]])
    state = int(cost.argmin())
    out = np.zeros(count, dtype=bool)
    for t in range(count - 1, -1, -1):
        out[t] = bool(state)
        state = int(came[t, state])
    return out
