"""``python -m swingmatch.study.sight.check``: how well the racket's points are found in clips with exact truth.

Reads a folder of the study's clips with their truth and tracks, looks for the racket about each contact as the
tool does, at the *tracked* hand, and prints errors in racket lengths by camera side, frame rate and blur. The pictures
are generated; the figures say nothing certain of real film.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, NOSE_OVER_ANKLES
from swingmatch.clip.clip import Clip
from swingmatch.clip.reader import frames, open_clip
from swingmatch.racket.keypoints import racket_points
from swingmatch.series import resample
from swingmatch.synth.truth import ClipTruth, read_truth

Array = NDArray[np.float64]
#: Seconds about contact that are looked at.
BEFORE, AFTER = 1.0, 0.6
#: Racket length, metres, over which pixels are scaled is the racket's own; a tip that moves more than this share of it
#: while the shutter is open is blurred.
BLURRED = 0.08


@dataclass(frozen=True)
class Found:
    """What was found in one clip's N pictures.

    ``off`` (N, 5) errors over the racket's length as it would look in plain view, NaN where not seen; ``sd`` (N, 5)
    stated, likewise; ``seen`` (N,) racket said to be there; ``blur`` (N,) the tip's way while the shutter was open,
    racket lengths; ``side`` degrees, ``rate`` frames a second, ``seconds`` for a picture.
    """

    off: Array
    sd: Array
    seen: NDArray[np.bool_]
    blur: Array
    side: float
    rate: float
    seconds: float


def check_clip(path: Path, image: Array, track_times: Array, size: tuple[int, int]) -> Found:
    """Look for the racket in one clip; ``image`` (T, K, 2) tracked keypoints at ``track_times`` (T,), in
    pictures of ``size``."""
    truth, clip = read_truth(path), open_clip(path)
    contact = truth.swings[0].events["contact"]
    times, pictures = _pictures(clip, contact, size[1])
    hand, elbow = (
        _filled(image[:, INDEX[f"{truth.hand}_{part}"]], track_times, times) for part in ("hand", "elbow")
    )
    began = time.perf_counter()
    points, present = racket_points(times, pictures, hand, elbow, tall(image))
    seconds = (time.perf_counter() - began) / len(times)
    scale = size[1] / truth.camera["size"][1]  # type: ignore[index]
    true = resample(truth.racket_image, truth.times, times) * scale
    long = racket_pixels(truth, times) * scale
    off = np.linalg.norm(matched(points.image, true) - true, axis=2) / long[:, None]
    shutter = float(truth.camera["shutter"])  # type: ignore[arg-type]
    tip = np.gradient(true[:, 2], times, axis=0)
    azimuth = float(truth.camera["azimuth"])  # type: ignore[arg-type]
    return Found(
        off,
        points.sd / long[:, None],
        present >= 0.5,
        np.linalg.norm(tip, axis=1) * shutter / long,
        azimuth if truth.hand == "right" else -azimuth,
        float(truth.camera["fps"]),  # type: ignore[arg-type]
        seconds,
    )


def tall(image: Array) -> float:
    """Height of the player, pixels, of tracked keypoints (T, K, 2), as ``stroke.cut.body_height`` takes it."""
    ankles = np.fmax(image[:, INDEX["left_ankle"], 1], image[:, INDEX["right_ankle"], 1])
    return float(np.nanpercentile(ankles - image[:, INDEX["nose"], 1], 90)) / NOSE_OVER_ANKLES


def matched(found: Array, true: Array) -> Array:
    """The found points (N, 5, 2) with the two edges in the order that fits the true ones better."""
    other = found[:, [0, 1, 2, 4, 3]]
    as_is, crossed = (
        np.nansum(np.linalg.norm(p[:, 3:] - true[:, 3:], axis=2), axis=1) for p in (found, other)
    )
    return np.where((crossed < as_is)[:, None, None], other, found)


def racket_pixels(truth: ClipTruth, times: Array) -> Array:
    """(N,) how many pixels the racket's length has at the racket's distance, whatever way it points."""
    long = float(np.linalg.norm(truth.racket[0, 2] - truth.racket[0, 0]))
    stature = (
        np.linalg.norm(truth.points[0, INDEX["nose"]] - truth.points[0, INDEX["left_ankle"]])
        / NOSE_OVER_ANKLES
    )
    return np.full(len(times), tall(truth.image) * long / float(stature))


def _pictures(clip: Clip, contact: float, height: int) -> tuple[Array, list[NDArray[np.uint8]]]:
    times, pictures = [], []
    for frame in frames(clip, contact - BEFORE, contact + AFTER, max_height=height):
        times.append(frame.time)
        pictures.append(frame.image)
    return np.array(times), pictures


def _filled(places: Array, known_at: Array, times: Array) -> Array:
    known = np.isfinite(places).all(axis=1)
    return np.stack([np.interp(times, known_at[known], places[known, axis]) for axis in (0, 1)], 1)


#: Camera side and degrees away from the target direction.
_SIDES = (("front", 0, 30), ("quarter", 30, 60), ("side", 60, 120), ("behind", 120, 181))


def _from_side(found: Found, low: float, high: float) -> NDArray[np.bool_]:
    return np.full(len(found.seen), low <= abs((found.side + 180) % 360 - 180) < high)


def _at_rate(found: Found, rate: float) -> NDArray[np.bool_]:
    return np.full(len(found.seen), found.rate == rate)


def tables(found: Sequence[Found]) -> str:
    """The errors in words and rows: all, by camera side, frame rate, blur."""
    rows: list[tuple[str, Callable[[Found], NDArray[np.bool_]]]] = [("all", lambda f: f.blur >= 0)]
    rows += [(name, partial(_from_side, low=a, high=b)) for name, a, b in _SIDES]
    rows += [(f"{rate:.0f} fps", partial(_at_rate, rate=rate)) for rate in (30.0, 60.0, 120.0, 240.0)]
    rows += [("sharp", lambda f: f.blur < BLURRED), ("blurred", lambda f: f.blur >= BLURRED)]
    lines = [
        "| pictures | n | racket found | butt | throat | tip | edges | within stated 2 sd |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, chosen in rows:
        lines.append(_row(name, chosen, found))
    lines.append(
        f"\n{1000 * np.median([f.seconds for f in found]):.1f} ms a picture on one core (median of the clips)."
    )
    return "\n".join(line for line in lines if line)


def _row(name: str, chosen: Callable[[Found], NDArray[np.bool_]], found: Iterable[Found]) -> str:
    picked = [(f, chosen(f)) for f in found]
    off, sd = (np.concatenate([getattr(f, what)[c] for f, c in picked]) for what in ("off", "sd"))
    seen = np.concatenate([f.seen[c] for f, c in picked])
    if not len(seen):
        return ""
    cells = []
    for points in ([0], [1], [2], [3, 4]):
        values = off[:, points][np.isfinite(off[:, points])]
        cells.append(
            f"{100 * np.median(values):.1f} / {100 * np.quantile(values, 0.9):.1f} %" if len(values) else "-"
        )
    # On two axes of equal deviation 86.5 % lie within two deviations (Rayleigh).
    good = np.isfinite(off) & np.isfinite(sd)
    within = float((off[good] < 2 * sd[good]).mean()) if good.any() else np.nan
    return f"| {name} | {len(seen)} | {100 * seen.mean():.0f} % | {' | '.join(cells)} | {100 * within:.0f} % (86) |"


def kept_tracks(clip: Path) -> tuple[Array, Array, tuple[int, int]] | None:
    """Tracked keypoints (T, K, 2), times and the pictures' size, as the study keeps them; None without."""
    for path in [*sorted(clip.parent.glob(f"{clip.stem}.track-*.npz")), clip.with_suffix(".raw.npz")]:
        if path.exists():
            with np.load(path, allow_pickle=False) as stored:
                width, height = (int(v) for v in stored["size"])
                return stored["image"], stored["times"], (width, height)
    return None


def main(words: Sequence[str] | None = None) -> None:
    """Print the tables of a folder's clips."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.sight.check", description=__doc__)
    parser.add_argument("folder", type=Path, help="clips with truth and kept tracks")
    parser.add_argument("--seeds", type=int, nargs=2, help="first and last seed")
    said = parser.parse_args(words)
    found = []
    for path in sorted(said.folder.glob("shot-*.mp4")):
        seed = int(path.stem.split("-")[1])
        track = kept_tracks(path)
        if track is not None and (not said.seeds or said.seeds[0] <= seed <= said.seeds[1]):
            found.append(check_clip(path, *track))
    print(tables(found))


if __name__ == "__main__":
    main()
