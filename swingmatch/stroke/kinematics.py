"""Small functions of paths and angles over time, on which measures stand.

Court axes: X towards the target, Y up, Z to the ball's side (right). Times in seconds, rising, not necessarily evenly
spaced; angles in degrees; lengths in the unit of the points. An unknown value is NaN and gives NaN.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline

from swingmatch.body.skeleton import INDEX, SIDES
from swingmatch.series import resample

Array = NDArray[np.float64]
Stance = Literal["closed", "neutral", "semi-open", "open"]

# Speeds ------------------------------------------------------------------------------------------------


def turn_rate(times: Array, turn: Array) -> Array:
    """Angular velocity of a turn about the vertical, degrees a second.

    ``turn`` (T,) degrees at ``times`` (T,), as of ``measures.turn``; jumps by whole turns are taken out. (T,),
    positive while the turn grows, so negative while a player who was turned back turns to the target. Central
    differences: exact for an evenly accelerated turn. NaN beside NaN.
    """
    out = np.full(len(turn), np.nan)
    seen = np.isfinite(turn)
    if seen.sum() < 2:
        return out
    whole = turn.copy()
    whole[seen] = np.unwrap(turn[seen], period=360.0)
    return np.gradient(whole, times)


def segment_rate(times: Array, segment: Array) -> Array:
    """Angular speed of a segment in space, degrees a second.

    ``segment`` (T, 3) from one end to the other at ``times`` (T,), of any length. (T,), never negative: the angle
    between its directions one sample before and after, over the time between them; at the ends to the one neighbour.
    Exact for an even turn of less than half a circle in two samples. A twist about the segment's own axis is not in
    it.
    """
    if len(times) < 2:
        return np.full(len(times), np.nan)
    before = np.maximum(np.arange(len(times)) - 1, 0)
    after = np.minimum(np.arange(len(times)) + 1, len(times) - 1)
    a, b = segment[before], segment[after]
    angle = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1))
    length = np.linalg.norm(segment, axis=1)
    known = (length > 0.0) & (length[before] > 0.0) & (length[after] > 0.0)
    return np.where(known, np.degrees(angle) / (times[after] - times[before]), np.nan)


# Moments ------------------------------------------------------------------------------------------------


def peak(times: Array, values: Array) -> tuple[float, float]:
    """Time and height of the highest point of (T,) ``values``, between samples by the parabola through three.

    Exact where the values are a parabola about the highest sample. At an end or beside NaN it is the sample itself;
    both are NaN where no value is known.
    """
    if not np.isfinite(values).any():
        return float("nan"), float("nan")
    k = int(np.nanargmax(values))
    if not 0 < k < len(values) - 1 or not np.isfinite(values[k - 1 : k + 2]).all():
        return float(times[k]), float(values[k])
    left, right = times[k - 1] - times[k], times[k + 1] - times[k]
    fall, rise = values[k - 1] - values[k], values[k + 1] - values[k]
    # values[k] + b t + c t^2 through both neighbours; c is below 0 unless all three are level.
    c = (fall / left - rise / right) / (left - right)
    if c >= 0.0:
        return float(times[k]), float(values[k])
    b = fall / left - c * left
    at = -b / (2.0 * c)
    return float(times[k] + at), float(values[k] + b * at + c * at**2)


def onset(times: Array, values: Array, peak_index: int, share: float) -> float:
    """When the rise to a peak began, seconds: where ``values`` last passed ``share`` of the peak on the way up.

    ``values`` (T,) at ``times`` (T,) count from 0; ``share`` between 0 and 1. Between samples by a line. NaN where
    they never were that low before the peak, where a NaN comes between, or where the peak is not above 0.
    """
    top = float(values[peak_index])
    level = share * top
    if not top > 0.0:
        return float("nan")
    for k in range(peak_index - 1, -1, -1):
        if not np.isfinite(values[k]):
            break
        if values[k] <= level:
            way = (level - values[k]) / (values[k + 1] - values[k])
            return float(times[k] + way * (times[k + 1] - times[k]))
    return float("nan")


# Paths --------------------------------------------------------------------------------------------------

#: Points on which a spline is summed up, per sample.
_FINE = 8


def log_dimensionless_jerk(times: Array, path: Array) -> float:
    """Smoothness of a point's path: the log dimensionless jerk, without unit; nearer to 0 is smoother.

    LDLJ = -ln( D^3 / V^2 x integral over the movement of |d^2 v / dt^2|^2 dt ), D its duration, V its highest speed,
    v its velocity: Balasubramanian, Melendez-Calderon, Burdet 2012, IEEE Trans Biomed Eng 59:2126-2136, and
    Balasubramanian et al. 2015, J Neuroeng Rehabil 12:112 (*from memory*). It does not depend on the path's size,
    duration, place and direction. The minimum-jerk movement from rest to rest has -ln 204.8 = -5.32.

    ``path`` (T, D) at ``times`` (T,): the whole movement and nothing else, already smoothed, since a third derivative
    makes noise large. Derivatives are those of a quintic spline through the samples. NaN with fewer than six samples,
    a NaN among them, or no movement. Values of paths with different smoothing or frame rates must not be compared.
    """
    if len(times) < 6 or not np.isfinite(path).all() or (np.ptp(path, axis=0) == 0.0).all():
        return float("nan")
    spline = make_interp_spline(times, path, k=5)
    fine = np.linspace(times[0], times[-1], _FINE * (len(times) - 1) + 1)
    speed = np.linalg.norm(spline.derivative(1)(fine), axis=1)
    jerk = (spline.derivative(3)(fine) ** 2).sum(axis=1)
    top = float(speed.max())
    total = float(np.sum(0.5 * (jerk[1:] + jerk[:-1]) * np.diff(fine)))
    with np.errstate(divide="ignore"):
        return float(-np.log((times[-1] - times[0]) ** 3 / top**2 * total))


def path_angle(times: Array, path: Array, start: float, stop: float) -> float:
    """How steeply a point rises between two moments, degrees: 0 level, positive from low to high, 90 straight up.

    The angle over the ground of its mean velocity, which is that of the straight line fitted to ``path`` (T, 3) over
    time by least squares between ``start`` and ``stop`` seconds (both ends interpolated). Whatever the direction
    along the ground. NaN where the stretch is not within ``times``, holds a NaN, or the point rests.
    """
    if not times[0] <= start < stop <= times[-1]:
        return float("nan")
    inside = times[(times > start) & (times < stop)]
    at = np.concatenate([[start], inside, [stop]])
    where = resample(path, times, at)
    centred = at - at.mean()
    x, y, z = (centred @ (where - where.mean(axis=0))) / (centred @ centred)
    if not np.hypot(np.hypot(x, z), y) > 0.0:
        return float("nan")
    return float(np.degrees(np.arctan2(y, np.hypot(x, z))))


# Feet and balance ---------------------------------------------------------------------------------------

#: Angles of the foot line at which one stance becomes the next, degrees (*common practice, no source*: the eighths of
#: a circle about a line to the target, half way, and along the baseline).
CLOSED, SEMI_OPEN, OPEN = -22.5, 22.5, 67.5
#: Feet nearer together than this share of a foot's length give no line.
_TOGETHER = 0.5
_SOLE = tuple(INDEX[f"{side}_{part}"] for side in SIDES for part in ("heel", "toe"))


def foot_line(points: Array) -> Array:
    """Line from the outside (right) foot to the other one against the line to the target, degrees: (..., K, 3) to
    (...).

    From the middle of heel and toe of the one to that of the other, on the ground. 0: towards the target (neutral
    stance); 90: along the baseline, away from the ball's side (open); negative: across, towards the ball's side
    (closed); in (-180, 180]. NaN where the feet are closer together than half a foot's length.
    """
    heels, toes = (
        [points[..., INDEX[f"{side}_{part}"], :] for side in ("right", "left")] for part in ("heel", "toe")
    )
    line = 0.5 * (heels[1] + toes[1]) - 0.5 * (heels[0] + toes[0])
    foot = np.linalg.norm(toes[0] - heels[0], axis=-1)
    apart = np.hypot(line[..., 0], line[..., 2]) >= _TOGETHER * foot
    return np.where(apart, np.degrees(np.arctan2(-line[..., 2], line[..., 0])), np.nan)


def stance(angle: float) -> Stance | None:
    """The stance's name for an angle of ``foot_line``, degrees; None for NaN.

    Beyond a foot line along the baseline, where the outside foot is nearer to the target, it stays open until the
    line points halfway back across.
    """
    if not np.isfinite(angle):
        return None
    # -135 lies halfway between straight across (-90) and straight back (180).
    turned = angle + 360.0 if angle < -135.0 else angle
    if turned < CLOSED:
        return "closed"
    if turned < SEMI_OPEN:
        return "neutral"
    return "semi-open" if turned < OPEN else "open"


def soles(points: Array) -> Array:
    """Heels and toes of both feet: (..., K, 3) to (..., 4, 3)."""
    return points[..., _SOLE, :]


def balance_margin(feet: Array, body: Array, down: NDArray[np.bool_] | None = None) -> Array:
    """How far the centre of mass is within the base of support on the ground, in the unit of the points.

    The base is the convex hull of the points of the soles that are on the ground; what counts of the centre of mass
    is the point on the ground below it. Whether a body in motion is in balance depends on its velocity too.

    Parameters
    ----------
    feet : (T, N, 3) points of the soles, as of ``soles``. body : (T, 3) centre of mass.
    down : (T, N) which of the points are on the ground; all where None.

    Returns
    -------
    (T,) distance to the nearest edge, positive within the base, negative outside. NaN where no foot is down, or one
    of the points that are, or the body, is unknown.
    """
    ground = feet[..., [0, 2]]
    if down is not None:
        # A point in the air is put on one that is down, where it changes nothing.
        standing = np.take_along_axis(ground, np.argmax(down, axis=1)[:, None, None], axis=1)
        ground = np.where(
            down[..., None], ground, np.where(down.any(axis=1)[:, None, None], standing, np.nan)
        )
    return margin(ground, body[..., [0, 2]])


def margin(corners: Array, point: Array) -> Array:
    """Signed distance of points to the convex hulls of others in the plane.

    ``corners`` (T, N, 2), N at least 1, in any order, some of which may coincide, lie on a line or lie inside;
    ``point`` (T, 2). (T,), positive inside, negative outside; a hull without area has no inside.
    """
    count = corners.shape[1]
    outside = np.linalg.norm(point[:, None] - corners, axis=2).min(axis=1)
    inside = np.full(len(corners), np.inf)
    # Every edge of the hull joins two corners with all others on its left; every other line between two corners runs
    # inside the hull, so it is never the nearest to a point outside.
    for i, j in itertools.permutations(range(count), 2):
        way = corners[:, j] - corners[:, i]
        length = np.linalg.norm(way, axis=1)
        safe = np.where(length > 0.0, length, 1.0)
        along = way / safe[:, None]
        left = np.stack([-along[:, 1], along[:, 0]], axis=1)
        others = np.einsum("tnd,td->tn", corners - corners[:, i, None], left)
        off = point - corners[:, i]
        edge = (length > 0.0) & (others >= -1e-9 * safe[:, None]).all(axis=1)
        inside = np.where(edge, np.minimum(inside, (off * left).sum(axis=1)), inside)
        part = np.clip((off * along).sum(axis=1), 0.0, length)
        outside = np.fmin(outside, np.linalg.norm(off - part[:, None] * along, axis=1))
    known = np.isfinite(corners).all(axis=(1, 2)) & np.isfinite(point).all(axis=1)
    return np.where(known, np.where((inside > 0.0) & np.isfinite(inside), inside, -outside), np.nan)


def hull(corners: Array) -> Array:
    """Corners (M, 2) of the convex hull of points (N, 2) in the plane, in order, counter-clockwise; for drawing.

    Points inside, on an edge, or unknown are left out. Andrew's monotone chain.
    """
    rows = sorted({(float(x), float(y)) for x, y in corners if np.isfinite(x) and np.isfinite(y)})
    if len(rows) < 3:
        return np.array(rows).reshape(-1, 2)

    def chain(way: list[tuple[float, float]]) -> list[tuple[float, float]]:
        out: list[tuple[float, float]] = []
        for p in way:
            while len(out) > 1 and _left_turn(out[-2], out[-1], p) <= 0.0:
                out.pop()
            out.append(p)
        return out[:-1]

    return np.array(chain(rows) + chain(rows[::-1]))


def _left_turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Above 0 where the way from a over b to c turns to the left."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


# Scatter ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ellipsoid:
    """Where repeated points lie and how they scatter.

    Attributes
    ----------
    centre : (3,) their mean. covariance : (3, 3) with the divisor n - 1.
    sds : (3,) standard deviations along the axes, the largest first: the half-axes of the ellipsoid.
    axes : (3, 3) unit vectors, one a row, in the order of ``sds``. count : number of points that were known.
    """

    centre: Array
    covariance: Array
    sds: Array
    axes: Array
    count: int

    @property
    def volume(self) -> float:
        """Volume of the ellipsoid of one standard deviation: 4/3 pi times the product of ``sds``."""
        return float(4.0 / 3.0 * np.pi * np.prod(self.sds))

    @property
    def spread(self) -> float:
        """Root-mean-square distance of the points from their centre: the root of the covariance's trace."""
        return float(np.sqrt(np.trace(self.covariance)))


def ellipsoid(points: Array) -> Ellipsoid:
    """The ellipsoid of points (N, 3), those with a NaN left out.

    Fewer than four points lie in a plane whatever the scatter, so then all but ``centre`` and ``count`` is NaN;
    without any point so is the centre.
    """
    known = points[np.isfinite(points).all(axis=1)]
    centre = known.mean(axis=0) if len(known) else np.full(3, np.nan)
    if len(known) < 4:
        return Ellipsoid(
            centre, np.full((3, 3), np.nan), np.full(3, np.nan), np.full((3, 3), np.nan), len(known)
        )
    covariance = np.cov(known, rowvar=False)
    variances, axes = np.linalg.eigh(covariance)
    sds = np.sqrt(np.maximum(variances[::-1], 0.0))
    return Ellipsoid(centre, covariance, sds, axes.T[::-1], len(known))
