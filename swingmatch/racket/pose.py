"""The racket in one frame: every pose that its points in the picture allow.

A flat hoop far away looks the same as its mirror image in depth, so there are two poses (OpenCV's IPPE finds both for
four points or more; for three, SQPNP finds one and the other is its reflection). Each is then fitted to the points and
to the hand's place at once. A turn by half a turn about the long axis makes four of them, since the edges of a
symmetrical hoop are an unordered pair.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.points import BUTT, LEFT, RIGHT, THROAT, TIP
from swingmatch.racket.turning import cross_matrix, turn
from swingmatch.racket.view import View

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Half a turn about the long axis, on the racket's own axes.
ROLLED = np.diag([-1.0, -1.0, 1.0])
#: Points on the long axis.
_ON_AXIS = (BUTT, THROAT, TIP)
_ROUNDS = 12


@dataclass(frozen=True)
class Hold:
    """Where the racket is held, for M frames.

    Attributes
    ----------
    hand : (M, 3) statures, level axes: the middle of the knuckles. grip : statures from the butt to the hand.
    across, along : standard deviations of the hand's place square to the line of sight and along it, statures.
    """

    hand: Array
    grip: float
    across: float
    along: float

    def weight(self) -> Array:
        """(M, 3, 3) inverse covariance of the hand's place."""
        sight = self.hand / np.linalg.norm(self.hand, axis=-1, keepdims=True)
        outer = sight[..., :, None] * sight[..., None, :]
        return np.asarray(np.eye(3) / self.across**2 + outer * (1.0 / self.along**2 - 1.0 / self.across**2))


@dataclass(frozen=True)
class Projected:
    """Five points in the picture and how they move: pixels (M, 5, 2), with a turn of the racket (M, 5, 2, 3), with a
    shift of it in statures (M, 5, 2, 3), with the logarithm of its length (M, 5, 2), and with the grip (M, 5, 2)."""

    image: Array
    by_turn: Array
    by_shift: Array
    by_length: Array
    by_grip: Array


def place(turns: Array, held: Array, model: Array, grip: float) -> Array:
    """Points (..., 5, 3) of a racket with ``model`` (5, 3), turned by (..., 3, 3) and held at (..., 3)."""
    arms = model - np.array([0.0, 0.0, grip])
    return held[..., None, :] + np.einsum("...ij,kj->...ki", turns, arms)


def project(view: View, turns: Array, held: Array, model: Array, grip: float) -> Projected:
    """Project rackets (M, 3, 3) held at (M, 3), with derivatives."""
    points = place(turns, held, model, grip)
    move = view.moves(points)
    arms = points - held[:, None]
    return Projected(
        image=view.project(points),
        by_turn=-move @ cross_matrix(arms),
        by_shift=move,
        by_length=np.einsum("mkab,mkb->mka", move, np.einsum("mij,kj->mki", turns, model)),
        by_grip=-np.einsum("mkab,mb->mka", move, turns[..., 2]),
    )


def mirrored(turns: Array, sight: Array) -> Array:
    """The mirror image in depth, as a rotation: (..., 3, 3) seen along the unit vectors (..., 3)."""
    flip = np.eye(3) - 2.0 * sight[..., :, None] * sight[..., None, :]
    # The face's axis is turned round as well, which leaves the racket's points where the reflection puts them.
    return np.asarray(flip @ turns @ np.diag([1.0, -1.0, 1.0]))


def enough(known: Flags) -> Flags:
    """(N,) whether points (N, 5) and a hand on the handle fix a pose: an edge, and two more counting the hand."""
    edges = known[:, [LEFT, RIGHT]].sum(axis=1)
    others = known[:, list(_ON_AXIS)].sum(axis=1)
    return (edges >= 1) & (edges + others >= 2)


def _first(image: Array, known: Flags, model: Array, view: View, hand: Array, grip: float) -> list[Array]:
    """Rotations (3, 3) that OpenCV finds from at least three points, counting the hand where there are but two."""
    flat = model[:, [0, 2, 1]] * np.array([1.0, 1.0, 0.0])
    at = np.flatnonzero(known)
    body, seen = flat[at], image[at]
    if len(at) < 3:
        body = np.vstack([body, [0.0, grip, 0.0]])
        seen = np.vstack([seen, view.project(hand)])
    method = cv2.SOLVEPNP_IPPE if len(body) >= 4 else cv2.SOLVEPNP_SQPNP
    try:
        _, turns, _, _ = cv2.solvePnPGeneric(body, seen, view.matrix, None, flags=method)
    except cv2.error:
        return []
    out = []
    for vector in turns:
        columns = view.from_opencv(cv2.Rodrigues(vector)[0])
        if np.isfinite(columns).all():
            # OpenCV's flat axes are across, along and their product; the face is the other way round.
            out.append(np.stack([columns[:, 0], -columns[:, 2], columns[:, 1]], axis=1))
    return out


@dataclass(frozen=True)
class Candidates:
    """Poses that single frames allow.

    Attributes
    ----------
    frame : (M,) index of the frame, rising. turns : (M, C, 3, 3); C is four: a pose, its mirror image, and both rolled.
    cost : (M, C) sum of squared residuals over their standard deviations. spread : (M, C, 3, 3) radians squared, of a
        small turn of the pose.
    """

    frame: NDArray[np.int_]
    turns: Array
    cost: Array
    spread: Array


