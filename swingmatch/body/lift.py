"""Lift a stretch of a track to three dimensions: one body of fixed segment lengths fitted to all its frames at once.

The estimator's picture positions are good (1.5-2 % of stature on generated figures), its own 3-D is not (joint angles
off by 10-35 degrees, biased towards straight). So the picture positions are the main evidence here; the estimator's
3-D only breaks the tie of which end of a segment is nearer, and roughly by how much.

Minimised over all keypoint positions ``P`` of all frames, in statures, camera axes, camera at the origin:

- picture: ``x + a z`` and ``y + b z`` where ``(a, b)`` is the ray through the picture position,
- segments: ``|P_i - P_j| - L_ij`` with lengths common to all frames and both sides,
- depth: ``(z_i - z_j)`` against the estimator's own, weakly,
- motion: second differences in time.

Everything but the segment term is linear, so Gauss-Newton converges in a few rounds; ordered by time the normal
equations are banded and are solved by a banded Cholesky factorisation. Segment lengths are re-estimated between rounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import solveh_banded

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SEGMENTS, SIDES, K
from swingmatch.series import resample

Array = NDArray[np.float64]

#: Focal length over the longer side of the picture: about 65 degrees across, a phone's main camera (*from memory*).
FOCAL = 0.78
#: Lengths over stature between joints: Drillis & Contini 1966 in Winter (C1); head and foot parts are rough.
#: The last figure is how far the estimator's depth difference along the segment is off, in statures, once scaled to the
#: segment's length: measured on generated figures kept for tuning.
_SEGMENTS: dict[str, tuple[float, float, float]] = {
    # name: (length, relative uncertainty of the prior, depth error)
    "shoulder_line": (0.259, 0.20, 0.055),
    "hip_line": (0.191, 0.25, 0.038),
    "trunk_side": (0.288, 0.06, 0.034),
    "upper_arm": (0.186, 0.08, 0.067),
    "forearm": (0.146, 0.08, 0.071),
    "palm": (0.050, 0.25, 0.025),
    "thigh": (0.245, 0.06, 0.058),
    "shank": (0.246, 0.06, 0.045),
    "foot": (0.140, 0.20, 0.080),
    "heel": (0.050, 0.30, 0.028),
    "head": (0.075, 0.30, 0.030),
    "neck": (0.150, 0.20, 0.044),
}


def _bones() -> tuple[tuple[int, int, str], ...]:
    """(from, to, group) of every segment; both sides of a limb are one group."""
    more = (("heel", "ankle", "heel"), ("neck", "shoulder", "ear"))
    rows = [*SEGMENTS, *((name, f"{s}_{a}", f"{s}_{b}") for s in SIDES for name, a, b in more)]
    rows += [("head", f"{s}_ear", "nose") for s in SIDES]
    return tuple(
        (INDEX[a], INDEX[b], name.removeprefix("left_").removeprefix("right_")) for name, a, b in rows
    )


BONES = _bones()
_GROUPS = tuple(_SEGMENTS)
_I = np.array([b[0] for b in BONES])
_J = np.array([b[1] for b in BONES])
_GROUP = np.array([_GROUPS.index(b[2]) for b in BONES])
_PRIOR = np.array([_SEGMENTS[g][0] for g in _GROUPS])
_PRIOR_SD = np.array([_SEGMENTS[g][0] * _SEGMENTS[g][1] for g in _GROUPS])
_DEPTH_SD = np.array([_SEGMENTS[g][2] for g in _GROUPS])


@dataclass(frozen=True)
class LiftSettings:
    """Standard deviations of each kind of evidence, in statures. Tuned on generated figures kept for tuning.

    picture : picture position of a keypoint in plain view; a hidden one gets up to ``hidden`` times that.
    bone : departure of a segment from its length. trunk_bone : the same for the trunk, which bends.
    depth : factor on the depth errors of the segment table.
    acceleration : of slow, middle and fast keypoints, statures per second squared.
    evidence : how many independent frames the whole stretch counts for when lengths are re-estimated.
    """

    picture: float = 0.015
    hidden: float = 3.0
    bone: float = 0.004
    trunk_bone: float = 0.01
    depth: float = 0.7
    acceleration: tuple[float, float, float] = (12.0, 35.0, 90.0)
    evidence: float = 6.0
    rounds: int = 12
    rate: float = 62.0


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


def _start(rays: Array, world: Array) -> Array:
    """First guess: the estimator's depths at the distance at which the body is one stature tall."""
    ankles = 0.5 * (rays[:, INDEX["left_ankle"], 1] + rays[:, INDEX["right_ankle"], 1])
    tall = np.nanpercentile(rays[:, INDEX["nose"], 1] - ankles, 90)
    distance = 0.88 / max(float(tall), 1e-3)
    z = -distance + world[..., 2] / 1.7
    return np.concatenate([-rays * z[..., None], z[..., None]], axis=2)


