"""``align``: find the player's moment for every moment of the model, contact on contact.

The stroke is cut at contact, and the part before and the part after are warped on their own, so that nothing can pull
contact away from contact. Each part is warped by DTW on segment directions. Its path is a staircase with plateaus; it
is turned into a smooth clock by a bounded least-squares fit whose unknowns are the slopes of that clock, so that they
can be kept between 1/3 and 3 everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from swingmatch.align import dtw
from swingmatch.align.alignment import Alignment
from swingmatch.align.features import features, normalised_weights, rows
from swingmatch.errors import StrokeError
from swingmatch.stroke.swing import Swing

RATE = 120  # moments a second at which swings are compared
#: How far the band reaches, in seconds, beyond "same time from contact" and "same time from the start".
BAND = 0.25
#: The model's clock runs at no less than a third and no more than three times the player's.
SLOPES = (1.0 / 3.0, 3.0)

MAX_BEFORE = 1.6  # seconds before contact that are compared at most; earlier is waiting, not stroke
MAX_AFTER = 0.7  # seconds after contact, where the end of the follow-through is not known
AFTER_MARGIN = 0.1  # seconds compared after the end of the follow-through
MIN_BEFORE = 0.15  # seconds before contact without which there is nothing to compare

# The fit of the clock. A pair of the path tells the time to within NOISE / (speed of the features); the slope is taken
# to wander by WANDER in a second, and to lie around 1 by LOOSE where nothing moves.
NODE_STEP = 4  # samples between two nodes of the clock's slope
NOISE = 12.0  # degrees
WANDER = 2.0  # 1 / sqrt(s)
LOOSE = 1.0
STILL = 15.0  # degrees a second, added to the speed of the features so that stillness still counts a little

_STARTS = ("ready", "turn_start", "hands_apart")


@dataclass(frozen=True)
class _Part:
    """One side of contact: both swings' rows, contact first, and the path between them."""

    player: NDArray[np.float64]
    model: NDArray[np.float64]
    path: NDArray[np.intp]


def align(player: Swing, model: Swing) -> Alignment:
    """The time warp between two swings, contact pinned to contact.

    Left-handers are mirrored first, body size does not matter, and the clocks of the two swings may have any zero. The
    warp covers the player's swing from the first event that both have among ready, turn start and hands apart (at most
    ``MAX_BEFORE`` seconds) to a little after the end of the follow-through, as far as both are recorded. The outer
    ends are free: where one swing has already ended, the rest of the other is not forced on its last moment.

    Returns
    -------
    Alignment
        At ``RATE`` moments a second; slope within ``SLOPES``; ``distance`` is the mean over these moments of the
        weighted angle between the segments, in degrees.

    Raises
    ------
    StrokeError
        Where too little of a swing is known before contact, or no segment is seen in both.
    """
    (n_before, n_after), (m_before, m_after) = spans = _spans(player, model)
    player_rows, model_rows = _comparable(player, model, spans)
    before = _part(player_rows[n_before::-1], model_rows[m_before::-1])
    after = _part(player_rows[n_before:], model_rows[m_before:])

    ticks = np.concatenate([-before.path, after.path])
    speed = np.concatenate([_speed(before), _speed(after)])
    clock = _fit_clock(n_before, n_after, ticks, speed)

    steps = np.arange(-n_before, n_after + 1) / RATE
    inside = (clock >= model.times[0] - model.contact) & (clock <= model.times[-1] - model.contact)
    apart = _distance_along(player_rows, model_rows, clock * RATE + m_before)
    within = inside & (clock * RATE >= -m_before) & (clock * RATE <= m_after)
    return Alignment(steps[inside], clock[inside], float(apart[within].mean()))


def distance(player: Swing, model: Swing) -> float:
    """How unlike two swings are, degrees a segment, when each moment is compared with its best match.

    The root mean square over the DTW of both sides of contact. Symmetric, zero for one swing and itself or its
    mirror image; faster than :func:`align`, as no clock is fitted. Errors as in :func:`align`.
    """
    squared, steps = 0.0, 0
    for mine, other in _sides(player, model):
        squared += dtw.distance(mine, other, _radius()) ** 2
        steps += max(len(mine), len(other))
    return float(np.sqrt(squared / steps))


def typical_distance(player: Swing, model: Swing) -> float:
    """As :func:`distance`, but the median over the path: a fault in one part of the stroke moves it little."""
    apart = [
        np.linalg.norm(mine[path[:, 0]] - other[path[:, 1]], axis=1)
        for mine, other in _sides(player, model)
        for path in (dtw.path(mine, other, _radius()),)
    ]
    return float(np.median(np.concatenate(apart)))


def aligned_repeats(reference: Swing, others: Sequence[Swing]) -> list[Alignment]:
    """Each of ``others`` aligned to ``reference``, which takes the model's place: for the spread between repeats."""
    return [align(other, reference) for other in others]


