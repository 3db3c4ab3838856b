"""The player's skeleton on the player's own picture, joints coloured by their difference from the model."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SEGMENTS
from swingmatch.report.palette import FULL_SCALE_DEG, VIRIDIS, Rgb, difference_colour, rgb
from swingmatch.report.text import Picture, put_text, text_width

_SHIFT = 4
#: Joints that carry a dot; the face and the heel would only clutter the picture.
DOTS: tuple[str, ...] = tuple(k for k in KEYPOINTS if not k.endswith(("ear", "heel", "hand")) and k != "nose")


def draw_skeleton(
    picture: Picture,
    points: NDArray[np.float64],
    differences: NDArray[np.float64],
    *,
    dot: float = 7.0,
) -> Picture:
    """A copy of the picture with thin bones and coloured joints.

    ``picture`` is (height, width, 3) RGB, ``points`` (K, 2) its pixels (NaN: left out), ``differences`` (K,)
    degrees (NaN: a small grey dot), ``dot`` the radius of a joint in pixels.
    """
    out = picture.copy()
    bones = [
        (points[INDEX[a]], points[INDEX[b]])
        for _, a, b in SEGMENTS
        if np.isfinite(points[[INDEX[a], INDEX[b]]]).all()
    ]
    dark = out.copy()
    for a, b in bones:
        cv2.line(dark, _at(a), _at(b), (16, 22, 22), max(2, round(dot * 0.75)), cv2.LINE_AA, _SHIFT)
    for a, b in bones:
        cv2.line(dark, _at(a), _at(b), (250, 250, 245), max(1, round(dot * 0.32)), cv2.LINE_AA, _SHIFT)
    cv2.addWeighted(dark, 0.8, out, 0.2, 0, dst=out)
    for name in DOTS:
        i = INDEX[name]
        if not np.isfinite(points[i]).all():
            continue
        known = bool(np.isfinite(differences[i]))
        radius = dot if known else 0.6 * dot
        _disc(out, points[i], radius + 2.5, (16, 22, 22))
        _disc(out, points[i], radius + 1.0, (250, 250, 245))
        _disc(out, points[i], radius - 0.5, difference_colour(float(differences[i])))
    return out


def ring(picture: Picture, point: NDArray[np.float64], radius: float, colour: Rgb) -> None:
    """A ring around one place, in place: where to look. ``point`` is (2,) pixels; NaN draws nothing."""
    if np.isfinite(point).all():
        for width, shade in ((7, (16, 22, 22)), (4, colour)):
            cv2.circle(picture, _at(point), round(radius * (1 << _SHIFT)), shade, width, cv2.LINE_AA, _SHIFT)


def draw_key(picture: Picture, x: int, y: int, size: int = 22) -> None:
    """Key to the joints' colours on one line, in place, from ``x`` on around the height ``y``."""
    ink, bar_width, gap = (244, 240, 230), 130, 10
    words, low, high = "Difference", "0°", f"{FULL_SCALE_DEG:.0f}°+"
    width = sum(text_width(t, size) for t in (words, low, high)) + bar_width + 3 * gap + 6
    area = picture[y - 18 : y + 18, x - 12 : x + width + 12]
    area[:] = (area * 0.25 + np.array([16, 22, 22]) * 0.75).astype(np.uint8)
    for text in (words, low):
        put_text(picture, text, x, y, size, ink)
        x += text_width(text, size) + gap
    stops = np.array([rgb(c) for c in VIRIDIS], float)
    at = np.linspace(0, len(stops) - 1, bar_width)
    bar = np.stack([np.interp(at, np.arange(len(stops)), stops[:, i]) for i in range(3)], axis=1)
    picture[y - 9 : y + 9, x : x + bar_width] = bar.astype(np.uint8)
    cv2.rectangle(picture, (x - 1, y - 10), (x + bar_width, y + 9), ink, 1)
    put_text(picture, high, x + bar_width + gap, y, size, ink)


def _at(point: NDArray[np.float64]) -> tuple[int, int]:
    x, y = np.round(np.clip(point, -30000, 30000) * (1 << _SHIFT)).astype(int)
    return int(x), int(y)


def _disc(picture: Picture, point: NDArray[np.float64], radius: float, colour: Rgb) -> None:
    cv2.circle(picture, _at(point), round(radius * (1 << _SHIFT)), colour, -1, cv2.LINE_AA, _SHIFT)
