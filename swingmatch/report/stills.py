"""Two stills of one moment: the player's own picture and the model from the same side."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.review import Pair, Review
from swingmatch.report.clock import differences_at
from swingmatch.report.figure import draw_stage
from swingmatch.report.film import ClipFrames, model_pane
from swingmatch.report.framing import frame_swing
from swingmatch.report.labels import quantity_joint
from swingmatch.report.overlay import draw_skeleton, ring
from swingmatch.report.palette import YELLOW, rgb
from swingmatch.report.text import Picture

SIZE = (460, 560)
#: Seconds before and after the moment that the crop also holds, for when the player is lost just then.
_AROUND = 0.15


@dataclass(frozen=True)
class Stills:
    """The two pictures, RGB, and the time that they show in seconds from the player's contact."""

    player: Picture
    model: Picture
    time: float


def stills(
    review: Review, deviation: Deviation, clip_frames: ClipFrames | None, size: tuple[int, int] = SIZE
) -> Stills:
    """Stills of the best swing at the moment of a deviation, the joint concerned ringed in both.

    Without ``clip_frames`` the player's skeleton stands on a plain ground instead of the picture. ``size`` is
    (width, height) in pixels.
    """
    pair = review.pairs[review.best]
    wanted = pair.player.contact + deviation.at
    index = int(np.argmin(np.abs(review.track.times - wanted)))
    shown = float(review.track.times[index])
    framing = frame_swing(review.track, pair, size, shown - _AROUND, shown + _AROUND, aside=0.16)
    stage = draw_stage(size, framing.view)
    image = None if clip_frames is None else _picture_at(clip_frames, shown)
    ground = stage if image is None else framing.crop(image)
    joint = hand_joint(deviation, pair)
    left = draw_skeleton(
        ground,
        framing.to_pane(review.track.image[index]),
        differences_at(pair, deviation.at),
        dot=float(np.clip(0.02 * framing.view.scale, 5.0, 9.0)),
    )
    model = float(pair.alignment.to_model(np.array([shown - pair.player.contact]))[0])
    right = model_pane(pair, framing, stage, model)
    if joint is not None:
        radius = 0.085 * framing.view.scale
        ring(left, framing.to_pane(review.track.image[index, INDEX[joint]]), radius, rgb(YELLOW))
        body = pair.model.at(np.array([pair.model.contact + model]))[0]
        ring(right, framing.view.project(body[INDEX[joint]])[:2], radius, rgb(YELLOW))
    return Stills(left, right, shown - pair.player.contact)


def hand_joint(deviation: Deviation, pair: Pair) -> str | None:
    """The keypoint of a quantity on the player's own body: a quantity names a right-hander's."""
    joint = quantity_joint(deviation.quantity)
    if joint is None or pair.player.hand == "right":
        return joint
    return joint.replace("left", "#").replace("right", "left").replace("#", "right")


def jpeg(picture: Picture, quality: int = 86) -> bytes:
    """An RGB picture as a JPEG file's bytes."""
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not ok:
        raise ValueError("the picture could not be made into a JPEG")
    return bytes(data.tobytes())


def _picture_at(clip_frames: ClipFrames, time: float) -> NDArray[np.uint8] | None:
    """The clip's frame nearest to a time; None where the clip has none within a fifth of a second."""
    best: tuple[float, NDArray[np.uint8]] | None = None
    for frame in clip_frames(time - 0.2, time + 0.2):
        gap = abs(frame.time - time)
        if best is not None and gap > best[0]:
            break
        best = (gap, frame.image)
    return None if best is None else best[1]
