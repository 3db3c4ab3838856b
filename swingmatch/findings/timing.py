"""Time: how long a phase takes, and how much later than the model the player is in it, by the warp."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.findings.accuracy import Hides, can_be_seen, error_of, nothing_hidden
from swingmatch.findings.columns import INSTANT_NAMES, Spans, carried, columns_of, mean, spans_of, spread_over
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.typical import own_spread, spread_of
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: Smallest difference in time that matters on court, ms (*common practice, no source*).
_TIME_FLOOR = 80.0


def durations(
    players: Sequence[Swing],
    model: Swing,
    alignments: Sequence[Alignment],
    repeats: Sequence[Swing],
    hides: Hides = nothing_hidden,
) -> tuple[Deviation, ...]:
    """How much longer than the model the player takes over each phase, ms. Arguments as for ``compare``.

    A difference shorter than the time between two pictures never counts.
    """
    reached = _reached(model, alignments)
    theirs = [spans_of(repeat) for repeat in repeats]
    out = []
    for column in columns_of(model.stroke):
        mine = [span[column] for span in reached if column in span]
        if column in INSTANT_NAMES or not mine:
            continue
        out.append(
            _deviation(
                "duration",
                column,
                np.array([1000.0 * (stop - start) for start, stop in mine]),
                np.array([1000.0 * (span[column][1] - span[column][0]) for span in theirs if column in span]),
                _duration_error(players, column),
                float(np.median([start for start, _ in mine])),
                players,
                hides,
            )
        )
    return tuple(deviation for deviation in out if np.isfinite(deviation.value))


def shifts(
    players: Sequence[Swing],
    model: Swing,
    alignments: Sequence[Alignment],
    repeats: Sequence[Swing],
    hides: Hides = nothing_hidden,
) -> tuple[Deviation, ...]:
    """How much later than the model the player is in each column, ms. Arguments as for ``compare``.

    Both clocks run from contact, where the warp holds them together: there the shift is nothing, and none is given.
    In any other column it is the mean, over moments spread evenly through the model's column, of the player's time that
    the warp pairs with the moment, minus the model's. Negative is earlier: a player who comes to the end of the
    take-back 600 ms before contact, the model 450 ms, has a shift of -150 ms there. The model's own is the middle of
    the column, and its repeats spread by how far theirs are apart.
    """
    reached = _reached(model, alignments)
    spans = spans_of(model)
    theirs = [spans_of(repeat) for repeat in repeats]
    out = []
    for column in columns_of(model.stroke):
        if column == "contact" or not any(column in span for span in reached):
            continue
        at = spread_over(spans[column])
        mine = [
            (float(alignment.to_player(at).mean()), span[column])
            for alignment, span in zip(alignments, reached, strict=True)
            if column in span
        ]
        out.append(
            _deviation(
                "shift",
                column,
                np.array([1000.0 * own for own, _ in mine]),
                np.array([500.0 * sum(span[column]) for span in theirs if column in span]),
                _shift_error(players, column),
                float(np.median([0.5 * (start + stop) for _, (start, stop) in mine])),
                players,
                hides,
            )
        )
    return tuple(deviation for deviation in out if np.isfinite(deviation.value))


def _reached(model: Swing, alignments: Sequence[Alignment]) -> list[Spans]:
    spans = spans_of(model)
    return [carried(alignment, spans) for alignment in alignments]


def _deviation(
    quantity: str,
    column: str,
    mine: Array,
    theirs: Array,
    error: float,
    at: float,
    players: Sequence[Swing],
    hides: Hides,
) -> Deviation:
    frame = 1000.0 * max(float(np.median(np.diff(player.times))) for player in players)
    return Deviation(
        quantity=quantity,
        phase=column,
        unit="ms",
        player=mean(mine),
        model=mean(theirs),
        spread=spread_of(theirs, players[0].stroke, f"{quantity}@{column}"),
        error=error,
        repeat=own_spread(mine),
        floor=max(_TIME_FLOOR, frame),
        swings=len(mine),
        at=at,
        # What hides how long a phase is hides when it is.
        visible=can_be_seen(_TIME_FLOOR, error)
        and hides(quantity, column) is None
        and hides("duration", column) is None,
    )


def _error(players: Sequence[Swing], quantity: str) -> Callable[[str], float]:
    swing = players[0].as_right_handed()
    return lambda column: error_of(quantity, column, swing.camera_azimuth, swing.stroke)


def _duration_error(players: Sequence[Swing], column: str) -> float:
    return _error(players, "duration")(column)


def _shift_error(players: Sequence[Swing], column: str) -> float:
    """Standard error of a shift, ms: the study's where it has one, else from its errors of the durations.

    Between contact and the middle of a column lie half of it and all phases between; their durations err independently
    in this sum. Neighbours err against each other where the event between them is misplaced, so it is rather too large.
    """
    studied = _error(players, "shift")(column)
    if np.isfinite(studied):
        return studied
    definition = STROKES[players[0].stroke]
    names = [name for name, _, _ in definition.phases]
    hit = next(i for i, (_, start, _) in enumerate(definition.phases) if start == "contact")
    events = dict(definition.instants)
    if column in events:
        ends = [end for _, _, end in definition.phases]
        place = ends.index(events[column])
        parts = [(name, 1.0) for name in names[place + 1 : hit]]
    else:
        place = names.index(column)
        between = names[place + 1 : hit] if place < hit else names[hit:place]
        parts = [(column, 0.5), *((name, 1.0) for name in between)]
    of = _error(players, "duration")
    return float(np.sqrt(sum((share * of(name)) ** 2 for name, share in parts)))
