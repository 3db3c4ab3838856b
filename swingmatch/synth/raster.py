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
    left, top = (int(v) for v in box[inside, :2].min(axis=0))
    right, bottom = (int(v) for v in box[inside, 2:].max(axis=0))
    # Small solids are met together, padded to a common window, so the canvas has room for the padding.
    shape = (bottom - top + _SMALL[-1], right - left + _SMALL[-1])
    depth = np.full(shape, np.inf)
    which = np.full(shape, -1, dtype=np.int32)
    along = np.zeros(shape)
    xs = (np.arange(left, left + shape[1]) - lens.cx) / lens.focal
    ys = -(np.arange(top, top + shape[0]) - lens.cy) / lens.focal
    cones = _Cones.of(start, end, radii, axis, squash)
    sides = np.maximum(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1])
    floor = 0
    for size in _SMALL:
        group = np.flatnonzero(inside & (sides > floor) & (sides <= size))
        floor = size
        if len(group) == 0:
            continue
        cols = (box[group, 0] - left)[:, None, None] + np.arange(size)
        rows = (box[group, 1] - top)[:, None, None] + np.arange(size)[:, None]
        t, s = cones.meet(xs[cols], ys[rows], group[:, None, None])
        flat = rows * shape[1] + cols
        hit = np.isfinite(t)
        n = np.broadcast_to(group[:, None, None], hit.shape)[hit]
        t, s, flat = t[hit], s[hit], np.broadcast_to(flat, hit.shape)[hit]
        # Farthest first: of several writes to one pixel the last one, the nearest, stays.
        order = np.argsort(-t, kind="stable")
        order = order[t[order] < depth.ravel()[flat[order]]]
        flat = flat[order]
        depth.ravel()[flat], along.ravel()[flat], which.ravel()[flat] = t[order], s[order], n[order]
    for n in np.flatnonzero(inside & (sides > _SMALL[-1])):
        x0, y0, x1, y1 = box[n] - (left, top, left, top)
        t, s = cones.meet(xs[x0:x1], ys[y0:y1, None], n)
        here = depth[y0:y1, x0:x1]
        nearer = t < here
        np.copyto(here, t, where=nearer)
        np.copyto(along[y0:y1, x0:x1], s, where=nearer)
        which[y0:y1, x0:x1][nearer] = n
    h, w = bottom - top, right - left
    return Drawn(left, top, depth[:h, :w], which[:h, :w], along[:h, :w])


#: Largest sides, in pixels, of the windows in which small solids are met together.
_SMALL = (12, 24, 40)


@dataclass(frozen=True)
class _Cones:
    """What the quadratics of N rounded cones need that does not depend on the ray; the lens is the origin."""

    axis: Floats
    squash: Floats
    d_ba: Floats
    d_pa: Floats
    d2: Floats
    k0: Floats
    k1: Floats
    c1: Floats
    c2: Floats

    @staticmethod
    def of(start: Floats, end: Floats, radii: Floats, axis: Floats, squash: Floats) -> _Cones:
        """Squash the space of every solid so that it is round, and take the inner products."""
        pa, pb = squeeze(start, axis, squash), squeeze(end, axis, squash)
        ba = pb - pa
        m0, m1, m5 = np.sum(ba**2, 1), -np.sum(ba * pa, 1), np.sum(pa**2, 1)
        ra, rb = radii[:, 0], radii[:, 1]
        rr = ra - rb
        d2 = m0 - rr**2
        # One sphere holds the other: no cone between them, both become the larger one.
        lone = d2 <= 1e-12
        larger = lone & (rb > ra)
        pa, ra = np.where(larger[:, None], pb, pa), np.where(larger, rb, ra)
        k1 = m1 - rr * ra
        return _Cones(
            axis,
            squash**2 - 1.0,
            squeeze(np.where(lone[:, None], 0.0, ba), axis, squash),
            squeeze(pa, axis, squash),
            np.where(lone, np.nan, d2),
            d2 * m5 - m1**2 + 2 * m1 * rr * ra - m0 * ra**2,
            k1,
            np.sum(pa**2, 1) - ra**2,
            np.where(lone, np.sum(pa**2, 1) - ra**2, np.sum(pb**2, 1) - rb**2),
        )

    def meet(self, x: Floats, y: Floats, n: NDArray[np.int64] | np.int64) -> tuple[Floats, Floats]:
        """Depth (NaN for a miss) and place 0..1 along the solid where rays (x, y, -1) first meet solids ``n``.

        ``x``, ``y`` and ``n`` broadcast against one another; so do the results.
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            q = x * x + (y * y + 1.0)
            if np.any(self.squash[n] != 0.0):
                across = x * self.axis[n, 0] + (y * self.axis[n, 1] - self.axis[n, 2])
                q = q + self.squash[n] * (across * across)
            m3 = (self.d_pa[n, 2] - y * self.d_pa[n, 1]) - x * self.d_pa[n, 0]
            m2 = x * self.d_ba[n, 0] + (y * self.d_ba[n, 1] - self.d_ba[n, 2])
            m6 = m3 - m2
            t1 = (-m3 - np.sqrt(m3 * m3 - q * self.c1[n])) / q
            t2 = (-m6 - np.sqrt(m6 * m6 - q * self.c2[n])) / q
            caps = np.fmin(t1, t2)
            d2 = self.d2[n]
            k2 = d2 * q - m2 * m2
            k1 = d2 * m3 - self.k1[n] * m2
            tc = (-k1 - np.sqrt(k1 * k1 - self.k0[n] * k2)) / k2
            s = (self.k1[n] + tc * m2) / d2
            body = (s > 0.0) & (s < 1.0)
            return np.where(body, tc, caps), np.where(body, s, caps == t2)


def normals(
    drawn: Drawn, start: Floats, end: Floats, axis: Floats, squash: Floats, lens: Lens
) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Unit outward normals of the surface met, in camera axes: mask (h, w) and (P, 3) for its P pixels."""
    mask = drawn.which >= 0
    rows, cols = np.nonzero(mask)
    n, t, s = drawn.which[mask], drawn.depth[mask], drawn.along[mask][:, None]
    hit = np.empty((len(n), 3))
    hit[:, 0] = (cols + (drawn.left - lens.cx)) * (t / lens.focal)
    hit[:, 1] = (rows + (drawn.top - lens.cy)) * (t / -lens.focal)
    hit[:, 2] = -t
    out = (hit - start[n] - s * (end - start)[n]).astype(np.float32)
    # Gradient of the squashed distance: the squeeze is applied twice, once to the point and once back.
    way, more = axis.astype(np.float32)[n], (squash**2 - 1.0).astype(np.float32)[n]
    out += (more * np.einsum("ij,ij->i", out, way))[:, None] * way
    return mask, out / np.sqrt(np.einsum("ij,ij->i", out, out))[:, None]


def smooth(image: NDArray[np.float32], mask: NDArray[np.bool_], sigma: float) -> NDArray[np.float32]:
    """Gaussian blur of (h, w) or (h, w, 3) inside ``mask`` alone: what is outside has no say. Same shape back."""
    weight = np.maximum(cv2.GaussianBlur(mask.astype(np.float32), (0, 0), sigma), 1e-6)
    inside = np.where(mask if image.ndim == 2 else mask[..., None], image, np.float32(0))
    blurred: NDArray[np.float32] = cv2.GaussianBlur(inside, (0, 0), sigma)
    return blurred / (weight if image.ndim == 2 else weight[..., None])
