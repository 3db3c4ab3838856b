"""Run the analysis on one generated clip and set every result beside the truth."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.warp import align
from swingmatch.body.estimator import Pose, PoseEstimator, make_estimator
from swingmatch.body.mend import mend
from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, mirror
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.body.watch import watch
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import Onsets, strike_onsets
from swingmatch.court.watch import see_court
from swingmatch.court.yaw import azimuth_from_court
from swingmatch.errors import SwingmatchError
from swingmatch.findings.compare import compare
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.racket.held import RacketWatcher
from swingmatch.racket.keypoints import racket_finder
from swingmatch.racket.watch import ball_watcher
from swingmatch.series import resample
from swingmatch.stroke.contact import Contact
from swingmatch.stroke.cut import body_height
from swingmatch.stroke.direction import camera_to_court, side_name, wrap
from swingmatch.stroke.reconstruct import Strokes, find_swings
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study.kept import Tracked, kept
from swingmatch.study.measures import Taken, taken
from swingmatch.study.stated import difference, quantity_sd
from swingmatch.study.swaps import swaps
from swingmatch.synth.truth import ClipTruth

Array = NDArray[np.float64]

#: Quantities that are reported frame by frame.
ANGLES = (
    "hitting_elbow_flexion",
    "off_elbow_flexion",
    "outside_knee_flexion",
    "inside_knee_flexion",
    "shoulder_turn",
    "hip_turn",
)
#: Those of them that depend on where the target is taken to be.
TURNS = ("shoulder_turn", "hip_turn")
#: Where the width of the stance is read.
STANCE_AT = ("end_of_take_back", "contact")
#: A stroke found within this many seconds of a true contact is that stroke.
_SAME = 0.2
#: Pictures that the bare pose model is timed on.
_BARE = 60


@dataclass
class Errors:
    """Errors of one clip. ``side`` is the camera side of the right-handed swing.

    Attributes
    ----------
    rate : frames a second of the clip. stroke : "forehand", or that of a recorded player, with "recorded".
    frames, found : numbers of frames that were looked at, and of those in which the player was found.
    image_seen, image_hidden : 2-D errors in % of stature, every keypoint and frame.
    judged, astray, exchanged : numbers of frames in which left and right can be told apart, some limb lies on the other
        side's place, both limbs of a pair have changed places; see ``swaps``.
    azimuth : degrees, one value where swings were found.
    court : whether the court's lines were seen. hand_right : whether the hitting hand was told rightly.
    stroke_right : number of swings found that were given the right name.
    swings, matched : numbers of true swings, and of those that were found; ``extra`` were found but are not there.
    contact_sound, contact_hand : ms, with sign, with and without the sound track.
    events : event name -> ms with sign. angles : quantity -> absolute degrees, every frame from turn to finish.
    turns_given : the turns again, as they are once the coach has said where the camera stands.
    raw_angles : the angles from the estimator's own 3-D. quantities : (key, column) -> errors with sign.
    measures : key of a stroke's measure -> what was found beside the truth, one a swing.
    stance : % with sign, width of the stance in shoulder widths at ``STANCE_AT``.
    stated : name -> errors over their stated standard deviations, where the analysis states one.
    seconds : step -> seconds. runs : how often the pose model was asked.
    failed, failed_silent, failed_told : the sentence, where the clip could not be used, or not without its sound, or
        not with the true hand where another was told.

    Moments are those of the hand that was told; what is said of the body is measured with the true hand.
    """

    side: str
    rate: float = 60.0
    stroke: str = "forehand"
    frames: int = 0
    found: int = 0
    image_seen: list[float] = field(default_factory=list)
    image_hidden: list[float] = field(default_factory=list)
    judged: int = 0
    astray: int = 0
    exchanged: int = 0
    azimuth: list[float] = field(default_factory=list)
    court: bool = False
    hand_right: bool = False
    stroke_right: int = 0
    swings: int = 0
    matched: int = 0
    extra: int = 0
    contact_sound: list[float] = field(default_factory=list)
    contact_hand: list[float] = field(default_factory=list)
    events: dict[str, list[float]] = field(default_factory=dict)
    angles: dict[str, list[float]] = field(default_factory=dict)
    turns_given: dict[str, list[float]] = field(default_factory=dict)
    raw_angles: dict[str, list[float]] = field(default_factory=dict)
    quantities: dict[tuple[str, str], list[float]] = field(default_factory=dict)
    stance: list[float] = field(default_factory=list)
    measures: dict[str, list[Taken]] = field(default_factory=dict)
    stated: dict[str, list[float]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    runs: int = 0
    failed: str = ""
    failed_silent: str = ""
    failed_told: str = ""


def true_swings(truth: ClipTruth, stroke: str = "forehand") -> list[Swing]:
    """The clip's swings as the generator made them, in statures; ``stroke`` is what they are."""
    return [
        Swing(
            truth.times,
            truth.points / truth.stature,
            swing.events,
            truth.hand,
            _azimuth(truth),
            stroke=stroke,
            racket=truth.racket / truth.stature,
            struck=_struck(truth, swing.events["contact"]),
        )
        for swing in truth.swings
    ]


