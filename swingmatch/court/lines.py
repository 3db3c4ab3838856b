"""Painted lines in a picture: thin straight bands that are brighter than the ground on both sides.

Edges are found as line segments (von Gioi et al. 2012, "LSD: a line segment detector", as in OpenCV). Two edges of
opposite sense that run side by side are a piece of a band, and pieces in a row are one line.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]

#: Shortest edge and shortest piece of a band, widest band, as shares of the picture's longer side.
_EDGE, _PIECE, _WIDEST = 0.010, 0.012, 0.050
#: A band is at least this many times as long as it is wide.
_SLIM = 2.0
#: Least step in brightness to either side, grey levels.
_STEP = 12.0
#: Largest angle between the two edges of a band, and between pieces of one line, degrees.
_EDGES_TURN, _PIECES_TURN = 6.0, 2.5
#: How far a piece may be off the line that it continues, pixels, beside a quarter of its width.
_OFF_LINE = 2.0
#: Shortest line, as a share of the picture's longer side.
_LINE = 0.05


@dataclass(frozen=True, eq=False)
class Line:
    """A thin bright band.

    Attributes
    ----------
    start, stop : (2,) pixels, x right, y down: the ends of its middle line.
    width : pixels, across. seen : pixels of its length that are really there, gaps left out.
    """

    start: Array
    stop: Array
    width: float
    seen: float

    @property
    def middle(self) -> Array:
        """(2,) pixels."""
        return 0.5 * (self.start + self.stop)

    @property
    def length(self) -> float:
        """Pixels from end to end."""
        return float(np.linalg.norm(self.stop - self.start))


def whiteness(picture: Picture) -> NDArray[np.uint8]:
    """The darkest of a picture's (h, w, 3) colours: (h, w). White paint is bright in all three, courts are not."""
    return np.asarray(picture.min(axis=2), dtype=np.uint8)


def find_lines(white: NDArray[np.uint8], mask: Mask | None = None) -> list[Line]:
    """Thin bright bands, the longest first.

    Parameters
    ----------
    white : (h, w) grey levels, see ``whiteness``. mask : (h, w) True where nothing is looked for.
    """
    long_side = float(max(white.shape))
    edges = _edges(white, mask, _EDGE * long_side)
    pieces = _pieces(white, edges, long_side)
    lines = [line for line in _joined(pieces) if line.seen >= _LINE * long_side]
    return sorted(lines, key=lambda line: -line.seen)


def _edges(white: NDArray[np.uint8], mask: Mask | None, shortest: float) -> Array:
    """(N, 4) ends x1, y1, x2, y2 of the straight edges, each with the brighter side on the right of its way.

    Right as seen in the picture, with y down.
    """
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(white)[0]
    if found is None:
        return np.zeros((0, 4))
    edges = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    edges = edges[np.hypot(*(edges[:, 2:] - edges[:, :2]).T) >= shortest]
    if mask is not None and len(edges):
        share = np.linspace(0.0, 1.0, 7)[:, None, None]
        places = edges[None, :, :2] * (1 - share) + edges[None, :, 2:] * share
        hidden = _at(mask.astype(np.uint8), places).mean(axis=0)
        edges = edges[hidden < 0.3]
    if not len(edges):
        return np.zeros((0, 4))
    way = edges[:, 2:] - edges[:, :2]
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.hypot(*way.T)[:, None]
    share = np.linspace(0.15, 0.85, 9)[:, None, None]
    places = edges[None, :, :2] * (1 - share) + edges[None, :, 2:] * share
    step = np.median(_at(white, places + 1.5 * normal) - _at(white, places - 1.5 * normal), axis=0)
    edges[step < 0] = edges[step < 0][:, [2, 3, 0, 1]]
    return edges


def _at(values: NDArray[np.uint8], places: Array) -> Array:
    """Values (h, w) at places (..., 2), the nearest pixel's."""
    h, w = values.shape
    x = np.clip(np.round(places[..., 0]).astype(int), 0, w - 1)
    y = np.clip(np.round(places[..., 1]).astype(int), 0, h - 1)
    return values[y, x].astype(np.float64)


