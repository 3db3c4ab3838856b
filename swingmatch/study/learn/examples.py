"""What is learnt from: tracks of rendered clips beside their truth, and more movements without a picture.

Everything is a right-hander's here: a left-hander's example is mirrored. Training mirrors half of the examples.
"""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass, fields
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from swingmatch.body.mend import drop_jumps, mend_swaps
from swingmatch.body.reading import RATE, STRETCH
from swingmatch.body.skeleton import K, mirror, swap_sides
from swingmatch.body.smooth import smooth
from swingmatch.body.stretch import stretch_of
from swingmatch.body.track import Track
from swingmatch.clip.reader import open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.errors import TrackError
from swingmatch.progress import Progress, silent
from swingmatch.series import resample
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.cut import BEFORE
from swingmatch.stroke.direction import azimuth_of, camera_to_court
from swingmatch.study import recorded
from swingmatch.study.kept import kept
from swingmatch.study.learn.settings import LearnSettings
from swingmatch.study.measure import track_raw
from swingmatch.study.recorded import RecordedShot, recorded_shots
from swingmatch.study.run import AnyShot, filmed
from swingmatch.study.sample import shots
from swingmatch.synth.cast import TUNING, random_player
from swingmatch.synth.truth import ClipTruth

Array = NDArray[np.float64]

#: Samples of a stretch, the one at contact, and all their times from contact, seconds.
SAMPLES = round(STRETCH * RATE) + 1
CONTACT = round(BEFORE * RATE)
MOMENTS = (np.arange(SAMPLES) - CONTACT) / RATE
#: A sample counts as filmed up to this many seconds beyond the first and last frame.
_EDGE = 0.02


@dataclass(frozen=True)
class Example:
    """One tracked stroke beside its truth, at ``MOMENTS`` from contact, as a right-hander's.

    Attributes
    ----------
    image : (T, K, 2) pixels, y down. world : (T, K, 3) metres, camera axes. visibility : (T, K).
    body : (T, K, 3) the truth on court axes, statures. azimuth : the camera's, degrees.
    covered : (T,) samples that the clip holds. recorded : whether the movement is a recorded player's.
    """

    image: Array
    world: Array
    visibility: Array
    body: Array
    azimuth: float
    covered: NDArray[np.bool_]
    recorded: bool = False


@dataclass(frozen=True)
class Examples:
    """``Example`` after ``Example`` along a new first axis, and movements (M, T, K, 3) on court axes, statures."""

    image: Array
    world: Array
    visibility: Array
    body: Array
    azimuth: Array
    covered: NDArray[np.bool_]
    recorded: NDArray[np.bool_]
    generated_motions: Array
    recorded_motions: Array
    recorded_forehands: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.image)


def gather(
    clips: Path,
    mocap: Path | None,
    settings: LearnSettings,
    executor: Executor,
    progress: Progress = silent,
) -> Examples:
    """Everything that is learnt from.

    Parameters
    ----------
    clips : folder of the study's clips; what is not there is rendered, and tracked tracks are kept in it.
    mocap : folder of recordings, see ``study.recorded``; without it generated movement alone is learnt from.

    Raises
    ------
    TrackError : no clip could be tracked.
    LibraryError : a recording is missing or damaged.
    ValueError : more clips or movements are asked for than there are seeds.
    """
    items = tuning_shots(mocap, settings)
    found = []
    for done, example in enumerate(executor.map(partial(example_of, folder=clips), items), start=1):
        progress("tracking clips", done / len(items))
        found += [] if example is None else [example]
    if not found:
        raise TrackError("The player could not be followed in any of the clips to learn from.")
    columns = {f.name: np.array([getattr(example, f.name) for example in found]) for f in fields(Example)}
    seeds = _motion_seeds(settings)
    generated = []
    for done, body in enumerate(executor.map(generated_motion, seeds, chunksize=10), start=1):
        progress("generating movements", done / len(seeds))
        generated.append(body)
    strokes = [] if mocap is None else recorded_strokes(mocap, settings.shortest)
    return Examples(
        **columns,
        generated_motions=np.array(generated).reshape(-1, SAMPLES, K, 3),
        recorded_motions=np.array([body for body, _ in strokes]).reshape(-1, SAMPLES, K, 3),
        recorded_forehands=np.array([forehand for _, forehand in strokes], dtype=bool),
    )


def tuning_shots(mocap: Path | None, settings: LearnSettings) -> list[AnyShot]:
    """The clips to learn from: of ``TUNING`` and of ``TUNING_PLAYERS``, whatever the settings say."""
    items: list[AnyShot] = [*shots(TUNING, settings.clips)]
    return items if mocap is None else [*items, *recorded_shots(mocap, recorded.TUNING_PLAYERS)]


