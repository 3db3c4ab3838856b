"""Deviations: every quantity in every phase and at the key instants, player minus model."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.body.skeleton import INDEX, K, middle, swap_sides
from swingmatch.findings.accuracy import Hides, can_be_seen, error_of, nothing_hidden
from swingmatch.findings.columns import (
    INSTANT_NAMES,
    Spans,
    carried,
    columns_of,
    mean,
    means,
    near,
    spans_of,
    spread_over,
)
from swingmatch.findings.curves import Curves, curves_of
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.quantities import QUANTITIES, Quantity
from swingmatch.findings.timing import durations
from swingmatch.findings.typical import own_spread, spread_of
from swingmatch.series import resample
from swingmatch.stroke.measures import angle_between
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]


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
    repeats : all of the volunteer's swings, ``model`` among them; they give the model's own spread. That of a single
        one is unknown: the usual spread of recorded players is taken (see ``typical``).
    hides : tells what the footage cannot show; that is *not visible*, as what the camera side cannot show.

    Returns
    -------
    One deviation for each quantity and column that both sides know, then one for each phase's duration. Angles are
    compared to the nearest whole turn, so that 350 degrees and -10 degrees are the same. Nothing is said here of
    chance, see ``discovery``.
    """
    theirs = [curves_of(repeat) for repeat in repeats]
    found = quantities([curves_of(p) for p in players], curves_of(model), alignments, theirs, hides)
    return (*found, *durations(players, model, alignments, repeats, hides))


def quantities(
    players: Sequence[Curves],
    model: Curves,
    alignments: Sequence[Alignment],
    repeats: Sequence[Curves],
    hides: Hides = nothing_hidden,
) -> tuple[Deviation, ...]:
    """The deviations of the quantities, see ``compare``."""
    spans = spans_of(model.swing)
    reached = [carried(alignment, spans) for alignment in alignments]
    repeat_spans = [spans_of(repeat.swing) for repeat in repeats]
    azimuth = players[0].swing.as_right_handed().camera_azimuth
    stroke = model.swing.stroke
    out = []
    for key, quantity in QUANTITIES.items():
        for column in columns_of(stroke):
            if not any(column in span for span in reached):
                continue
            values = _values([player.values[key] for player in players], players, reached, column)
            turned = _values([player.turned[key] for player in players], players, reached, column)
            theirs = _values([repeat.values[key] for repeat in repeats], repeats, repeat_spans, column)
            if not np.isfinite(values).any() or not np.isfinite(theirs).any():
                continue
            off = turned - values
            if quantity.unit == "deg":
                off = near(off, 0.0)
                theirs = near(theirs, theirs[np.isfinite(theirs)][0])
                values = near(values, mean(theirs))
            # All swings of a clip are off by the same, so it does not shrink with their number.
            error = float(np.hypot(error_of(key, column, azimuth, stroke), np.nan_to_num(mean(off))))
            player, other = mean(values), mean(theirs)
            peak, peak_at = _peak(quantity, players, model, alignments, reached, column, player - other)
            out.append(
                Deviation(
                    quantity=key,
                    phase=column,
                    unit=quantity.unit,
                    player=player,
                    model=other,
                    spread=spread_of(theirs, stroke, f"{key}@{column}"),
                    error=error,
                    repeat=own_spread(values),
                    floor=quantity.floor,
                    swings=int(np.isfinite(values).sum()),
                    at=float(np.median([0.5 * sum(span[column]) for span in reached if column in span])),
                    visible=can_be_seen(quantity.floor, error) and hides(key, column) is None,
                    peak=peak,
                    peak_at=peak_at,
                )
            )
    return tuple(out)


def _values(series: Sequence[Array], whose: Sequence[Curves], spans: Sequence[Spans], column: str) -> Array:
    """Mean of each swing's series over its own span of a column: (N,), NaN where it has none."""
    return np.array(
        [
            means(values, one.clock, span, (column,)).get(column, np.nan)
            for values, one, span in zip(series, whose, spans, strict=True)
        ]
    )


def _peak(
    quantity: Quantity,
    players: Sequence[Curves],
    model: Curves,
    alignments: Sequence[Alignment],
    reached: Sequence[Spans],
    column: str,
    value: float,
) -> tuple[float, float]:
    """The largest difference along the warp within a column, with its sign, and its time on the player's clock.

    The difference is taken at moments spread over the model's column, each carried to every player's swing by the warp,
    from the model swing itself, and averaged over the swings that show the quantity there. Angles are brought to
    the nearest whole turn of ``value``. An instant has no peak. The largest of many noisy differences is on average
    further out than the largest true one: it says where to look, and ``Deviation.value`` how much it is.
    """
    if column in INSTANT_NAMES:
        return math.nan, math.nan
    at = spread_over(spans_of(model.swing)[column])
    theirs = resample(model.values[quantity.key], model.clock, at)
    gaps, times = [], []
    for player, alignment, span in zip(players, alignments, reached, strict=True):
        if column not in span:
            continue
        own = alignment.to_player(at)
        gap = resample(player.values[quantity.key], player.clock, own) - theirs
        if np.isfinite(gap).any():
            gaps.append(near(gap, value) if quantity.unit == "deg" else gap)
            times.append(own)
    if not gaps:
        return math.nan, math.nan
    # A mean over other swings at the next moment would jump.
    average = np.mean(gaps, axis=0)
    if not np.isfinite(average).any():
        return math.nan, math.nan
    most = int(np.nanargmax(np.abs(average)))
    return float(average[most]), float(np.median([own[most] for own in times]))


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
