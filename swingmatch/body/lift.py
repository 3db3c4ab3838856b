"""Lift a stretch of a track to three dimensions: one body of fixed segment lengths fitted to all its frames at once.

The estimator's picture positions are good (1.5-2 % of stature on generated figures), its own 3-D is not (joint angles
off by 10-35 degrees, biased towards straight). So the picture positions are the main evidence here; which end of a
segment is nearer, and by how much, comes from ``reading``, which looks at the movement over time.

Minimised over all keypoint positions ``P`` of all frames, in statures, level axes, camera at the origin:

- picture: ``x + a z`` and ``y + b z`` where ``(a, b)`` is the ray through the picture position; a keypoint far off the
  body counts for less (Geman and McClure's weight),
- segments: ``|P_i - P_j| - L_ij`` with lengths common to all frames and both sides,
- depth: ``(z_i - z_j)`` against what was read, by its own stated error,
- motion: second differences in time; feet that stand do not slide,
- floor: heels and toes that stand are at one height, whatever the camera's tilt. One that stands higher than the rest,
  as a heel that is off the ground, counts for less; feet in the air do not count.

Two unknowns are shared by all frames: by how much the camera looks down, and how high the floor is. Feet that stand
nearer and farther tell the tilt, as a wrong one would put them at different heights.

Gauss-Newton with weights renewed every round converges in a few rounds; ordered by time the normal equations are
banded and are solved by a banded Cholesky factorisation (``normal``). Segment lengths are re-estimated between rounds.
The same factor gives bodies drawn from what the evidence leaves open (``Lifted.draws``, ``spread``), with which every
measure's uncertainty is found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from swingmatch.body.normal import FIRST, FLOOR, SECOND, TILT, Normal, units
from swingmatch.body.reading import Reading
from swingmatch.body.skeleton import BONES, INDEX, KEYPOINTS, NOSE_OVER_ANKLES, K, middle
from swingmatch.body.spread import Evidence, spread
from swingmatch.body.stretch import Stretch
from swingmatch.series import resample

Array = NDArray[np.float64]

#: Heels and toes are seen so far above the ground that they stand on, statures; it only moves the floor.
SOLE = 0.012
#: A camera is tilted by no more than this, radians.
_STEEPEST = 0.5

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
_GROUP = np.array([_GROUPS.index(b[2]) for b in BONES])
_PRIOR = np.array([_SEGMENTS[g][0] for g in _GROUPS])
_PRIOR_SD = np.array([_SEGMENTS[g][0] * _SEGMENTS[g][1] for g in _GROUPS])
#: Segments between which the real body bends, so that their length is only roughly kept.
_BENDS = np.isin(_GROUP, [_GROUPS.index(g) for g in ("trunk_side", "neck", "head", "heel")])
#: Segments that make up stature.
_TALL = [_GROUPS.index(g) for g in ("trunk_side", "thigh", "shank")]
_FEET = np.array([name.endswith(("heel", "toe")) for name in KEYPOINTS])


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
    floor : height of a standing foot's keypoints against the floor. raised : departures from it beyond this many
        standard deviations soon stop to count.
    tilt, tilt_sd : by how much cameras look down, radians: the player is put in the middle of the picture.
    camera_height, camera_height_sd : over the floor, statures: held before the face or on a stand, now and then on a
        fence or on the ground (*common practice, no source*).
    picture_off : how far picture positions of legs, trunk and arms are truly off, beside the fit's ``picture``, which
        balances them against the other evidence; for the drawn bodies, as the next three are.
    depth_off : factor on the stated errors of depths. turned_off : error of the body's turn about the vertical that
        all depths share, radians. Depths of shoulder and hip line err alike (correlation 0.6 on clips that the reading
        network did not learn from), and a turn fitted to all segments errs twice as far as it would otherwise.
    lasting : seconds after which errors have dropped to 1/e. Measured on those clips: 0.28 for depths, 0.35 for
        picture positions.
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
    floor: float = 0.01
    raised: float = 2.0
    tilt: float = 0.05
    tilt_sd: float = 0.12
    camera_height: float = 0.8
    camera_height_sd: float = 0.3
    picture_off: tuple[float, float, float] = (0.015, 0.02, 0.025)
    depth_off: float = 1.2
    turned_off: float = 0.06
    lasting: float = 0.3
    draws: int = 24


@dataclass(frozen=True)
class Lifted:
    """A stretch of a track in three dimensions: statures, level axes (x right, y up, z towards the camera).

    Attributes
    ----------
    points : (T, K, 3) camera at the origin; y is vertical.
    draws : (S, T, K, 3) bodies that the evidence allows as well, drawn at random: their spread is the uncertainty.
    tilt : by how much the camera looks down, radians. floor : height of the floor, below zero.
    """

    points: Array
    draws: Array
    tilt: float
    floor: float


def _acceleration(settings: LiftSettings) -> Array:
    slow, middle, fast = settings.acceleration
    return np.array(
        [
            fast if n.endswith(("wrist", "hand")) else middle if n.endswith("elbow") else slow
            for n in KEYPOINTS
        ]
    )


def _picture_off(settings: LiftSettings) -> Array:
    legs, trunk, arms = settings.picture_off
    return np.array(
        [
            legs
            if n.endswith(("knee", "ankle", "heel", "toe"))
            else arms
            if n.endswith(("elbow", "wrist", "hand"))
            else trunk
            for n in KEYPOINTS
        ]
    )


def _rays(image: Array, size: tuple[int, int]) -> Array:
    """Slopes of the rays through picture positions on the camera's axes: (T, K, 2), x right, y up, a unit of depth."""
    focal = FOCAL * max(size)
    middle = np.array([size[0] / 2.0, size[1] / 2.0])
    return (image - middle) / focal * np.array([1.0, -1.0])


