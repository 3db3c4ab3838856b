"""Bodies that the evidence allows as well: its errors are drawn as they are known to be, and the body fitted to each.

Errors of pose models and of read depths last: a keypoint seen too high is so for a good part of a second. Taken for new
in every frame they would seem to average out, and the doubt stated would be far too small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from swingmatch.body.normal import FIRST, FLOOR, SECOND, TILT, Factor, tilt_moves
from swingmatch.body.skeleton import K

Array = NDArray[np.float64]

#: (B, K) the first end of every segment less its second.
_ENDS = np.zeros((len(FIRST), K))
_ENDS[np.arange(len(FIRST)), FIRST] = 1.0
_ENDS[np.arange(len(FIRST)), SECOND] -= 1.0


@dataclass(frozen=True)
class Evidence:
    """The terms of a fit, each with its weight (one over variance) and how far it is truly off (standard deviation).

    Attributes
    ----------
    rays : (T, K, 2). depths : (T, K) of the keypoints. picture_weight, picture_sd : (T, K).
    depth_weight, depth_sd : (T, B) of the segments. across : (T, B) their extent from left to right.
    units : (T, B, 3) their directions. bone_weight : (B,).
    length_sd : (B, G) how the lengths of segments depend on G independent errors of one standard deviation each.
    smooth : (K,) weight of the second differences, a root. stands : (T - 1, K) likewise of a standing foot's steps.
    floor_weight : (T, K). floor_sd : statures. turned_sd : radians by which all depths share a turn of the body.
    prior_sd : (2,) of tilt and floor.
    """

    rays: Array
    depths: Array
    picture_weight: Array
    picture_sd: Array
    depth_weight: Array
    depth_sd: Array
    across: Array
    units: Array
    bone_weight: Array
    length_sd: Array
    smooth: Array
    stands: Array
    floor_weight: Array
    floor_sd: float
    turned_sd: float
    prior_sd: Array


def lasting_noise(rng: np.random.Generator, shape: tuple[int, ...], keep: float) -> Array:
    """Noise of unit variance along the first axis, of which a share ``keep`` is left in the next row."""
    fresh = rng.standard_normal(shape)
    fresh[1:] *= (1.0 - keep**2) ** 0.5
    return np.asarray(lfilter([1.0], [1.0, -keep], fresh, axis=0))


def spread(factor: Factor, evidence: Evidence, keep: float, count: int) -> Array:
    """(S, T, K, 3) departures from the fitted body. ``keep`` : share of an error left in the next frame."""
    rng = np.random.default_rng(0)
    right, shared = zip(*(_drawn(evidence, rng, keep) for _ in range(count)), strict=True)
    away, _ = factor.solve(np.stack([r.ravel() for r in right], axis=1), np.stack(shared, axis=1))
    return away.T.reshape(count, *right[0].shape)


def _drawn(evidence: Evidence, rng: np.random.Generator, keep: float) -> tuple[Array, Array]:
    """Right sides (T, K, 3) and (2,) for one draw of all errors."""
    e = evidence
    frames = len(e.rays)
    right, shared = np.zeros((frames, K, 3)), np.zeros(2)
    off = lasting_noise(rng, (frames, K, 2), keep) * (e.picture_weight * e.picture_sd)[..., None]
    right[..., :2] += off
    right[..., 2] += (e.rays * off).sum(axis=2)
    shared[TILT] += (tilt_moves(e.rays, e.depths) * off).sum()
    deep = lasting_noise(rng, e.depth_sd.shape, keep) * e.depth_sd
    deep += e.turned_sd * lasting_noise(rng, (frames, 1), keep) * e.across
    right[..., 2] += (e.depth_weight * deep) @ _ENDS
    longer = lasting_noise(rng, e.depth_sd.shape, keep) * e.bone_weight**0.5
    longer += e.bone_weight * (e.length_sd @ rng.standard_normal(e.length_sd.shape[1]))
    right += np.einsum("tb,tbx,bk->tkx", longer, e.units, _ENDS)
    bent = e.smooth[:, None] * rng.standard_normal((frames - 2, K, 3))
    right[:-2] += bent
    right[1:-1] -= 2.0 * bent
    right[2:] += bent
    slid = e.stands[..., None] * rng.standard_normal((frames - 1, K, 3))
    right[:-1] -= slid
    right[1:] += slid
    over = lasting_noise(rng, (frames, K), keep) * e.floor_weight * e.floor_sd
    right[..., 1] += over
    shared[FLOOR] -= over.sum()
    return right, shared + rng.standard_normal(2) / e.prior_sd