def _pieces(white: NDArray[np.uint8], edges: Array, long_side: float) -> list[Line]:
    """Bands between an edge and the nearest one of opposite sense beside it."""
    out: list[Line] = []
    if len(edges) < 2:
        return out
    start, way = edges[:, :2], edges[:, 2:] - edges[:, :2]
    length = np.hypot(*way.T)
    unit = way / length[:, None]
    opposite = -unit @ unit.T > np.cos(np.radians(_EDGES_TURN))
    for i in range(len(edges)):
        normal = np.array([-unit[i, 1], unit[i, 0]])
        best: Line | None = None
        for j in np.flatnonzero(opposite[i]):
            ends = np.stack([edges[j, :2], edges[j, 2:]]) - start[i]
            along, aside = ends @ unit[i], ends @ normal
            low, high = max(0.0, along.min()), min(length[i], along.max())
            if high - low < _PIECE * long_side:
                continue
            at = np.interp([low, high], along[::-1], aside[::-1])
            width = float(at.mean())
            if not 0.5 < width < _WIDEST * long_side or at.min() <= 0.0 or high - low < _SLIM * width:
                continue
            if best is not None and width >= best.width:
                continue
            ends = start[i] + np.array([low, high])[:, None] * unit[i] + 0.5 * at[:, None] * normal
            best = Line(ends[0], ends[1], width, float(high - low))
        # Each pair is met from both edges; the second time it adds nothing.
        if best is not None and _is_bright(white, best):
            out.append(best)
    return out


def _is_bright(white: NDArray[np.uint8], piece: Line) -> bool:
    """Whether a band is brighter than the ground a little beyond both of its edges."""
    way = (piece.stop - piece.start) / piece.length
    normal = np.array([-way[1], way[0]])
    middle: Array = np.linspace(
        0.95 * piece.start + 0.05 * piece.stop, 0.05 * piece.start + 0.95 * piece.stop, 15
    )
    inside = np.median(_at(white, middle))
    beyond = 0.5 * piece.width + 2.5
    return all(inside - np.median(_at(white, middle + side * beyond * normal)) >= _STEP for side in (-1, 1))


def _joined(pieces: list[Line]) -> list[Line]:
    """Pieces in a row as one line each, the longest pieces first."""
    left = sorted(pieces, key=lambda piece: -piece.length)
    out = []
    while left:
        members = [left.pop(0)]
        line = members[0]
        grown = True
        while grown:
            grown = False
            for piece in list(left):
                if _continues(line, piece):
                    members.append(piece)
                    left.remove(piece)
                    line = _through(members)
                    grown = True
        out.append(line)
    return out


def _continues(line: Line, piece: Line) -> bool:
    way = (line.stop - line.start) / line.length
    normal = np.array([-way[1], way[0]])
    turn = abs(float((piece.stop - piece.start) @ normal)) / piece.length
    if turn > np.sin(np.radians(_PIECES_TURN)) + 1.5 / piece.length:
        return False
    aside = np.abs((np.stack([piece.start, piece.stop]) - line.start) @ normal)
    return bool(aside.max() <= _OFF_LINE + 0.25 * max(piece.width, line.width))


def _through(members: list[Line]) -> Line:
    """The straight line through the middles of some pieces, by total least squares, weighted by length."""
    ends = np.array([end for m in members for end in (m.start, m.stop)])
    weights = np.repeat([m.length for m in members], 2)
    centre = weights @ ends / weights.sum()
    off = ends - centre
    way = np.linalg.eigh((off * weights[:, None]).T @ off)[1][:, -1]
    along = off @ way
    width = float(np.average([m.width for m in members], weights=[m.length for m in members]))
    spans = np.sort(along.reshape(-1, 2), axis=1)
    return Line(centre + along.min() * way, centre + along.max() * way, width, _covered(spans))


def _covered(spans: Array) -> float:
    """Length of the union of spans (N, 2)."""
    total, reached = 0.0, -np.inf
    for low, high in spans[np.argsort(spans[:, 0])]:
        total += max(high - max(low, reached), 0.0)
        reached = max(reached, high)
    return float(total)
