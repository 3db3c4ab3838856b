"""A drawn body: the model as a shaded mannequin on a plain court, seen from any side.

The camera is far away and looks down a little (weak perspective), so that a stature has one length in pixels
everywhere in the picture. Widths of limbs are a matter of drawing, not of measurement.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, K
from swingmatch.report.palette import SIDE, STAGE, Rgb, mix, rgb
from swingmatch.report.text import Picture

#: Fixed-point bits of OpenCV's drawing coordinates.
_SHIFT = 4
_CIRCLE = np.stack(
    [np.cos(np.linspace(0, 2 * np.pi, 24, False)), np.sin(np.linspace(0, 2 * np.pi, 24, False))], 1
)
_LEFT, _RIGHT = rgb(SIDE["left"]), rgb(SIDE["right"])
_SOCK: Rgb = (235, 235, 230)

#: Radii of a limb at its two ends, in statures.
_LIMBS: tuple[tuple[str, str, float, float], ...] = (
    ("shoulder", "elbow", 0.029, 0.023),
    ("elbow", "wrist", 0.023, 0.016),
    ("wrist", "hand", 0.017, 0.020),
    ("hip", "knee", 0.047, 0.032),
    ("knee", "ankle", 0.031, 0.018),
    ("heel", "toe", 0.022, 0.016),
)


@dataclass(frozen=True)
class Clothes:
    """Colours of a drawn body."""

    skin: Rgb = (214, 176, 142)
    hair: Rgb = (74, 56, 46)
    shirt: Rgb = (230, 159, 0)
    shorts: Rgb = (70, 82, 92)
    racket: Rgb = (52, 58, 64)
    left: Rgb = _LEFT
    right: Rgb = _RIGHT


@dataclass(frozen=True)
class View:
    """Where the camera stands and where the court point lands in the picture.

    Attributes
    ----------
    azimuth : degrees from the target direction to the camera about the vertical (0 in front, +90 on the right).
    scale : pixels a stature.
    court : (x, z) statures of a point on the ground. pixel : (x, y) pixels where that point is drawn.
    pitch : degrees by which the camera looks down.
    """

    azimuth: float
    scale: float
    court: tuple[float, float]
    pixel: tuple[float, float]
    pitch: float = 6.0

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(..., 3) statures on court axes to (..., 3): pixels right, pixels down, pixels towards the camera."""
        origin = np.array([self.court[0], 0.0, self.court[1]])
        flat = turn(points - origin, self.azimuth, self.pitch) * self.scale
        out = flat * np.array([1.0, -1.0, 1.0])
        out[..., :2] += np.asarray(self.pixel)
        return out


def turn(points: NDArray[np.float64], azimuth: float, pitch: float = 0.0) -> NDArray[np.float64]:
    """Court axes to camera axes, (..., 3) to (..., 3): right, up, towards the camera; same unit.

    With ``pitch`` 0: right is (sin a, 0, -cos a), up is Y, towards the camera is (cos a, 0, sin a).
    """
    a, p = np.deg2rad(azimuth), np.deg2rad(pitch)
    level = np.array([[np.sin(a), 0.0, -np.cos(a)], [0.0, 1.0, 0.0], [np.cos(a), 0.0, np.sin(a)]])
    down = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(p), -np.sin(p)], [0.0, np.sin(p), np.cos(p)]])
    return np.asarray(points) @ (down @ level).T


def draw_stage(size: tuple[int, int], view: View) -> Picture:
    """Plain background with a ground, a horizon and a few court lines, (height, width, 3) RGB.

    ``size`` is (width, height) in pixels. Lines run along the court's axes, one stature apart, so that the
    side from which one looks can be read from the ground.
    """
    w, h = size
    wall, ground = rgb(STAGE), (49, 74, 66)
    horizon = round(view.pixel[1] - 0.16 * view.scale)
    rows = np.arange(h, dtype=float)
    far = np.clip((rows - horizon) / max(h - horizon, 1), 0, 1)[:, None]
    sky = np.clip(rows / max(horizon, 1), 0, 1)[:, None]
    wall_rows = np.array(mix(wall, (0, 0, 0), 0.25)) * (1 - sky) + np.array(mix(wall, (255,) * 3, 0.06)) * sky
    ground_rows = np.array(mix(ground, wall, 0.45)) * (1 - far) + np.array(ground) * far
    column = np.where((rows >= horizon)[:, None], ground_rows, wall_rows)
    out = np.repeat(column[:, None, :], w, axis=1).astype(np.uint8)
    line = mix(ground, (255, 255, 255), 0.22)
    sheet = out.copy()
    reach = 8.0
    for offset in np.arange(-reach, reach + 1):
        for ends in (((-reach, offset), (reach, offset)), ((offset, -reach), (offset, reach))):
            court = np.array([[x + view.court[0], 0.0, z + view.court[1]] for x, z in ends])
            _line(sheet, view.project(court)[:, :2], 1.0, line)
    out[max(horizon, 0) :] = sheet[max(horizon, 0) :]
    return out


