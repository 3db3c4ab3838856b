"""What is behind the player: courts, fences, crowds, walls, leaves, lines, and pieces of photographs."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.study.sight.rackets import any_colour
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import TUNING
from swingmatch.synth.scene import Scene, backdrop

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: Side of a picture of a place, pixels.
PLACE = 320


@cache
def _photographs() -> tuple[Picture, ...]:
    """The two sample photographs that scikit-learn brings (a temple, a flower; both free to use)."""
    from sklearn.datasets import load_sample_images

    return tuple(np.asarray(image, np.uint8) for image in load_sample_images().images)


def place(rng: np.random.Generator) -> Picture:
    """(PLACE, PLACE, 3) a place at random."""
    kind = rng.random()
    if kind < 0.35:
        out = _court(rng)
    elif kind < 0.58:
        out = _photograph(rng)
    elif kind < 0.68:
        out = _crowd(rng)
    else:
        out = _made_up(rng)
    if rng.random() < 0.3:
        other = _made_up(rng) if rng.random() < 0.5 else _photograph(rng)
        row = int(rng.integers(PLACE))
        out[row:] = other[row:]
    out = np.ascontiguousarray(out)
    for chance, add in ((0.25, _fence), (0.25, _net), (0.35, _lines), (0.2, _posts)):
        if rng.random() < chance:
            add(rng, out)
    return out


def _court(rng: np.random.Generator) -> Picture:
    seed = int(rng.integers(TUNING.start, TUNING.stop))
    camera = Camera(
        azimuth=float(rng.uniform(0, 360)),
        height=float(rng.uniform(0.5, 3.0)),
        distance=float(rng.uniform(4, 10)),
        field_of_view=float(rng.uniform(15, 60)),
        aim=(0.0, float(rng.uniform(0.2, 1.8)), 0.0),
        size=(PLACE, PLACE),
    )
    picture = backdrop(Scene.of(seed), camera, fine=1)
    if rng.random() < 0.5:  # surfaces and screens of other colours
        picture = picture[..., rng.permutation(3)] * rng.uniform(0.7, 1.2, 3)
    return np.clip(picture * 255, 0, 255).astype(np.uint8)


def _photograph(rng: np.random.Generator) -> Picture:
    image = _photographs()[int(rng.integers(2))]
    side = int(rng.integers(60, 420))
    row, col = int(rng.integers(image.shape[0] - side)), int(rng.integers(image.shape[1] - side))
    out = cv2.resize(
        image[row : row + side, col : col + side], (PLACE, PLACE), interpolation=cv2.INTER_LINEAR
    )
    if rng.random() < 0.3:
        out = out[..., rng.permutation(3)]
    return np.ascontiguousarray(np.rot90(out, int(rng.integers(4))) if rng.random() < 0.4 else out)


def _noise(rng: np.random.Generator) -> NDArray[np.float32]:
    """Noise of several scales, mean 0, standard deviation 1: leaves, gravel, cloth."""
    out = np.zeros((PLACE, PLACE), np.float32)
    fall = rng.uniform(0.4, 1.0)
    for step in (80, 40, 20, 10, 5, 2):
        count = PLACE // step
        layer = rng.standard_normal((count, count)).astype(np.float32)
        out += np.float32((step / 80.0) ** fall) * cv2.resize(
            layer, (PLACE, PLACE), interpolation=cv2.INTER_CUBIC
        )
    return (out - out.mean()) / out.std()


def _made_up(rng: np.random.Generator) -> Picture:
    base, other = any_colour(rng), any_colour(rng)
    mix = np.clip(0.5 + rng.uniform(0.05, 0.5) * _noise(rng), 0, 1)[..., None]
    out = base * mix + other * (1 - mix) if rng.random() < 0.5 else base * (0.6 + 0.8 * mix)
    canvas = np.clip(out, 0, 255).astype(np.uint8)
    if rng.random() < 0.35:  # bricks, boards or a banner's stripes
        step, colour = int(rng.integers(6, 50)), any_colour(rng).tolist()
        for row in range(0, PLACE, step):
            cv2.line(canvas, (0, row), (PLACE, row), colour, int(rng.integers(1, 4)))
            if step < 30:
                for col in range((row // step % 2) * step, PLACE, 2 * step):
                    cv2.line(canvas, (col, row), (col, row + step), colour, 1)
    for _ in range(int(rng.integers(0, 14))):
        _blob(rng, canvas)
    return canvas


def _blob(rng: np.random.Generator, canvas: Picture) -> None:
    centre = rng.integers(0, PLACE, 2).tolist()
    axes = rng.integers(3, 60, 2).tolist()
    thick = -1 if rng.random() < 0.55 else int(rng.integers(1, 6))
    if rng.random() < 0.5:
        cv2.ellipse(
            canvas,
            centre,
            axes,
            float(rng.uniform(0, 360)),
            0,
            360,
            any_colour(rng).tolist(),
            thick,
            cv2.LINE_AA,
        )
    else:
        corners = (rng.normal(0, 30, (int(rng.integers(3, 6)), 2)) + centre).astype(np.int32)
        cv2.polylines(canvas, [corners], True, any_colour(rng).tolist(), max(thick, 1), cv2.LINE_AA)


def _crowd(rng: np.random.Generator) -> Picture:
    canvas = np.empty((PLACE, PLACE, 3), np.uint8)
    canvas[:] = any_colour(rng) * 0.5
    size = rng.uniform(4, 22)
    for row in np.arange(0, PLACE + 2 * size, 1.7 * size):
        for col in np.arange(0, PLACE + size, 1.5 * size):
            at = np.array([col, row]) + rng.normal(0, 0.25 * size, 2)
            skin = np.clip(rng.uniform(70, 225) * np.array([1.0, 0.78, 0.65]), 0, 255)
            body, r = any_colour(rng), size * rng.uniform(0.35, 0.5)
            cv2.ellipse(
                canvas,
                (at + np.array([0, 1.3 * size])).astype(int).tolist(),
                [int(1.6 * r) + 1, int(2.4 * r) + 1],
                0,
                0,
                360,
                body.tolist(),
                -1,
            )
            cv2.circle(canvas, at.astype(int).tolist(), int(r) + 1, skin.tolist(), -1, cv2.LINE_AA)
            cv2.ellipse(
                canvas,
                (at - np.array([0, 0.3 * r])).astype(int).tolist(),
                [int(r) + 1, int(0.7 * r) + 1],
                0,
                180,
                360,
                (any_colour(rng) * 0.4).tolist(),
                -1,
            )
    return canvas


def _blend(canvas: Picture, over: Picture, share: float) -> None:
    cv2.addWeighted(over, share, canvas, 1 - share, 0.0, dst=canvas)


def _fence(rng: np.random.Generator, canvas: Picture) -> None:
    """Wire in diamonds or squares."""
    over, step = canvas.copy(), float(rng.uniform(4, 26))
    colour, slope = any_colour(rng).tolist(), 1.0 if rng.random() < 0.7 else 0.0
    lean = PLACE * slope
    for off in np.arange(-PLACE, 2 * PLACE, step):
        for start, end in (((off, 0), (off + lean, PLACE)), ((off, PLACE), (off + lean, 0))):
            cv2.line(over, [int(v) for v in start], [int(v) for v in end], colour, 1, cv2.LINE_AA)
        if not slope:
            cv2.line(over, (0, int(off)), (PLACE, int(off)), colour, 1, cv2.LINE_AA)
    _blend(canvas, over, float(rng.uniform(0.15, 0.7)))


def _net(rng: np.random.Generator, canvas: Picture) -> None:
    over, top, step = canvas.copy(), int(rng.integers(PLACE)), float(rng.uniform(2, 8))
    for off in np.arange(0, PLACE, step):
        cv2.line(over, (int(off), top), (int(off), PLACE), (15, 18, 18), 1)
        if top + off < PLACE:
            cv2.line(over, (0, int(top + off)), (PLACE, int(top + off)), (15, 18, 18), 1)
    _blend(canvas, over, float(rng.uniform(0.2, 0.6)))
    cv2.line(
        canvas,
        (0, top),
        (PLACE, top + int(rng.normal(0, 6))),
        (232, 232, 228),
        int(rng.integers(3, 12)),
        cv2.LINE_AA,
    )


def _lines(rng: np.random.Generator, canvas: Picture) -> None:
    for _ in range(int(rng.integers(1, 5))):
        ends = rng.integers(-80, PLACE + 80, (2, 2))
        colour = (235, 235, 230) if rng.random() < 0.6 else tuple(any_colour(rng).tolist())
        cv2.line(canvas, ends[0].tolist(), ends[1].tolist(), colour, int(rng.integers(1, 8)), cv2.LINE_AA)


def _posts(rng: np.random.Generator, canvas: Picture) -> None:
    for _ in range(int(rng.integers(1, 4))):
        col, colour = int(rng.integers(PLACE)), any_colour(rng)
        wide = int(rng.integers(2, 12))
        cv2.line(
            canvas,
            (col, -5),
            (col + int(rng.normal(0, 4)), PLACE),
            (0.8 * colour).tolist(),
            wide,
            cv2.LINE_AA,
        )
        cv2.line(canvas, (col - wide // 4, -5), (col, PLACE), colour.tolist(), max(wide // 3, 1), cv2.LINE_AA)
