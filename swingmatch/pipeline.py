"""The whole way of the data for one clip: read, track, cut, match, align, compare, explain.

Everything here calls the steps in order; what each does lives in its own package. Showing the result is
``swingmatch.report``'s; opening the clip and the library are the only reading of files.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import compress, islice
from pathlib import Path

import numpy as np

from swingmatch.align.warp import align, distance
from swingmatch.body.estimator import PoseEstimator, make_estimator
from swingmatch.body.mend import mend
from swingmatch.body.people import Wanted
from swingmatch.body.smooth import smooth
from swingmatch.body.track import Track
from swingmatch.body.watch import watch
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import Onsets, strike_onsets
from swingmatch.court.watch import see_court
from swingmatch.court.yaw import CourtYaw, azimuth_from_court
from swingmatch.errors import StrokeError, SwingmatchError, TrackError
from swingmatch.findings.catalogue.load import load
from swingmatch.findings.compare import joint_differences
from swingmatch.findings.evidence import gather
from swingmatch.findings.explain import About, finding_of, not_visible
from swingmatch.findings.measured import Measured
from swingmatch.findings.review import Pair, Review
from swingmatch.findings.tell import tell
from swingmatch.footage.check import UPSIDE_DOWN, Footage, check, crosses_cut, unusable
from swingmatch.footage.picture import Picture, Watcher, look, picture_at_real_speed
from swingmatch.footage.reach import hidden_measures
from swingmatch.footage.slow_motion import (
    Falls,
    SlowMotion,
    at_real_speed,
    ball_falls,
    clip_at_real_speed,
    from_evidence,
    known_slow,
    said,
    sound_at_real_speed,
)
from swingmatch.footage.turned import upside_down
from swingmatch.library.choose import choose
from swingmatch.library.folder import Library
from swingmatch.library.own import OwnModels
from swingmatch.progress import Progress, silent
from swingmatch.racket.held import RacketWatcher
from swingmatch.racket.hoop import RacketShape
from swingmatch.racket.keypoints import racket_finder
from swingmatch.racket.marks import load_marks
from swingmatch.racket.points import RacketPoints
from swingmatch.racket.watch import ball_watcher
from swingmatch.stroke.cut import body_height
from swingmatch.stroke.direction import side_name
from swingmatch.stroke.measure import Measure, measure
from swingmatch.stroke.reconstruct import Strokes, find_swings
from swingmatch.stroke.repeats import Scatter, contact_scatter
from swingmatch.stroke.strokes import STROKES, definition_of
from swingmatch.stroke.swing import Hand, Swing
from swingmatch.words.language import speaking

#: Half-width of a normal distribution's 90 % interval, standard deviations.
_NINE_IN_TEN = 1.645
#: How far a place that the coach names is from where the camera is, degrees: eight names go round the circle, and any
#: place within 22.5 degrees of one has its name.
_SAID_SD = 13.0
#: Pictures that are turned round and searched where nobody was found.
_TURNED = 3
#: Statures that a player may have, metres: a small child's to the tallest adult's.
_STATURES = (0.9, 2.4)


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
    slow : how many times slower than life the clip plays, 1 for real speed.
    stature : the player's height in metres; lengths are then given in metres as well.
    stroke : which stroke it is, one of ``stroke.strokes.STROKES``.
    racket : size of the player's racket; a usual one where None.
    language : in which findings are told, one of ``words.language.LANGUAGES``.
    catalogue : the coach's own catalogue of faults, laid over the one that ships; None for that one alone.
    habits : fault id -> factor of what this coach tends to overrule (``findings.patterns.priorities.learn``).

    Raises
    ------
    SwingmatchError : a stature that nobody has, or a stroke that is not known.
    """

    model: str | None = None
    hand: Hand | None = None
    azimuth: float | None = None
    player: str | None = None
    person: Wanted | None = None
    slow: float | None = None
    stature: float | None = None
    stroke: str | None = None
    racket: RacketShape | None = None
    language: str = "en"
    catalogue: Path | None = None
    habits: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        low, high = _STATURES
        if self.stature is not None and not low <= self.stature <= high:
            raise SwingmatchError(
                f"A height of {self.stature:g} m makes no sense; give it in metres, from {low:g} to {high:g}."
            )
        if self.stroke is not None and self.stroke not in STROKES:
            raise SwingmatchError(
                f'There is no stroke "{self.stroke}"; say {", ".join(list(STROKES)[:-1])} or {list(STROKES)[-1]}.'
            )


