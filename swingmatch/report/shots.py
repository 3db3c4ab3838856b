"""The player's own pictures at the moments at which measures are taken, cropped around the body."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, middle
from swingmatch.body.track import Track
from swingmatch.report.film import ClipFrames
from swingmatch.report.framing import crop_picture
from swingmatch.report.stills import jpeg
from swingmatch.report.text import Picture

#: Width over height of every picture.
ASPECT = 0.82
#: Height in pixels at most; a smaller player is not blown up beyond ``_MAX_ZOOM``.
HEIGHT = 460
_MAX_ZOOM = 1.6
_QUALITY = 78
#: Room around the body, and around each hand for the racket in it, statures.
_AROUND, _RACKET = 0.08, 0.30
#: Seconds without a wanted picture over which the clip is not read on.
_APART = 1.0


@dataclass(frozen=True)
class Shot:
    """One picture of the player.

    Attributes
    ----------
    frame : row of the track. size : (width, height), pixels. zoom : its pixels a clip pixel.
    corner : (x, y) clip pixels of its upper left corner. picture : a JPEG file, or None where the clip gave none.
    """

    frame: int
    size: tuple[int, int]
    zoom: float
    corner: tuple[float, float]
    picture: bytes | None

    def place(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Clip pixels to this picture's pixels, (..., 2)."""
        return (points - np.asarray(self.corner)) * self.zoom


def nearest_frame(track: Track, time: float) -> int:
    """Row of the track whose picture is nearest to a time, seconds."""
    return int(np.argmin(np.abs(track.times - time)))


def take_shots(
    track: Track, frames: Collection[int], clip_frames: ClipFrames | None, height: int = HEIGHT
) -> dict[int, Shot]:
    """Pictures of the player at rows of the track, all in one scale; rows without the player are left out.

    ``clip_frames`` gives the clip's pictures between two times; without it the shots have no picture. The clip is read
    once from the first to the last of the frames that lie close together.
    """
    stature = _stature(track, frames)
    boxes = {frame: box for frame in sorted(set(frames)) if (box := _box(track, frame, stature)) is not None}
    if not boxes:
        return {}
    window = np.max([high - low for low, high in boxes.values()], axis=0)
    window = np.array([max(window[0], ASPECT * window[1]), max(window[1], window[0] / ASPECT)])
    zoom = min(height / float(window[1]), _MAX_ZOOM)
    size = (max(round(zoom * float(window[0])), 1), max(round(zoom * float(window[1])), 1))
    corners = {}
    for frame, (low, high) in boxes.items():
        # The ground stays at the bottom, whatever the arms do.
        corner = np.array([0.5 * (low[0] + high[0] - window[0]), high[1] - window[1]])
        room = np.array(track.size) - window
        # The crop stays inside the picture where that is large enough.
        corners[frame] = np.where(room > 0.0, np.clip(corner, 0.0, np.maximum(room, 0.0)), corner)
    shots = {
        frame: Shot(frame, size, zoom, (float(corner[0]), float(corner[1])), None)
        for frame, corner in corners.items()
    }
    return shots if clip_frames is None else _with_pictures(track, shots, clip_frames)


def _stature(track: Track, frames: Collection[int]) -> float:
    """About the player's height in clip pixels: the most upright of the frames; 0 where it cannot be told."""
    rows = list(frames)
    ankles = middle(track.image[rows], "ankle")[:, 1]
    tall = (ankles - track.image[rows][:, INDEX["nose"], 1]) / NOSE_OVER_ANKLES
    return float(max(tall[np.isfinite(tall)], default=0.0))


def _box(track: Track, frame: int, stature: float) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Corners (x, y) of what a shot must hold, clip pixels: the body, and a racket in either hand."""
    seen = track.image[frame]
    if not np.isfinite(seen).all(axis=1).any():
        return None
    hands = seen[[INDEX["left_hand"], INDEX["right_hand"]]]
    low, high = np.nanmin(seen, axis=0) - _AROUND * stature, np.nanmax(seen, axis=0) + _AROUND * stature
    reach = _RACKET * stature
    # Nobody's racket is under the ground that the feet stand on.
    return np.fmin(low, np.fmin.reduce(hands) - reach), np.array(
        [np.fmax(high[0], np.fmax.reduce(hands)[0] + reach), high[1]]
    )


def _with_pictures(track: Track, shots: dict[int, Shot], clip_frames: ClipFrames) -> dict[int, Shot]:
    """The shots with the clip's nearest picture each; only what is cut out of the pictures is kept."""
    cuts: dict[int, Picture] = {}
    frames = np.array(sorted(shots))
    period = float(np.median(np.diff(track.times))) if len(track.times) > 1 else 0.04
    for group in np.split(frames, np.flatnonzero(np.diff(track.times[frames]) > _APART) + 1):
        wanted = {int(frame): float(track.times[frame]) for frame in group}
        gaps = dict.fromkeys(wanted, 1.5 * period)
        for picture in clip_frames(min(wanted.values()) - period, max(wanted.values()) + period):
            for frame, time in wanted.items():
                if abs(picture.time - time) < gaps[frame]:
                    gaps[frame] = abs(picture.time - time)
                    shot = shots[frame]
                    cuts[frame] = crop_picture(picture.image, shot.size, shot.zoom, shot.corner)
    return {
        frame: replace(shot, picture=jpeg(cuts[frame], _QUALITY)) if frame in cuts else shot
        for frame, shot in shots.items()
    }
