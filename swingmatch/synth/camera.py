"""A pinhole camera beside the court: where it stands, how it shakes, when it takes its frames."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

# Hand tremor and sway while filming are slow; four incommensurate rates look irregular for a minute. Own choice.
_SHAKE_HERTZ = np.array([0.31, 0.83, 1.9, 4.3])
_SHAKE_WEIGHT = np.array([1.0, 0.6, 0.3, 0.12])


@dataclass(frozen=True)
class Camera:
    """A camera that looks at the player.

    Attributes
    ----------
    azimuth : degrees about the vertical from the target direction to the camera: 0 in front of the player,
        +90 on the player's right-hand side, 180 behind.
    height : metres of the lens above the ground. distance : horizontal metres from ``aim`` to the lens.
    aim : (X, Y, Z) metres on court axes, the point in the middle of the picture.
    field_of_view : degrees along the longer side of the picture (a phone's main lens: 60-70).
    roll : degrees, positive when the camera leans to its right (the picture turns counter-clockwise).
    shake : root mean square of the hand-held shake about each axis, degrees.
    size : (width, height) in pixels.
    fps : frames a second. jitter : departure of single frames from the even grid, as a share of a frame, below 1.
    shutter : exposure time of a frame, seconds; a frame's time is the middle of its exposure.
    seed : of the shake and the jitter.
    """

    azimuth: float = 90.0
    height: float = 1.3
    distance: float = 5.0
    aim: tuple[float, float, float] = (0.0, 0.95, 0.0)
    field_of_view: float = 60.0
    roll: float = 0.0
    shake: float = 0.0
    size: tuple[int, int] = (960, 540)
    fps: float = 60.0
    jitter: float = 0.0
    shutter: float = 1 / 500
    seed: int = 0

    def __post_init__(self) -> None:
        if not 0.0 <= self.jitter < 1.0:
            raise ValueError(f"jitter must be in [0, 1) (got {self.jitter})")
        if self.distance <= 0.0:
            raise ValueError(f"distance must be positive (got {self.distance})")

    @property
    def position(self) -> NDArray[np.float64]:
        """(3,) metres, the lens on court axes."""
        a = np.radians(self.azimuth)
        return np.array(
            [
                self.aim[0] + self.distance * np.cos(a),
                self.height,
                self.aim[2] + self.distance * np.sin(a),
            ]
        )

    @property
    def focal(self) -> float:
        """Focal length in pixels."""
        return 0.5 * max(self.size) / float(np.tan(np.radians(self.field_of_view) / 2))

    @property
    def centre(self) -> tuple[float, float]:
        """Principal point in pixels; the middle of the top left pixel is (0, 0)."""
        return (0.5 * (self.size[0] - 1), 0.5 * (self.size[1] - 1))

    def frame_times(self, duration: float) -> NDArray[np.float64]:
        """Times of the frames, seconds, rising from 0 and below ``duration``: (T,)."""
        count = max(int(np.ceil(duration * self.fps - 1e-9)), 1)
        times = np.arange(count) / self.fps
        if self.jitter:
            times[1:] += np.random.default_rng([self.seed, 1]).uniform(-0.5, 0.5, count - 1) * (
                self.jitter / self.fps
            )
        return times

    def rotation(self, times: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """World-to-camera rotations: rows are the camera's right, up and backward (towards the viewer) axes.

        ``times`` (T,) seconds gives (T, 3, 3) with the shake of those moments; None gives (3, 3) without shake.
        """
        a = np.radians(self.azimuth)
        level = np.array([[np.sin(a), 0.0, -np.cos(a)], [0.0, 1.0, 0.0], [np.cos(a), 0.0, np.sin(a)]])
        pitch = np.arctan2(self.height - self.aim[1], self.distance)
        roll = np.radians(self.roll)
        if times is None:
            return _about(2, roll) @ _about(0, pitch) @ level
        turn = self._shake(times)
        return _about(2, roll + turn[:, 2]) @ _about(1, turn[:, 1]) @ _about(0, pitch + turn[:, 0]) @ level

    def _shake(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Shake about the camera's three axes: (T,) seconds to (T, 3) radians; a sum of sines, so any time works."""
        phase = np.random.default_rng([self.seed, 2]).uniform(0, 2 * np.pi, (3, len(_SHAKE_HERTZ)))
        weight = _SHAKE_WEIGHT * np.sqrt(2 / np.sum(_SHAKE_WEIGHT**2))
        waves = np.sin(2 * np.pi * _SHAKE_HERTZ * np.asarray(times)[:, None, None] + phase) @ weight
        return np.radians(self.shake) * waves

    def to_camera(
        self, points: NDArray[np.float64], times: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Court axes to camera axes (x right, y up, z backward), metres.

        With ``times`` (T,) the first axis of ``points`` (T, ..., 3) is time; without, any (..., 3) works.
        """
        away = np.asarray(points, dtype=np.float64) - self.position
        if times is None:
            return away @ self.rotation().T
        return np.einsum("tij,t...j->t...i", self.rotation(times), away)

    def project(
        self, points: NDArray[np.float64], times: NDArray[np.float64] | None = None
    ) -> NDArray[np.float64]:
        """Pixels (x right, y down) of points in metres: (T, ..., 3) to (T, ..., 2), as in ``to_camera``.

        A point behind the lens gives NaN.
        """
        seen = self.to_camera(points, times)
        depth = np.where(seen[..., 2] < 0, -seen[..., 2], np.nan)
        x = self.centre[0] + self.focal * seen[..., 0] / depth
        y = self.centre[1] - self.focal * seen[..., 1] / depth
        return np.stack([x, y], axis=-1)

    def as_dict(self) -> dict[str, object]:
        """Every setting by name, ready for JSON."""
        return asdict(self)


def _about(axis: int, angle: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Matrices that turn the camera by ``angle`` radians (...,) about its own x, y or z: (..., 3, 3).

    They act on camera coordinates, so they are the transpose of turning the points. Positive about x looks
    down, about z leans right.
    """
    angle = np.asarray(angle, dtype=np.float64)
    c, s = np.cos(angle), np.sin(angle)
    out = np.zeros((*angle.shape, 3, 3))
    i, j = ((1, 2), (2, 0), (0, 1))[axis]
    out[..., axis, axis] = 1.0
    out[..., i, i] = out[..., j, j] = c
    out[..., i, j], out[..., j, i] = -s, s
    return out