def _struck(truth: ClipTruth, contact: float) -> Array | None:
    """(3,) where the ball is when it is struck, statures; None without a ball.

    Carried on from the last two samples before contact: a line between samples on either side would cut the corner.
    """
    known = np.flatnonzero((truth.times <= contact) & np.isfinite(truth.ball).all(axis=1))
    if len(known) < 2:
        return None
    one, two = known[-2:]
    rate = (truth.ball[two] - truth.ball[one]) / (truth.times[two] - truth.times[one])
    return np.asarray((truth.ball[two] + (contact - truth.times[two]) * rate) / truth.stature)


def _kind(errors: Errors) -> str:
    """The stroke whose events and measures a clip's truth has; a recorded stroke was read as a forehand."""
    return errors.stroke if errors.stroke in STROKES else "forehand"


def _azimuth(truth: ClipTruth) -> float:
    return float(truth.camera["azimuth"])  # type: ignore[arg-type]


class _Counting:
    """A pose model that counts how often it is asked."""

    def __init__(self, model: PoseEstimator) -> None:
        self._model = model
        self.runs = 0

    def estimate(self, picture: NDArray[np.uint8], time: float) -> Pose | None:
        self.runs += 1
        return self._model.estimate(picture, time)

    def restart(self) -> None:
        self._model.restart()

    def close(self) -> None:
        self._model.close()


def track_raw(clip: Clip, onsets: Onsets | None) -> Tracked:
    """Track a clip as the tool does, timing reading, tracking, and the bare pose model on as many pictures."""
    seconds: dict[str, float] = {}
    estimator = _Counting(make_estimator())
    # The bare model: pictures that are already in memory.
    pictures = [frame.image for frame in islice(frames(clip), _BARE)]
    estimator.estimate(pictures[0], 0.0)
    start = time.perf_counter()
    for i, picture in enumerate(pictures):
        estimator.estimate(picture, i / _BARE)
    each = (time.perf_counter() - start) / len(pictures)
    estimator.restart()
    start = time.perf_counter()
    for _ in frames(clip):
        pass
    seconds["read"] = time.perf_counter() - start

    def read(
        start: float | None, stop: float | None, tallest: int, every: float | None = None
    ) -> Iterable[Frame]:
        return frames(clip, start, stop, max_height=tallest, every=every)

    estimator.runs = 0
    start = time.perf_counter()
    raw = watch(read, clip.times, estimator, onsets=onsets)
    seconds["read and track"] = time.perf_counter() - start
    seconds["bare pose model"] = each * int((~raw.skipped).sum())
    estimator.close()
    return Tracked(raw, seconds, estimator.runs)


def track_timed(path: Path, *, keep: bool = False) -> tuple[Track, Onsets | None, Tracked]:
    """The smoothed track of a clip, its sounds, and what it rests on, with the seconds of each step.

    With ``keep`` the raw track is kept beside the clip, see ``kept``, and used again with the seconds it once took.
    """
    clip = open_clip(path)
    start = time.perf_counter()
    onsets = strike_onsets(clip)
    sound = time.perf_counter() - start
    tracked = kept(path, lambda: track_raw(clip, onsets)) if keep else track_raw(clip, onsets)
    seconds = tracked.seconds | {"sound": sound}
    start = time.perf_counter()
    track = smooth(mend(tracked.track))
    seconds["mend and smooth"] = time.perf_counter() - start
    return track, onsets, replace(tracked, seconds=seconds)


