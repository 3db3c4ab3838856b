"""Training pictures cut out of rendered clips of ``TUNING``: the full renderer's pictures, really compressed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES
from swingmatch.racket.crop import SIDE, SPAN, grey, neighbours
from swingmatch.study.sight.pictures import Example
from swingmatch.study.sight.settings import CANVAS
from swingmatch.synth.truth import ClipTruth, read_truth

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

#: Seconds before and after contact of which pictures are cut out.
BEFORE, AFTER = 1.1, 0.8
#: At most so many pictures of a clip.
_MOST = 70


def tuning_clips(folder: Path) -> list[Path]:
    """The clips of a folder that have their truth beside them, by name."""
    return sorted(p for p in folder.glob("*.mp4") if p.with_suffix(".truth.json").exists())


def examples(path: Path, rng: np.random.Generator, each: int = 1) -> Iterator[Example]:
    """Examples of one clip, ``each`` of every picture taken; the square is off by what the pose model may err."""
    truth = read_truth(path)
    contacts = [s.events["contact"] for s in truth.swings]
    near = np.zeros(len(truth.times), dtype=bool)
    for contact in contacts:
        near |= (truth.times > contact - BEFORE) & (truth.times < contact + AFTER)
    rows = np.flatnonzero(near)
    if len(rows) > _MOST:
        rows = np.sort(rng.choice(rows, _MOST, replace=False))
    trios = {int(k): neighbours(truth.times, int(k)) for k in rows}
    wanted = {n for k, trio in trios.items() for n in (k, *trio)}
    pictures = dict(_decoded(path, wanted))
    for k, (before, after) in trios.items():
        if all(n in pictures for n in (k, before, after)):
            for _ in range(each):
                yield _cut(truth, k, pictures[k], pictures[before], pictures[after], rng)


def _decoded(path: Path, wanted: set[int]) -> Iterator[tuple[int, Picture]]:
    film = cv2.VideoCapture(str(path))
    last = max(wanted)
    for n in range(last + 1):
        good, image = film.read()
        if not good:
            break
        if n in wanted:
            yield n, cv2.cvtColor(image, cv2.COLOR_BGR2RGB)
    film.release()


def _tall(truth: ClipTruth) -> float:
    """Height of the player in the picture, pixels, as the analysis takes it."""
    ankles = np.fmax(truth.image[:, INDEX["left_ankle"], 1], truth.image[:, INDEX["right_ankle"], 1])
    return float(np.nanpercentile(ankles - truth.image[:, INDEX["nose"], 1], 90)) / NOSE_OVER_ANKLES


def _cut(
    truth: ClipTruth, k: int, now: Picture, before: Picture, after: Picture, rng: np.random.Generator
) -> Example:
    tall = _tall(truth)
    stray = (0.008 if rng.random() < 0.75 else 0.05) * tall
    hand = truth.image[k, INDEX[f"{truth.hand}_hand"]]
    elbow = truth.image[k, INDEX[f"{truth.hand}_elbow"]] + rng.normal(0, stray, 2)
    centre = hand + rng.normal(0, stray, 2)
    scale = SIDE / (SPAN * tall * float(np.exp(rng.normal(0, 0.06))))
    shift = 0.5 * (CANVAS - 1) - scale * centre
    move = np.array([[scale, 0, shift[0]], [0, scale, shift[1]]])

    def cut(image: Picture) -> Picture:
        # Fewer pixels than the film has are averages, not picks.
        if scale < 0.75:
            image = cv2.blur(image, (round(1 / scale), round(1 / scale)))
        out = cv2.warpAffine(
            image, move, (CANVAS, CANVAS), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(out, np.uint8)

    planes = np.concatenate([cut(now).transpose(2, 0, 1), grey(cut(before))[None], grey(cut(after))[None]])
    points = truth.racket_image[k] * scale + shift
    arm = np.stack([elbow, centre]) * scale + shift
    # What hides the racket is not written down: all points count as shown, and the racket as rather there.
    return Example(planes, arm.astype(np.float32), points.astype(np.float32), np.ones(5, np.float32), 0.9)