def draw_figure(
    background: Picture,
    points: NDArray[np.float64],
    view: View,
    *,
    racket: NDArray[np.float64] | None = None,
    clothes: Clothes | None = None,
) -> Picture:
    """The background with one body on it, (height, width, 3) RGB; the background is left as it was.

    Parameters
    ----------
    background : (height, width, 3) RGB.
    points : (K, 3) statures, court axes; parts with a NaN are left out.
    view : camera and place in the picture.
    racket : (5, 3) butt, throat, tip, left edge, right edge, or None.
    clothes : colours.
    """
    if points.shape != (K, 3):
        raise ValueError(f"points has shape {points.shape}, expected ({K}, 3)")
    clothes = clothes or Clothes()
    canvas = background.copy()
    _shadow(canvas, points, racket, view)
    parts = _body_parts(view.project(points), view.scale, clothes)
    if racket is not None and np.isfinite(racket).all():
        parts.append(_racket_part(racket, view, clothes))
    for _, draw in sorted(parts, key=lambda part: part[0]):
        draw(canvas)
    return canvas


Seen = NDArray[np.float64]
_Piece = tuple[NDArray[np.float64], Rgb]
_Part = tuple[float, Callable[[Picture], None]]


def _body_parts(seen: NDArray[np.float64], scale: float, clothes: Clothes) -> list[_Part]:
    """Every part with its depth; ``seen`` is (K, 3) pixels right, down, towards the camera."""
    parts: list[_Part] = []

    def cone(a: Seen, b: Seen, ra: float, rb: float, colour: Rgb) -> _Piece:
        return _hull([(a[:2], ra * scale), (b[:2], rb * scale)]), colour

    def add(depth: float, *pieces: _Piece) -> None:
        def draw(canvas: Picture) -> None:
            for outline, colour in pieces:
                _shaded(canvas, outline, colour)

        parts.append((depth, draw))

    for side in ("left", "right"):
        band = clothes.left if side == "left" else clothes.right
        for start, end, ra, rb in _LIMBS:
            a, b = seen[INDEX[f"{side}_{start}"]], seen[INDEX[f"{side}_{end}"]]
            if not np.isfinite([*a, *b]).all():
                continue
            along = b - a
            pieces = [cone(a, b, ra, rb, band if start == "heel" else clothes.skin)]
            if start == "shoulder":
                pieces.append(cone(a, a + 0.55 * along, ra + 0.008, ra + 0.006, clothes.shirt))
            elif start == "hip":
                pieces.append(cone(a, a + 0.60 * along, ra + 0.010, ra + 0.004, clothes.shorts))
            elif start == "elbow":
                pieces.append(cone(a + 0.80 * along, a + 0.93 * along, rb + 0.005, rb + 0.004, band))
            elif start == "knee":
                pieces.append(cone(a + 0.86 * along, b, rb + 0.004, rb + 0.004, _SOCK))
            add(float(a[2] + b[2]) / 2, *pieces)

    hips = [seen[INDEX[f"{s}_hip"]] for s in ("left", "right")]
    shoulders = [seen[INDEX[f"{s}_shoulder"]] for s in ("left", "right")]
    if np.isfinite(np.array(hips + shoulders)).all():
        waist = [h + 0.30 * (s - h) for h, s in zip(hips, shoulders, strict=True)]
        upper = _hull([(s[:2], 0.040 * scale) for s in shoulders] + [(q[:2], 0.052 * scale) for q in waist])
        lower = _hull([(q[:2], 0.054 * scale) for q in waist] + [(q[:2], 0.058 * scale) for q in hips])
        depth = float(np.mean([p[2] for p in hips + shoulders]))
        add(depth, (lower, clothes.shorts), (upper, clothes.shirt))

    ears = 0.5 * (seen[INDEX["left_ear"]] + seen[INDEX["right_ear"]])
    nose, neck = seen[INDEX["nose"]], 0.5 * (shoulders[0] + shoulders[1])
    if np.isfinite(np.array([ears, nose, neck])).all():
        add(float(neck[2] + ears[2]) / 2 - 0.01 * scale, cone(neck, ears, 0.032, 0.030, clothes.skin))
        parts.append((float(ears[2]), lambda canvas: _head(canvas, ears, nose, neck, scale, clothes)))
    return parts


