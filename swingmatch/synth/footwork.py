"""Where the feet stand and when they step: plants, steps between them, and heels that rise."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from swingmatch.synth.build import Build
from swingmatch.synth.chain import ANKLE_SHARE, foot
from swingmatch.synth.curves import arc, step, through

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Plant:
    """A foot flat on the ground: ankle at (x, z) metres, toes turned out by ``yaw`` degrees from X towards Z."""

    x: float
    z: float
    yaw: float

    def toe(self, build: Build) -> Array:
        """(2,) ground position of the toe."""
        ahead = (1.0 - ANKLE_SHARE) * build.length("foot")
        a = np.radians(self.yaw)
        return np.array([self.x + ahead * np.cos(a), self.z + ahead * np.sin(a)])


@dataclass(frozen=True)
class Step:
    """A foot leaves the ground at ``start`` and stands on ``to`` from ``end``; ``lift`` metres half way."""

    start: float
    end: float
    to: Plant
    lift: float


@dataclass
class FootPlan:
    """All that one foot does: first plant, steps in order of time, turns about the toe, heel rise keys."""

    first: Plant
    steps: list[Step] = field(default_factory=list)
    pivots: list[tuple[float, float, float]] = field(default_factory=list)
    heel: list[tuple[float, float]] = field(default_factory=list)

    @property
    def last(self) -> Plant:
        """Where the foot stands after its last step."""
        return self.steps[-1].to if self.steps else self.first

    def move(self, start: float, end: float, to: Plant, lift: float) -> None:
        """Add a step."""
        self.steps.append(Step(start, end, to, lift))

    def channels(self, times: Array, build: Build) -> tuple[Array, Array, Array, Array]:
        """Toe (T, 2) metres, yaw, heel rise (T,) degrees and lift (T,) metres at ``times``.

        A pivot ``(start, end, by)`` turns the foot about its toe; the next step takes the turn back.
        """
        place = self.first
        toe = np.tile(place.toe(build), (len(times), 1))
        yaw = np.full(len(times), place.yaw)
        lift = np.zeros(len(times))
        for s in self.steps:
            w = step(times, s.start, s.end)
            toe += w[:, None] * (s.to.toe(build) - place.toe(build))
            yaw += w * (s.to.yaw - place.yaw)
            lift += s.lift * arc(times, s.start, s.end)
            place = s.to
        for start, end, by in self.pivots:
            after = next((s for s in self.steps if s.start >= end), None)
            back = step(times, after.start, after.end) if after else 0.0
            yaw += by * (step(times, start, end) - back)
        heel = through(times, self.heel, 0.02) if self.heel else np.zeros(len(times))
        return toe, yaw, np.maximum(heel, 0.0), lift

    def ankle(self, times: Array, build: Build) -> Array:
        """Ankle (T, 3) metres."""
        return foot(*self.channels(times, build), build)[0]

    def planted(self, times: Array) -> NDArray[np.bool_]:
        """(T,) instants at which the toe stands on the ground."""
        free = np.zeros(len(times), dtype=bool)
        for s in self.steps:
            free |= (times > s.start) & (times < s.end)
        return ~free