def _turned(rays: Array, tilt: float) -> Array:
    """The rays on level axes, where the camera looks down by ``tilt`` radians."""
    cosine, sine = np.cos(tilt), np.sin(tilt)
    deep = cosine + rays[..., 1] * sine
    return np.stack([rays[..., 0], rays[..., 1] * cosine - sine], axis=-1) / deep[..., None]


def _standing(rays: Array, times: Array, settings: LiftSettings) -> Array:
    """How surely heels and toes stand still from each frame to the next, 0..1: (T - 1, K), 0 for all else.

    What stands does not move in the picture, and what does not move there for a while hardly does in depth.
    """
    step = np.linalg.norm(np.diff(rays, axis=0), axis=2) * _distance(rays) / np.diff(times)[:, None]
    return np.where(_FEET, 1.0 / (1.0 + (step / settings.still_speed) ** 4), 0.0)


def _about_hips(points: Array) -> Array:
    return points - middle(points, "hip")[:, None]


def _stays(still: Array) -> Array:
    """How surely heels and toes stand in each frame: (T - 1, K) between frames to (T, K)."""
    return np.maximum(np.vstack([still[:1], still]), np.vstack([still, still[-1:]]))


def _distance(rays: Array) -> float:
    """Distance at which the body is one stature tall, statures."""
    ankles = 0.5 * (rays[:, INDEX["left_ankle"], 1] + rays[:, INDEX["right_ankle"], 1])
    return NOSE_OVER_ANKLES / max(float(np.quantile(rays[:, INDEX["nose"], 1] - ankles, 0.9)), 1e-3)


def _new_lengths(points: Array, settings: LiftSettings) -> Array:
    """Lengths of the segment groups: what the frames say and the table, weighted; then stature set to one."""
    norm = np.linalg.norm(points[:, FIRST] - points[:, SECOND], axis=2)
    seen = np.array([np.median(norm[:, g == _GROUP]) for g in range(len(_GROUPS))])
    sd_seen = 0.10 * _PRIOR / settings.evidence**0.5
    lengths = (seen / sd_seen**2 + _PRIOR / _PRIOR_SD**2) / (1 / sd_seen**2 + 1 / _PRIOR_SD**2)
    return lengths * _PRIOR[_TALL].sum() / lengths[_TALL].sum()


