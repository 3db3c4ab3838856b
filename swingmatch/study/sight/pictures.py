"""Training pictures, made up: every one has a generated movement, racket, body, place, camera and film.

Nothing here was filmed. What the network knows of real rackets is what these pictures share with them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.crop import grey
from swingmatch.study.sight.people import person
from swingmatch.study.sight.places import PLACE, place
from swingmatch.study.sight.rackets import Racket, any_colour
from swingmatch.study.sight.settings import CANVAS
from swingmatch.study.sight.takes import Take, draw_motion, take
from swingmatch.study.sight.tubes import Ready, TubeList, Tubes, fill, ready
from swingmatch.synth.motion import Motion

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

_BARE, _ASTRAY = 0.10, 0.03
_MOTIONS, _PLACES = 16, 30
#: A share of the racket that shows: under the first it counts as not seen, from the second on as seen.
_NOTHING, _ENOUGH = 0.06, 0.22
_GRAIN = 700
_BALL = 0.0335  # metres, radius


@dataclass(frozen=True)
class Example:
    """One training picture.

    ``planes`` (5, CANVAS, CANVAS): red, green, blue now; grey before; grey after. ``arm`` (2, 2) elbow and hand as
    tracked, ``points`` (5, 2) the racket's, pixels of the canvas, NaN without a racket; ``shows`` (5,) 1 where the
    point itself shows, 0 where something hides it; ``present`` 1, 0, or 0.5 for undecided.
    """

    planes: Picture
    arm: NDArray[np.float32]
    points: NDArray[np.float32]
    shows: NDArray[np.float32]
    present: float


class Studio:
    """Makes examples from a seed; keeps a few movements and places at hand and renews them as it goes."""

    def __init__(self, seed: int, motions: int = _MOTIONS, places: int = _PLACES) -> None:
        self.rng = np.random.default_rng([seed, 31])
        self._motions: list[Motion] = [draw_motion(self.rng) for _ in range(motions)]
        self._places: list[Picture] = [place(self.rng) for _ in range(places)]

    def example(self) -> Example:
        """The next example."""
        rng = self.rng
        if rng.random() < 0.01:
            self._motions[int(rng.integers(len(self._motions)))] = draw_motion(rng)
        if rng.random() < 0.08:
            self._places[int(rng.integers(len(self._places)))] = place(rng)
        motion = self._motions[int(rng.integers(len(self._motions)))]
        bare, astray = rng.random() < _BARE, rng.random() < _ASTRAY
        racket = Racket.draw(rng)
        scene = take(rng, motion, racket, astray)
        frames, coverage, whole = _film(rng, scene, racket, bare, self._behind())
        planes = _developed(rng, frames, scene.source)
        if bare:
            points, shows, present = np.full((5, 2), np.nan), np.zeros(5), 0.0
        else:
            points = _points(scene, racket)
            shows = _shows(points, coverage)
            share = float(coverage.sum()) / max(float(whole), 1.0)
            present = 0.0 if share < _NOTHING else 1.0 if share > _ENOUGH else 0.5
        return Example(
            planes, scene.arm.astype(np.float32), points.astype(np.float32), shows.astype(np.float32), present
        )

    def _behind(self) -> Picture:
        """(CANVAS, CANVAS, 4) a piece of a place, turned, scaled and in another light."""
        rng = self.rng
        chosen = self._places[int(rng.integers(len(self._places)))]
        scale, turn = float(np.exp(rng.uniform(np.log(0.7), np.log(2.2)))), float(rng.normal(0, 5))
        move = cv2.getRotationMatrix2D((PLACE / 2, PLACE / 2), turn, scale)
        move[:, 2] += (CANVAS - PLACE) / 2 + rng.uniform(-0.4, 0.4, 2) * PLACE * max(scale - 0.65, 0.0)
        out = cv2.warpAffine(chosen, move, (CANVAS, CANVAS), borderMode=cv2.BORDER_REFLECT_101)
        if rng.random() < 0.5:
            out = np.ascontiguousarray(out[:, ::-1])
        out = np.clip(out * rng.uniform(0.65, 1.4), 0, 255).astype(np.uint8)
        return np.dstack([out, np.zeros((CANVAS, CANVAS), np.uint8)])


def _points(scene: Take, racket: Racket) -> Array:
    """(5, 2) the racket's points in the middle of the exposure, canvas pixels."""
    places = scene.grip[:, None] + racket.marks() @ scene.axes
    flat, _ = scene.flat(places)
    return flat[scene.frame == 1].mean(0)


def _shows(points: Array, coverage: NDArray[np.float32]) -> Array:
    """(5,) whether something of the racket is in the picture right at its points."""
    near = cv2.dilate(coverage, np.ones((5, 5), np.uint8))
    at = np.round(points).astype(int)
    inside = ((at >= 0) & (at < CANVAS)).all(1)
    at = np.clip(at, 0, CANVAS - 1)
    return np.where(inside & (near[at[:, 1], at[:, 0]] > 0.08), 1.0, 0.0)