def errors_of(path: Path, truth: ClipTruth, *, stroke: str = "forehand", keep: bool = False) -> Errors:
    """Analyse one clip from its pixels and compare with the truth.

    ``stroke`` names what is filmed; with ``keep`` the raw track is kept beside the clip and used again.
    """
    azimuth = _azimuth(truth) if truth.hand == "right" else -_azimuth(truth)
    rate = float(truth.camera["fps"])  # type: ignore[arg-type]
    errors = Errors(side=side_name(azimuth), rate=rate, stroke=stroke, swings=len(truth.swings))
    try:
        track, onsets, tracked = track_timed(path, keep=keep)
        errors.seconds, errors.runs = tracked.seconds, tracked.runs
        _image_errors(errors, track, truth)
        start = time.perf_counter()
        seen = see_court(open_clip(path), track)
        errors.court = seen is not None
        court = None if seen is None else partial(azimuth_from_court, seen)
        racket = racket_watcher(open_clip(path), track)
        strokes = find_swings(track, onsets, court=court, racket=racket)
        errors.seconds["cut, lift, events"] = time.perf_counter() - start
    except SwingmatchError as error:
        errors.failed = str(error)
        return errors
    errors.hand_right = strokes.hand == truth.hand
    errors.azimuth.append(wrap(strokes.camera_azimuth - _azimuth(truth)))
    _moment_errors(errors, strokes, truth)
    try:
        # Where the hand was told wrongly, the body is still measured, as it is once the coach has said which hand.
        told = (
            strokes
            if errors.hand_right
            else find_swings(track, onsets, hand=truth.hand, court=court, racket=racket)
        )
    except SwingmatchError as error:
        errors.failed_told = str(error)
    else:
        _body_errors(errors, track, told, truth)
    try:
        start = time.perf_counter()
        ball = ball_watcher(open_clip(path), track, body_height(track))
        silent = find_swings(track, None, hand=strokes.hand, azimuth=strokes.camera_azimuth, ball=ball)
        errors.seconds["the same without sound, with the ball"] = time.perf_counter() - start
    except SwingmatchError as error:
        errors.failed_silent = str(error)
    else:
        _silent_errors(errors, silent, truth)
    return errors


def racket_watcher(clip: Clip, track: Track) -> RacketWatcher:
    """What gives the racket of a clip's strokes, with the struck ball, as the tool has it."""
    height = body_height(track)
    return RacketWatcher(
        track.size, height, racket_finder(clip, track, height), ball=ball_watcher(clip, track, height)
    )


def _image_errors(errors: Errors, track: Track, truth: ClipTruth) -> None:
    errors.frames, errors.found = int((~track.skipped).sum()), int(track.found.sum())
    # Tall pictures are made smaller before they are tracked.
    shown = np.asarray(track.size) / np.asarray(truth.camera["size"], dtype=float)
    image = resample(truth.image, truth.times, track.times) * shown
    seen = resample(truth.visible.astype(float), truth.times, track.times) > 0.5
    tall = np.nanmax(image[:, INDEX["left_ankle"], 1] - image[:, INDEX["nose"], 1]) / NOSE_OVER_ANKLES
    distance = 100.0 * np.linalg.norm(track.image - image, axis=2) / tall
    known = np.isfinite(distance)
    errors.image_seen += distance[known & seen].tolist()
    errors.image_hidden += distance[known & ~seen].tolist()
    flags = swaps(track.image, image, tall)
    errors.judged, errors.astray = int(flags.judged.sum()), int(flags.astray.sum())
    errors.exchanged = int(flags.exchanged.sum())


def _nearest(strokes: Strokes, contact: float) -> int | None:
    """Index of the stroke that was found at a true contact, seconds."""
    near = [abs(swing.contact - contact) for swing in strokes.swings]
    best = int(np.argmin(near))
    return best if near[best] <= _SAME else None


def _state(errors: Errors, name: str, error: float | Array, sd: float | Array) -> None:
    """Note errors over the standard deviations stated for them; where none is stated there is nothing to note."""
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = np.atleast_1d(np.asarray(error, dtype=float) / np.asarray(sd, dtype=float))
    errors.stated.setdefault(name, []).extend(scaled[~np.isnan(scaled)].tolist())


def _contact_error(errors: Errors, name: str, contact: Contact, found: float, true: float) -> float:
    """Error of a contact in ms, noting it against the stated one."""
    error = 1000.0 * (found - true)
    _state(errors, name, error, 1000.0 * contact.sd)
    return error


def _silent_errors(errors: Errors, silent: Strokes, truth: ClipTruth) -> None:
    for true in truth.swings:
        at = true.events["contact"]
        best = _nearest(silent, at)
        if best is not None:
            found = silent.swings[best].contact
            error = _contact_error(errors, "contact without sound", silent.contacts[best], found, at)
            errors.contact_hand.append(error)


