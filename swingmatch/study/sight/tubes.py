"""Round things drawn quickly: tubes seen through a lens, sorted by depth and filled with OpenCV.

The full renderer casts rays and takes a third of a second a picture; this takes a fraction of a millisecond a
moment, which is what tens of thousands of training pictures a minute need.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: Bits behind the point in OpenCV's coordinates, and corners of one end of a tube.
_SHIFT, _CORNERS = 4, 6
#: OpenCV's anti-aliased polygons are about this much larger all round, pixels.
_GROWN = 0.35
_LEAST_RADIUS = 0.22


@dataclass(frozen=True)
class Tubes:
    """N tubes between round ends, as they are on an object or body at M moments.

    ``start``, ``end`` (M, N, 3) metres; ``radii`` (N, 2) metres at both ends; ``colour`` (N, 3) 0..255;
    ``racket`` (N,) which are part of the racket; ``shine`` (N,) 0..1 how round they look.
    """

    start: Array
    end: Array
    radii: Array
    colour: Array
    racket: NDArray[np.bool_]
    shine: Array

    @staticmethod
    def join(parts: list[Tubes]) -> Tubes:
        """All tubes of several objects over the same moments."""
        return Tubes(
            np.concatenate([p.start for p in parts], 1),
            np.concatenate([p.end for p in parts], 1),
            np.concatenate([p.radii for p in parts]),
            np.concatenate([p.colour for p in parts]),
            np.concatenate([p.racket for p in parts]),
            np.concatenate([p.shine for p in parts]),
        )


class TubeList:
    """Gathers tubes one by one."""

    def __init__(self, racket: bool = False) -> None:
        self._start: list[Array] = []
        self._end: list[Array] = []
        self._rest: list[tuple[float, float, tuple[float, float, float], float]] = []
        self._racket = racket

    def add(self, start: Array, end: Array, r0: float, r1: float, colour: Array, shine: float = 1.0) -> None:
        """A tube from ``start`` to ``end`` (M, 3) metres with radii ``r0``, ``r1``; ``colour`` (3,) 0..255."""
        self._start.append(start)
        self._end.append(end)
        self._rest.append((r0, r1, (float(colour[0]), float(colour[1]), float(colour[2])), shine))

    def done(self) -> Tubes:
        """What was gathered."""
        return Tubes(
            np.stack(self._start, 1),
            np.stack(self._end, 1),
            np.array([r[:2] for r in self._rest]),
            np.array([r[2] for r in self._rest]),
            np.full(len(self._rest), self._racket),
            np.array([r[3] for r in self._rest]),
        )


def outlines(p0: Array, p1: Array, r0: Array, r1: Array) -> Array:
    """Corners (..., 2 * _CORNERS, 2) round tubes between ``p0`` and ``p1`` (..., 2) pixels, radii (...,) pixels."""
    along = p1 - p0
    angle = np.arctan2(along[..., 1], along[..., 0])
    half = np.linspace(0.5 * np.pi, 1.5 * np.pi, _CORNERS)

    def end(centre: Array, radius: Array, turn: float) -> Array:
        at = angle[..., None] + turn + half
        return centre[..., None, :] + radius[..., None, None] * np.stack([np.cos(at), np.sin(at)], -1)

    return np.concatenate([end(p0, r0, 0.0), end(p1, r1, np.pi)], -2)


def fixed(corners: Array) -> NDArray[np.int32]:
    """Pixels as OpenCV's fixed-point coordinates."""
    return np.round(np.clip(corners, -2000, 2000) * (1 << _SHIFT)).astype(np.int32)


def fill(canvas: Picture, corners: NDArray[np.int32], colour: tuple[float, ...]) -> None:
    """Fill a convex polygon of fixed-point corners, in place, its edges smooth."""
    cv2.fillConvexPoly(canvas, corners, colour, lineType=cv2.LINE_AA, shift=_SHIFT)


@dataclass(frozen=True)
class Ready:
    """Tubes in the picture: corners of their dark and their bright side (M, N, C, 2), which to draw, far first."""

    dark: NDArray[np.int32]
    bright: NDArray[np.int32]
    depth: Array
    inside: NDArray[np.bool_]
    dark_colour: list[tuple[float, ...]]
    bright_colour: list[tuple[float, ...]]
    shiny: NDArray[np.bool_]


def ready(
    tubes: Tubes, p0: Array, p1: Array, depth0: Array, depth1: Array, focal: float, light: Array, size: int
) -> Ready:
    """Lay tubes out whose ends are at ``p0``, ``p1`` (M, N, 2) pixels and at those depths (M, N) metres.

    ``focal`` pixels; ``light`` (2,) where in the picture the light comes from, length up to 1; ``size`` of the canvas.
    """
    r0 = np.maximum(tubes.radii[:, 0] * focal / depth0 - _GROWN, _LEAST_RADIUS)
    r1 = np.maximum(tubes.radii[:, 1] * focal / depth1 - _GROWN, _LEAST_RADIUS)
    low = np.minimum(p0 - r0[..., None], p1 - r1[..., None])
    high = np.maximum(p0 + r0[..., None], p1 + r1[..., None])
    inside = (high > -2).all(-1) & (low < size + 2).all(-1) & (depth0 > 0.3) & (depth1 > 0.3)
    off0, off1 = 0.32 * r0[..., None] * light, 0.32 * r1[..., None] * light
    shade = 1.0 - 0.30 * tubes.shine[:, None]
    dark = np.clip(tubes.colour * shade, 0, 255)
    bright = np.clip(tubes.colour * (1.0 + 0.10 * tubes.shine[:, None]), 0, 255)
    mark = np.where(tubes.racket, 255.0, 0.0)
    return Ready(
        fixed(outlines(p0, p1, r0, r1)),
        fixed(outlines(p0 + off0, p1 + off1, 0.62 * r0, 0.62 * r1)),
        0.5 * (depth0 + depth1),
        inside,
        [(*c, m) for c, m in zip(dark.tolist(), mark.tolist(), strict=True)],
        [(*c, m) for c, m in zip(bright.tolist(), mark.tolist(), strict=True)],
        tubes.shine > 0.05,
    )
