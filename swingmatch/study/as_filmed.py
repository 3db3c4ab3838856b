"""A movement as a film would have shown it, without filming it: what tracking got wrong in a clip is laid on it.

The pose model's errors depend on the camera side and come in runs, so they are not drawn from a distribution: the
differences between the track of a rendered clip and its truth, over the whole stroke, are added to another movement
that is seen by a camera at the same azimuth. From there on everything is the tool's own: lifting, events. What this
leaves out is that errors and movement belong together: a hand that is hidden behind the body in one movement may not be
in another, so results are, if anything, worse than on film.

Everything is a right-hander's here: a left-hander is mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.mend import mend
from swingmatch.body.reading import WORLD_STATURE
from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, middle, swap_sides
from swingmatch.body.smooth import smooth
from swingmatch.body.stretch import stretch_of
from swingmatch.body.track import Track
from swingmatch.clip.reader import open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.errors import StrokeError, SwingmatchError
from swingmatch.progress import Progress, silent
from swingmatch.series import resample
from swingmatch.stroke.direction import camera_to_court
from swingmatch.stroke.reconstruct import find_swings
from swingmatch.stroke.swing import Swing
from swingmatch.study.kept import Tracked, kept
from swingmatch.study.learn.examples import MOMENTS
from swingmatch.study.measure import track_raw
from swingmatch.study.sample import Shot, film
from swingmatch.synth.camera import Camera
from swingmatch.synth.truth import ClipTruth

Array = NDArray[np.float64]

#: Metres of stature that a movement in statures is filmed with, and the camera: a phone's on a stand.
_STATURE = 1.75
_CAMERA = Camera(height=1.3, distance=5.5, aim=(0.0, 0.9, 0.0), field_of_view=65.0, size=(1280, 720))
#: Standard deviation of contact where the strike is heard, seconds, and of the camera side where the court's lines are
#: seen, degrees: the study of accuracy found 2 / 5 (median / 90th percentile).
_HEARD_SD, _COURT_SD = 0.005, 3.0


@dataclass(frozen=True)
class FilmErrors:
    """What tracking got wrong in one clip, at ``MOMENTS`` from contact, as a right-hander's.

    Attributes
    ----------
    image : (T, K, 2) statures in the picture, x right, y down. world : (T, K, 3) statures about the hips, camera axes.
    visibility : (T, K) as the pose model said. azimuth : of the camera, degrees.
    """

    image: Array
    world: Array
    visibility: Array
    azimuth: float


@dataclass(frozen=True)
class _At:
    """A moment with its standard deviation, seconds."""

    time: float
    sd: float


def errors_beside(raw: Track, truth: ClipTruth) -> FilmErrors | None:
    """The errors of a raw track once it is mended and smoothed; None where too much of the stroke is missing."""
    track = smooth(mend(raw))
    at = truth.swings[0].events["contact"] + MOMENTS
    stretch = stretch_of(track, float(at[0]), float(at[-1]))
    if stretch is None:
        return None
    azimuth = float(truth.camera["azimuth"])  # type: ignore[arg-type]
    shown = np.asarray(track.size) / np.asarray(truth.camera["size"], dtype=float)
    image = resample(truth.image, truth.times, stretch.times) * shown
    body = resample(truth.points, truth.times, stretch.times) / truth.stature @ camera_to_court(azimuth)
    off = (stretch.image - image) / _tall(image)
    world = _about_hips(stretch.world) / WORLD_STATURE - _about_hips(body)
    found = [resample(values, stretch.times, at) for values in (off, world, stretch.visibility)]
    if truth.hand == "left":
        found = [swap_sides(found[0]), swap_sides(found[1]), swap_sides(found[2][..., None])[..., 0]]
        found[0] = found[0] * np.array([-1.0, 1.0])
        found[1] = found[1] * np.array([-1.0, 1.0, 1.0])
        azimuth = -azimuth
    return (
        FilmErrors(found[0], found[1], found[2], azimuth)
        if all(np.isfinite(v).all() for v in found)
        else None
    )


def film_errors(
    items: Sequence[Shot], folder: Path, executor: Executor, progress: Progress = silent
) -> list[FilmErrors]:
    """The errors of some of the study's clips, rendered and tracked where that is not kept in ``folder``."""
    out = []
    for done, errors in enumerate(executor.map(partial(_of_clip, folder=folder), items), start=1):
        progress("tracking clips", done / len(items))
        out += [] if errors is None else [errors]
    return out


def _of_clip(item: Shot, folder: Path) -> FilmErrors | None:
    path, truth = film(item, folder)

    def make() -> Tracked:
        clip = open_clip(path)
        return track_raw(clip, strike_onsets(clip))

    try:
        return errors_beside(kept(path, make).track, truth)
    except SwingmatchError:
        return None


def track_of(body: Array, errors: FilmErrors) -> Track:
    """The track, mended and smoothed, of a movement ``body`` (T, K, 3): as in ``filmed_swing``."""
    camera = Camera(**{**_CAMERA.as_dict(), "azimuth": errors.azimuth})  # type: ignore[arg-type]
    hips = middle(body[np.argmin(np.abs(MOMENTS))], "hip")
    placed = (body - hips * np.array([1.0, 0.0, 1.0])) * _STATURE
    image = camera.project(placed)
    world = _about_hips(body) @ camera_to_court(errors.azimuth) + errors.world
    return Track(
        times=MOMENTS - MOMENTS[0],
        image=image + errors.image * _tall(image),
        world=world * WORLD_STATURE,
        visibility=errors.visibility,
        size=camera.size,
    )


def filmed_swing(
    body: Array, errors: FilmErrors, stroke: str, rng: np.random.Generator, court: bool = True
) -> Swing:
    """The swing that the tool makes of a movement: its hand and stroke are said, the strike is heard.

    Parameters
    ----------
    body : (T, K, 3) at ``MOMENTS``: right-handed, court axes, statures. errors : laid on it.
    rng : draws the errors of contact and camera side. court : whether the court's lines tell the camera side; else the
        movement does.

    Raises
    ------
    StrokeError : the stroke was not found.
    """
    track = track_of(body, errors)
    contact = -float(MOMENTS[0])
    heard = _At(contact + _HEARD_SD * float(rng.standard_normal()), _HEARD_SD)
    side = errors.azimuth + _COURT_SD * float(rng.standard_normal())
    found = find_swings(
        track,
        None,
        hand="right",
        stroke=stroke,
        court=(lambda azimuth, sd: (side, _COURT_SD)) if court else None,
        ball=lambda time, hand: heard if abs(time - heard.time) < 0.3 else None,
    )
    best = min(found.swings, key=lambda swing: abs(swing.contact - contact))
    if abs(best.contact - contact) > 0.3:
        raise StrokeError("The stroke was not found.")
    return best


def _about_hips(points: Array) -> Array:
    return points - middle(points, "hip")[:, None]


def _tall(image: Array) -> float:
    """Stature in pixels, as the picture shows it: nose over ankles, the tallest moment."""
    return float(np.nanmax(image[:, INDEX["left_ankle"], 1] - image[:, INDEX["nose"], 1])) / NOSE_OVER_ANKLES
