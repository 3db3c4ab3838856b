"""Run the analysis on one generated clip and set every result beside the truth."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.align.warp import align
from swingmatch.body.estimator import make_estimator
from swingmatch.body.follow import follow
from swingmatch.body.mend import mend
from swingmatch.body.skeleton import INDEX, mirror
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import Onsets, strike_onsets
from swingmatch.errors import SwingmatchError
from swingmatch.findings.compare import compare
from swingmatch.series import resample
from swingmatch.stroke import measures as m
from swingmatch.stroke.direction import camera_to_court, side_name, wrap
from swingmatch.stroke.reconstruct import Strokes, find_swings
from swingmatch.stroke.swing import EVENTS, Swing
from swingmatch.synth.truth import ClipTruth

Array = NDArray[np.float64]

#: Angles that are reported frame by frame, on right-handed points.
ANGLES: dict[str, Callable[[Array], Array]] = {
    "hitting elbow": lambda p: m.flexion(p, "right_shoulder", "right_elbow", "right_wrist"),
    "off elbow": lambda p: m.flexion(p, "left_shoulder", "left_elbow", "left_wrist"),
    "outside knee": lambda p: m.flexion(p, "right_hip", "right_knee", "right_ankle"),
    "inside knee": lambda p: m.flexion(p, "left_hip", "left_knee", "left_ankle"),
    "shoulder line": m.shoulder_turn,
    "hip line": m.hip_turn,
}


@dataclass
class Errors:
    """Errors of one clip. ``side`` is the camera side of the right-handed swing.

    Attributes
    ----------
    frames, found : numbers of frames, and of those in which the player was found.
    image_seen, image_hidden : 2-D errors in % of stature, every keypoint and frame.
    azimuth : degrees, one value where swings were found.
    hand_right : whether the hitting hand was told rightly.
    swings, matched : numbers of true swings, and of those that were found; ``extra`` were found but are not there.
    contact_sound, contact_hand : ms, with sign, with and without the sound track.
    events : event name -> ms with sign. angles : name -> absolute degrees, every frame from turn to finish.
    raw_angles : the same from the estimator's own 3-D. quantities : (key, column) -> errors with sign.
    seconds : step -> seconds. failed : the sentence, where the clip could not be used.
    """

    side: str
    frames: int = 0
    found: int = 0
    image_seen: list[float] = field(default_factory=list)
    image_hidden: list[float] = field(default_factory=list)
    azimuth: list[float] = field(default_factory=list)
    hand_right: bool = False
    swings: int = 0
    matched: int = 0
    extra: int = 0
    contact_sound: list[float] = field(default_factory=list)
    contact_hand: list[float] = field(default_factory=list)
    events: dict[str, list[float]] = field(default_factory=dict)
    angles: dict[str, list[float]] = field(default_factory=dict)
    raw_angles: dict[str, list[float]] = field(default_factory=dict)
    quantities: dict[tuple[str, str], list[float]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    failed: str = ""


def true_swings(truth: ClipTruth) -> list[Swing]:
    """The clip's swings as the generator made them, in statures."""
    return [
        Swing(truth.times, truth.points / truth.stature, swing.events, truth.hand, _azimuth(truth))
        for swing in truth.swings
    ]


def _azimuth(truth: ClipTruth) -> float:
    return float(truth.camera["azimuth"])  # type: ignore[arg-type]


def track_timed(path: Path) -> tuple[Track, Onsets | None, dict[str, float]]:
    """Track a clip as the tool does, timing each step and the bare pose model on the same frames."""
    seconds: dict[str, float] = {}
    clip = open_clip(path)
    estimator = make_estimator()
    # The bare model: the same pictures, already in memory, in the same number of inferences.
    pictures = [frame.image for _, frame in zip(range(60), frames(clip), strict=False)]
    estimator.estimate(pictures[0], 0.0)
    start = time.perf_counter()
    for i, picture in enumerate(pictures):
        estimator.estimate(picture, i / 60)
    seconds["bare pose model"] = (time.perf_counter() - start) / len(pictures) * clip.frame_count
    estimator.restart()
    start = time.perf_counter()
    for _ in frames(clip):
        pass
    seconds["read"] = time.perf_counter() - start
    start = time.perf_counter()
    raw = follow(frames(clip), estimator)
    seconds["read and track"] = time.perf_counter() - start
    start = time.perf_counter()
    track = smooth(mend(raw))
    seconds["mend and smooth"] = time.perf_counter() - start
    start = time.perf_counter()
    onsets = strike_onsets(clip)
    seconds["sound"] = time.perf_counter() - start
    estimator.close()
    return track, onsets, seconds


