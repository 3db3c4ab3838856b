"""``python -m swingmatch.study.sight.other_rackets``: the racket's points where rackets look and measure otherwise.

The study's clips all show one make of racket in four colours. Here the full renderer films players of ``CALIBRATION``
with rackets of other lengths, widths and colours (Racket.draw; a seed of its own), the hand is off by what the pose
model errs, and the same number of pictures shows the player without a racket.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.racket.keypoints import LEAST_PRESENT, racket_points
from swingmatch.series import resample
from swingmatch.study.sample import shot
from swingmatch.study.sight.check import matched
from swingmatch.study.sight.rackets import Racket
from swingmatch.synth.cast import CALIBRATION
from swingmatch.synth.figure import unit
from swingmatch.synth.film import aimed, pictures
from swingmatch.synth.motion import Motion

Array = NDArray[np.float64]
#: Standard deviation of the hand and elbow, statures: the pose model's usual error on rendered clips.
_STRAY = 0.012
_BEFORE, _AFTER = 0.5, 0.3
_FAR = np.array([0.0, -50.0, 0.0])  # metres: where a racket is that nobody holds


def with_racket(motion: Motion, racket: Racket) -> Motion:
    """The movement with another racket, held at the same place."""
    marks = motion.racket
    along, across = unit(marks[:, 2] - marks[:, 0]), unit(marks[:, 4] - marks[:, 3])
    axes = np.stack([along, across, np.cross(along, across)], 1)
    # The renderer draws an ellipse about the middle between throat and tip.
    other = racket.marks()
    other[3:, 0] = 0.5 * (other[1, 0] + other[2, 0])
    return replace(motion, racket=marks[:, :1] + 0.07 * along[:, None] + other @ axes)


def look_for(seed: int, bare: bool, every: int) -> tuple[Array, Array]:
    """Errors (N, 5) in racket lengths, and (N,) the probability of a racket, about one contact of a player."""
    item, rng = shot(seed, seed % 64), np.random.default_rng([seed, 91])
    racket = Racket.draw(rng)
    motion = with_racket(item.player.perform(swings=1), racket)
    camera = replace(aimed(item.camera, motion), size=(854, 480), fps=60.0)
    colours = {"frame": racket.hoop_colours[0] / 255, "grip": racket.grip_colour / 255}
    painted: dict[str, Any] = {name: tuple(map(float, c)) for name, c in colours.items()}
    look = replace(item.look, **painted)
    filmed = replace(motion, racket=motion.racket + _FAR) if bare else motion
    contact = motion.swings[0].events["contact"]
    times = camera.frame_times(float(motion.times[-1]))
    times = times[(times > contact - _BEFORE) & (times < contact + _AFTER)]
    middles = np.arange(1, len(times) - 1, every)
    off, present = [], []
    trios = np.concatenate([times[k - 1 : k + 2] for k in middles])
    film = [p.rgb for p in pictures(filmed, camera, look, item.scene, trios, subframes=2)]
    for n in range(len(middles)):
        at, three = trios[3 * n : 3 * n + 3], film[3 * n : 3 * n + 3]
        body = camera.project(resample(motion.points, motion.times, at), at)
        tall = motion.stature * camera.focal / camera.distance
        arm = body[:, [INDEX[f"{motion.hand}_hand"], INDEX[f"{motion.hand}_elbow"]]]
        arm = arm + rng.normal(0, _STRAY * tall, (1, 2, 2))
        unknown = np.array([[np.nan, np.nan]])
        hand = np.concatenate([unknown, arm[1:2, 0], unknown])
        points, probable = racket_points(at, three, hand, arm[:, 1], tall)
        true = camera.project(resample(motion.racket, motion.times, at), at)
        error = np.linalg.norm(matched(points.image[1:2], true[1:2]) - true[1:2], axis=2)[0]
        off.append(error / (racket.long * camera.focal / camera.distance))
        present.append(probable[1])
    return np.array(off), np.array(present)


def main(words: Sequence[str] | None = None) -> None:
    """Print the errors."""
    parser = argparse.ArgumentParser(
        prog="python -m swingmatch.study.sight.other_rackets", description=__doc__
    )
    parser.add_argument("--count", type=int, default=8, help="players (default: 8)")
    parser.add_argument("--every", type=int, default=4, help="take every so many pictures (default: 4)")
    said = parser.parse_args(words)
    seeds = CALIBRATION[: said.count]
    held = [look_for(seed, False, said.every) for seed in seeds]
    bare = np.concatenate([look_for(seed, True, said.every)[1] for seed in seeds])
    off, present = (np.concatenate([h[n] for h in held]) for n in (0, 1))
    print(f"{len(off)} pictures with other rackets: found in {100 * (present >= LEAST_PRESENT).mean():.0f} %")
    for name, k in (("butt", [0]), ("throat", [1]), ("tip", [2]), ("edges", [3, 4])):
        values = off[:, k][np.isfinite(off[:, k])]
        print(f"{name}: {100 * np.median(values):.1f} / {100 * np.quantile(values, 0.9):.1f} % of its length")
    print(f"{len(bare)} pictures without: said to have one in {100 * (bare >= LEAST_PRESENT).mean():.0f} %")


if __name__ == "__main__":
    main()
