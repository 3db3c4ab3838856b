"""A stand-in for the pose model and pictures that it understands: people are upright coloured bars on black."""

import cv2
import numpy as np

from swingmatch.body.estimator import Pose
from swingmatch.body.skeleton import INDEX, K
from swingmatch.clip.clip import Frame

RED, BLUE, GREEN = (220, 40, 40), (40, 60, 230), (50, 200, 60)
#: Height over the feet, and place across (in half widths, right side negative), of each part in shares of the height.
_PARTS = {
    "ear": (0.95, 0.3),
    "shoulder": (0.80, 0.7),
    "elbow": (0.62, 0.9),
    "wrist": (0.48, 0.9),
    "hand": (0.45, 0.9),
    "hip": (0.50, 0.5),
    "knee": (0.28, 0.5),
    "ankle": (0.04, 0.5),
    "heel": (0.01, 0.5),
    "toe": (0.0, 0.5),
}
#: Width of a bar over its height.
WIDTH = 0.25


def points_of(x, top, height, reach=0.0):
    """(K, 2) keypoints of a bar; ``reach`` moves the right wrist and hand sideways, in heights."""
    out = np.zeros((K, 2))
    out[INDEX["nose"]] = x, top
    for part, (up, across) in _PARTS.items():
        for side, sign in (("left", 1.0), ("right", -1.0)):
            out[INDEX[f"{side}_{part}"]] = x + sign * across * WIDTH * height / 2, top + (1 - up) * height
    for part in ("wrist", "hand"):
        out[INDEX[f"right_{part}"], 0] += reach * height
    return out


class Bars:
    """Shows the tallest bar that is a fifth of the picture's height or more.

    ``reaches`` maps a colour to a function of time: how far the right hand of that person is sideways.
    """

    def __init__(self, reaches=None):
        self.calls, self.restarts, self.reaches = 0, 0, reaches or {}

    def estimate(self, picture, time):
        self.calls += 1
        mask = (picture.max(axis=2) > 100).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
        tallest = max(range(1, count), key=lambda i: stats[i, cv2.CC_STAT_HEIGHT], default=0)
        x, top, width, height = stats[tallest, :4]
        if tallest == 0 or height < 0.2 * len(picture) or width > height:
            return None
        colour = picture[labels == tallest].astype(float).mean(axis=0)
        reach = 0.0
        for known, function in self.reaches.items():
            if np.abs(colour - known).max() < 40:
                reach = function(time)
        return Pose(points_of(x + width / 2, top, height, reach), np.zeros((K, 3)), np.ones(K))

    def restart(self):
        self.restarts += 1

    def close(self):
        pass


def picture(*bars, size=(240, 480)):
    """A picture of people (middle x, top, height, colour), the later ones in front."""
    out = np.zeros((*size, 3), np.uint8)
    for x, top, height, colour in bars:
        if height:
            half = WIDTH * height / 2
            left, right = max(round(x - half), 0), max(round(x + half), 0)
            out[top : top + height, left:right] = colour
    return out


def film(scenes, rate=30.0, start=0.0):
    """Frames of pictures; each scene is a list of bars."""
    return [Frame(i, start + i / rate, picture(*bars)) for i, bars in enumerate(scenes)]


def middles(track):
    """(T,) middle of the shoulders of a track, pixels across."""
    return track.image[:, [INDEX["left_shoulder"], INDEX["right_shoulder"]], 0].mean(axis=1)
