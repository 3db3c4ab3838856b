"""A laboratory's recordings as swings: BVH, C3D and CSV, each brought to court axes and cut into strokes.

A recording knows neither court nor ball. Where the file or the coach does not say it, contact is put shortly after the
wrist is fastest, and the target where the hand goes at contact; the notes of the result say so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from swingmatch.body.skeleton import INDEX, SIDES, middle
from swingmatch.body.smooth import low_pass
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, segment_lengths
from swingmatch.library.bvh import read_keypoints
from swingmatch.library.c3d import read_c3d
from swingmatch.library.markers import MarkerSet, keypoints, upright
from swingmatch.library.table import read_table
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.kinematics import peak
from swingmatch.stroke.measures import speed
from swingmatch.stroke.recognise import common_hand, recognise
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Hand, Swing

Array = NDArray[np.float64]

#: What is read, by the end of the name.
ENDINGS = (".c3d", ".bvh", ".bvh.gz", ".csv")
#: Low-pass before speeds are taken, Hz: usual for body points, more for the ends of the arms (E15). Positions stay raw.
_CUTOFF = 12.0
#: A stroke: seconds kept before and after contact, share of the recording's fastest hand, least seconds between two.
_BEFORE, _AFTER, _SHARE, _APART = 1.6, 1.0, 0.6, 1.5
#: A stroke must be recorded from this long before to this long after contact, seconds.
_LEAST = (0.5, 0.15)
#: The serve's highest wrist is looked for this far from its fastest moment, seconds.
_REACH = 0.2
#: How far the hand's way at contact may be from the target, degrees (spread over real forehands; see ``study``).
_TARGET_SD = 15.0


@dataclass(frozen=True)
class Recording:
    """A body in motion.

    Attributes
    ----------
    times : (T,) seconds. points : (T, K, 3) metres, Y up; X towards the target where ``court``.
    racket : (T, 5, 3) metres, or None. court : whether X is known to be towards the target.
    events : name -> seconds; with "contact" the recording is one stroke.
    contacts : moments of contact that the file marks, where it marks several.
    hand, stroke, stature : None where the file does not say.
    """

    times: Array
    points: Array
    racket: Array | None = None
    court: bool = False
    events: Mapping[str, float] = field(default_factory=dict)
    contacts: tuple[float, ...] = ()
    hand: Hand | None = None
    stroke: str | None = None
    stature: float | None = None


@dataclass(frozen=True)
class Imported:
    """Swings of a recording, statures on court axes, seconds from contact; ``notes`` say what had to be told."""

    swings: tuple[Swing, ...]
    stature: float
    notes: tuple[str, ...]


def is_lab_file(path: Path) -> bool:
    """Whether a file's name ends as those of laboratories do."""
    return path.name.lower().endswith(ENDINGS)


def read_recording(path: Path | str, marker_set: MarkerSet | None = None) -> Recording:
    """A recording in any of the formats; which, is told by the end of its name.

    Raises
    ------
    LibraryError
        Where the file is missing, damaged, of another kind, or lacks needed keypoints.
    """
    path = Path(path)
    name = path.name.lower()
    if name.endswith(".csv"):
        table = read_table(path)
        return Recording(
            table.times,
            table.points,
            table.racket,
            court=True,
            events=table.events,
            hand=table.hand,
            stroke=table.stroke,
            stature=table.stature,
        )
    if name.endswith((".bvh", ".bvh.gz")):
        times, points = read_keypoints(path)
        return Recording(times, points)
    if not name.endswith(".c3d"):
        raise LibraryError(f"{path} is no recording that can be read; the name should end in {_or(ENDINGS)}.")
    markers = read_c3d(path)
    points, racket, used = keypoints(markers, marker_set, str(path))
    turn, court = upright(points, used.up, used.target)
    marked = [
        time for label, time in markers.events if label.casefold() in ("contact", "impact", "ball contact")
    ]
    return Recording(
        markers.times,
        points @ turn.T,
        None if racket is None else racket @ turn.T,
        court=court,
        contacts=tuple(marked),
    )


def to_swings(
    recording: Recording,
    *,
    hand: Hand | None = None,
    stroke: str | None = None,
    contacts: Sequence[float] = (),
    stature: float | None = None,
    where: str = "The recording",
) -> Imported:
    """Cut a recording into swings.

    Parameters
    ----------
    hand, stroke, contacts, stature : what the coach says; else what the file says, else told from the movement.

    Raises
    ------
    LibraryError
        No stroke in it is complete.
    """
    hand, stroke = hand or recording.hand, stroke or recording.stroke
    if stroke is not None and stroke not in STROKES:
        raise LibraryError(f'{where} is said to hold a "{stroke}"; there are {_or(tuple(STROKES))}.')
    notes: list[str] = []
    tall = stature or recording.stature
    if tall is None:
        tall = _stature(recording.points)
        notes.append(f"The stature, {tall:.2f} m, is estimated from the length of legs and trunk.")
    points = recording.points / tall
    moments = list(contacts or recording.contacts)
    if not moments and "contact" in recording.events:
        moments = [recording.events["contact"]]
    told = [recognise(recording.times, points, at) for at in moments or _hits(recording.times, points, None)]
    hand = hand or common_hand([one.given(stroke=stroke) for one in told] or [])
    if not moments:
        hits = _hits(recording.times, points, hand)
        moments = [_contact(recording.times, points, hand, hit, stroke) for hit in hits]
        notes.append(
            "No ball was recorded: contact is put 38 ms after the wrist is fastest, in a serve where the hand is "
            "highest."
        )
    kept = [at for at in moments if _whole(recording.times, at)]
    if not kept:
        raise LibraryError(
            f"{where} holds no stroke with {_LEAST[0]:.1f} s before contact and {_LEAST[1]:.2f} s after it."
        )
    if not recording.court:
        notes.append(
            f"The target is taken to be where the hand goes at contact, to about ±{_TARGET_SD:.0f}°."
        )
    swings = [_swing(recording, points, tall, at, hand, stroke, only=len(moments) == 1) for at in kept]
    return Imported(tuple(swings), tall, tuple(notes))


