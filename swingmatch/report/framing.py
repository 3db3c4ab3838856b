"""Which part of the player's picture to show, and how to set the model beside it at the same size."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, middle
from swingmatch.body.track import Track
from swingmatch.findings.review import Pair
from swingmatch.report.figure import View
from swingmatch.report.palette import STAGE, rgb
from swingmatch.report.text import Picture
from swingmatch.stroke.swing import Swing

#: Room around the keypoints, in statures: the keypoints end at the hand and the ears, the racket does not.
_ASIDE, _ABOVE, _BELOW = 0.22, 0.18, 0.16
#: A player far away is not blown up more than this.
_MAX_ZOOM = 3.0
_FEET = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "toe", "ankle")]


@dataclass(frozen=True)
class Framing:
    """A steady crop of the clip, and the view in which the model is drawn to match it.

    Attributes
    ----------
    size : (width, height) of the pane, pixels.
    zoom : pane pixels a clip pixel.
    corner : (x, y) clip pixels of the pane's upper left corner.
    view : the model's camera, at the player's side and size, standing where the player stands at contact.
    """

    size: tuple[int, int]
    zoom: float
    corner: tuple[float, float]
    view: View

    def crop(self, picture: Picture) -> Picture:
        """The pane's part of a clip picture, (height, width, 3) RGB; beyond the picture's edge it is plain."""
        return crop_picture(picture, self.size, self.zoom, self.corner)

    def to_pane(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Clip pixels to pane pixels, (..., 2)."""
        return (points - np.asarray(self.corner)) * self.zoom


def crop_picture(
    picture: Picture, size: tuple[int, int], zoom: float, corner: tuple[float, float]
) -> Picture:
    """The part of a picture from ``corner`` (x, y) on, ``zoom`` times as large, (height, width, 3) RGB of ``size``.

    Beyond the picture's edge it is plain.
    """
    matrix = np.array([[zoom, 0.0, -corner[0] * zoom], [0.0, zoom, -corner[1] * zoom]])
    if zoom < 0.6:  # warpAffine does not average; shrink first
        small = cv2.resize(picture, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
        sx, sy = small.shape[1] / picture.shape[1], small.shape[0] / picture.shape[0]
        matrix = np.array([[1.0, 0.0, -corner[0] * sx], [0.0, 1.0, -corner[1] * sy]])
        picture = np.asarray(small, dtype=np.uint8)
    out = cv2.warpAffine(
        picture,
        matrix,
        size,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=rgb(STAGE),
    )
    return np.asarray(out, dtype=np.uint8)


def pixels_a_stature(track: Track, swing: Swing, start: float, stop: float) -> float:
    """Clip pixels a stature of the player between two clip times, seconds.

    The factor that lays the swing's keypoints, seen level from the camera's side, over the track's: least
    squares about each frame's middle, the median over frames. NaN where the two share no keypoints.
    """
    inside = (track.times >= start) & (track.times <= stop)
    if not inside.any():
        return float("nan")
    seen = track.image[inside]
    flat = View(azimuth_of(swing), 1.0, (0.0, 0.0), (0.0, 0.0), pitch=0.0).project(
        swing.at(track.times[inside])
    )[..., :2]
    both = np.isfinite(seen).all(axis=2) & np.isfinite(flat).all(axis=2)
    factors = []
    for a, b, use in zip(seen, flat, both, strict=True):
        if use.sum() < 4:
            continue
        p, q = a[use] - a[use].mean(axis=0), b[use] - b[use].mean(axis=0)
        factors.append(float((p * p).sum() / max((q * q).sum(), 1e-12)) ** 0.5)
    return float(np.median(factors)) if factors else float("nan")


def azimuth_of(swing: Swing) -> float:
    """A player's camera azimuth in degrees; the hitting side where it is not known."""
    azimuth = swing.camera_azimuth
    if np.isfinite(azimuth):
        return float(azimuth)
    return 90.0 if swing.hand == "right" else -90.0


def frame_swing(
    track: Track, pair: Pair, size: tuple[int, int], start: float, stop: float, *, aside: float = _ASIDE
) -> Framing:
    """Crop that holds the player, and the model at the same size, between two clip times in seconds.

    ``size`` is (width, height) of the pane in pixels; ``aside`` is the room at the sides in statures. Where the
    player was not found at all the whole picture is shown.
    """
    inside = (track.times >= start) & (track.times <= stop)
    seen = track.image[inside].reshape(-1, 2)
    seen = seen[np.isfinite(seen).all(axis=1)]
    if not len(seen):
        seen = np.array([[0.0, 0.0], list(track.size)])
    low, high = _robust_box(seen)
    scale = pixels_a_stature(track, pair.player, start, stop)
    if not np.isfinite(scale) or scale <= 0:
        scale = float(high[1] - low[1]) / 0.95

    hip, ground = _stand(track, pair.player.contact, seen)
    view = model_view(pair, scale, (hip, ground))
    moments = np.linspace(start, stop, 24)
    body = pair.model.at(pair.model.contact + pair.alignment.to_model(moments - pair.player.contact)).reshape(
        -1, 3
    )
    drawn = view.project(body[np.isfinite(body).all(axis=1)])[:, :2]
    if len(drawn):
        low = np.minimum(low, drawn.min(axis=0))
        high = np.maximum(high, drawn.max(axis=0))
    low = low - np.array([aside, _ABOVE]) * scale
    high = high + np.array([aside, _BELOW]) * scale
    zoom = min(float((np.array(size) / (high - low)).min()), _MAX_ZOOM)
    span = np.array(size) / zoom
    corner = 0.5 * (low + high) - 0.5 * span
    for axis in (0, 1):  # stay inside the picture where it is large enough
        room = track.size[axis] - span[axis]
        if room >= 0:
            corner[axis] = min(max(corner[axis], 0.0), room)
    placed = (np.array([hip, ground]) - corner) * zoom
    return Framing(
        size,
        zoom,
        (float(corner[0]), float(corner[1])),
        View(view.azimuth, scale * zoom, view.court, (float(placed[0]), float(placed[1])), view.pitch),
    )


def model_view(pair: Pair, scale: float, pixel: tuple[float, float]) -> View:
    """View that puts the ground below the model's hips at contact on ``pixel``, ``scale`` pixels a stature."""
    hips = middle(pair.model.at(np.array([pair.model.contact])), "hip")[0]
    court = (float(hips[0]), float(hips[2])) if np.isfinite(hips).all() else (0.0, 0.0)
    return View(azimuth_of(pair.player), scale, court, pixel)


def _robust_box(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Box around (M, 2) points without the one in two hundred farthest out on each side (tracking jumps)."""
    return np.quantile(points, 0.005, axis=0), np.quantile(points, 0.995, axis=0)


def _stand(track: Track, time: float, seen: NDArray[np.float64]) -> tuple[float, float]:
    """Clip pixels (x of the hips, y of the ground) at a clip time."""
    nearest = track.image[int(np.argmin(np.abs(track.times - time)))]
    hip = middle(nearest, "hip")
    feet = nearest[_FEET, 1]
    x = float(hip[0]) if np.isfinite(hip[0]) else float(np.median(seen[:, 0]))
    y = float(np.nanmax(feet)) if np.isfinite(feet).any() else float(np.quantile(seen[:, 1], 0.99))
    return x, y