def errors_of(path: Path, truth: ClipTruth) -> Errors:
    """Analyse one clip from its pixels and compare with the truth."""
    azimuth = _azimuth(truth) if truth.hand == "right" else -_azimuth(truth)
    errors = Errors(side=side_name(azimuth), swings=len(truth.swings))
    try:
        track, onsets, errors.seconds = track_timed(path)
        _image_errors(errors, track, truth)
        start = time.perf_counter()
        strokes = find_swings(track, onsets)
        errors.seconds["cut, lift, events"] = time.perf_counter() - start
        silent = find_swings(track, None, hand=strokes.hand, azimuth=strokes.camera_azimuth)
    except SwingmatchError as error:
        errors.failed = str(error)
        return errors
    errors.hand_right = strokes.hand == truth.hand
    errors.azimuth.append(wrap(strokes.camera_azimuth - _azimuth(truth)))
    _swing_errors(errors, track, strokes, silent, truth)
    return errors


def _image_errors(errors: Errors, track: Track, truth: ClipTruth) -> None:
    errors.frames, errors.found = len(track.times), int(track.found.sum())
    image = resample(truth.image, truth.times, track.times)
    seen = resample(truth.visible.astype(float), truth.times, track.times) > 0.5
    tall = np.nanmax(image[:, INDEX["left_ankle"], 1] - image[:, INDEX["nose"], 1]) / 0.88
    distance = 100.0 * np.linalg.norm(track.image - image, axis=2) / tall
    known = np.isfinite(distance)
    errors.image_seen += distance[known & seen].tolist()
    errors.image_hidden += distance[known & ~seen].tolist()


def _swing_errors(errors: Errors, track: Track, strokes: Strokes, silent: Strokes, truth: ClipTruth) -> None:
    used: set[int] = set()
    for true in true_swings(truth):
        near = [abs(swing.contact - true.contact) for swing in strokes.swings]
        best = int(np.argmin(near))
        if near[best] > 0.2 or best in used:
            continue
        used.add(best)
        errors.matched += 1
        swing = strokes.swings[best]
        errors.contact_sound.append(1000 * (swing.contact - true.contact))
        errors.contact_hand += [
            1000 * (other.contact - true.contact)
            for other in silent.swings
            if abs(other.contact - true.contact) < 0.2
        ]
        for name in EVENTS:
            if name != "contact" and name in swing.events and name in true.events:
                errors.events.setdefault(name, []).append(1000 * (swing.events[name] - true.events[name]))
        if strokes.hand == truth.hand:
            _angle_errors(errors, track, swing, true)
            alignment = align(swing, true)
            for deviation in compare([swing], true, [alignment], [true]):
                key = (deviation.quantity, deviation.phase)
                errors.quantities.setdefault(key, []).append(deviation.value)
    errors.extra = len(strokes.swings) - len(used)


def _angle_errors(errors: Errors, track: Track, swing: Swing, true: Swing) -> None:
    """Angles frame by frame from the start of the turn to the end of the follow-through."""
    inside = (swing.times >= true.events["turn_start"]) & (
        swing.times <= true.events["end_of_follow_through"]
    )
    times = swing.times[inside]
    mine, theirs = swing.as_right_handed().points[inside], true.as_right_handed().at(times)
    raw = resample(track.world, track.times, times)
    raw = _court_like(raw, swing)
    for name, angle in ANGLES.items():
        errors.angles.setdefault(name, []).extend(_off(angle(mine), angle(theirs)))
        errors.raw_angles.setdefault(name, []).extend(_off(angle(raw), angle(theirs)))


def _court_like(world: Array, swing: Swing) -> Array:
    """The estimator's own 3-D on the court axes that were found, right-handed."""
    points = world @ camera_to_court(swing.camera_azimuth).T
    return points if swing.hand == "right" else mirror(points)


def _off(mine: Array, theirs: Array) -> list[float]:
    """Absolute differences of angles in degrees, whole turns apart being the same."""
    difference = np.abs((mine - theirs + 180.0) % 360.0 - 180.0)
    return difference[np.isfinite(difference)].tolist()