def _film(
    rng: np.random.Generator, scene: Take, racket: Racket, bare: bool, behind: Picture
) -> tuple[list[NDArray[np.float32]], NDArray[np.float32], float]:
    """Three exposures (CANVAS, CANVAS, 3); how much the racket covers of each pixel of the middle one, 0..1; and how
    many pixels it would cover if nothing hid it."""
    light = rng.normal(0, 0.6, 2)
    light /= max(1.0, float(np.linalg.norm(light)))
    bright = float(rng.uniform(0.6, 1.3))
    held = racket.tubes(scene.grip, scene.axes)
    parts = [person(rng, scene.points, scene.stature, scene.hand, scene.grip, scene.axes[:, 0], not bare)]
    if not bare:
        parts.append(held)
    parts += _balls(rng, scene)
    if rng.random() < 0.07:
        parts.append(_another(rng, scene))
    tubes = Tubes.join(parts)
    p0, d0 = scene.flat(tubes.start)
    p1, d1 = scene.flat(tubes.end)
    laid = ready(tubes, p0, p1, d0, d1, scene.focal, light, CANVAS)
    laid = _in_light(laid, bright)
    hoop, mains, stencil, string_depth = _string_places(rng, scene, racket)
    shake = rng.normal(0, 0.8, (3, 2)) if rng.random() < 0.3 else np.zeros((3, 2))
    frames = []
    middle = np.zeros((CANVAS, CANVAS), np.float32)
    for frame in range(3):
        base = behind
        if shake[frame].any():
            move = np.array([[1, 0, shake[frame, 0]], [0, 1, shake[frame, 1]]])
            base = cv2.warpAffine(behind, move, (CANVAS, CANVAS), borderMode=cv2.BORDER_REPLICATE)
        total = np.zeros((CANVAS, CANVAS, 4), np.float32)
        rows = np.flatnonzero(scene.frame == frame)
        for m in rows:
            canvas = base.copy()
            draw = np.flatnonzero(laid.inside[m])
            strings_at = np.inf if bare else string_depth[m]
            for n in draw[np.argsort(-laid.depth[m, draw])]:
                if laid.depth[m, n] < strings_at and strings_at < np.inf:
                    racket.strings(canvas, hoop[m], mains[m], stencil[m], bright)
                    strings_at = np.inf
                fill(canvas, laid.dark[m, n], laid.dark_colour[n])
                if laid.shiny[n]:
                    fill(canvas, laid.bright[m, n], laid.bright_colour[n])
            cv2.accumulate(canvas, total)
        total /= np.float32(len(rows))
        frames.append(np.ascontiguousarray(total[..., :3]))
        if frame == 1:
            middle = total[..., 3] / np.float32(255)
    return frames, middle, _unhidden(scene, held)