def _moment_errors(errors: Errors, strokes: Strokes, truth: ClipTruth) -> None:
    """Which strokes were found, and their contact and events."""
    used: set[int] = set()
    for true in truth.swings:
        at = true.events["contact"]
        best = _nearest(strokes, at)
        if best is None or best in used:
            continue
        used.add(best)
        errors.matched += 1
        swing = strokes.swings[best]
        errors.stroke_right += swing.stroke == _kind(errors)
        error = _contact_error(errors, "contact with sound", strokes.contacts[best], swing.contact, at)
        errors.contact_sound.append(error)
        for name in STROKES[_kind(errors)].events:
            if name != "contact" and name in swing.events and name in true.events:
                errors.events.setdefault(name, []).append(1000 * (swing.events[name] - true.events[name]))
    errors.extra = len(strokes.swings) - len(used)


def _body_errors(errors: Errors, track: Track, strokes: Strokes, truth: ClipTruth) -> None:
    """Angles, stance and the quantities of the comparison, from strokes that were read with the true hand."""
    for true in true_swings(truth, _kind(errors)):
        best = _nearest(strokes, true.contact)
        if best is None or strokes.swings[best].stroke != true.stroke:
            continue
        swing = strokes.swings[best]
        _angle_errors(errors, track, swing, true)
        _stance_errors(errors, swing, true)
        for name, found in taken(swing, true, strokes.contacts[best].sd).items():
            errors.measures.setdefault(name, []).append(found)
        if true.stroke != "forehand":
            continue  # there are no phrases for the differences of the others
        alignment = align(swing, true)
        for deviation in compare([swing], true, [alignment], [true, true]):
            key = (deviation.quantity, deviation.phase)
            errors.quantities.setdefault(key, []).append(deviation.value)
            if deviation.visible:
                _state(errors, "differences in the review", deviation.value, deviation.doubt)


def _angle_errors(errors: Errors, track: Track, swing: Swing, true: Swing) -> None:
    """Angles frame by frame from the start of the turn to the end of the follow-through."""
    events = true.events
    start, stop = events.get("turn_start", true.contact - 1.0), events.get("end_of_follow_through")
    inside = (swing.times >= start) & (swing.times <= (stop if stop is not None else true.contact + 0.3))
    if not inside.any():
        return
    times = swing.times[inside]
    right = swing.as_right_handed()
    theirs = true.as_right_handed().at(times)
    raw = _court_like(resample(track.world, track.times, times), swing)
    given = _with_azimuth(swing, true.camera_azimuth).as_right_handed()
    for key in ANGLES:
        quantity = QUANTITIES[key]
        off = difference(quantity, quantity.compute(right.points[inside]), quantity.compute(theirs))
        errors.angles.setdefault(key, []).extend(_sizes(off))
        raw_off = difference(quantity, quantity.compute(raw), quantity.compute(theirs))
        errors.raw_angles.setdefault(key, []).extend(_sizes(raw_off))
        if key in TURNS:
            turn_off = difference(quantity, quantity.compute(given.points[inside]), quantity.compute(theirs))
            errors.turns_given.setdefault(key, []).extend(_sizes(turn_off))
        if right.draws is not None:
            _state(errors, key, off, quantity_sd(quantity, right.points[inside], right.draws[:, inside]))


def _stance_errors(errors: Errors, swing: Swing, true: Swing) -> None:
    """Width of the stance over that of the shoulders, in per cent, at the true moments."""
    quantity = QUANTITIES["base_width"]
    right = swing.as_right_handed()
    at = np.array([true.events[name] for name in STANCE_AT if name in true.events])
    mine = resample(quantity.compute(right.points), right.times, at)
    theirs = resample(quantity.compute(true.as_right_handed().points), true.times, at)
    errors.stance += (100.0 * (mine - theirs) / theirs).tolist()
    if right.draws is not None:
        sd = quantity_sd(quantity, right.points, right.draws)
        _state(errors, quantity.key, mine - theirs, resample(sd, right.times, at))


def _with_azimuth(swing: Swing, azimuth: float) -> Swing:
    """The swing as it would be read with the camera at ``azimuth`` degrees: turned about the vertical."""
    turn = camera_to_court(azimuth) @ camera_to_court(swing.camera_azimuth).T
    return replace(swing, points=swing.points @ turn.T, camera_azimuth=azimuth)


def _court_like(world: Array, swing: Swing) -> Array:
    """The estimator's own 3-D on the court axes that were found, right-handed."""
    points = world @ camera_to_court(swing.camera_azimuth).T
    return points if swing.hand == "right" else mirror(points)


def _sizes(values: Array) -> list[float]:
    """Sizes of the values that are known."""
    return np.abs(values[np.isfinite(values)]).tolist()