def _head(
    canvas: Picture,
    ears: NDArray[np.float64],
    nose: NDArray[np.float64],
    neck: NDArray[np.float64],
    scale: float,
    clothes: Clothes,
) -> None:
    """Skull, face and hair from the ears, the nose and the neck: (3,) pixels each."""
    up = ears - neck
    up = up / max(float(np.linalg.norm(up)), 1e-9)
    face = nose - ears
    face = face - up * float(face @ up)
    face = face / max(float(np.linalg.norm(face)), 1e-9)
    centre = ears + up * 0.012 * scale
    skull = _hull(
        [
            ((centre + up * 0.022 * scale)[:2], 0.054 * scale),
            ((centre - up * 0.020 * scale)[:2], 0.046 * scale),
        ]
    )
    tip = centre + face * 0.058 * scale - up * 0.012 * scale
    if face[2] <= 0.05:  # the nose is behind the skull
        _shaded(canvas, _hull([(tip[:2], 0.010 * scale)]), clothes.skin)
    _shaded(canvas, skull, clothes.skin)
    back = centre - face * 0.018 * scale + up * 0.026 * scale
    crown = [
        (back[:2], 0.050 * scale),
        ((back - face * 0.006 * scale - up * 0.030 * scale)[:2], 0.040 * scale),
    ]
    if face[2] < 0.3:
        crown.append(((back - up * 0.052 * scale)[:2], 0.034 * scale))
    _shaded(canvas, _hull(crown), clothes.hair)
    if face[2] > 0.05:
        _shaded(canvas, _hull([(tip[:2], 0.010 * scale)]), mix(clothes.skin, (120, 70, 50), 0.15))


def _racket_part(racket: NDArray[np.float64], view: View, clothes: Clothes) -> _Part:
    butt, throat, tip, left, right = racket
    centre = 0.5 * (left + right)
    across, along = 0.5 * (right - left), tip - centre
    angles = np.linspace(0, 2 * np.pi, 49)[:, None]
    hoop = view.project(centre + np.cos(angles) * across + np.sin(angles) * along)
    strings = []
    for share in np.linspace(-0.8, 0.8, 9):
        half = np.sqrt(1 - share**2)
        strings.append(np.stack([share * across - half * along, share * across + half * along]))
        strings.append(np.stack([share * along - half * across, share * along + half * across]))
    lines = [view.project(centre + s)[:, :2] for s in strings]
    shoulders = [
        view.project(np.stack([throat, centre + np.cos(t) * across + np.sin(t) * along]))[:, :2]
        for t in (-0.80 * np.pi, -0.20 * np.pi)
    ]
    grip = view.project(np.stack([butt, butt + 0.75 * (throat - butt)]))[:, :2]
    shaft = view.project(np.stack([butt, throat]))[:, :2]
    frame, edge = clothes.racket, mix(clothes.racket, (0, 0, 0), 0.6)

    def draw(canvas: Picture) -> None:
        s = view.scale
        for line in lines:
            _line(canvas, line, 0.0022 * s, (226, 226, 214))
        for width, colour in ((0.017, edge), (0.011, mix(frame, (255, 255, 255), 0.35))):
            _line(canvas, shaft, (width + 0.003) * s, colour)
            for line in shoulders:
                _line(canvas, line, width * s, colour)
            _line(canvas, hoop[:, :2], width * s, colour)
        _line(canvas, grip, 0.022 * s, edge)

    return float(np.mean(hoop[:, 2])), draw