def _whole(times: Array, contact: float) -> bool:
    return bool(times[0] <= contact - _LEAST[0] and contact + _LEAST[1] <= times[-1])


def _swing(
    recording: Recording,
    points: Array,
    tall: float,
    contact: float,
    hand: Hand,
    stroke: str | None,
    *,
    only: bool,
) -> Swing:
    times = recording.times
    kind = stroke or recognise(times, points, contact).given(hand=hand).stroke
    definition = STROKES[kind]
    # A file of one stroke is kept as it is; of a longer one, what belongs to the stroke.
    part = slice(None) if only else (times >= contact - _BEFORE) & (times <= contact + _AFTER)
    body = points[part]
    racket = None if recording.racket is None else recording.racket[part] / tall
    if not recording.court:
        turn = _towards(times, points, hand, contact)
        body, racket = body @ turn.T, None if racket is None else racket @ turn.T
    events = dict(recording.events) if only else {}
    if set(events) <= {"contact"}:
        events = definition.find_events(times[part], definition.on_ball_side(body, hand), contact)
    if not recording.court:
        first = int(np.searchsorted(times[part], min(events.values())))
        hips = middle(body[min(first, len(body) - 1)][None], "hip")[0]
        feet = [INDEX[f"{side}_{end}"] for side in SIDES for end in ("heel", "toe", "ankle")]
        origin = np.array([hips[0], np.nanpercentile(np.nanmin(body[:, feet, 1], axis=1), 20), hips[2]])
        body = body - np.nan_to_num(origin)
        racket = None if racket is None else racket - np.nan_to_num(origin)
    return Swing(
        times[part] - contact,
        body,
        {name: float(at) - contact for name, at in events.items()} | {"contact": 0.0},
        hand,
        stroke=kind,
        racket=racket,
        azimuth_sd=0.0 if recording.court else _TARGET_SD,
    )


def _stature(points: Array) -> float:
    """Stature in metres from legs and trunk (row C1 of the check values)."""
    lengths = segment_lengths(points)
    parts = ("thigh", "shank", "trunk")
    return float(sum(lengths[part] for part in parts) / sum(AVERAGE[part] for part in parts))


def _wrist(times: Array, points: Array, hand: Hand) -> Array:
    path = points[:, INDEX[f"{hand}_wrist"]]
    step = float(np.median(np.diff(times)))
    return low_pass(path, 1.0 / step, _CUTOFF) if np.isfinite(path).all() and len(path) > 30 else path


def _hits(times: Array, points: Array, hand: Hand | None) -> list[float]:
    """Times at which a wrist, that of ``hand`` or the faster one, is fastest, one a stroke."""
    speeds = [speed(_wrist(times, points, side), times) for side in ("right", "left") if hand in (None, side)]
    fast = np.nan_to_num(np.max(speeds, axis=0))
    step = float(np.median(np.diff(times)))
    peaks, _ = find_peaks(
        fast, height=_SHARE * np.percentile(fast, 99.5), distance=max(round(_APART / step), 1)
    )
    return [peak(times[k - 3 : k + 4], fast[k - 3 : k + 4])[0] for k in peaks if 3 <= k < len(times) - 3]


def _contact(times: Array, points: Array, hand: Hand, hit: float, stroke: str | None) -> float:
    contact = hit + WRIST_PEAK_BEFORE_CONTACT
    kind = stroke or recognise(times, points, contact).given(hand=hand).stroke
    if kind != "serve":
        return contact
    near = np.flatnonzero(np.abs(times - hit) <= _REACH)
    return peak(times[near], _wrist(times, points, hand)[near, 1])[0]


def _towards(times: Array, points: Array, hand: Hand, contact: float) -> Array:
    """(3, 3) rotation about the vertical that puts X along the hand's way at contact."""
    path = _wrist(times, points, hand)
    ends = [
        np.array([np.interp(at, times, path[:, i]) for i in (0, 2)])
        for at in (contact - 0.02, contact + 0.02)
    ]
    way = ends[1] - ends[0]
    length = float(np.hypot(*way))
    if not length > 0.0:
        raise LibraryError(
            "The hand does not move at contact, so the target cannot be told; say it in the marker set."
        )
    x, z = way / length
    return np.array([[x, 0.0, z], [0.0, 1.0, 0.0], [-z, 0.0, x]])


def _or(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"
