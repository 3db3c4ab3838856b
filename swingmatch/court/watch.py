"""Looking for the court in a clip: a few of its pictures are read once more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES, middle
from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip
from swingmatch.court.lines import find_lines, whiteness
from swingmatch.court.still import Mask, Picture, some_pictures, still
from swingmatch.court.yaw import Body, CourtYaw, yaw_of_lines
from swingmatch.errors import ClipError

Array = NDArray[np.float64]


def see_court(clip: Clip, track: Track, slow: float = 1.0) -> CourtYaw | None:
    """How the camera stands to the court's lines; None where none are seen, or the clip cannot be read.

    Parameters
    ----------
    clip : as it was opened. track : the player, on real times; the clip plays ``slow`` times slower.
    """
    try:
        pictures, masks = some_pictures(clip, track, slow)
    except ClipError:
        return None
    if not pictures:
        return None
    body = body_of(track)
    if body is not None:
        scale = pictures[0].shape[0] / track.size[1]
        body = Body(body.feet * scale, body.height * scale)
    return court_yaw(pictures, masks, body)


def court_yaw(
    pictures: Sequence[Picture], masks: Sequence[Mask], body: Body | None = None
) -> CourtYaw | None:
    """The camera's yaw against the court's lines in some pictures of a camera that stands.

    Parameters
    ----------
    pictures : (h, w, 3) RGB, all of one size, at least one. masks : (h, w) of each, True where the player is.
    body : the player, in pixels of those pictures.

    Returns
    -------
    None where lines are not seen, or do not fit a court.
    """
    white, hidden = still([whiteness(picture) for picture in pictures], masks)
    return yaw_of_lines(find_lines(white, hidden), (white.shape[1], white.shape[0]), body)


def body_of(track: Track) -> Body | None:
    """The player's usual place and height in the picture, pixels; None where head and feet are never both in view."""
    ankles = middle(track.image, "ankle")
    tall = ankles[:, 1] - track.image[:, INDEX["nose"], 1]
    known = np.isfinite(tall) & np.isfinite(ankles).all(axis=1)
    if not known.any():
        return None
    # A player who bends is not smaller.
    height = float(np.quantile(tall[known], 0.9)) / NOSE_OVER_ANKLES
    if height <= 0.0:
        return None
    feet = [INDEX[f"{side}_{part}"] for side in ("left", "right") for part in ("heel", "toe")]
    places = track.image[:, feet].reshape(-1, 2)
    places = places[np.isfinite(places).all(axis=1)]
    return Body(np.median(places if len(places) else ankles[known], axis=0), height)
