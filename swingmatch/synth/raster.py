"""Draws round solids (rounded cones, squashed or not) by exact ray intersection into a depth buffer.

A rounded cone is the convex hull of two spheres; a sphere is the case of both ends in one place. Squashing by a
factor along one axis makes ellipsoids and flattened limbs out of them. Formulas: the quadratic of the cone that
touches both spheres (Inigo Quilez, "Rounded Cone - intersection", MIT-licensed note), written for rays that
start in the lens and are not normalised, so that the ray parameter is the depth itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Solids:
    """N rounded cones, all at M moments.

    Attributes
    ----------
    start, end : (M, N, 3) metres, centres of the two spheres.
    radii : (M, N, 2) metres.
    axis : (M, N, 3) unit direction of the squash; any where the factor is 1.
    squash : (N,) width across ``axis`` over width along it: above 1 is thinner along the axis, below 1 thicker.
    colour : (N, 3) 0..1, red, green, blue.
    part : (N,) number of the keypoint or body part it belongs to.
    """

    start: Floats
    end: Floats
    radii: Floats
    axis: Floats
    squash: Floats
    colour: Floats
    part: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.squash)

    @staticmethod
    def join(groups: list[Solids]) -> Solids:
        """All solids of several groups that share their moments."""
        return Solids(
            *(
                np.concatenate([getattr(g, n) for g in groups], axis=1)
                for n in ("start", "end", "radii", "axis")
            ),
            *(np.concatenate([getattr(g, n) for g in groups], axis=0) for n in ("squash", "colour", "part")),
        )


@dataclass
class Builder:
    """Collects solids one by one; every point is (M, 3), every radius a number or (M,)."""

    moments: int
    rows: list[tuple[Floats, Floats, Floats, Floats, float, tuple[float, float, float], int]] = field(
        default_factory=list
    )

    def add(
        self,
        start: Floats,
        end: Floats,
        r0: float | Floats,
        r1: float | Floats,
        colour: tuple[float, float, float],
        *,
        axis: Floats | None = None,
        squash: float = 1.0,
        part: int = -1,
    ) -> None:
        """Add one rounded cone from ``start`` (radius ``r0``) to ``end`` (radius ``r1``)."""
        radii = np.empty((self.moments, 2))
        radii[:, 0], radii[:, 1] = r0, r1
        if axis is None:
            axis = np.tile([0.0, 0.0, 1.0], (self.moments, 1))
        self.rows.append((start, end, radii, axis, squash, colour, part))

    def ball(
        self,
        at: Floats,
        r: float,
        colour: tuple[float, float, float],
        *,
        axis: Floats | None = None,
        squash: float = 1.0,
        part: int = -1,
    ) -> None:
        """Add a sphere, or an ellipsoid where it is squashed."""
        self.add(at, at, r, r, colour, axis=axis, squash=squash, part=part)

    def done(self) -> Solids:
        """All that was added."""
        start, end, radii, axis, squash, colour, part = zip(*self.rows, strict=True)
        return Solids(
            np.stack(start, 1),
            np.stack(end, 1),
            np.stack(radii, 1),
            np.stack(axis, 1),
            np.array(squash),
            np.array(colour),
            np.array(part),
        )


@dataclass(frozen=True)
class Lens:
    """Pinhole of one picture: focal length and principal point in pixels, (width, height) in pixels."""

    focal: float
    cx: float
    cy: float
    width: int
    height: int


@dataclass(frozen=True)
class Drawn:
    """What the rays met inside one window of the picture.

    ``left``, ``top`` are the window's corner in pixels; ``depth`` (h, w) metres along the optical axis, infinite
    where nothing was met; ``which`` (h, w) index of the solid or -1; ``along`` (h, w) 0..1 between its two spheres.
    """

    left: int
    top: int
    depth: Floats
    which: NDArray[np.int32]
    along: Floats


def boxes(start: Floats, end: Floats, radii: Floats, squash: Floats, lens: Lens) -> NDArray[np.int64]:
    """Pixel windows (N, 4) left, top, right, bottom (exclusive) that hold solids in camera axes, clipped; may be empty.

    A sphere of radius r at depth d shows no more than r f / (d - r) (1 + offset from the axis) pixels from its centre.
    """
    low, high = np.full((len(start), 2), np.inf), np.full((len(start), 2), -np.inf)
    reach = np.maximum(1.0, 1.0 / squash)
    for point, radius in ((start, radii[:, 0] * reach), (end, radii[:, 1] * reach)):
        depth = np.maximum(-point[:, 2] - radius, 0.05)
        tan = np.stack([point[:, 0], -point[:, 1]], 1) / np.maximum(-point[:, 2], 0.05)[:, None]
        middle = np.array([lens.cx, lens.cy]) + lens.focal * tan
        half = (lens.focal * radius / depth * np.sqrt(1 + np.sum(tan**2, axis=1)) * 1.02 + 1.0)[:, None]
        low, high = np.minimum(low, middle - half), np.maximum(high, middle + half)
    limit = np.array([lens.width, lens.height])
    low, high = np.clip(np.floor(low), 0, limit), np.clip(np.ceil(high) + 1, 0, limit)
    hidden = (-start[:, 2] < 0.1) | (-end[:, 2] < 0.1) | ~np.isfinite(low).all(1)
    out = np.where(hidden[:, None], 0, np.nan_to_num(np.concatenate([low, high], axis=1))).astype(np.int64)
    return out


def squeeze(vectors: Floats, axis: Floats, factor: Floats) -> Floats:
    """Stretch (..., 3) vectors by ``factor`` (...,) along unit ``axis`` (..., 3)."""
    return vectors + ((factor - 1.0) * np.sum(vectors * axis, axis=-1))[..., None] * axis


def draw(start: Floats, end: Floats, radii: Floats, axis: Floats, squash: Floats, lens: Lens) -> Drawn | None:
    """Nearest solid along the ray of every pixel; all in camera axes (N, ...). None where nothing is in view."""
    box = boxes(start, end, radii, squash, lens)
    inside = (box[:, 2] > box[:, 0]) & (box[:, 3] > box[:, 1])
    if not inside.any():
        return None
    left, top = box[inside, :2].min(axis=0)
    right, bottom = box[inside, 2:].max(axis=0)
    depth = np.full((bottom - top, right - left), np.inf)
    which = np.full(depth.shape, -1, dtype=np.int32)
    along = np.zeros(depth.shape)
    xs = (np.arange(left, right) - lens.cx) / lens.focal
    ys = (-(np.arange(top, bottom) - lens.cy) / lens.focal)[:, None]
    length2 = xs**2 + ys**2 + 1.0

    squeezed = squeeze(np.stack([start, end]), axis, squash)
    ba = squeezed[1] - squeezed[0]
    d_ba = squeeze(ba, axis, squash)
    d_pa = squeeze(squeezed[0], axis, squash)
    m0 = np.sum(ba**2, 1)
    m1 = -np.sum(ba * squeezed[0], 1)
    m5, m7 = np.sum(squeezed[0] ** 2, 1), np.sum(squeezed[1] ** 2, 1)
    ra, rb = radii[:, 0], radii[:, 1]
    rr = ra - rb
    d2 = m0 - rr**2
    k0 = d2 * m5 - m1**2 + 2 * m1 * rr * ra - m0 * ra**2
    c1, c2 = m5 - ra**2, m7 - rb**2
    with np.errstate(invalid="ignore", divide="ignore"):
        for n in np.flatnonzero(inside):
            x0, y0, x1, y1 = box[n] - (left, top, left, top)
            x, y = xs[x0:x1], ys[y0:y1]
            q = length2[y0:y1, x0:x1]
            if squash[n] != 1.0:
                across = x * axis[n, 0] + (y * axis[n, 1] - axis[n, 2])
                q = q + (squash[n] ** 2 - 1.0) * across**2
            m3 = (d_pa[n, 2] - y * d_pa[n, 1]) - x * d_pa[n, 0]
            t = (-m3 - np.sqrt(m3 * m3 - q * c1[n])) / q
            if d2[n] > 1e-12:
                m2 = x * d_ba[n, 0] + (y * d_ba[n, 1] - d_ba[n, 2])
                m6 = m3 - m2
                t2 = (-m6 - np.sqrt(m6 * m6 - q * c2[n])) / q
                caps = np.fmin(t, t2)
                k2 = d2[n] * q - m2 * m2
                k1 = d2[n] * m3 - (m1[n] - rr[n] * ra[n]) * m2
                tc = (-k1 - np.sqrt(k1 * k1 - k0[n] * k2)) / k2
                s = (m1[n] - ra[n] * rr[n] + tc * m2) / d2[n]
                body = (s > 0.0) & (s < 1.0)
                s = np.where(body, s, caps == t2)
                t = np.where(body, tc, caps)
            else:
                s = np.zeros(()) if ra[n] >= rb[n] else np.ones(())
                if ra[n] < rb[n]:
                    m3 = m3 - (x * d_ba[n, 0] + (y * d_ba[n, 1] - d_ba[n, 2]))
                    t = (-m3 - np.sqrt(m3 * m3 - q * c2[n])) / q
            here = depth[y0:y1, x0:x1]
            nearer = t < here
            np.copyto(here, t, where=nearer)
            np.copyto(along[y0:y1, x0:x1], s, where=nearer)
            which[y0:y1, x0:x1][nearer] = n
    return Drawn(int(left), int(top), depth, which, along)


def normals(
    drawn: Drawn, start: Floats, end: Floats, axis: Floats, squash: Floats, lens: Lens
) -> tuple[NDArray[np.bool_], Floats]:
    """Unit outward normals of the surface met, in camera axes: mask (h, w) and (P, 3) for its P pixels."""
    mask = drawn.which >= 0
    rows, cols = np.nonzero(mask)
    n, t, s = drawn.which[mask], drawn.depth[mask], drawn.along[mask][:, None]
    hit = np.stack(
        [
            (cols + drawn.left - lens.cx) / lens.focal * t,
            -(rows + drawn.top - lens.cy) / lens.focal * t,
            -t,
        ],
        axis=1,
    )
    out = hit - (start[n] + s * (end[n] - start[n]))
    flat = np.flatnonzero(squash[n] != 1.0)
    if len(flat):
        # Gradient of the squashed distance: the squeeze is applied twice, once to the point and once back.
        m = n[flat]
        out[flat] = squeeze(out[flat], axis[m], squash[m] ** 2)
    return mask, out / np.linalg.norm(out, axis=1, keepdims=True)


def smooth(image: NDArray[np.float32], mask: NDArray[np.bool_], sigma: float) -> NDArray[np.float32]:
    """Gaussian blur of (h, w) or (h, w, 3) inside ``mask`` alone: what is outside has no say. Same shape back."""
    weight = np.maximum(cv2.GaussianBlur(mask.astype(np.float32), (0, 0), sigma), 1e-6)
    inside = np.where(mask if image.ndim == 2 else mask[..., None], image, np.float32(0))
    blurred: NDArray[np.float32] = cv2.GaussianBlur(inside, (0, 0), sigma)
    return blurred / (weight if image.ndim == 2 else weight[..., None])