def _spans(player: Swing, model: Swing) -> tuple[tuple[int, int], tuple[int, int]]:
    """Samples before and after contact to compare, of the player and of the model."""
    start = next((e for e in _STARTS if e in player.events and e in model.events), None)
    both_end = all("end_of_follow_through" in swing.events for swing in (player, model))

    def span(swing: Swing, who: str) -> tuple[int, int]:
        before = swing.contact - swing.times[0]
        after = swing.times[-1] - swing.contact
        if start is not None:
            before = min(before, swing.contact - swing.events[start])
        after = min(
            after,
            swing.events["end_of_follow_through"] - swing.contact + AFTER_MARGIN if both_end else MAX_AFTER,
        )
        before = min(before, MAX_BEFORE)
        if not before >= MIN_BEFORE or not after >= 0:
            raise StrokeError(
                f"Only {max(before, 0.0):.2f} s of {who} are known before contact, which is too little to compare."
            )
        # A hair is added so that a span of a whole number of samples does not lose one to rounding.
        return int(before * RATE + 1e-6), int(after * RATE + 1e-6)

    return span(player, "the player's swing"), span(model, "the model swing")


def _sides(player: Swing, model: Swing) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Rows of player and model before contact and after it, contact first in both."""
    (n_before, _), (m_before, _) = spans = _spans(player, model)
    player_rows, model_rows = _comparable(player, model, spans)
    return [
        (player_rows[n_before::-1], model_rows[m_before::-1]),
        (player_rows[n_before:], model_rows[m_before:]),
    ]


def _comparable(
    player: Swing, model: Swing, spans: tuple[tuple[int, int], tuple[int, int]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rows of both swings over their spans, with the weights of the segments that both show."""
    mine, other = (
        features(swing, swing.contact + np.arange(-before, after + 1) / RATE)
        for swing, (before, after) in zip((player, model), spans, strict=True)
    )
    weights = normalised_weights(mine.seen, other.seen)
    if not weights.any():
        raise StrokeError(
            "The swing cannot be compared, because no part of the body is seen for long enough."
        )
    return rows(mine.directions, weights), rows(other.directions, weights)


def _radius() -> int:
    return round(BAND * RATE)


def _part(player: NDArray[np.float64], model: NDArray[np.float64]) -> _Part:
    """DTW of one side of contact, rows in order away from contact, with its outer end set free.

    At the outer end the path has to reach the last pair, if need be by holding one swing still. Those steps are cut,
    from the first moment at which either swing has reached its end.
    """
    path = dtw.path(player, model, _radius())
    ended = (path[:, 0] == len(player) - 1) | (path[:, 1] == len(model) - 1)
    return _Part(player, model, path[: int(np.argmax(ended)) + 1])


def _speed(part: _Part) -> NDArray[np.float64]:
    """Degrees a second at which the features move at each pair of the path: the smaller of both swings."""
    mine, other = (
        np.linalg.norm(np.gradient(side, 1.0 / RATE, axis=0), axis=1) if len(side) > 1 else np.zeros(1)
        for side in (part.player, part.model)
    )
    return np.minimum(mine[part.path[:, 0]], other[part.path[:, 1]])


def _fit_clock(
    n_before: int, n_after: int, ticks: NDArray[np.intp], speed: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The model's time, seconds from contact, at each of the player's samples: (n_before + 1 + n_after,).

    The clock is tau(t) = integral from 0 to t of s, with s linear between nodes every ``NODE_STEP`` samples; so it is
    zero at contact, smooth, and its slope stays within the bounds of the nodes. The node slopes minimise

        sum_i ((tau(t_i) - m_i) speed_i / NOISE)^2
            + sum_k (s_k+1 - s_k)^2 / (WANDER^2 h) + sum_k (s_k - 1)^2 h / LOOSE^2

    for path pairs (t_i, m_i) and h seconds between nodes, under ``SLOPES``.
    """
    samples = np.arange(-n_before, n_after + 1)
    first, last = -(-n_before // NODE_STEP) * NODE_STEP, -(-n_after // NODE_STEP) * NODE_STEP
    nodes = np.arange(-first, last + 1, NODE_STEP)
    h = NODE_STEP / RATE
    hats = np.maximum(0.0, 1.0 - np.abs(samples[:, None] - nodes) / NODE_STEP)
    # The trapezoid rule is exact here, because every node lies on a sample.
    running = np.concatenate(
        [np.zeros((1, len(nodes))), np.cumsum(0.5 * (hats[1:] + hats[:-1]), axis=0) / RATE]
    )
    integral = running - running[n_before]

    # Several pairs of one sample are one look at it, and neighbouring samples see the same movement.
    looks = 1.0 / np.bincount(ticks[:, 0] + n_before, minlength=len(samples))[ticks[:, 0] + n_before]
    trust = (speed + STILL) / NOISE * np.sqrt(looks)
    steps = np.diff(np.eye(len(nodes)), axis=0) / (WANDER * np.sqrt(h))
    loose = np.eye(len(nodes)) * (np.sqrt(h) / LOOSE)
    matrix = np.concatenate([integral[ticks[:, 0] + n_before] * trust[:, None], steps, loose])
    wanted = np.concatenate(
        [ticks[:, 1] / RATE * trust, np.zeros(len(steps)), np.full(len(nodes), np.sqrt(h) / LOOSE)]
    )
    slopes = lsq_linear(matrix, wanted, bounds=SLOPES, method="bvls").x
    return integral @ np.clip(slopes, *SLOPES)


def _distance_along(
    player: NDArray[np.float64], model: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Degrees between the player's rows (N, F) and the model's rows at sample numbers ``at`` (N,)."""
    at = np.clip(at, 0, len(model) - 1)
    left = np.minimum(at.astype(int), max(len(model) - 2, 0))
    right = np.minimum(left + 1, len(model) - 1)
    w = (at - left)[:, None]
    return np.linalg.norm(player - ((1 - w) * model[left] + w * model[right]), axis=1)
