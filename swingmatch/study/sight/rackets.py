"""Rackets of many shapes and colours, and the strings in them. None is anybody's: all of it is drawn at random."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.study.sight.tubes import TubeList, Tubes, fill, fixed

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

_RING = 30  # corners of the hoop


def any_colour(rng: np.random.Generator) -> Array:
    """A colour 0..255: plain dark or light, or strong."""
    kind = rng.random()
    if kind < 0.35:
        return np.clip(rng.uniform(5, 60) + rng.normal(0, 6, 3), 0, 255)
    if kind < 0.5:
        return np.clip(rng.uniform(190, 250) + rng.normal(0, 8, 3), 0, 255)
    hsv = np.array([[[rng.uniform(0, 180), rng.uniform(40, 235), rng.uniform(60, 255)]]], np.uint8)
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0].astype(float)


@dataclass(frozen=True)
class Racket:
    """One racket: lengths in metres, colours 0..255.

    ``long`` butt to tip, ``head`` length and ``wide`` width of the hoop, ``egg`` how far its widest line lies off its
    middle as a share of its half length, ``beam`` its depth, ``wall`` its width in the plane, ``held`` from the butt
    to the middle of the hand, ``grip`` length of the grip.
    """

    long: float
    head: float
    wide: float
    egg: float
    beam: float
    wall: float
    held: float
    grip: float
    hoop_colours: Array
    shaft_colour: Array
    grip_colour: Array
    band_colour: Array
    butt_colour: Array
    string_colour: Array
    string_cover: float
    stencil: Array | None
    grid: bool
    bound: bool
    fork: float

    @staticmethod
    def draw(rng: np.random.Generator) -> Racket:
        """A racket at random; one in seven is a child's."""
        long = rng.uniform(0.53, 0.66) if rng.random() < 0.14 else rng.normal(0.686, 0.005)
        head = rng.uniform(0.47, 0.53) * long
        base, second = any_colour(rng), any_colour(rng)
        arcs = np.tile(base, (_RING, 1))
        pattern = rng.random()
        if pattern < 0.3:  # two colours, alike on both sides
            turn = np.abs(np.linspace(-1, 1, _RING, endpoint=False))
            arcs[(turn > rng.uniform(0, 0.6)) & (turn < rng.uniform(0.4, 1.0))] = second
        elif pattern < 0.5:  # marks here and there
            for _ in range(int(rng.integers(1, 5))):
                first = int(rng.integers(_RING))
                arcs[first : first + int(rng.integers(1, 6))] = second
        strings = any_colour(rng) if rng.random() < 0.4 else rng.uniform(120, 255) + rng.normal(0, 10, 3)
        return Racket(
            long=long,
            head=head,
            wide=rng.uniform(0.70, 0.82) * head,
            egg=rng.uniform(-0.02, 0.14) if rng.random() < 0.6 else 0.0,
            beam=rng.uniform(0.019, 0.028),
            wall=rng.uniform(0.009, 0.014),
            held=rng.uniform(0.03, 0.10),
            grip=rng.uniform(0.17, 0.26) * long / 0.686,
            hoop_colours=arcs,
            shaft_colour=base if rng.random() < 0.6 else second,
            grip_colour=any_colour(rng),
            band_colour=any_colour(rng),
            butt_colour=any_colour(rng),
            string_colour=np.clip(strings, 0, 255),
            string_cover=float(rng.uniform(0.05, 0.5)),
            stencil=any_colour(rng) if rng.random() < 0.12 else None,
            grid=bool(rng.random() < 0.6),
            bound=bool(rng.random() < 0.4),
            fork=rng.uniform(0.55, 0.95),
        )

    @property
    def widest(self) -> float:
        """Metres from the butt to the hoop's widest line."""
        return self.long - 0.5 * self.head * (1.0 - self.egg)

    def marks(self) -> Array:
        """(5, 3) butt, throat, tip, left and right edge; metres along, across, normal, from the middle of the hand."""
        along = np.array([0.0, self.long - self.head, self.long, self.widest, self.widest]) - self.held
        across = np.array([0.0, 0.0, 0.0, -0.5 * self.wide, 0.5 * self.wide])
        return np.stack([along, across, np.zeros(5)], 1)

    def ring(self, inset: float = 0.0) -> Array:
        """(_RING, 2) the hoop, metres along and across, from the middle of the hand; the first is the tip."""
        turn = np.linspace(0, 2 * np.pi, _RING, endpoint=False)
        half = 0.5 * self.head - inset
        along = half * np.cos(turn)
        # The two halves of an egg are ellipses of unlike length that meet in the widest line.
        shift = self.egg * 0.5 * self.head
        along = np.where(np.cos(turn) > 0, along * (half - shift) / half, along * (half + shift) / half)
        across = (0.5 * self.wide - inset) * np.sin(turn)
        return np.stack([along + self.widest - self.held, across], 1)

    def tubes(self, place: Array, axes: Array) -> Tubes:
        """The racket at M moments: ``place`` (M, 3) metres, the hand; ``axes`` (M, 3, 3) along, across, normal."""
        out = TubeList(racket=True)

        def at(along: float, across: float = 0.0, normal: float = 0.0) -> Array:
            return place + np.array([along, across, normal]) @ axes

        start, top = -self.held, self.grip - self.held
        out.add(at(start), at(start + 0.012), 0.0185, 0.0175, self.butt_colour, 0.8)
        out.add(at(start + 0.012), at(top), 0.0165, 0.0150, self.grip_colour, 0.9)
        out.add(at(top - 0.004), at(top + 0.010), 0.0165, 0.0155, self.band_colour, 0.5)
        if self.bound:
            for turn in np.arange(start + 0.03, top - 0.01, 0.028):
                out.add(
                    at(turn, -0.013), at(turn + 0.010, 0.013), 0.0030, 0.0030, 0.75 * self.grip_colour, 0.0
                )
        ring = self.ring(0.5 * self.wall)
        levels = (-1.0, 1.0) if self.beam > 0.016 else (0.0,)
        radius = 0.5 * self.wall + 0.001
        for level in levels:
            lift = level * max(0.5 * self.beam - radius, 0.0)
            corners = [at(a, c, lift) for a, c in ring]
            for k in range(_RING):
                out.add(corners[k], corners[(k + 1) % _RING], radius, radius, self.hoop_colours[k], 0.35)
            for sign in (-1.0, 1.0):
                # The shaft parts into two arms that reach the hoop to either side of its foot.
                to = np.argmin(
                    np.abs(ring[:, 1] - sign * 0.5 * self.fork * 0.62 * self.wide)
                    + 9.0 * (ring[:, 0] > ring[:, 0].mean())
                )
                out.add(
                    at(top + 0.01, sign * 0.004, lift),
                    corners[int(to)],
                    radius,
                    radius,
                    self.shaft_colour,
                    0.4,
                )
        return out.done()

    def strings(self, canvas: Picture, hoop: Array, mains: Array, stencil: Array, light: float) -> None:
        """Lay the strings over the canvas (h, w, 4), in place: ``hoop`` (C, 2) pixels, ``mains`` (L, 2, 2) ends of the
        strings, ``stencil`` (S, 2) corners of a mark on them."""
        low = np.clip(np.floor(hoop.min(0)) - 1, 0, canvas.shape[0]).astype(int)
        high = np.clip(np.ceil(hoop.max(0)) + 2, 0, canvas.shape[0]).astype(int)
        if (high - low < 2).any():
            return
        part = canvas[low[1] : high[1], low[0] : high[0]]
        over = part.copy()
        colour = (*np.clip(self.string_colour * light, 0, 255).tolist(), 0.0)
        if self.grid:
            ends = fixed(mains - low)
            for a, b in ends:
                cv2.line(over, a.tolist(), b.tolist(), colour, 1, cv2.LINE_AA, 4)
        else:
            fill(over, fixed(hoop - low), colour)
        if self.stencil is not None:
            fill(over, fixed(stencil - low), (*self.stencil.tolist(), 0.0))
        keep = part[..., 3].copy()
        cv2.addWeighted(over, self.string_cover, part, 1.0 - self.string_cover, 0.0, dst=over)
        over[..., 3] = keep
        part[:] = over

    def string_ends(self) -> Array:
        """(L, 2, 2) metres along and across: where the strings end on the hoop, from the middle of the hand."""
        ring = self.ring(self.wall)
        low, high = ring[:, 0].min(), ring[:, 0].max()
        out = []
        for share in np.linspace(-0.88, 0.88, 14):
            reach = np.sqrt(1 - share**2)
            middle, half = self.widest - self.held, 0.5 * self.head - self.wall
            shift = self.egg * 0.5 * self.head
            out.append(
                [
                    [middle - reach * (half + shift), share * 0.5 * self.wide],
                    [middle + reach * (half - shift), share * 0.5 * self.wide],
                ]
            )
        for share in np.linspace(0.06, 0.94, 17):
            along = low + share * (high - low)
            reach = (
                np.interp(abs(2 * share - 1), [0, 0.5, 0.8, 0.95, 1], [1, 0.87, 0.6, 0.31, 0])
                * 0.5
                * self.wide
            )
            out.append([[along, -reach], [along, reach]])
        return np.array(out)
