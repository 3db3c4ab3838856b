"""A small picture of a model at contact, drawn from its keypoints: nobody's face is in it."""

from __future__ import annotations

import cv2
import numpy as np

from swingmatch.report.figure import View, draw_figure, draw_stage
from swingmatch.stroke.swing import Swing

#: Width and height in pixels, and pixels a stature.
SIZE, SCALE = (200, 280), 175.0
#: The camera: halfway between the front and the hitting side, from where the arm and the stance are seen. Degrees.
AZIMUTH = 60.0


def contact_picture(swing: Swing) -> bytes:
    """A PNG of the body at contact, seen from the front and the hitting side."""
    points = swing.points[int(np.argmin(np.abs(swing.times - swing.contact)))]
    # A serve reaches up: the body stands lower in the picture, and smaller.
    tall = float(np.nanmax(points[:, 1], initial=1.0))
    scale = SCALE * min(1.0, 1.3 / max(tall, 1.0))
    middle = np.nanmean(points, axis=0)
    view = View(
        azimuth=AZIMUTH if swing.hand == "right" else -AZIMUTH,
        scale=scale,
        court=(float(middle[0]), float(middle[2])),
        pixel=(SIZE[0] / 2, SIZE[1] - 34.0),
    )
    racket = None
    if swing.racket is not None:
        racket = swing.racket[int(np.argmin(np.abs(swing.times - swing.contact)))]
    picture = draw_figure(draw_stage(SIZE, view), points, view, racket=racket)
    done, data = cv2.imencode(".png", picture[..., ::-1])
    if not done:
        raise RuntimeError("the picture could not be written as PNG")
    return data.tobytes()
