"""Deviations: every quantity in every phase and at the key instants, player minus model.

The phases are the model's, carried to the player by the warp: both sides of a difference are taken over the same part
of the stroke, and a player's stroke needs no events of its own beyond contact.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.body.skeleton import INDEX, K, middle, swap_sides
from swingmatch.findings.accuracy import error_of
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.quantities import QUANTITIES, Quantity
from swingmatch.series import resample
from swingmatch.stroke.measures import angle_between
from swingmatch.stroke.swing import Swing, phase_bounds

Array = NDArray[np.float64]

#: Why a quantity in a column is not to be reported from this clip, or None where it may be.
Hides = Callable[[str, str], str | None]

#: Instants that get a column of their own beside the phases: label and event.
INSTANTS: tuple[tuple[str, str], ...] = (("end of take-back", "end_of_take_back"), ("contact", "contact"))
_INSTANT_NAMES = frozenset(label for label, _ in INSTANTS)
#: Columns of the comparison in order of time.
COLUMNS = (
    "preparation",
    "take-back",
    "end of take-back",
    "drop",
    "forward swing",
    "contact",
    "follow-through",
)
#: Half-width of an instant, seconds: the frame before and after at 60 fps, which halves the noise of one frame.
_INSTANT = 0.017
#: Smallest difference in a phase's duration that matters on court, ms (*common practice, no source*).
_TIME_FLOOR = 80.0
#: A difference in doubt by more than this many floors cannot be told from this view.
_TOO_UNSURE = 1.5
#: Moments at which a quantity is read within a column.
_MOMENTS = 32
#: The warp must reach all of a column but this much, seconds; it starts and ends on samples, up to 1/120 s inside.
_UNREACHED = 0.02


def moments(events: dict[str, float]) -> dict[str, tuple[float, float]]:
    """Start and end of every column, on the clock of ``events``; an instant is a short stretch around its event."""
    out = {name: bounds for name, bounds in phase_bounds(events).items() if name in COLUMNS}
    for label, event in INSTANTS:
        if event in events:
            out[label] = (events[event] - _INSTANT, events[event] + _INSTANT)
    return out


def _from_contact(swing: Swing) -> dict[str, float]:
    return {name: time - swing.contact for name, time in swing.events.items()}


def _means(values: Array, times: Array, spans: dict[str, tuple[float, float]]) -> dict[str, float]:
    """Mean of ``values`` over the time of each span, NaN where nothing is known there.

    Taken over moments evenly spread within the span, not over the frames that happen to fall inside: a phase may be a
    few frames short, and one more or less at its border would show.
    """
    shares = (np.arange(_MOMENTS) + 0.5) / _MOMENTS
    return {
        name: _mean(resample(values, times, start + shares * (stop - start)))
        for name, (start, stop) in spans.items()
    }


def _peaks(
    curve: Array,
    times: Array,
    model_curve: Array,
    model_times: Array,
    alignment: Alignment,
    span: tuple[float, float],
) -> tuple[Array, Array]:
    """Player minus model at moments spread over the model's ``span``, and when each is on the player's clock.

    Both are (M,); the model's moment is carried to the player by the warp. All times are seconds from contact.
    """
    start, stop = span
    theirs = start + (np.arange(_MOMENTS) + 0.5) / _MOMENTS * (stop - start)
    mine = alignment.to_player(theirs)
    return resample(curve, times, mine) - resample(model_curve, model_times, theirs), mine


def _peak(gaps: Sequence[Array], moments: Sequence[Array], degrees: bool) -> tuple[float, float]:
    """The largest of the mean differences (each (M,), of one swing), with its sign, and its mean time."""
    if not gaps:
        return float("nan"), float("nan")
    rows = np.array([_near(gap, 0.0) for gap in gaps] if degrees else gaps)
    known = np.isfinite(rows).all(axis=0)
    if not known.any():
        return float("nan"), float("nan")
    mean = np.where(known, np.mean(rows, axis=0), 0.0)
    most = int(np.argmax(np.abs(mean)))
    return float(mean[most]), float(np.mean(np.array(moments)[:, most]))


def _table(swing: Swing, spans: dict[str, tuple[float, float]]) -> dict[tuple[str, str], float]:
    """Value of every quantity in every span (seconds from contact): (quantity key, column) -> value."""
    right = swing.as_right_handed()
    times = swing.times - swing.contact
    return {
        (key, column): value
        for key, quantity in QUANTITIES.items()
        for column, value in _means(quantity.compute(right.points), times, spans).items()
    }


def _carried(alignment: Alignment, spans: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """The model's spans on the player's clock; instants keep their length.

    A span that the warp does not reach from end to end is left out: cut short, it would be another part of the stroke.
    """
    first, last = alignment.model_times[[0, -1]]
    out = {}
    for name, (start, stop) in spans.items():
        if start < first - _UNREACHED or stop > last + _UNREACHED:
            continue
        if name in _INSTANT_NAMES:
            centre = float(alignment.to_player(np.array([0.5 * (start + stop)]))[0])
            out[name] = (centre - _INSTANT, centre + _INSTANT)
        else:
            a, b = alignment.to_player(np.array([start, stop]))
            out[name] = (float(a), float(b))
    return out


def nothing_hidden(quantity: str, column: str) -> None:
    """The ``Hides`` of footage in which everything may be told."""


def compare(
    players: Sequence[Swing],
    model: Swing,
    alignments: Sequence[Alignment],
    repeats: Sequence[Swing],
    hides: Hides = nothing_hidden,
) -> tuple[Deviation, ...]:
    """Deviations of a player's swings, taken together, from one model swing.

    Parameters
    ----------
    players : the player's swings of one clip (one camera side). model : the chosen model swing.
    alignments : of each player's swing with ``model``, in the same order.
    repeats : all of the volunteer's swings, ``model`` among them; they give the model's own spread.
    hides : tells what the footage cannot show; that is *not visible*, as what the camera side cannot show.

    Returns
    -------
    One deviation for each quantity and column that both sides know, then one for each phase's duration. Angles are
    compared to the nearest whole turn, so that 350 degrees and -10 degrees are the same.
    """
    spans = moments(_from_contact(model))
    carried = [_carried(alignment, spans) for alignment in alignments]
    tables = [_table(player, span) for player, span in zip(players, carried, strict=True)]
    models = [_table(repeat, moments(_from_contact(repeat))) for repeat in repeats]
    aside = [
        _table(player.turned(player.azimuth_sd), span) for player, span in zip(players, carried, strict=True)
    ]
    azimuth = players[0].as_right_handed().camera_azimuth
    right = [(player.as_right_handed().points, player.times - player.contact) for player in players]
    theirs_right, theirs_times = model.as_right_handed().points, model.times - model.contact
    out: list[Deviation] = []
    for key, quantity in QUANTITIES.items():
        curves = [quantity.compute(points) for points, _ in right]
        model_curve = quantity.compute(theirs_right)
        for column in COLUMNS:
            reached = [span[column] for span in carried if column in span]
            if not reached:
                continue
            values = np.array([table.get((key, column), np.nan) for table in tables])
            theirs = np.array([table.get((key, column), np.nan) for table in models])
            turned = np.array([table.get((key, column), np.nan) for table in aside]) - values
            at = float(np.median([0.5 * (start + stop) for start, stop in reached]))
            found = _deviation(quantity, column, values, theirs, turned, azimuth, at, hides)
            if column not in _INSTANT_NAMES:
                gaps = [
                    _peaks(curve, times, model_curve, theirs_times, alignment, spans[column])
                    for curve, (_, times), alignment, span in zip(
                        curves, right, alignments, carried, strict=True
                    )
                    if column in span
                ]
                peak, when = _peak([g for g, _ in gaps], [t for _, t in gaps], quantity.unit == "deg")
                found = replace(found, peak=peak, peak_at=when)
            out.append(found)
    frame = max(float(np.median(np.diff(player.times))) for player in players)
    out.extend(_durations(carried, repeats, azimuth, frame, hides))
    return tuple(deviation for deviation in out if np.isfinite(deviation.value))


def _sd(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.std(known, ddof=1)) if len(known) > 1 else 0.0


def _mean(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")


def _near(values: Array, reference: float) -> Array:
    """Angles in degrees moved by whole turns to within half a turn of ``reference``."""
    return values - 360.0 * np.round((values - reference) / 360.0)


def can_be_seen(floor: float, error: float) -> bool:
    """Whether a quantity whose smallest difference that matters is ``floor`` can be told with this ``error``."""
    return error <= _TOO_UNSURE * floor


def _deviation(
    quantity: Quantity,
    column: str,
    values: Array,
    theirs: Array,
    turned: Array,
    azimuth: float,
    at: float,
    hides: Hides,
) -> Deviation:
    """One deviation; ``turned`` is by how much the values change with an azimuth off by its standard deviation."""
    if quantity.unit == "deg":
        turned = _near(turned, 0.0)
    by_azimuth = _mean(turned)
    # All swings of a clip are off by the same, so it does not shrink with their number.
    error = float(np.hypot(error_of(quantity.key, column, azimuth), np.nan_to_num(by_azimuth)))
    known = theirs[np.isfinite(theirs)]
    if quantity.unit == "deg" and len(known):
        theirs = _near(theirs, known[0])
        values = _near(values, _mean(theirs))
    return Deviation(
        quantity=quantity.key,
        phase=column,
        unit=quantity.unit,
        player=_mean(values),
        model=_mean(theirs),
        spread=_sd(theirs),
        error=error,
        repeat=_sd(values),
        floor=quantity.floor,
        swings=int(np.isfinite(values).sum()),
        at=at,
        visible=can_be_seen(quantity.floor, error) and hides(quantity.key, column) is None,
    )


def _durations(
    carried: list[dict[str, tuple[float, float]]],
    repeats: Sequence[Swing],
    azimuth: float,
    frame: float,
    hides: Hides,
) -> list[Deviation]:
    """How much longer than the model the player takes over each phase, ms.

    A difference shorter than the time ``frame`` between two pictures, seconds, never counts.
    """
    out = []
    floor = max(_TIME_FLOOR, 1000.0 * frame)
    bounds = [moments(_from_contact(repeat)) for repeat in repeats]
    for column in COLUMNS:
        reached = [span[column] for span in carried if column in span]
        if column in _INSTANT_NAMES or not reached:
            continue
        mine = np.array([1000.0 * (stop - start) for start, stop in reached])
        theirs = np.array([1000.0 * (b[column][1] - b[column][0]) for b in bounds if column in b])
        error = error_of("duration", column, azimuth)
        out.append(
            Deviation(
                quantity="duration",
                phase=column,
                unit="ms",
                player=_mean(mine),
                model=_mean(theirs),
                spread=_sd(theirs),
                error=error,
                repeat=_sd(mine),
                floor=floor,
                swings=len(mine),
                at=float(np.median([start for start, _ in reached])),
                visible=can_be_seen(_TIME_FLOOR, error) and hides("duration", column) is None,
            )
        )
    return out


def shifts(
    players: Sequence[Swing],
    model: Swing,
    alignments: Sequence[Alignment],
    repeats: Sequence[Swing],
    hides: Hides = nothing_hidden,
) -> tuple[Deviation, ...]:
    """How much earlier than the model, counted from contact, the player is in each column by the warp, ms.

    Arguments as for ``compare``. Mean over the column's moments; positive where the player is there earlier (farther
    ahead of contact, or less long after it). Contact meets contact, so there is none at contact. The error is that of
    the duration of the column's phase; the model's repeats spread by how far the middle of the column is from contact.
    """
    spans = moments(_from_contact(model))
    carried = [_carried(alignment, spans) for alignment in alignments]
    azimuth = players[0].as_right_handed().camera_azimuth
    frame = max(float(np.median(np.diff(player.times))) for player in players)
    floor = max(_TIME_FLOOR, 1000.0 * frame)
    bounds = [moments(_from_contact(repeat)) for repeat in repeats]
    out = []
    for column, span in spans.items():
        pairs = zip(alignments, carried, strict=True)
        reached = [(alignment, own[column]) for alignment, own in pairs if column in own]
        if column == "contact" or not reached:
            continue
        theirs = span[0] + (np.arange(_MOMENTS) + 0.5) / _MOMENTS * (span[1] - span[0])
        early = np.array([1000.0 * float(np.mean(theirs - one.to_player(theirs))) for one, _ in reached])
        model_at = -1000.0 * float(np.mean(theirs))
        phase = "take-back" if column in _INSTANT_NAMES else column
        error = error_of("duration", phase, azimuth)
        out.append(
            Deviation(
                quantity="shift",
                phase=column,
                unit="ms",
                player=model_at + _mean(early),
                model=model_at,
                spread=_sd(np.array([-500.0 * sum(b[column]) for b in bounds if column in b])),
                error=error,
                repeat=_sd(early),
                floor=floor,
                swings=len(early),
                at=float(np.median([0.5 * sum(own) for _, own in reached])),
                visible=can_be_seen(_TIME_FLOOR, error) and hides("duration", phase) is None,
            )
        )
    return tuple(out)


#: The segment that leads to each keypoint, for colouring joints by how far its direction departs.
_LEADS: dict[str, tuple[str, str]] = {
    f"{side}_{end}": (f"{side}_{start}", f"{side}_{end}")
    for side in ("left", "right")
    for start, end in (
        ("shoulder", "elbow"),
        ("elbow", "wrist"),
        ("wrist", "hand"),
        ("hip", "knee"),
        ("knee", "ankle"),
        ("heel", "toe"),
    )
}


def _directions(points: Array) -> Array:
    """Direction of the segment that leads to each keypoint: (N, K, 3) to (N, K, 3), NaN where there is none."""
    out = np.full_like(points, np.nan)
    for name, (start, end) in _LEADS.items():
        out[:, INDEX[name]] = points[:, INDEX[end]] - points[:, INDEX[start]]
    for part in ("shoulder", "hip"):
        line = points[:, INDEX[f"right_{part}"]] - points[:, INDEX[f"left_{part}"]]
        out[:, INDEX[f"left_{part}"]] = out[:, INDEX[f"right_{part}"]] = line
    out[:, INDEX["nose"]] = middle(points, "shoulder") - middle(points, "hip")
    return out


#: The quantity that tells whether a view can show where a joint's segment points (right-handed names).
_GATES: dict[str, str] = {
    "nose": "trunk_side_lean",
    "left_shoulder": "shoulder_turn",
    "right_shoulder": "shoulder_turn",
    "left_hip": "hip_turn",
    "right_hip": "hip_turn",
    "left_elbow": "off_arm_raise",
    "right_elbow": "hitting_arm_raise",
    "left_wrist": "off_elbow_flexion",
    "left_hand": "off_elbow_flexion",
    "right_wrist": "hitting_elbow_flexion",
    "right_hand": "hitting_elbow_flexion",
    "left_knee": "inside_knee_flexion",
    "left_ankle": "inside_knee_flexion",
    "left_toe": "inside_knee_flexion",
    "right_knee": "outside_knee_flexion",
    "right_ankle": "outside_knee_flexion",
    "right_toe": "outside_knee_flexion",
}


def _can_tell(azimuth: float, hides: Hides) -> NDArray[np.bool_]:
    """(K,) whether a camera at ``azimuth`` (right-handed) shows each joint well enough to colour it."""
    out = np.zeros(K, dtype=bool)
    for name, key in _GATES.items():
        seen = can_be_seen(QUANTITIES[key].floor, error_of(key, "forward swing", azimuth))
        out[INDEX[name]] = seen and hides(key, "forward swing") is None
    return out


def joint_differences(
    player: Swing, model: Swing, alignment: Alignment, hides: Hides = nothing_hidden
) -> Array:
    """How far each joint's segment points away from the model's, degrees: (N, K) at the alignment's moments.

    Both swings in the same hand. NaN for a keypoint that no segment leads to and where this view cannot tell, or
    the footage (``hides``, see ``compare``).
    """
    right_player, right_model = player.as_right_handed(), model.as_right_handed()
    mine = _directions(right_player.at(alignment.player_times + player.contact))
    theirs = _directions(right_model.at(alignment.model_times + model.contact))
    degrees = angle_between(mine, theirs)
    degrees[:, ~_can_tell(right_player.camera_azimuth, hides)] = np.nan
    return degrees if player.hand == "right" else swap_sides(degrees[..., None])[..., 0]