def _motion_seeds(settings: LearnSettings) -> range:
    # A part of a range cannot reach beyond it.
    seeds = TUNING[settings.first_motion :][: settings.motions]
    if len(seeds) < settings.motions:
        raise ValueError(f"there are only {len(seeds)} seeds, {settings.motions} were asked for")
    return seeds


def example_of(item: AnyShot, folder: Path) -> Example | None:
    """The example of a shot, rendered and tracked where that is not kept in ``folder``; None where it is of no use."""
    path, truth = filmed(item, folder)

    def make():  # type: ignore[no-untyped-def]
        clip = open_clip(path)
        return track_raw(clip, strike_onsets(clip))

    try:
        raw = kept(path, make).track
    except TrackError:
        return None
    # ``mend`` asks the network itself, which must not learn from its own answers.
    return beside(smooth(drop_jumps(mend_swaps(raw))), truth, recorded=isinstance(item, RecordedShot))


def beside(track: Track, truth: ClipTruth, *, recorded: bool = False) -> Example | None:
    """A track beside the truth; None where the player is missing from too much of the stretch round contact."""
    contact = truth.swings[0].events["contact"]
    at = contact + MOMENTS
    stretch = stretch_of(track, at[0], at[-1])
    if stretch is None:
        return None
    image, world, visibility = (
        resample(values, stretch.times, at) for values in (stretch.image, stretch.world, stretch.visibility)
    )
    azimuth = float(truth.camera["azimuth"])  # type: ignore[arg-type]
    if truth.hand == "left":
        image = swap_sides(image) * np.array([-1.0, 1.0])
        world = swap_sides(world) * np.array([-1.0, 1.0, 1.0])
        visibility = swap_sides(visibility[..., None])[..., 0]
        azimuth = -azimuth
    body = _right_handed(resample(truth.points, truth.times, at) / truth.stature, truth.hand)
    covered = (at >= stretch.times[0] - _EDGE) & (at <= stretch.times[-1] + _EDGE)
    return Example(image, world, visibility, body, azimuth, covered, recorded)


def generated_motion(seed: int) -> Array:
    """(T, K, 3) one stroke of the random player of a seed, court axes, statures, right-handed."""
    motion = random_player(seed).perform(swings=1)
    at = motion.swings[0].events["contact"] + MOMENTS
    return _right_handed(resample(motion.points, motion.times, at) / motion.stature, motion.hand)


def recorded_strokes(folder: Path, shortest: float) -> list[tuple[Array, bool]]:
    """Every stroke of ``TUNING_PLAYERS``: (T, K, 3) on court axes, statures, right-handed; and whether a forehand.

    The body is held still at the ends where a neighbouring stroke is near, as in ``recorded.motion_of``; strokes that
    leave less than ``shortest`` seconds are left out.
    """
    rows = [row for row in recorded._index(folder) if row["player"] in recorded.TUNING_PLAYERS]
    bodies = {row["file"]: recorded._read(folder / row["file"]) for row in rows}
    out = []
    for row in rows:
        body, hand = bodies[row["file"]], recorded._hand(rows, bodies, row["player"])
        target = recorded._forehand_target(rows, bodies, row["player"], hand)
        hits = recorded._hits(body, hand)
        if np.dot(recorded._path(body, hand, hits), target) < -0.5:
            target = -target
        court = CubicSpline(body.times, body.points @ camera_to_court(azimuth_of(target)).T / body.stature)
        for hit in hits:
            start, stop = (
                hit.peak + sign * min(room - recorded.FROM_NEIGHBOUR, recorded.AROUND)
                for sign, room in ((-1.0, hit.before), (1.0, hit.after))
            )
            if stop - start >= shortest:
                at = np.clip(hit.peak + WRIST_PEAK_BEFORE_CONTACT + MOMENTS, start, stop)
                out.append((_right_handed(court(at), hand), row["stroke"] == "forehand"))
    return out


def _right_handed(points: Array, hand: str) -> Array:
    return points if hand == "right" else mirror(points)


def fold_of(count: int, settings: LearnSettings) -> NDArray[np.int_]:
    """(count,) the part, of ``settings.folds``, to which each example belongs."""
    return np.random.default_rng(settings.seed).integers(0, settings.folds, count)


def describe(examples: Examples) -> str:
    """One line on what is there."""
    return (
        f"{len(examples)} clips, {int(examples.recorded.sum())} of them of recorded players; "
        f"{len(examples.generated_motions)} generated and {len(examples.recorded_motions)} recorded movements"
    )
