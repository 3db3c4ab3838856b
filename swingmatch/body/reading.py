"""What a stretch of movement in the picture says of depth, of sides taken for each other, of hand and camera.

One camera leaves open which end of a segment is nearer. Over time a movement settles much of it: a small temporal
convolution network reads picture positions, the estimator's own 3-D and its visibility over half a second round each
moment, and states the depth between the ends of every segment with a standard deviation. ``lift`` uses that as
evidence beside the picture. The same network tells limbs that the estimator exchanged, the hitting hand, and the
direction to the target.

The network is trained on generated figures with the seeds kept for tuning and on recorded players kept for tuning,
each with the errors that the pose model makes on rendered clips (``python -m swingmatch.study.learn``). It is run here
in NumPy; there is nothing of the generator in it but what it learnt.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import BONES, INDEX, NOSE_OVER_ANKLES, K, middle, swap_sides
from swingmatch.body.stretch import Stretch
from swingmatch.series import resample

Array = NDArray[np.float64]

#: Samples a second that the network reads, and the stretch it was trained on, seconds.
RATE, STRETCH = 60.0, 3.0
#: The estimator's metres over one stature.
WORLD_STATURE = 1.7
#: Limbs whose sides are exchanged together, in the order of the network's answers.
LIMBS: dict[str, tuple[str, ...]] = {
    "arm": ("elbow", "wrist", "hand"),
    "leg": ("knee", "ankle", "heel", "toe"),
    "trunk": ("shoulder", "hip", "ear"),
}
_DILATIONS = (1, 2, 4, 8, 16)


@dataclass(frozen=True)
class Reading:
    """What the network says of each sample of a stretch.

    Attributes
    ----------
    times : (N,) seconds, evenly at ``RATE``.
    depth, depth_sd : (N, B) ``z`` of a segment's first end less that of its second, z towards the camera, statures;
        segments as in ``skeleton.BONES``.
    exchanged : (N, 3) log-odds that left and right of each of ``LIMBS`` are taken for each other.
    left_handed : (N,) log-odds that the left hand hits.
    target : (N, 2) sine and cosine of the camera's azimuth, as far as it is known: short where it is not.
    """

    times: Array
    depth: Array
    depth_sd: Array
    exchanged: Array
    left_handed: Array
    target: Array


def _bone_mirror() -> tuple[NDArray[np.int_], Array]:
    """For each segment the number of its mirror image, and -1 where that runs the other way."""
    place = {bone[:2]: number for number, bone in enumerate(BONES)}
    other = swap_sides(np.arange(float(K))[:, None])[:, 0].astype(int)
    there = [(int(other[a]), int(other[b])) for a, b, _ in BONES]
    return (
        np.array([place[t] if t in place else place[t[::-1]] for t in there]),
        np.array([1.0 if t in place else -1.0 for t in there]),
    )


_FLIP = np.array([-1.0, 1.0, 1.0])
_BONE, _BONE_SIGN = _bone_mirror()


def _mirrored(out: NDArray[np.float32]) -> NDArray[np.float32]:
    """The network's answer for a mirrored movement as one for the movement itself."""
    count = len(BONES)
    depth, scale, rest = out[:, :count], out[:, count : 2 * count], out[:, 2 * count :]
    # What is left: three limbs exchanged, left-handed, sine and cosine of the camera's azimuth.
    sign = np.array([1.0, 1.0, 1.0, -1.0, -1.0, 1.0], dtype=np.float32)
    return np.concatenate(
        [depth[:, _BONE] * _BONE_SIGN.astype(np.float32), scale[:, _BONE], rest * sign], axis=1
    )


@cache
def _weights() -> dict[str, NDArray[np.float32]]:
    with files("swingmatch.body").joinpath("reading.npz").open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def _convolve(x: NDArray[np.float32], name: str, dilation: int = 1) -> NDArray[np.float32]:
    """Convolution (N, C) to (N, D) with zeros beyond the ends, as many samples out as in."""
    weights, bias = _weights()[f"{name}.weight"], _weights()[f"{name}.bias"]
    taps = weights.shape[2]
    margin = dilation * (taps // 2)
    padded = np.pad(x, ((margin, margin), (0, 0)))
    out = np.tile(bias, (len(x), 1))
    for tap in range(taps):
        out += padded[tap * dilation : tap * dilation + len(x)] @ weights[:, :, tap].T
    return out


def _network(features: NDArray[np.float32]) -> NDArray[np.float32]:
    x = np.maximum(_convolve(features, "inp"), 0)
    for number, dilation in enumerate(_DILATIONS):
        inner = np.maximum(_convolve(x, f"a.{number}", dilation), 0)
        x = x + _convolve(inner, f"b.{number}", dilation)
    return _convolve(np.maximum(x, 0), "out")


def _features(image: Array, world: Array, visibility: Array) -> NDArray[np.float32]:
    """(N, F) of picture (N, K, 2) pixels, world (N, K, 3) metres, visibility (N, K): free of size and place."""
    upright = image * np.array([1.0, -1.0])
    ankles = 0.5 * (upright[:, INDEX["left_ankle"], 1] + upright[:, INDEX["right_ankle"], 1])
    stature = float(np.quantile(upright[:, INDEX["nose"], 1] - ankles, 0.9)) / NOSE_OVER_ANKLES
    upright = upright / max(stature, 1e-6)
    hips = middle(upright, "hip")
    body = world / WORLD_STATURE
    parts = (
        upright - hips[:, None],
        body - middle(body, "hip")[:, None],
        visibility,
        hips - np.median(hips, axis=0),
    )
    return np.concatenate([part.reshape(len(image), -1) for part in parts], axis=1).astype(np.float32)


def read(stretch: Stretch) -> Reading:
    """Read one stretch of a track, best about ``STRETCH`` seconds long."""
    times = stretch.times
    even = np.arange(times[0], times[-1] + 0.5 / RATE, 1.0 / RATE)
    image, world, visibility = (
        resample(values, times, even) for values in (stretch.image, stretch.world, stretch.visibility)
    )
    here = _network(_features(image, world, visibility))
    there = _network(
        _features(
            swap_sides(image) * _FLIP[:2],
            swap_sides(world) * _FLIP,
            swap_sides(visibility[..., None])[..., 0],
        )
    )
    # A mirrored movement is the mirrored player's: asked both ways, the answer keeps that law exactly.
    out = 0.5 * (here + _mirrored(there)).astype(float)
    count = len(BONES)
    # The network was trained with Laplace's distribution: its standard deviation is the square root of 2 scales.
    sd = 2.0**0.5 * np.exp(np.clip(out[:, count : 2 * count], -6.0, 0.0))
    rest = out[:, 2 * count :]
    return Reading(even, out[:, :count], sd, rest[:, :3], rest[:, 3], rest[:, 4:6])
