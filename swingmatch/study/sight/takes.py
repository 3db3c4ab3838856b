"""What is filmed for one training picture: a generated movement, a moment, a camera, three exposures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX
from swingmatch.racket.crop import SIDE, SPAN
from swingmatch.series import resample
from swingmatch.study.sight.rackets import Racket
from swingmatch.study.sight.settings import CANVAS
from swingmatch.synth.backhand import random_backhand_player
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import TUNING, random_player
from swingmatch.synth.figure import unit
from swingmatch.synth.motion import Motion
from swingmatch.synth.serve_cast import random_server

Array = NDArray[np.float64]

_SIZE = (1280, 720)
#: The most moments of one exposure that are drawn: of the picture in the middle and of the other two.
_MOST_MOMENTS = (9, 5)
_STEP = 3.0  # pixels the tip may move between two of them


def draw_motion(rng: np.random.Generator) -> Motion:
    """A movement of a seed of ``TUNING``: forehand, either backhand, or serve."""
    seed, kind = int(rng.integers(TUNING.start, TUNING.stop)), rng.random()
    if kind < 0.4:
        return random_player(seed).perform(swings=1)
    if kind < 0.75:
        return random_backhand_player(seed, 2 if kind < 0.6 else 1).perform(swings=1)
    return random_server(seed).perform(swings=1)


@dataclass(frozen=True)
class Take:
    """Everything in camera axes (x right, y up, z backward, metres) at the M moments of three exposures.

    ``moments`` (M,) seconds, ``frame`` (M,) 0, 1, 2: which exposure; ``points`` (M, K, 3) the body;
    ``grip`` (M, 3), ``axes`` (M, 3, 3) where the racket is held and its axes; ``ball`` (M, 3) or NaN;
    ``focal`` pixels of the canvas at a metre; ``centre`` (2,) what of the picture is in the middle of the canvas,
    ``readout`` seconds that the shutter rolls over one pixel of the canvas; ``source`` pixels that the square
    has in the film; ``hand`` the hitting hand; ``stature`` metres; ``arm`` (2, 2) elbow and hand as tracked, canvas.
    """

    moments: Array
    frame: NDArray[np.int64]
    points: Array
    grip: Array
    axes: Array
    ball: Array
    focal: float
    centre: Array
    readout: float
    source: float
    hand: str
    stature: float
    arm: Array

    def flat(self, places: Array) -> tuple[Array, Array]:
        """Camera axes (M, ..., 3) to canvas pixels (M, ..., 2), as a rolling shutter has them, and depths."""
        depth = np.maximum(-places[..., 2], 0.05)
        flat = np.stack([places[..., 0], -places[..., 1]], -1) * (self.focal / depth)[..., None]
        flat = flat - self.centre + 0.5 * (CANVAS - 1)
        if self.readout:
            for frame in range(3):
                rows = np.flatnonzero(self.frame == frame)
                if len(rows) > 1:
                    speed = np.gradient(flat[rows], self.moments[rows], axis=0)
                    late = (flat[rows][..., 1:] - 0.5 * (CANVAS - 1)) * self.readout
                    flat[rows] = flat[rows] + speed * np.clip(late, -0.02, 0.02)
        return flat, depth


def _camera(rng: np.random.Generator, about: Array) -> Camera:
    return Camera(
        azimuth=float(rng.uniform(-180, 180)),
        height=float(rng.uniform(0.4, 2.6) if rng.random() < 0.85 else rng.uniform(2.6, 5.0)),
        distance=float(rng.uniform(3.2, 8.0) if rng.random() < 0.85 else rng.uniform(8.0, 20.0)),
        aim=(float(about[0]), float(rng.uniform(0.7, 1.3)), float(about[2])),
        field_of_view=float(rng.uniform(50, 80)),
        roll=float(rng.normal(0, 2)),
        size=_SIZE,
    )


def _when(rng: np.random.Generator, motion: Motion) -> tuple[float, float, float]:
    """The moment, the seconds to the neighbouring pictures and the exposure."""
    contact = motion.swings[0].events["contact"]
    near = rng.random() < 0.6
    time = contact + (rng.normal(-0.04, 0.13) if near else rng.uniform(-1.1, 0.9))
    apart = float(
        rng.choice([1 / 60, 1 / 30, 1 / 25, 1 / 50, 1 / 120, 1 / 240], p=[0.55, 0.2, 0.05, 0.08, 0.07, 0.05])
    )
    shutter = min(0.9 * apart, float(np.exp(rng.uniform(np.log(1 / 2000), np.log(1 / 70)))))
    return float(np.clip(time, 0.1, motion.times[-1] - 0.1)), apart, shutter


def _held(rng: np.random.Generator, marks: Array) -> tuple[Array, Array]:
    """Where the racket is held (M, 3) and its axes (M, 3, 3) from the movement's marks (M, 5, 3), turned in the hand.

    Most rackets are a little turned against the generated stroke, some about their long axis by anything (every grip),
    a few any way at all, so that no pose is new to the network.
    """
    along = unit(marks[:, 2] - marks[:, 0])
    across = unit(marks[:, 4] - marks[:, 3])
    axes = np.stack([along, across, np.cross(along, across)], 1)
    kind = rng.random()
    if kind < 0.5:
        turn = Rotation.from_rotvec(np.radians(rng.normal(0, 8, 3)))
    elif kind < 0.75:
        turn = Rotation.from_rotvec([np.radians(rng.uniform(-180, 180)), *np.radians(rng.normal(0, 12, 2))])
    elif kind < 0.92:
        turn = Rotation.from_rotvec(np.radians(rng.normal(0, 35, 3)))
    else:
        turn = Rotation.random(random_state=np.random.RandomState(int(rng.integers(1 << 31))))
    return marks[:, 0] + 0.07 * along, turn.as_matrix() @ axes


def take(rng: np.random.Generator, motion: Motion, racket: Racket, astray: bool) -> Take:
    """A take of a movement; ``astray``: the square is about something else than the hitting hand."""
    time, apart, shutter = _when(rng, motion)
    camera = _camera(rng, resample(motion.points.mean(1), motion.times, np.array([time]))[0])
    turn = camera.rotation()

    def seen(places: Array) -> Array:
        return (places - camera.position) @ turn.T

    tip = 0.6 * racket.long / 0.685
    middle = np.array([time - shutter / 2, time + shutter / 2])
    marks = resample(motion.racket, motion.times, middle)
    body = seen(resample(motion.points, motion.times, np.array([time])))[0]
    depth = max(-float(body[:, 2].mean()), 1.0)
    tall = motion.stature * camera.focal / depth
    scale = SIDE / (SPAN * tall * float(np.exp(rng.normal(0, 0.07))))
    focal = camera.focal * scale
    moved = float(np.linalg.norm(marks[1, 2] - marks[0, 2])) * tip / 0.6 * focal / depth
    moments, frame = [], []
    for k, most in ((0, 1), (1, 0), (2, 1)):
        count = int(np.clip(np.ceil(moved / _STEP), 2, _MOST_MOMENTS[most]))
        moments.append(time + (k - 1) * apart + shutter * ((np.arange(count) + 0.5) / count - 0.5))
        frame.append(np.full(count, k))
    at = np.concatenate(moments)
    grip, axes = _held(rng, resample(motion.racket, motion.times, at))
    hand = motion.hand
    elbow, knuckle = INDEX[f"{hand}_elbow"], INDEX[f"{hand}_hand"]
    pixels = np.stack([body[:, 0], -body[:, 1]], -1) * (focal / np.maximum(-body[:, 2:], 0.3))
    target = (
        int(rng.choice([INDEX[n] for n in ("left_knee", "right_ankle", "nose", "left_hip")]))
        if astray
        else knuckle
    )
    stray = 0.012 if rng.random() < 0.75 else 0.06
    unit_px = SIDE / SPAN  # a stature
    off = rng.normal(0, stray, 2) * unit_px
    centre = pixels[target] + off
    arm = pixels[[elbow, knuckle]] + np.stack([rng.normal(0, stray, 2) * unit_px, off])
    if astray:
        arm = arm - arm[1] + centre
    return Take(
        moments=at,
        frame=np.concatenate(frame),
        points=seen(resample(motion.points, motion.times, at)),
        grip=seen(grip),
        axes=axes @ turn.T,
        ball=seen(resample(motion.ball, motion.times, at)),
        focal=focal,
        centre=centre,
        readout=float(rng.uniform(0.004, 0.028)) / (_SIZE[1] * scale) if rng.random() < 0.6 else 0.0,
        source=SIDE / scale * float(rng.choice([1.0, 0.67, 1.5, 0.45])),
        hand=hand,
        stature=motion.stature,
        arm=arm - centre + 0.5 * (CANVAS - 1),
    )