@dataclass(frozen=True)
class Seen:
    """What one clip holds before its swings are looked for, all at real speed.

    ``clip`` tells of times and rates only; pictures are read with the clip as it was opened. ``court`` is how the
    camera stands to the court's lines, None where none are seen.
    """

    clip: Clip
    track: Track
    onsets: Onsets | None
    picture: Picture
    slow: SlowMotion
    court: CourtYaw | None = None


def track_clip(
    clip: Clip,
    estimator: PoseEstimator,
    progress: Progress = silent,
    *,
    onsets: Onsets | None = None,
    person: Wanted | None = None,
    watcher: Watcher | None = None,
    slow: float = 1.0,
) -> Track:
    """Follow the player and smooth the result: every frame of a short clip, around the swings of a long one.

    ``onsets`` helps to find the swings of a long clip, ``person`` is who the coach means, ``watcher`` looks at some of
    the pictures on their way. A clip that plays ``slow`` times slower than life is followed, as ``onsets`` are given,
    on real times. Raises ``TrackError``.
    """

    def read(
        start: float | None, stop: float | None, tallest: int, every: float | None = None
    ) -> Iterable[Frame]:
        first, last, period = (None if time is None else time * slow for time in (start, stop, every))
        pictures: Iterable[Frame] = frames(clip, first, last, max_height=tallest, every=period)
        if slow != 1.0:
            pictures = (replace(frame, time=frame.time / slow) for frame in pictures)
        # The coarse pass has smaller pictures; what is followed at the full rate is what counts.
        return pictures if watcher is None or every is not None else watcher.passing(pictures)

    estimator.restart()
    raw = watch(
        read,
        clip.times / slow,
        estimator,
        onsets=onsets,
        wanted=person,
        progress=progress,
    )
    return smooth(mend(raw))


def review_clip(
    path: Path,
    library: Library | OwnModels,
    options: Options | None = None,
    *,
    estimator: PoseEstimator | None = None,
    progress: Progress = silent,
) -> Review:
    """Everything that is said about one clip.

    Parameters
    ----------
    path : the video file. library : the model swings to choose from; of a private library those that may be chosen are
        read when the swings are known. options : what the coach says.
    estimator : the pose model; the bundled one is loaded, and closed again, where None.

    Raises
    ------
    SwingmatchError : one sentence on why the clip cannot be used.
    """
    options = options or Options()
    seen = _usable(path, options, estimator, progress)
    strokes = one_kind(_strokes(seen, options, progress))
    footage = _footage(seen, strokes, options)
    measured = _measure(seen, strokes, footage, options, progress)
    review = _compare(seen, strokes, footage, library, options, measured)
    progress("comparing", 1.0)
    return replace(review, measures=measured.measures, scatters=measured.scatters)


def measure_clip(
    path: Path,
    options: Options | None = None,
    *,
    estimator: PoseEstimator | None = None,
    progress: Progress = silent,
) -> Measured:
    """Every measure of every swing of one clip, without a model swing.

    Parameters
    ----------
    path : the video file. options : what the coach says.
    estimator : the pose model; the bundled one is loaded, and closed again, where None.

    Raises
    ------
    SwingmatchError : one sentence on why the clip cannot be used.
    """
    options = options or Options()
    seen = _usable(path, options, estimator, progress)
    strokes = _strokes(seen, options, progress)
    return _measure(seen, strokes, _footage(seen, strokes, options), options, progress)