def _unhidden(scene: Take, held: Tubes) -> float:
    """Pixels that the racket covers in the middle of the exposure where nothing is in front of it."""
    p0, d0 = scene.flat(held.start)
    p1, d1 = scene.flat(held.end)
    alone = ready(held, p0, p1, d0, d1, scene.focal, np.zeros(2), 3 * CANVAS)
    m = int(np.flatnonzero(scene.frame == 1)[0])
    canvas = np.zeros((2 * CANVAS, 2 * CANVAS), np.uint8)
    shift = np.int32(CANVAS // 2 * 16)
    for n in range(alone.dark.shape[1]):
        fill(canvas, alone.dark[m, n] + shift, (255.0,))
    return float(canvas.sum(dtype=np.float64)) / 255.0


def _in_light(laid: Ready, bright: float) -> Ready:
    """The tubes in brighter or duller light."""

    def lit(colours: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        return [(*(min(c * bright, 255.0) for c in colour[:3]), colour[3]) for colour in colours]

    return replace(laid, dark_colour=lit(laid.dark_colour), bright_colour=lit(laid.bright_colour))


def _string_places(
    rng: np.random.Generator, scene: Take, racket: Racket
) -> tuple[Array, Array, Array, Array]:
    """Canvas pixels of the hoop (M, C, 2), strings (M, L, 2, 2) and the mark on them (M, S, 2), and depth (M,)."""

    def at(plane: Array) -> tuple[Array, Array]:
        flat = plane.reshape(-1, 2) @ scene.axes[:, :2]
        return scene.flat(scene.grip[:, None] + flat)

    ring = racket.ring(racket.wall)
    hoop, depth = at(ring)
    ends = racket.string_ends()
    mains, _ = at(ends)
    corners = ring.mean(0) + 0.35 * racket.head * rng.uniform(-0.5, 0.5, (3, 2))
    stencil, _ = at(corners)
    return hoop, mains.reshape(len(hoop), -1, 2, 2), stencil, depth.mean(1) + 0.002


def _balls(rng: np.random.Generator, scene: Take) -> list[Tubes]:
    """The ball of the movement, and sometimes another that flies through the square."""
    out = []
    colour = np.array([205, 235, 60.0]) if rng.random() < 0.85 else any_colour(rng)
    if np.isfinite(scene.ball).all():
        list_ = TubeList()
        list_.add(scene.ball, scene.ball + 1e-4, _BALL, _BALL, colour)
        out.append(list_.done())
    if rng.random() < 0.25:
        start = scene.grip.mean(0) + rng.normal(0, 0.4, 3)
        path = start + rng.normal(0, 12, 3) * (scene.moments - scene.moments.mean())[:, None]
        list_ = TubeList()
        list_.add(path, path + 1e-4, _BALL, _BALL, colour)
        out.append(list_.done())
    return out


def _another(rng: np.random.Generator, scene: Take) -> Tubes:
    """Another racket, of somebody behind, that nobody asks for."""
    other = Racket.draw(rng)
    back = scene.grip.mean(0)
    far = rng.uniform(1.4, 3.0)
    place = back * far + np.append(rng.normal(0, 0.5, 2) * far, 0.0)
    q, _ = np.linalg.qr(rng.normal(0, 1, (3, 3)))
    count = len(scene.moments)
    tubes = other.tubes(np.repeat(place[None], count, 0), np.repeat(q[None], count, 0))
    return Tubes(
        tubes.start, tubes.end, tubes.radii, tubes.colour, np.zeros(len(tubes.racket), bool), tubes.shine
    )


@cache
def _grain() -> NDArray[np.float32]:
    """(_GRAIN, _GRAIN, 3) noise of standard deviation 1, of which each picture takes another piece."""
    return np.random.default_rng(5).standard_normal((_GRAIN, _GRAIN, 3), dtype=np.float32)


def _developed(rng: np.random.Generator, frames: list[NDArray[np.float32]], source: float) -> Picture:
    """What a camera and an encoder make of the exposures: light, lens, noise, fewer pixels, compression; (5, C, C)."""
    gain = np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.05, 3))
    gamma = float(np.exp(rng.normal(0, 0.15)))
    tone = (255.0 * np.linspace(0, 1, 256)[:, None] ** gamma * gain).astype(np.float32)[None]
    lens = float(rng.uniform(0.3, 1.6)) if rng.random() < 0.35 else 0.0
    share = float(np.clip(source / 160.0, 0.28, 1.0))
    small = max(24, round(CANVAS * share))
    noise = float(rng.uniform(0, 9)) if rng.random() < 0.7 else 0.0
    quality = int(rng.integers(12, 96)) if rng.random() < 0.8 else 0
    shade = _shade(rng) if rng.random() < 0.25 else None
    out = []
    for frame in frames:
        image = frame if shade is None else frame * shade
        image = cv2.LUT(np.clip(image + 0.5, 0, 255).astype(np.uint8), tone)
        if lens:
            image = cv2.GaussianBlur(image, (0, 0), lens)
        if small < CANVAS:
            image = cv2.resize(image, (small, small), interpolation=cv2.INTER_AREA)
        if noise:
            row, col = rng.integers(0, _GRAIN - small, 2)
            image = image + _grain()[row : row + small, col : col + small] * np.float32(noise)
        eight = np.clip(image + 0.5, 0, 255).astype(np.uint8)
        if quality:
            _, packed = cv2.imencode(".jpg", eight, [cv2.IMWRITE_JPEG_QUALITY, quality])
            eight = cv2.imdecode(packed, cv2.IMREAD_COLOR)
        if small < CANVAS:
            eight = cv2.resize(eight, (CANVAS, CANVAS), interpolation=cv2.INTER_LINEAR)
        out.append(eight)
    before, after = grey(out[0]), grey(out[2])
    if rng.random() < 0.04:  # the first and the last picture of a film have one neighbour only
        before = grey(out[1])
    elif rng.random() < 0.04:
        after = grey(out[1])
    return np.concatenate([out[1].transpose(2, 0, 1), before[None], after[None]])


def _shade(rng: np.random.Generator) -> NDArray[np.float32]:
    """(CANVAS, CANVAS, 1) the edge of a shadow across the picture."""
    angle, dark = rng.uniform(0, 2 * np.pi), rng.uniform(0.35, 0.8)
    x, y = np.meshgrid(np.arange(CANVAS) - CANVAS / 2, np.arange(CANVAS) - CANVAS / 2)
    side = np.cos(angle) * x + np.sin(angle) * y + rng.normal(0, 30)
    return (dark + (1 - dark) * np.clip(0.5 + side / rng.uniform(1, 20), 0, 1)).astype(np.float32)[..., None]
