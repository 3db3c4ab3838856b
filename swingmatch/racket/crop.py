"""The square about the hitting hand in which the racket is looked for, and what of it goes into the network."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: Side of the square that goes in, pixels.
SIDE = 160
#: Side of the square in the picture, statures. The tip is at most 0.63 m from the middle of the hand, 0.36 statures;
#: the rest is for what is nearer to the camera than the body and for the pose model's errors.
SPAN = 0.95
#: Seconds between the three pictures that are looked at together, where the frame rate allows.
APART = 1.0 / 60.0
#: Half width of the drawn forearm, pixels of the square.
_ARM_WIDTH = 4.0
#: Channels: colour now, grey before, grey after, the forearm.
CHANNELS = 6


@dataclass(frozen=True)
class Square:
    """A square of the picture: ``left``, ``top`` its first pixel, ``side`` pixels; it may reach beyond the picture."""

    left: int
    top: int
    side: int

    @property
    def scale(self) -> float:
        """Pixels of what goes in per pixel of the picture."""
        return SIDE / self.side

    def inward(self, places: Array) -> Array:
        """Pixels of the picture (..., 2) to pixels of what goes in; the middle of the top left pixel is (0, 0)."""
        return (places - (self.left, self.top) + 0.5) * self.scale - 0.5

    def outward(self, places: Array) -> Array:
        """The way back of ``inward``."""
        return (places + 0.5) / self.scale - 0.5 + (self.left, self.top)


def square(hand: Array, body_height: float) -> Square:
    """The square about the ``hand`` (2,) pixels of somebody ``body_height`` pixels tall."""
    side = max(8, round(SPAN * body_height))
    corner = np.round(np.asarray(hand) - 0.5 * (side - 1)).astype(int)
    return Square(int(corner[0]), int(corner[1]), side)


def cut(picture: Picture, where: Square, side: int = SIDE) -> Picture:
    """That square of a picture (h, w) or (h, w, 3) as (side, side, ...); beyond the picture its edge goes on."""
    height, width = picture.shape[:2]
    x0, y0 = where.left, where.top
    x1, y1 = x0 + where.side, y0 + where.side
    inside = picture[
        min(max(y0, 0), height - 1) : max(min(y1, height), 1),
        min(max(x0, 0), width - 1) : max(min(x1, width), 1),
    ]
    if inside.size == 0:
        return np.zeros((side, side, *picture.shape[2:]), np.uint8)
    above, below = max(0, min(-y0, where.side - 1)), where.side - inside.shape[0]
    before, behind = max(0, min(-x0, where.side - 1)), where.side - inside.shape[1]
    above, before = min(above, below), min(before, behind)
    whole = cv2.copyMakeBorder(
        inside, above, below - above, before, behind - before, borderType=cv2.BORDER_REPLICATE
    )
    how = cv2.INTER_AREA if where.side > side else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(whole, (side, side), interpolation=how), dtype=np.uint8)


def grey(picture: Picture) -> Picture:
    """Grey of a picture in colour (h, w, 3), as (h, w)."""
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def arm_map(elbow: Array, hand: Array) -> NDArray[np.float32]:
    """(SIDE, SIDE) a soft line from ``elbow`` to ``hand`` (2,), pixels of what goes in; it grows towards the hand.

    It tells the network which of two hands is meant, and which way the forearm points. All zero for a NaN.
    """
    if not (np.isfinite(elbow).all() and np.isfinite(hand).all()):
        return np.zeros((SIDE, SIDE), np.float32)
    along = hand - elbow
    x, y = np.arange(SIDE) - elbow[0], (np.arange(SIDE) - elbow[1])[:, None]
    share = np.clip((x * along[0] + y * along[1]) / max(float(along @ along), 1e-6), 0.0, 1.0)
    away = (x - share * along[0]) ** 2 + (y - share * along[1]) ** 2
    return (np.exp(-away / (2 * _ARM_WIDTH**2)) * (0.3 + 0.7 * share)).astype(np.float32)


def stack(now: Picture, before: Picture, after: Picture, arm: NDArray[np.float32]) -> NDArray[np.float32]:
    """(CHANNELS, SIDE, SIDE) from the cuts: ``now`` (SIDE, SIDE, 3), ``before`` and ``after`` grey (SIDE, SIDE)."""
    planes = np.concatenate([now.transpose(2, 0, 1), before[None], after[None]]).astype(np.float32)
    return np.concatenate([planes * np.float32(1 / 255) - np.float32(0.5), arm[None]])


def neighbours(times: Array, k: int) -> tuple[int, int]:
    """Which pictures are nearest to ``APART`` before and after picture ``k``; at an end, the picture itself."""
    before = int(np.argmin(np.abs(times[:k] - (times[k] - APART)))) if k else 0
    later = times[k + 1 :]
    after = k + 1 + int(np.argmin(np.abs(later - (times[k] + APART)))) if len(later) else k
    return before, after