@dataclass(frozen=True)
class ReadSwings:
    """The swings of one clip, unmeasured, with what the footage is good for and the track they were cut from."""

    strokes: Strokes
    footage: Footage
    track: Track


def read_swings(
    path: Path,
    options: Options | None = None,
    *,
    estimator: PoseEstimator | None = None,
    progress: Progress = silent,
) -> ReadSwings:
    """The swings of one clip, as a library of models takes them. Parameters and errors as of ``measure_clip``."""
    options = options or Options()
    seen = _usable(path, options, estimator, progress)
    strokes = _strokes(seen, options, progress)
    return ReadSwings(strokes, _footage(seen, strokes, options), seen.track)


def check_clip(
    path: Path,
    options: Options | None = None,
    *,
    estimator: PoseEstimator | None = None,
    progress: Progress = silent,
) -> Footage:
    """What one clip can show, without comparing it; a clip without a player or a swing is *unusable*, not an error.

    Raises
    ------
    SwingmatchError : one sentence on why the file cannot be read.
    """
    options = options or Options()
    try:
        seen = _see(path, options, estimator, progress)
    except TrackError as error:
        return unusable("upside down" if str(error) == UPSIDE_DOWN else "nobody", str(error))
    early = check(seen.clip, seen.track, seen.onsets, seen.picture, slow=seen.slow)
    if not early.usable:
        return early
    try:
        strokes = _strokes(seen, options, progress)
    except StrokeError as error:
        missing = unusable("strokes", str(error)).remarks
        return replace(early, remarks=(*missing, *early.remarks))
    return _footage(seen, strokes, options)


def _usable(path: Path, options: Options, estimator: PoseEstimator | None, progress: Progress) -> Seen:
    """What a clip holds. Raises ``SwingmatchError``, also where it cannot be used."""
    seen = _see(path, options, estimator, progress)
    early = check(seen.clip, seen.track, seen.onsets, seen.picture, slow=seen.slow)
    if not early.usable:
        raise TrackError(early.remarks[0].sentence)
    return seen


def _see(path: Path, options: Options, estimator: PoseEstimator | None, progress: Progress) -> Seen:
    """Read, hear and follow; and bring everything to real speed. Raises ``SwingmatchError``."""
    clip = open_clip(path)
    onsets = strike_onsets(clip)
    known = known_slow(clip) if options.slow is None else said(options.slow)
    own = estimator is None
    model = estimator or make_estimator()

    def follow(slow: float) -> tuple[Track, Picture]:
        watcher = Watcher()
        heard = sound_at_real_speed(onsets, slow)
        track = track_clip(
            clip, model, progress, onsets=heard, person=options.person, watcher=watcher, slow=slow
        )
        return track, look(watcher.watched(), track)

    try:
        track, picture = follow(1.0 if known is None else known.factor)
        slow = known or from_evidence(track, onsets, _falls(clip, track))
        if known is None and slow.factor != 1.0:
            # A long clip was followed only where movement looked fast enough for a swing as it plays.
            if track.skipped.any():
                track, picture = follow(slow.factor)
            else:
                track = smooth(at_real_speed(track, slow.factor))
                picture = picture_at_real_speed(picture, slow.factor)
    except TrackError as error:
        if upside_down(_some_frames(clip), model):
            raise TrackError(UPSIDE_DOWN) from error
        raise
    finally:
        if own:
            model.close()
    return Seen(
        clip=clip_at_real_speed(clip, slow.factor),
        track=track,
        onsets=sound_at_real_speed(onsets, slow.factor),
        picture=picture,
        slow=slow,
        court=see_court(clip, track, slow.factor),
    )