def _linear_terms(
    rays: Array, sd: Array, dt: float, settings: LiftSettings
) -> tuple[sparse.csr_matrix, Array]:
    """All linear residuals, weighted: matrix and right-hand side. Unknown order: time, keypoint, x y z."""
    t, k = rays.shape[:2]
    n = t * k * 3
    point = np.arange(t * k).reshape(t, k) * 3
    blocks: list[sparse.csr_matrix] = []
    sides: list[Array] = []

    def add(columns: list[Any], values: list[Array], right: Array) -> None:
        rows = np.arange(right.size)
        data = np.concatenate([np.broadcast_to(v, right.shape).ravel() for v in values])
        where = (np.tile(rows, len(columns)), np.concatenate([c.ravel() for c in columns]))
        blocks.append(sparse.csr_matrix((data, where), shape=(right.size, n)))
        sides.append(right.ravel())

    w = 1.0 / sd
    for axis in (0, 1):
        add([point + axis, point + 2], [w, w * rays[..., axis]], np.zeros((t, k)))
    if t >= 3:
        # A sum over frames approximates an integral over time, so the weight of a frame is its share of it.
        wa = np.broadcast_to((dt * 60.0) ** 0.5 / (dt**2 * _acceleration(settings)), (t - 2, k))
        for axis in (0, 1, 2):
            add(
                [point[:-2] + axis, point[1:-1] + axis, point[2:] + axis],
                [wa, -2.0 * wa, wa],
                np.zeros((t - 2, k)),
            )
    return sparse.vstack(blocks).tocsr(), np.concatenate(sides)


def _depth_terms(world: Array, lengths: Array, settings: LiftSettings) -> tuple[sparse.csr_matrix, Array]:
    """Depth residuals along the segments: the estimator's own, each scaled to the segment's length here.

    The estimator has a body of its own in mind, narrower in the hips and shoulders than many; scaling its segments to
    the lengths found so far keeps that from flattening turns.
    """
    t = len(world)
    difference = world[:, _I] - world[:, _J]
    own = np.median(np.linalg.norm(difference, axis=2), axis=0)
    depth = difference[..., 2] * np.clip(lengths[_GROUP] / np.maximum(own, 1e-6), 0.3, 1.2)
    weight = np.broadcast_to(1.0 / (settings.depth * _DEPTH_SD[_GROUP]), depth.shape)
    index = np.arange(t * K).reshape(t, K) * 3 + 2
    rows = np.arange(depth.size)
    matrix = sparse.csr_matrix(
        (
            np.concatenate([weight.ravel(), -weight.ravel()]),
            (np.tile(rows, 2), np.concatenate([index[:, _I].ravel(), index[:, _J].ravel()])),
        ),
        shape=(depth.size, t * K * 3),
    )
    return matrix, (weight * depth).ravel()


