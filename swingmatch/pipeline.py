"""The whole way of the data for one clip: read, track, cut, match, align, compare, explain.

Everything here calls the steps in order; what each does lives in its own package. Showing the result is
``swingmatch.report``'s; opening the clip and the library are the only reading of files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from swingmatch.align.warp import align, distance
from swingmatch.body.estimator import PoseEstimator, make_estimator
from swingmatch.body.mend import mend
from swingmatch.body.people import Wanted
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.body.watch import watch
from swingmatch.clip.clip import Clip
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import Onsets, strike_onsets
from swingmatch.findings.compare import compare, joint_differences
from swingmatch.findings.explain import changes, not_visible, strengths
from swingmatch.findings.review import Pair, Review
from swingmatch.library.choose import choose
from swingmatch.library.store import Library
from swingmatch.progress import Progress, silent
from swingmatch.stroke.direction import side_name
from swingmatch.stroke.reconstruct import Strokes, find_swings
from swingmatch.stroke.swing import Hand, Swing

#: Below this rate the moments of a stroke are too far apart to tell their order.
_FEW_FRAMES = 50.0
#: How far contact is off without sound: median and 90th percentile of the study on held-out clips.
_HAND_ALONE = "half of the time within 45 ms, one time in ten more than 110 ms off"


@dataclass(frozen=True)
class Options:
    """What the coach may say about a clip; None leaves it to the movement.

    Attributes
    ----------
    model : label of the volunteer to compare with. hand : hitting hand.
    azimuth : where the camera stands, degrees (0 in front of the player, 90 on the player's right).
    player : name to show; the file's name where None.
    person : who the player is where several people are in view: "biggest", "left", "right", or a point of the first
        pictures as shares of their width and height.
    """

    model: str | None = None
    hand: Hand | None = None
    azimuth: float | None = None
    player: str | None = None
    person: Wanted | None = None


def track_clip(
    clip: Clip,
    estimator: PoseEstimator,
    progress: Progress = silent,
    *,
    onsets: Onsets | None = None,
    person: Wanted | None = None,
) -> Track:
    """Follow the player and smooth the result: every frame of a short clip, around the swings of a long one.

    ``onsets`` helps to find the swings of a long clip, ``person`` is who the coach means. Raises ``TrackError``.
    """
    estimator.restart()
    raw = watch(
        lambda start, stop, tallest, every=None: frames(clip, start, stop, max_height=tallest, every=every),
        clip.times,
        estimator,
        onsets=onsets,
        wanted=person,
        progress=progress,
    )
    return smooth(mend(raw))


def review_clip(
    path: Path,
    library: Library,
    options: Options | None = None,
    *,
    estimator: PoseEstimator | None = None,
    progress: Progress = silent,
) -> Review:
    """Everything that is said about one clip.

    Parameters
    ----------
    path : the video file. library : the model swings to choose from. options : what the coach says.
    estimator : the pose model; the bundled one is loaded, and closed again, where None.

    Raises
    ------
    SwingmatchError : one sentence on why the clip cannot be used.
    """
    options = options or Options()
    clip = open_clip(path)
    onsets = strike_onsets(clip)
    own = estimator is None
    model = estimator or make_estimator()
    try:
        track = track_clip(clip, model, progress, onsets=onsets, person=options.person)
    finally:
        if own:
            model.close()
    strokes = find_swings(
        track,
        onsets,
        hand=options.hand,
        azimuth=options.azimuth,
        on_stroke=lambda done, count: progress("reading the swings", done / count),
    )
    review = _compare(clip, track, strokes, onsets, library, options)
    progress("comparing", 1.0)
    return review


def _compare(
    clip: Clip, track: Track, strokes: Strokes, onsets: Onsets | None, library: Library, options: Options
) -> Review:
    choice = choose(strokes.swings, library, name=options.model)
    volunteer, model = choice.volunteer, choice.swing
    alignments = [align(swing, model) for swing in strokes.swings]
    deviations = compare(strokes.swings, model, alignments, volunteer.swings)
    pairs = tuple(
        Pair(swing, shown, alignment, joint_differences(swing, shown, alignment))
        for swing, alignment in zip(strokes.swings, alignments, strict=True)
        for shown in [_same_hand(model, strokes.hand)]
    )
    return Review(
        player=options.player or _name_of(clip.path),
        clip=clip.path.name,
        track=track,
        camera_side=side_name(strokes.camera_azimuth),
        model_name=volunteer.label,
        model_reasons=tuple(choice.reasons),
        model_generated=volunteer.generated,
        pairs=pairs,
        best=_most_typical(strokes.swings),
        deviations=deviations,
        strengths=strengths(deviations),
        changes=changes(deviations),
        not_visible=not_visible(deviations),
        notes=tuple(_notes(clip, track, strokes, onsets, options)),
    )


def _name_of(path: Path) -> str:
    """A name to show from a file's name: "anna_lena-2.mp4" gives "Anna lena 2"."""
    words = " ".join(path.stem.replace("_", " ").replace("-", " ").split())
    return words[:1].upper() + words[1:] or path.name


def _same_hand(model: Swing, hand: Hand) -> Swing:
    """The model swing as a player of ``hand`` would make it."""
    right = model.as_right_handed()
    if hand == "right":
        return right
    # A mirror undoes itself, so calling the right-hander a left-hander gives the left-handed swing.
    return replace(replace(right, hand="left").as_right_handed(), hand="left")


def _most_typical(swings: Sequence[Swing]) -> int:
    """Index of the swing that is nearest to the player's other swings."""
    if len(swings) < 3:
        return 0
    total = np.zeros(len(swings))
    for i, a in enumerate(swings):
        for j, b in enumerate(swings[:i]):
            total[[i, j]] += distance(a, b)
    return int(np.argmin(total))


def _notes(clip: Clip, track: Track, strokes: Strokes, onsets: Onsets | None, options: Options) -> list[str]:
    notes = [*clip.notes, *strokes.notes]
    found = track.share_found
    if found < 0.98:
        notes.append(f"The player was found in {100 * found:.0f} % of the frames.")
    if clip.measured_rate < _FEW_FRAMES:
        notes.append(
            f"{clip.measured_rate:.0f} frames a second: moments are known to about ±{500 / clip.measured_rate:.0f} ms; "
            "60 or more would be better."
        )
    by_sound = sum(contact.source == "sound" for contact in strokes.contacts)
    if onsets is None:
        notes.append(f"The clip has no sound, so contact is told from the hand alone ({_HAND_ALONE}).")
    elif by_sound < len(strokes.contacts):
        notes.append(f"Not every strike was heard; contact is then told from the hand alone ({_HAND_ALONE}).")
    side = "as the coach says" if options.azimuth is not None else "told from the movement, to about ±15°"
    notes.append(f"The camera looks from the {side_name(strokes.camera_azimuth)} ({side}).")
    return notes