def _shadow(
    canvas: Picture, points: NDArray[np.float64], racket: NDArray[np.float64] | None, view: View
) -> None:
    """Soft shadow on the ground below the body, from a high light a little to the left and in front."""
    a = np.deg2rad(view.azimuth)
    right = np.array([np.sin(a), 0.0, -np.cos(a)])
    flat = points + 0.30 * points[:, 1:2] * right
    flat[:, 1] = 0.0
    spots = view.project(flat)
    mask = np.zeros(canvas.shape[:2], np.uint8)
    pairs = [(f"{s}_{a}", f"{s}_{b}") for s in ("left", "right") for a, b, _, _ in _LIMBS]
    pairs += [("left_hip", "right_shoulder"), ("right_hip", "left_shoulder"), ("left_shoulder", "nose")]
    for start, end in pairs:
        ends = spots[[INDEX[start], INDEX[end]], :2]
        if np.isfinite(ends).all():
            _line(mask, ends, (0.075 if "hip" in start or "shoulder" in end else 0.045) * view.scale, 255)
    if racket is not None and np.isfinite(racket).all():
        shade = racket + 0.30 * racket[:, 1:2] * right
        shade[:, 1] = 0.0
        _line(mask, view.project(shade)[[0, 2], :2], 0.03 * view.scale, 255)
    if not mask.any():
        return
    rows = np.flatnonzero(mask.any(axis=1))
    margin = round(0.08 * view.scale)
    top, bottom = max(int(rows[0]) - margin, 0), min(int(rows[-1]) + margin, len(mask))
    band = cv2.resize(mask[top:bottom], None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(band, (0, 0), max(0.006 * view.scale, 1.0))
    soft = cv2.resize(soft, (canvas.shape[1], bottom - top), interpolation=cv2.INTER_LINEAR)
    keep = 255 - (soft.astype(np.uint16) * 140 // 255).astype(np.uint8)
    canvas[top:bottom] = cv2.multiply(canvas[top:bottom], cv2.merge([keep, keep, keep]), scale=1 / 255.0)


def _hull(circles: list[tuple[NDArray[np.float64], float]]) -> NDArray[np.float64]:
    """Convex outline around circles: (M, 2) pixels."""
    dots = np.concatenate([centre + radius * _CIRCLE for centre, radius in circles]).astype(np.float32)
    return np.asarray(cv2.convexHull(dots)[:, 0, :], dtype=float)


def _shaded(canvas: Picture, outline: NDArray[np.float64], colour: Rgb) -> None:
    """Fill a convex outline as if it were round: a dark rim, bright where it faces the light."""
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 3, canvas.shape[1::-1])
    if (high <= low).any():
        return
    width, height = (int(v) for v in high - low)
    mask = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(mask, _fixed(outline - low), 255, cv2.LINE_AA, _SHIFT)
    # The light varies slowly: half the size is enough for it.
    small = np.zeros((height // 2 + 1, width // 2 + 1), np.uint8)
    cv2.fillConvexPoly(small, _fixed((outline - low) / 2), 1, cv2.LINE_8, _SHIFT)
    inside = cv2.distanceTransform(small, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    half_width = max(float(inside.max()), 1.0)
    # A round section: at the share d of the half width from the rim, it stands sqrt(1 - (1 - d)^2) high.
    raised = cv2.sqrt(np.maximum(1.0 - (1.0 - inside / half_width) ** 2, 0.0).astype(np.float32))
    blur = 2 * int(0.25 * half_width) + 1
    raised = cv2.blur(cv2.blur(raised, (blur, blur)), (blur, blur))
    slope_x = cv2.Sobel(raised, cv2.CV_32F, 1, 0, scale=half_width / 10)
    slope_y = cv2.Sobel(raised, cv2.CV_32F, 0, 1, scale=half_width / 10)
    toward = (0.45 * slope_x + 0.55 * slope_y) / cv2.sqrt(1.0 + slope_x * slope_x + slope_y * slope_y)
    bright = cv2.resize(0.52 + 0.48 * raised + 0.35 * toward, (2 * small.shape[1], 2 * small.shape[0]))
    bright = bright[:height, :width, None]
    shade = np.minimum(bright * np.array(colour, np.float32), 255.0)
    cover = mask[..., None] * np.float32(1 / 255.0)
    area = canvas[low[1] : high[1], low[0] : high[0]]
    area[:] = area + cover * (shade - area)


def _fixed(points: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.round(np.clip(points, -30000, 30000) * (1 << _SHIFT)).astype(np.int32)


def _line(canvas: Picture, points: NDArray[np.float64], width: float, colour: Rgb | int) -> None:
    cv2.polylines(
        canvas,
        [_fixed(points)],
        False,
        colour,
        max(1, round(width)),
        cv2.LINE_AA,
        _SHIFT,
    )