def _bone_terms(points: Array, lengths: Array, sd: Array) -> tuple[sparse.csr_matrix, Array]:
    """Segment residuals linearised at ``points``: matrix and right-hand side in the unknowns themselves."""
    t, k = points.shape[:2]
    index = np.arange(t * k).reshape(t, k) * 3
    difference = points[:, _I] - points[:, _J]
    norm = np.linalg.norm(difference, axis=2, keepdims=True)
    unit = difference / np.maximum(norm, 1e-9)
    rows = np.arange(t * len(_I)).reshape(t, -1)
    data, r, c = [], [], []
    for axis in (0, 1, 2):
        for end, sign in ((_I, 1.0), (_J, -1.0)):
            data.append((sign * unit[..., axis] / sd).ravel())
            r.append(rows.ravel())
            c.append((index[:, end] + axis).ravel())
    matrix = sparse.csr_matrix(
        (np.concatenate(data), (np.concatenate(r), np.concatenate(c))), shape=(rows.size, t * k * 3)
    )
    # |d| ~ unit . d, so the linearised residual is unit . (P_i - P_j) - L.
    return matrix, np.broadcast_to(lengths / sd, (t, len(_I))).ravel()


def _solve_banded(normal: sparse.csr_matrix, right: Array) -> Array:
    """Solve a symmetric positive definite banded system by Cholesky."""
    upper = sparse.triu(normal).tocoo()
    band = int((upper.col - upper.row).max())
    packed = np.zeros((band + 1, normal.shape[0]))
    packed[band + upper.row - upper.col, upper.col] = upper.data
    return solveh_banded(packed, right, overwrite_ab=True, check_finite=False)


def _new_lengths(points: Array, settings: LiftSettings) -> Array:
    """Lengths of the segment groups: what the frames say and the table, weighted; then stature set to one."""
    norm = np.linalg.norm(points[:, _I] - points[:, _J], axis=2)
    seen = np.array([np.median(norm[:, g == _GROUP]) for g in range(len(_GROUPS))])
    sd_seen = 0.10 * _PRIOR / settings.evidence**0.5
    lengths = (seen / sd_seen**2 + _PRIOR / _PRIOR_SD**2) / (1 / sd_seen**2 + 1 / _PRIOR_SD**2)
    tall = [_GROUPS.index(g) for g in ("trunk_side", "thigh", "shank")]
    return lengths * _PRIOR[tall].sum() / lengths[tall].sum()


def lift(
    times: Array,
    image: Array,
    world: Array,
    visibility: Array,
    size: tuple[int, int],
    settings: LiftSettings | None = None,
) -> Array:
    """Three-dimensional keypoints of one stretch of a track without gaps.

    Parameters
    ----------
    times : (T,) seconds, rising.
    image : (T, K, 2) pixels. world : (T, K, 3) metres, camera axes. visibility : (T, K) in 0..1. No NaN.
    size : width and height of the picture in pixels.

    Returns
    -------
    (T, K, 3) statures, camera axes (x right, y up, z towards the camera), camera at the origin and level.
    """
    settings = settings or LiftSettings()
    span = times[-1] - times[0]
    count = min(len(times), max(3, round(span * settings.rate) + 1))
    even = np.linspace(times[0], times[-1], count)
    rays = resample(_rays(image, size), times, even)
    depths = resample(world, times, even)
    sd = settings.picture * (1.0 + (settings.hidden - 1.0) * (1.0 - resample(visibility, times, even)))
    matrix, right = _linear_terms(rays, sd, span / max(count - 1, 1), settings)
    normal, side = (matrix.T @ matrix).tocsr(), matrix.T @ right

    bends = np.isin(_GROUP, [_GROUPS.index(g) for g in ("trunk_side", "neck", "head", "heel")])
    bone_sd = np.where(bends, settings.trunk_bone, settings.bone)
    points = _start(rays, depths)
    lengths = _PRIOR.copy()
    for _ in range(settings.rounds):
        bones, length = _bone_terms(points, lengths[_GROUP], bone_sd)
        nearer, depth = _depth_terms(depths, lengths, settings)
        left = (normal + bones.T @ bones + nearer.T @ nearer).tocsr()
        points = _solve_banded(left, side + bones.T @ length + nearer.T @ depth).reshape(count, K, 3)
        lengths = _new_lengths(points, settings)

    # Between the even samples the depth is smooth; the picture position of every frame is kept as it was seen.
    fitted = resample(points, even, times)
    if count == len(times):
        return fitted
    z = fitted[..., 2:]
    return np.concatenate([-_rays(image, size) * z, z], axis=2)
