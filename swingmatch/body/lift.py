"""Lift a stretch of a track to three dimensions: one body of fixed segment lengths fitted to all its frames at once.

The estimator's picture positions are good (1.5-2 % of stature on generated figures), its own 3-D is not (joint angles
off by 10-35 degrees, biased towards straight). So the picture positions are the main evidence here; which end of a
segment is nearer, and by how much, comes from ``reading``, which looks at the movement over time.

Minimised over all keypoint positions ``P`` of all frames, in statures, camera axes, camera at the origin:

- picture: ``x + a z`` and ``y + b z`` where ``(a, b)`` is the ray through the picture position; a keypoint far off the
  body counts for less (Geman and McClure's weight),
- segments: ``|P_i - P_j| - L_ij`` with lengths common to all frames and both sides,
- depth: ``(z_i - z_j)`` against what was read, by its own stated error,
- motion: second differences in time; feet that stand do not slide.

Gauss-Newton with weights renewed every round converges in a few rounds; ordered by time the normal equations are
banded and are solved by a banded Cholesky factorisation. Segment lengths are re-estimated between rounds. The same
factor gives bodies drawn from what the evidence leaves open (``Lifted.draws``), with which every measure's
uncertainty is found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.linalg import cho_solve_banded, cholesky_banded, solve_banded

from swingmatch.body.reading import Reading
from swingmatch.body.skeleton import BONES, INDEX, KEYPOINTS, NOSE_OVER_ANKLES, K
from swingmatch.body.stretch import Stretch
from swingmatch.series import resample

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

#: Focal length over the longer side of the picture: about 65 degrees across, a phone's main camera (*from memory*).
FOCAL = 0.78
#: Lengths over stature between joints: Drillis & Contini 1966 in Winter (C1); head and foot parts are rough.
_SEGMENTS: dict[str, tuple[float, float]] = {
    # name: (length, relative uncertainty of the prior)
    "shoulder_line": (0.259, 0.20),
    "hip_line": (0.191, 0.25),
    "trunk_side": (0.288, 0.06),
    "upper_arm": (0.186, 0.08),
    "forearm": (0.146, 0.08),
    "palm": (0.050, 0.25),
    "thigh": (0.245, 0.06),
    "shank": (0.246, 0.06),
    "foot": (0.140, 0.20),
    "heel": (0.050, 0.30),
    "head": (0.075, 0.30),
    "neck": (0.150, 0.20),
}


_GROUPS = tuple(_SEGMENTS)
_I, _J = (np.array([bone[end] for bone in BONES]) for end in (0, 1))
_GROUP = np.array([_GROUPS.index(b[2]) for b in BONES])
_PRIOR = np.array([_SEGMENTS[g][0] for g in _GROUPS])
_PRIOR_SD = np.array([_SEGMENTS[g][0] * _SEGMENTS[g][1] for g in _GROUPS])
#: Segments between which the real body bends, so that their length is only roughly kept.
_BENDS = np.isin(_GROUP, [_GROUPS.index(g) for g in ("trunk_side", "neck", "head", "heel")])
_FEET = np.array([name.endswith(("heel", "toe")) for name in KEYPOINTS])
#: Unknowns between one that is coupled to another: two frames on, any axis.
_BAND = 2 * 3 * K + 2


@dataclass(frozen=True)
class LiftSettings:
    """Standard deviations of each kind of evidence, in statures. Tuned on generated figures kept for tuning.

    Attributes
    ----------
    picture : picture position of a keypoint in plain view; a hidden one gets up to ``hidden`` times that.
    wild : departures from the picture beyond this many standard deviations soon stop to count.
    bone : departure of a segment from its length. trunk_bone : the same for the trunk, which bends.
    depth : factor on the stated errors of the depths that were read: neighbouring samples err alike.
    away : of the distance guessed from the body's height in the picture, in the first round only.
    acceleration : of slow, middle and fast keypoints, statures per second squared.
    slide : speed of a foot that stands, statures per second; it stands where the picture shows less than
        ``still_speed``.
    evidence : how many independent frames the whole stretch counts for when lengths are re-estimated.
    rounds : at most so many; it ends when no keypoint moves by more than ``still`` statures.
    rate : frames a second at which the body is fitted; 60-odd show all that a body does.
    lasting : errors of picture and depth last for about this many frames, so that many frames are one look.
    draws : number of bodies drawn.
    """

    picture: float = 0.02
    hidden: float = 2.0
    wild: float = 4.0
    bone: float = 0.004
    trunk_bone: float = 0.01
    depth: float = 1.2
    away: float = 0.3
    acceleration: tuple[float, float, float] = (12.0, 35.0, 90.0)
    slide: float = 0.2
    still_speed: float = 0.4
    evidence: float = 6.0
    rounds: int = 12
    still: float = 4e-3
    rate: float = 62.0
    lasting: float = 6.0
    draws: int = 24


@dataclass(frozen=True)
class Lifted:
    """A stretch of a track in three dimensions: statures, camera axes (x right, y up, z towards the camera).

    Attributes
    ----------
    points : (T, K, 3) camera at the origin and level.
    draws : (S, T, K, 3) bodies that the evidence allows as well, drawn at random: their spread is the uncertainty.
    """

    points: Array
    draws: Array


def _acceleration(settings: LiftSettings) -> Array:
    slow, middle, fast = settings.acceleration
    return np.array(
        [
            fast if n.endswith(("wrist", "hand")) else middle if n.endswith("elbow") else slow
            for n in KEYPOINTS
        ]
    )


def _rays(image: Array, size: tuple[int, int]) -> Array:
    """Slopes of the rays through picture positions, level camera: (T, K, 2), x right, y up, per unit of depth."""
    focal = FOCAL * max(size)
    middle = np.array([size[0] / 2.0, size[1] / 2.0])
    return (image - middle) / focal * np.array([1.0, -1.0])


def _standing(rays: Array, times: Array, settings: LiftSettings) -> Array:
    """How surely heels and toes stand still from each frame to the next, 0..1: (T - 1, K), 0 for all else.

    What stands does not move in the picture, and what does not move there for a while hardly does in depth.
    """
    step = np.linalg.norm(np.diff(rays, axis=0), axis=2) * _distance(rays) / np.diff(times)[:, None]
    return np.where(_FEET, 1.0 / (1.0 + (step / settings.still_speed) ** 4), 0.0)


def _distance(rays: Array) -> float:
    """Distance at which the body is one stature tall, statures."""
    ankles = 0.5 * (rays[:, INDEX["left_ankle"], 1] + rays[:, INDEX["right_ankle"], 1])
    return NOSE_OVER_ANKLES / max(float(np.quantile(rays[:, INDEX["nose"], 1] - ankles, 0.9)), 1e-3)


class _Normal:
    """Normal equations ``A x = b`` of (T, K, 3) unknowns, ``A`` in LAPACK's upper banded form."""

    def __init__(self, frames: int) -> None:
        self._point = 3 * np.arange(frames * K).reshape(frames, K)
        self._size = 3 * frames * K
        self._places: list[Ints] = []
        self._values: list[Array] = []
        self.right = np.zeros(self._size)

    def copy(self) -> _Normal:
        """The same equations, to add more to."""
        other = _Normal(len(self._point))
        other._places, other._values = self._places.copy(), self._values.copy()
        other.right = self.right.copy()
        return other

    def _add(self, rows: Ints, columns: Ints, values: Array) -> None:
        """Add ``values`` at places of the upper triangle."""
        self._places.append(((_BAND + rows - columns) * self._size + columns).ravel())
        self._values.append(values.ravel())

    def add_axis(self, weights: tuple[Array, ...], steps: tuple[int, ...], axis: int) -> None:
        """A residual ``sum_s w_s x_{t+s}`` for every frame that has all of them, on one axis; its right side is 0.

        Each weight is (K,), or one row fewer than there are frames for each step.
        """
        count = len(self._point) - max(steps)
        at = [self._point[step : step + count] + axis for step in steps]
        for i in range(len(steps)):
            for j in range(i, len(steps)):
                self._add(at[i], at[j], np.broadcast_to(weights[i] * weights[j], at[i].shape))

    def add_rays(self, rays: Array, weight: Array) -> None:
        """Picture residuals ``x + a z`` and ``y + b z`` with ``weight`` (T, K), one over variance."""
        a, b = rays[..., 0], rays[..., 1]
        p = self._point
        one = np.ones_like(a)
        for row, column, value in (
            (0, 0, one),
            (1, 1, one),
            (0, 2, a),
            (1, 2, b),
            (2, 2, a * a + b * b),
        ):
            self._add(p + row, p + column, weight * value)

    def add_distance(self, distance: float, weight: float) -> None:
        """Residual ``z + distance`` of every keypoint."""
        z = self._point + 2
        self._add(z, z, np.full(z.shape, weight))
        self._add_right(z, np.full(z.shape, -weight * distance))

    def add_depths(self, depth: Array, weight: Array) -> None:
        """Residuals ``z_i - z_j - depth`` along the segments, (T, B) each."""
        i, j = self._point[:, _I] + 2, self._point[:, _J] + 2
        for rows, columns, sign in ((i, i, 1.0), (j, j, 1.0), (i, j, -1.0)):
            self._add(rows, columns, sign * weight)
        self._add_right(i, weight * depth)
        self._add_right(j, -weight * depth)

    def add_bones(self, points: Array, lengths: Array, weight: Array) -> None:
        """Segment residuals linearised at ``points``: ``unit . (P_i - P_j) - L``, (B,) lengths and weights."""
        difference = points[:, _I] - points[:, _J]
        unit = difference / np.maximum(np.linalg.norm(difference, axis=2, keepdims=True), 1e-9)
        i, j = self._point[:, _I], self._point[:, _J]
        for row in range(3):
            for column in range(3):
                value = weight * unit[..., row] * unit[..., column]
                self._add(i + row, j + column, -value)
                if row <= column:
                    self._add(i + row, i + column, value)
                    self._add(j + row, j + column, value)
            pull = weight * lengths * unit[..., row]
            self._add_right(i + row, pull)
            self._add_right(j + row, -pull)

    def _add_right(self, rows: Ints, values: Array) -> None:
        self.right += np.bincount(rows.ravel(), values.ravel(), self._size)

    def solve(self, factor: Array) -> Array:
        """The unknowns, (N,), from the factor of these equations."""
        return cho_solve_banded((factor, False), self.right, check_finite=False)

    def factor(self) -> Array:
        """Cholesky factor of the matrix, upper banded."""
        packed = np.bincount(
            np.concatenate(self._places), np.concatenate(self._values), (_BAND + 1) * self._size
        )
        return cholesky_banded(packed.reshape(_BAND + 1, -1), overwrite_ab=True, check_finite=False)