def _falls(clip: Clip, track: Track) -> Falls | None:
    """What looks for the ball's fall; None where the player's height, its scale, is not known."""
    try:
        return ball_falls(clip, track)
    except StrokeError:
        return None


def _some_frames(clip: Clip) -> Iterator[Frame]:
    """A few frames spread over a clip."""
    for share in (np.arange(_TURNED) + 0.5) / _TURNED:
        with frames(clip, float(share * clip.times[-1]), max_height=540) as some:
            yield from islice(some, 1)


def _strokes(seen: Seen, options: Options, progress: Progress) -> Strokes:
    """The clip's swings but for those that a cut of the film goes through. Raises ``StrokeError``."""
    try:
        # The ball is looked for in the pictures as they play.
        real = seen.slow.factor == 1.0
        height = body_height(seen.track)
        ball = ball_watcher(seen.clip, seen.track, height) if real else None
        racket = RacketWatcher(
            size=seen.track.size,
            body_height=height,
            find=racket_finder(seen.clip, seen.track, height),
            marks=_marks(seen),
            ball=ball,
            shape=options.racket,
        )
        strokes = find_swings(
            seen.track,
            seen.onsets,
            hand=options.hand,
            stroke=options.stroke,
            azimuth=options.azimuth,
            azimuth_sd=0.0 if options.azimuth is None else _SAID_SD,
            court=None if seen.court is None else partial(azimuth_from_court, seen.court),
            ball=ball,
            racket=racket,
            on_stroke=lambda done, count: progress("reading the swings", done / count),
        )
    except StrokeError as error:
        if not seen.slow.question:
            raise
        raise StrokeError(f"{error} {seen.slow.question}") from error
    whole = [
        not crosses_cut(min(swing.events.values()), max(swing.events.values()), seen.picture)
        for swing in strokes.swings
    ]
    if not any(whole):
        raise StrokeError("The film is cut within every swing; send it uncut, as it left the phone.")
    return replace(
        strokes,
        swings=tuple(compress(strokes.swings, whole)),
        contacts=tuple(compress(strokes.contacts, whole)),
        recognised=tuple(compress(strokes.recognised, whole)),
    )


def _marks(seen: Seen) -> RacketPoints | None:
    """What the coach marked of the racket, at real speed and in pixels of the pictures that the body was tracked in."""
    marks = load_marks(seen.clip.path).points()
    if not len(marks.times):
        return None
    scale = seen.track.size[1] / seen.clip.height
    return RacketPoints(marks.times / seen.slow.factor, marks.image * scale, marks.sd * scale)


def one_kind(strokes: Strokes) -> Strokes:
    """The swings of the stroke that was played most, with a note on those that are left out: no model fits two."""
    counts = Counter(swing.stroke for swing in strokes.swings)
    most = counts.most_common(1)[0][0]
    kept = [swing.stroke == most for swing in strokes.swings]
    if all(kept):
        return strokes
    others = " and ".join(f"{name}: {count}" for name, count in counts.items() if name != most)
    return replace(
        strokes,
        swings=tuple(compress(strokes.swings, kept)),
        contacts=tuple(compress(strokes.contacts, kept)),
        recognised=tuple(compress(strokes.recognised, kept)),
        notes=(*strokes.notes, f"Only swings of the {most} are compared; left out were {others}."),
    )


def _footage(seen: Seen, strokes: Strokes, options: Options) -> Footage:
    return check(
        seen.clip,
        seen.track,
        seen.onsets,
        seen.picture,
        azimuth=strokes.camera_azimuth,
        azimuth_told=_azimuth_told(strokes, options),
        azimuth_within=_NINE_IN_TEN * strokes.azimuth_sd,
        hand=strokes.hand,
        heard=all("sound" in (contact.source, *contact.sources) for contact in strokes.contacts),
        contact_within=max(_NINE_IN_TEN * contact.sd for contact in strokes.contacts),
        slow=seen.slow,
    )