def candidates(image: Array, sd: Array, known: Flags, view: View, model: Array, hold: Hold) -> Candidates:
    """All poses of each frame that has points enough.

    Parameters
    ----------
    image, sd, known : (N, 5, 2) pixels, (N, 5) pixels, (N, 5). model : (5, 3) statures.
    hold : of the N frames.
    """
    frames, starts = [], []
    for n in np.flatnonzero(enough(known)):
        found = _first(image[n], known[n], model, view, hold.hand[n], hold.grip)
        if not found:
            continue
        sight = hold.hand[n] / np.linalg.norm(hold.hand[n])
        # IPPE's second solution is better than a plain reflection; where there is none, the reflection serves.
        pair = found[:2] if len(found) >= 2 else [found[0], mirrored(found[0], sight)]
        frames.append(n)
        starts.append(np.stack(pair))
    if not frames:
        none = np.zeros((0, 4))
        return Candidates(np.zeros(0, dtype=int), np.zeros((0, 4, 3, 3)), none, np.zeros((0, 4, 3, 3)))
    frame = np.array(frames)
    turns = np.stack(starts)
    each = [
        refine(turns[:, c], image[frame], sd[frame], known[frame], view, model, _some(hold, frame))
        for c in range(2)
    ]
    turns = np.stack([one[0] for one in each], axis=1)
    cost = np.stack([one[1] for one in each], axis=1)
    error = np.stack([one[2] for one in each], axis=1)
    return Candidates(
        frame,
        np.concatenate([turns, turns @ ROLLED], axis=1),
        np.concatenate([cost, cost], axis=1),
        np.concatenate([error, error], axis=1),
    )


def _some(hold: Hold, frames: NDArray[np.int_]) -> Hold:
    return Hold(hold.hand[frames], hold.grip, hold.across, hold.along)


def edges_as(image: Array, sd: Array, known: Flags, guess: Array) -> tuple[Array, Array, Flags]:
    """The points with the two edges of each frame whichever way round is nearer to ``guess`` (M, 5, 2)."""
    swap = [BUTT, THROAT, TIP, RIGHT, LEFT]

    def far(order: list[int]) -> Array:
        miss = ((image[:, order] - guess) ** 2).sum(axis=2)[:, 3:] / np.where(known, sd, 1.0)[:, order][
            :, 3:
        ] ** 2
        return np.asarray(np.where(known[:, order][:, 3:], miss, 0.0).sum(axis=1))

    other = far(swap) < far([0, 1, 2, 3, 4])
    return (
        np.where(other[:, None, None], image[:, swap], image),
        np.where(other[:, None], sd[:, swap], sd),
        np.where(other[:, None], known[:, swap], known),
    )


def refine(
    turns: Array, image: Array, sd: Array, known: Flags, view: View, model: Array, hold: Hold
) -> tuple[Array, Array, Array]:
    """Poses (M, 3, 3) fitted to points and hand, their costs (M,), covariances (M, 3, 3) of a small turn, radians^2.

    Levenberg-Marquardt on rotation and place of all frames side by side.
    """
    count = len(turns)
    shift = np.zeros((count, 3))
    tie = hold.weight()
    damp = np.full(count, 1e-3)
    turns = turns.copy()

    def look(turns: Array, shift: Array) -> tuple[Array, Array, Array]:
        seen = project(view, turns, hold.hand + shift, model, hold.grip)
        at, error, there = edges_as(image, sd, known, seen.image)
        weight = np.where(there, 1.0 / np.where(there, error, 1.0), 0.0)[..., None]
        miss = np.where(there[..., None], seen.image - np.where(there[..., None], at, 0.0), 0.0) * weight
        slope = np.concatenate([seen.by_turn, seen.by_shift], axis=-1) * weight[..., None]
        cost = (miss**2).sum(axis=(1, 2)) + np.einsum("mi,mij,mj->m", shift, tie, shift)
        return miss.reshape(count, 10), slope.reshape(count, 10, 6), cost

    miss, slope, cost = look(turns, shift)
    matrix = np.zeros((count, 6, 6))
    for _ in range(_ROUNDS):
        matrix = np.swapaxes(slope, 1, 2) @ slope
        matrix[:, 3:, 3:] += tie
        right = np.einsum("mri,mr->mi", slope, miss)
        right[:, 3:] += np.einsum("mij,mj->mi", tie, shift)
        damped = matrix + damp[:, None, None] * _diagonal(matrix)
        step = -np.linalg.solve(damped, right[..., None])[..., 0]
        step[:, :3] *= np.minimum(1.0, 0.5 / np.maximum(np.linalg.norm(step[:, :3], axis=1), 1e-9))[:, None]
        trial, moved = turn(step[:, :3]) @ turns, shift + step[:, 3:]
        new = look(trial, moved)
        better = new[2] < cost
        turns = np.where(better[:, None, None], trial, turns)
        shift = np.where(better[:, None], moved, shift)
        damp = np.where(better, damp * 0.3, damp * 10.0)
        miss, slope, cost = look(turns, shift)
    matrix = np.swapaxes(slope, 1, 2) @ slope + 1e-3 * np.eye(6)
    matrix[:, 3:, 3:] += tie
    spread = np.linalg.inv(matrix)[:, :3, :3]
    return turns, cost, spread


def _diagonal(matrix: Array) -> Array:
    """(M, 6, 6) the diagonals, with a little of their mean so that nothing is left free."""
    diagonal = np.diagonal(matrix, axis1=1, axis2=2)
    return np.asarray((diagonal + 1e-6 * diagonal.mean(axis=1, keepdims=True))[..., None] * np.eye(6))
