"""``Measured``: every measure of every swing of one clip, ready to be shown. No computation, no files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from swingmatch.stroke.direction import side_name
from swingmatch.stroke.measure import Measure
from swingmatch.stroke.reconstruct import Strokes
from swingmatch.stroke.repeats import Scatter


@dataclass(frozen=True)
class Measured:
    """What was measured in one clip.

    Attributes
    ----------
    clip : the clip's file name. strokes : its swings, with their contacts, hitting hand and camera.
    measures : of each swing, in the order of its definition.
    notes : sentences on the footage and its limits.
    slow : how many times slower than life the clip plays; all times here are real, the clip's are ``slow`` times these.
    scatters : stroke -> how well contact repeats, of every stroke that was played more than once.
    """

    clip: str
    strokes: Strokes
    measures: tuple[tuple[Measure, ...], ...]
    notes: tuple[str, ...]
    slow: float = 1.0
    scatters: Mapping[str, Scatter] = field(default_factory=dict)

    @property
    def camera_side(self) -> str:
        """Where the camera stands, in plain words."""
        return side_name(self.strokes.camera_azimuth)