def _new_lengths(points: Array, settings: LiftSettings) -> Array:
    """Lengths of the segment groups: what the frames say and the table, weighted; then stature set to one."""
    norm = np.linalg.norm(points[:, _I] - points[:, _J], axis=2)
    seen = np.array([np.median(norm[:, g == _GROUP]) for g in range(len(_GROUPS))])
    sd_seen = 0.10 * _PRIOR / settings.evidence**0.5
    lengths = (seen / sd_seen**2 + _PRIOR / _PRIOR_SD**2) / (1 / sd_seen**2 + 1 / _PRIOR_SD**2)
    tall = [_GROUPS.index(g) for g in ("trunk_side", "thigh", "shank")]
    return lengths * _PRIOR[tall].sum() / lengths[tall].sum()


def _trust(points: Array, rays: Array, sd: Array, settings: LiftSettings) -> Array:
    """Weight (T, K) of each picture position by how far it is off the body: 1 on it, towards 0 far off."""
    off = np.linalg.norm(points[..., :2] + rays * points[..., 2:], axis=2) / sd
    return 1.0 / (1.0 + (off / settings.wild) ** 2) ** 2


def lift(
    stretch: Stretch,
    size: tuple[int, int],
    reading: Reading,
    settings: LiftSettings | None = None,
) -> Lifted:
    """Three-dimensional keypoints of one stretch of a track.

    Parameters
    ----------
    stretch : at least 4 frames. size : width and height of the picture in pixels.
    reading : depths of the same stretch.
    """
    settings = settings or LiftSettings()
    times, image, visibility = stretch.times, stretch.image, stretch.visibility
    span = times[-1] - times[0]
    count = min(len(times), max(4, round(span * settings.rate) + 1))
    even = np.linspace(times[0], times[-1], count)
    rays = resample(_rays(image, size), times, even)
    sd = settings.picture * (1.0 + (settings.hidden - 1.0) * (1.0 - resample(visibility, times, even)))
    dt = span / max(count - 1, 1)

    steady = _Normal(count)
    # A sum over frames approximates an integral over time, so the weight of a frame is its share of it.
    smooth = (dt * 60.0) ** 0.5 / (dt**2 * _acceleration(settings))
    for axis in range(3):
        steady.add_axis((smooth, -2.0 * smooth, smooth), (0, 1, 2), axis)
    stands = _standing(rays, even, settings) / (dt * settings.slide)
    for axis in range(3):
        steady.add_axis((-stands, stands), (0, 1), axis)
    depth = resample(reading.depth, reading.times, even)
    depth_sd = settings.depth * resample(reading.depth_sd, reading.times, even)
    steady.add_depths(depth, 1.0 / depth_sd**2)
    bone_weight = 1.0 / np.where(_BENDS, settings.trunk_bone, settings.bone) ** 2

    # The first round knows no lengths: it sets the body up from its picture and depths alone.
    first = steady.copy()
    first.add_rays(rays, 1.0 / sd**2)
    first.add_distance(_distance(rays), 1.0 / settings.away**2)
    points = first.solve(first.factor()).reshape(count, K, 3)
    lengths = _PRIOR.copy()
    trust = np.ones((count, K))
    for number in range(settings.rounds):
        normal = steady.copy()
        normal.add_rays(rays, trust / sd**2)
        normal.add_bones(points, lengths[_GROUP], bone_weight)
        factor = normal.factor()
        moved = normal.solve(factor).reshape(count, K, 3)
        change = float(np.abs(moved - points).max())
        points = moved
        if change < settings.still and number >= 3:
            break
        lengths = _new_lengths(points, settings)
        if number >= 1:
            trust = _trust(points, rays, sd, settings)
    spread = _spread(factor, settings).reshape(settings.draws, count, K, 3)
    fitted = _at(even, points, times)
    away = resample(np.moveaxis(spread, 0, 1), even, times)
    return Lifted(fitted, fitted + np.moveaxis(away, 1, 0))


def _spread(factor: Array, settings: LiftSettings) -> Array:
    """(S, N) departures from the fitted body, as likely as the evidence leaves them: normal, covariance A^-1.

    With ``A = U^T U`` and ``z`` of unit covariance, ``U x = z`` gives ``x`` the covariance ``A^-1``; errors that last
    for several frames make one look of them, so the covariance grows by that number.
    """
    rng = np.random.default_rng(0)
    z = rng.standard_normal((factor.shape[1], settings.draws))
    return (settings.lasting**0.5 * solve_banded((0, _BAND), factor, z, check_finite=False)).T


def _at(even: Array, points: Array, times: Array) -> Array:
    """The fitted body at the frames' own times; a body moves smoothly between two of the fit's."""
    return (
        points if len(even) == len(times) and np.allclose(even, times) else CubicSpline(even, points)(times)
    )
