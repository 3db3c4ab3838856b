"""Making a face unrecognisable in a picture that leaves the machine."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, middle

Picture = NDArray[np.uint8]

#: Height of the head, chin to crown, and its breadth, over stature: 0.130 (Drillis & Contini 1966, row C1 of the check
#: values: 1 - 0.870) and 0.6 of that (*from memory*; from the side the head is about as deep as it is high).
HEAD = 0.130
#: The ellipse reaches so much beyond the head, because keypoints are off by some pixels. *Our own judgement.*
MARGIN = 1.5
#: Pictures of the head that small are no longer recognisable: it is averaged to so many blocks across. *Our own
#: judgement*; few enough that eyes, nose and mouth share one or two blocks.
BLOCKS = 4
_FACE = ("nose", "left_ear", "right_ear")


def blur_faces(picture: Picture, image: NDArray[np.float64]) -> Picture:
    """A copy of an RGB picture (H, W, 3) with the head of one person, or of several, made unrecognisable.

    Parameters
    ----------
    image : (K, 2) keypoints of one person or (P, K, 2) of several, pixels of this picture; NaN where not seen.

    Notes
    -----
    The head is an ellipse around the middle of nose and ears that are seen, as large as the person's stature in the
    picture says, at least as large as the distances between nose and ears say. Where none of them is seen it lies over
    the shoulders. A person of whom neither is seen is left as is: there is nothing to go by.
    """
    out = picture.copy()
    people = image[None] if image.ndim == 2 else image
    for points in people:
        ellipse = head_ellipse(points)
        if ellipse is not None:
            _blur(out, *ellipse)
    return out


def head_ellipse(points: NDArray[np.float64]) -> tuple[float, float, float] | None:
    """Middle (x, y) and radius, pixels, of a circle that covers the head with margin; None where it cannot be told.

    The head may be seen from any side and leant, so the ellipse is as wide as it is high.
    """
    stature = _stature(points)
    seen = points[[INDEX[name] for name in _FACE]]
    seen = seen[np.isfinite(seen).all(axis=1)]
    if len(seen):
        centre = (seen.min(axis=0) + seen.max(axis=0)) / 2
        apart = float(np.linalg.norm(seen.max(axis=0) - seen.min(axis=0)))
    else:
        shoulders = middle(points, "shoulder")
        if not np.isfinite(shoulders).all() or not np.isfinite(stature):
            return None
        centre = shoulders - np.array([0.0, stature * (NOSE_OVER_ANKLES - 0.78)])
        apart = 0.0
    radius = MARGIN * max(HEAD / 2 * stature if np.isfinite(stature) else 0.0, apart * 0.75, 3.0)
    return float(centre[0]), float(centre[1]), float(radius)


def _stature(points: NDArray[np.float64]) -> float:
    """Stature in pixels: what trunk, thighs and shanks add up to, each over its share (row C1); NaN if unknown.

    The longest of the guesses counts: a limb that points to the camera looks short, and never long.
    """
    shares = {("shoulder", "hip"): 0.288, ("hip", "knee"): 0.245, ("knee", "ankle"): 0.246}
    found = [
        float(np.linalg.norm(points[INDEX[f"{side}_{a}"]] - points[INDEX[f"{side}_{b}"]])) / share
        for (a, b), share in shares.items()
        for side in ("left", "right")
    ]
    known = [value for value in found if np.isfinite(value)]
    return max(known) if known else float("nan")


def _blur(picture: Picture, x: float, y: float, radius: float) -> None:
    """Replace what lies in the circle by blocks, smoothed; in place."""
    height, width = picture.shape[:2]
    left, right = max(int(np.floor(x - radius)), 0), min(int(np.ceil(x + radius)) + 1, width)
    top, bottom = max(int(np.floor(y - radius)), 0), min(int(np.ceil(y + radius)) + 1, height)
    if left >= right or top >= bottom:
        return
    part = picture[top:bottom, left:right]
    block = max(2 * radius / MARGIN / BLOCKS, 1.0)
    size = (max(round((right - left) / block), 1), max(round((bottom - top) / block), 1))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    coarse = cv2.resize(small, (right - left, bottom - top), interpolation=cv2.INTER_LINEAR)
    rows, columns = np.mgrid[top:bottom, left:right]
    inside = (columns - x) ** 2 + (rows - y) ** 2 <= radius**2
    part[inside] = coarse[inside]