def _azimuth_told(strokes: Strokes, options: Options) -> str:
    """How the camera's place was found, in words."""
    first = "told from the movement" if options.azimuth is None else "as the coach says"
    if not strokes.court_seen:
        return first
    return "told from the court's lines" if options.azimuth is None else f"{first} and the court's lines show"


def _measure(
    seen: Seen, strokes: Strokes, footage: Footage, options: Options, progress: Progress
) -> Measured:
    """Measure swing after swing."""
    out: list[tuple[Measure, ...]] = []
    for swing, contact in zip(strokes.swings, strokes.contacts, strict=True):
        hidden = hidden_measures(definition_of(swing), swing.hand, seen.track, footage)
        out.append(measure(swing, contact_sd=contact.sd, stature=options.stature, hides=hidden.get))
        progress("measuring", len(out) / len(strokes.swings))
    return Measured(
        clip=seen.clip.path.name,
        strokes=strokes,
        measures=tuple(out),
        notes=(*strokes.notes, *footage.notes),
        slow=seen.slow.factor,
        scatters=_scatters(strokes, options.stature),
    )


def _scatters(strokes: Strokes, stature: float | None) -> dict[str, Scatter]:
    """How well contact repeats, of every stroke that was played more than once."""
    kinds: dict[str, list[int]] = {}
    for place, swing in enumerate(strokes.swings):
        kinds.setdefault(swing.stroke, []).append(place)
    return {
        stroke: contact_scatter(
            [strokes.swings[i] for i in places],
            stature,
            contact_sds=[strokes.contacts[i].sd for i in places],
        )
        for stroke, places in kinds.items()
        if len(places) > 1
    }


def _compare(
    seen: Seen,
    strokes: Strokes,
    footage: Footage,
    library: Library | OwnModels,
    options: Options,
    measured: Measured | None = None,
) -> Review:
    models = library if isinstance(library, Library) else library.of(strokes.swings, options.model)
    choice = choose(strokes.swings, models, name=options.model)
    volunteer, model = choice.volunteer, choice.swing
    alignments = [align(swing, model) for swing in strokes.swings]
    catalogue = load(strokes.swings[0].stroke, options.catalogue)
    evidence = gather(
        strokes.swings,
        model,
        alignments,
        volunteer.swings,
        measured.measures if measured else (),
        catalogue.floors,
        footage.hides,
    )
    pairs = tuple(
        Pair(swing, shown, alignment, joint_differences(swing, shown, alignment, footage.hides))
        for swing, alignment in zip(strokes.swings, alignments, strict=True)
        for shown in [_same_hand(model, strokes.hand)]
    )
    about = About(
        player=options.player or _name_of(seen.clip.path),
        model=volunteer.label,
        generated=volunteer.generated,
        stroke=evidence.stroke,
        camera_side=side_name(strokes.camera_azimuth),
        swings=len(strokes.swings),
        hand=strokes.hand,
    )
    scatter = measured.scatters.get(evidence.stroke) if measured else None
    with speaking(options.language):
        explanation, patterns = tell(about, evidence, catalogue, habits=options.habits, scatter=scatter)
    deviations = tuple(deviation for deviation in evidence.pooled if deviation.phase)
    return Review(
        player=about.player,
        clip=seen.clip.path.name,
        track=seen.track,
        camera_side=about.camera_side,
        model_name=volunteer.label,
        model_reasons=tuple(choice.reasons),
        model_generated=volunteer.generated,
        pairs=pairs,
        best=_most_typical(strokes.swings),
        deviations=deviations,
        strengths=tuple(finding_of(one) for one in explanation.strengths),
        changes=tuple(finding_of(one) for one in explanation.priorities),
        not_visible=not_visible(deviations),
        notes=(*strokes.notes, *footage.notes),
        slow=seen.slow.factor,
        explanation=explanation,
        evidence=evidence,
        patterns=patterns,
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
