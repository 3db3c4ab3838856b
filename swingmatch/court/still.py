"""The empty court: a few pictures of a clip laid on one another, the player and all that moves left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.reader import frames

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]

#: Pictures that are laid on one another, and their largest height, pixels.
PICTURES, TALLEST = 5, 720
#: Room about the player's keypoints that is left out, statures: a racket at arm's length is not kept out whole, the
#: median is there for that.
_ROOM = 0.12
#: A camera that moves further than this share of the picture's longer side between two pictures does not stand.
_STANDS = 0.04
#: A smaller shift, pixels at half size, is not undone: it is as likely the player's doing.
_STILL = 0.3
#: Stands for a pixel that the player hides; brighter than any.
_HIDDEN = 256


def some_pictures(clip: Clip, track: Track, slow: float = 1.0) -> tuple[list[Picture], list[Mask]]:
    """A few pictures spread over the frames in which the player was found, and the player's place in each.

    Parameters
    ----------
    clip : as it was opened. track : on real times; the clip plays ``slow`` times slower.

    Returns
    -------
    Pictures (h, w, 3) RGB of equal size, and masks (h, w), True where the player is. Empty lists where the player
    was never found. Raises ``ClipError``.
    """
    pictures: list[Picture] = []
    masks: list[Mask] = []
    found = np.flatnonzero(track.found)
    if len(found) == 0:
        return pictures, masks
    picks = found[np.unique(np.linspace(0, len(found) - 1, PICTURES).round().astype(int))]
    for row in picks:
        for frame in _one(clip, float(track.times[row]) * slow):
            scale = frame.image.shape[0] / track.size[1]
            pictures.append(frame.image)
            masks.append(player_mask(track.image[row] * scale, frame.image.shape[:2]))
    return pictures, masks


def _one(clip: Clip, time: float) -> Iterator[Frame]:
    with frames(clip, max(time - 1e-3, 0.0), max_height=TALLEST) as some:
        yield from islice(some, 1)


def player_mask(places: Array, shape: tuple[int, ...]) -> Mask:
    """Where a player with keypoints at ``places`` (K, 2) pixels covers a picture of ``shape`` (h, w)."""
    out = np.zeros(shape[:2], dtype=np.uint8)
    known = places[np.isfinite(places).all(axis=1)]
    if len(known) < 3:
        return out.astype(bool)
    tall = float(np.ptp(known[:, 1]))
    hull = cv2.convexHull(known.astype(np.float32)).round().astype(np.int32)
    cv2.fillPoly(out, [hull], 1)
    room = 2 * max(round(_ROOM * tall), 1) + 1
    ellipse = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (room, room))
    return cv2.dilate(out, ellipse).astype(bool)


def still(pictures: Sequence[Grey], masks: Sequence[Mask]) -> tuple[Grey, Mask]:
    """The median (h, w) of what stands still in grey pictures, and where (h, w) nothing of it was ever seen.

    Pictures are moved onto the middle one; those that lie further away than a steady camera's are left out.
    """
    middle = len(pictures) // 2
    small = [_background(picture, mask) for picture, mask in zip(pictures, masks, strict=True)]
    limit = _STANDS * max(small[0].shape)
    window = cv2.createHanningWindow(small[0].shape[::-1], cv2.CV_32F)
    # Hidden pixels go to the end of the order, so that the median of the others lies at half their count.
    layers = []
    for picture, mask, other in zip(pictures, masks, small, strict=True):
        (dx, dy), _ = cv2.phaseCorrelate(small[middle], other, window)
        if np.hypot(dx, dy) > limit:
            continue
        if np.hypot(dx, dy) < _STILL:
            dx = dy = 0.0
        move = np.array([[1.0, 0.0, -2.0 * dx], [0.0, 1.0, -2.0 * dy]])
        size = (picture.shape[1], picture.shape[0])
        layer = cv2.warpAffine(picture, move, size, borderMode=cv2.BORDER_REPLICATE).astype(np.int16)
        layer[cv2.warpAffine(mask.astype(np.uint8), move, size) > 0] = _HIDDEN
        layers.append(layer)
    stack = np.sort(np.stack(layers), axis=0)
    count = (stack < _HIDDEN).sum(axis=0)
    low, high = (
        np.take_along_axis(stack, place[None], axis=0)[0]
        for place in (np.maximum(count - 1, 0) // 2, np.minimum(count // 2, len(stack) - 1))
    )
    return np.minimum((low + high) // 2, 255).astype(np.uint8), count == 0


def _background(picture: Grey, mask: Mask) -> NDArray[np.float32]:
    """What is fine in a picture at half its size, nothing where the player is: the shift is to be the background's."""
    half = picture[::2, ::2].astype(np.float32)
    fine = half - cv2.GaussianBlur(half, (0, 0), 4.0)
    # The edge of the mask must not show, nor a racket; and one bright thing that moves must not outweigh the rest.
    near = cv2.dilate(mask[::2, ::2].astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    limit = 3.0 * float(np.median(np.abs(fine))) + 1.0
    return np.where(near, np.float32(0.0), np.clip(fine, -limit, limit)).astype(np.float32)