def _length_errors(lengths: Array, settings: LiftSettings) -> Array:
    """(G, G) how far lengths are off, by groups, for independent errors of one standard deviation each."""
    sd = (1.0 / (0.10 * _PRIOR / settings.evidence**0.5) ** 2 + 1.0 / _PRIOR_SD**2) ** -0.5
    # A body that is longer in one part is shorter in the others: stature is one.
    tall = np.isin(np.arange(len(_GROUPS)), _TALL)
    return np.asarray((np.eye(len(lengths)) - np.outer(lengths, tall) / lengths[tall].sum()) * sd)


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
    seen = resample(_rays(image, size), times, even)
    hidden = 1.0 + (settings.hidden - 1.0) * (1.0 - resample(visibility, times, even))
    sd = settings.picture * hidden
    dt = span / max(count - 1, 1)

    steady = Normal(count)
    # A sum over frames approximates an integral over time, so the weight of a frame is its share of it.
    smooth = (dt * 60.0) ** 0.5 / (dt**2 * _acceleration(settings))
    for axis in range(3):
        steady.add_axis((smooth, -2.0 * smooth, smooth), (0, 1, 2), axis)
    still = _standing(seen, even, settings)
    stands = still / (dt * settings.slide)
    for axis in range(3):
        steady.add_axis((-stands, stands), (0, 1), axis)
    depth_sd = resample(reading.depth_sd, reading.times, even)
    depth_weight = 1.0 / (settings.depth * depth_sd) ** 2
    steady.add_depths(resample(reading.depth, reading.times, even), depth_weight)
    bone_weight = 1.0 / np.where(_BENDS, settings.trunk_bone, settings.bone) ** 2
    steady.add_prior(FLOOR, -settings.camera_height, settings.camera_height_sd)

    # The first round knows no lengths: it sets the body up from its picture and depths alone.
    tilt = settings.tilt
    rays = _turned(seen, tilt)
    first = steady.copy()
    first.add_prior(TILT, 0.0, settings.tilt_sd)
    first.add_rays(rays, 1.0 / sd**2)
    first.add_distance(_distance(seen), 1.0 / settings.away**2)
    points = first.factor().solve(first.right, first.shared)[0].reshape(count, K, 3)
    lengths = _PRIOR.copy()
    trust = np.ones((count, K))
    on_floor = _stays(still) / settings.floor**2
    floor_weight = on_floor
    for number in range(settings.rounds):
        normal = steady.copy()
        normal.add_prior(TILT, settings.tilt - tilt, settings.tilt_sd)
        normal.add_rays(rays, trust / sd**2)
        normal.add_tilt(rays, points[..., 2], trust / sd**2)
        normal.add_bones(points, lengths[_GROUP], bone_weight)
        normal.add_floor(SOLE, floor_weight)
        factor = normal.factor()
        moved, (further, floor) = factor.solve(normal.right, normal.shared)
        moved = moved.reshape(count, K, 3)
        # Where the whole body is put is of no matter: it moves with every change of the tilt.
        change = float(np.abs(_about_hips(moved) - _about_hips(points)).max())
        if number == settings.rounds - 1 or (number >= 3 and change < settings.still):
            break
        points = moved
        tilt = float(np.clip(tilt + further, -_STEEPEST, _STEEPEST))
        rays = _turned(seen, tilt)
        lengths = _new_lengths(points, settings)
        if number >= 1:
            trust = _trust(points, rays, sd, settings)
            over = (points[..., 1] - floor - SOLE) / settings.floor
            floor_weight = on_floor / (1.0 + (over / settings.raised) ** 2) ** 2
    evidence = Evidence(
        rays=rays,
        depths=points[..., 2],
        picture_weight=trust / sd**2,
        picture_sd=_picture_off(settings) * hidden,
        depth_weight=depth_weight,
        depth_sd=settings.depth_off * depth_sd,
        across=points[:, FIRST, 0] - points[:, SECOND, 0],
        units=units(points),
        bone_weight=bone_weight,
        length_sd=_length_errors(lengths, settings)[_GROUP],
        smooth=smooth,
        stands=stands,
        floor_weight=floor_weight,
        floor_sd=settings.floor,
        turned_sd=settings.turned_off,
        prior_sd=np.array([settings.tilt_sd, settings.camera_height_sd]),
    )
    keep = float(np.exp(-dt / settings.lasting))
    away = resample(np.moveaxis(spread(factor, evidence, keep, settings.draws), 0, 1), even, times)
    fitted = _at(even, moved, times)
    return Lifted(fitted, fitted + np.moveaxis(away, 1, 0), float(tilt + further), float(floor))


def _at(even: Array, points: Array, times: Array) -> Array:
    """The fitted body at the frames' own times; a body moves smoothly between two of the fit's."""
    return (
        points if len(even) == len(times) and np.allclose(even, times) else CubicSpline(even, points)(times)
    )
