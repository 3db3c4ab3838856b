"""The camera that the lifted body stands before: a pinhole of a phone's field of view that looks down by some angle.

Level axes are those of ``body.lift.Lifted``: the camera at the origin, x right, y vertical, z towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.lift import FOCAL

Array = NDArray[np.float64]
#: Points nearer to the lens than this are taken to be here, statures: a guess that is far off must not flip its sign.
_NEAREST = 0.05


@dataclass(frozen=True)
class View:
    """A camera.

    Attributes
    ----------
    size : width and height of the picture, pixels. tilt : by how much it looks down, radians (``Lifted.tilt``).
    focal : pixels; the lift's own when None is given.
    """

    size: tuple[int, int]
    tilt: float = 0.0
    focal_pixels: float | None = None

    @property
    def focal(self) -> float:
        """Focal length in pixels."""
        return FOCAL * max(self.size) if self.focal_pixels is None else self.focal_pixels

    @property
    def turn(self) -> Array:
        """(3, 3) from level axes to the camera's own: x right, y up in the picture, z backward."""
        c, s = np.cos(self.tilt), np.sin(self.tilt)
        return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])

    @property
    def middle(self) -> Array:
        """(2,) pixels, the principal point."""
        return np.array([self.size[0] / 2.0, self.size[1] / 2.0])

    def project(self, points: Array) -> Array:
        """Pixels (..., 2) of points (..., 3) in statures on level axes."""
        seen = points @ self.turn.T
        depth = np.maximum(-seen[..., 2], _NEAREST)[..., None]
        return self.middle + self.focal * seen[..., :2] / depth * np.array([1.0, -1.0])

    def moves(self, points: Array) -> Array:
        """(..., 2, 3) by how many pixels a projected point moves with its place in space."""
        seen = points @ self.turn.T
        depth = np.maximum(-seen[..., 2], _NEAREST)
        own = np.zeros((*points.shape[:-1], 2, 3))
        own[..., 0, 0], own[..., 1, 1] = 1.0 / depth, -1.0 / depth
        own[..., 0, 2], own[..., 1, 2] = seen[..., 0] / depth**2, -seen[..., 1] / depth**2
        return np.asarray(self.focal * own @ self.turn)

    @property
    def matrix(self) -> Array:
        """(3, 3) OpenCV's camera matrix."""
        return np.array(
            [[self.focal, 0.0, self.middle[0]], [0.0, self.focal, self.middle[1]], [0.0, 0.0, 1.0]]
        )

    def from_opencv(self, vectors: Array) -> Array:
        """Vectors (3, ...) on OpenCV's axes (x right, y down, z away) to level axes."""
        return np.asarray(self.turn.T @ (np.array([1.0, -1.0, -1.0])[:, None] * vectors.reshape(3, -1)))
