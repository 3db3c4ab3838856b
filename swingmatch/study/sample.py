"""What the study films: a player, a camera, clothes and a court for each seed, drawn without looking at results."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Protocol

import numpy as np

from swingmatch.stroke.swing import Hand
from swingmatch.synth.backhand import random_backhand_player
from swingmatch.synth.build import Build
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import random_player
from swingmatch.synth.film import aimed, render
from swingmatch.synth.look import Look
from swingmatch.synth.motion import Motion
from swingmatch.synth.scene import SURFACES, Scene
from swingmatch.synth.serve_cast import random_server
from swingmatch.synth.truth import ClipTruth, read_truth

#: Camera places, spread over the circle in eighths; a clip's own azimuth is off by up to ``_OFF`` degrees.
_PLACES = (90.0, 45.0, 0.0, 135.0, 180.0, -135.0, -90.0, -45.0)
_OFF = 15.0
#: Frame rates, one for each round of the places.
_RATES = (60.0, 30.0, 120.0, 60.0, 240.0, 30.0, 60.0, 120.0)
#: Picture sizes and how often each is drawn: phones held across and upright, and what chat apps make of them.
_SIZES = {(1280, 720): 0.5, (1920, 1080): 0.15, (854, 480): 0.2, (720, 1280): 0.15}
_SHUTTERS = (1 / 100, 1 / 250, 1 / 500, 1 / 1000)
_SWINGS = 1
#: After so many clips places and rates begin again.
_ROUND = len(_PLACES) * len(_RATES)


class Drawn(Protocol):
    """A player who was drawn by seed, whatever the stroke."""

    @property
    def build(self) -> Build: ...
    @property
    def hand(self) -> Hand: ...
    def perform(self, *, swings: int = ..., variation: float = ..., rest: float = ...) -> Motion:
        """The player's motion; always the same for the same arguments."""


#: Stroke -> seed -> a player who makes it.
PLAYERS: dict[str, Callable[[int], Drawn]] = {
    "forehand": random_player,
    "two-handed backhand": partial(random_backhand_player, hands=2),
    "one-handed backhand": partial(random_backhand_player, hands=1),
    "serve": random_server,
}


@dataclass(frozen=True)
class Shot:
    """One clip of the study before it is rendered; ``crf`` is how hard it is compressed (see ``FilmWriter``)."""

    seed: int
    player: Drawn
    camera: Camera
    look: Look
    scene: Scene
    crf: float
    stroke: str = "forehand"

    @property
    def name(self) -> str:
        """The clip's file name without its ending."""
        return f"{'shot' if self.stroke == 'forehand' else self.stroke.replace(' ', '-')}-{self.seed}"


def camera_of(seed: int, place: int, hand: Hand) -> Camera:
    """The camera of a seed: its place and rate go in turn with ``place``, everything else is drawn."""
    rng = np.random.default_rng([seed, 77])
    azimuth = _PLACES[place % len(_PLACES)] + rng.uniform(-_OFF, _OFF)
    rate = _RATES[place // len(_PLACES) % len(_RATES)]
    size = list(_SIZES)[int(rng.choice(len(_SIZES), p=list(_SIZES.values())))]
    return Camera(
        # The places are those of a right-hander; a left-hander is filmed from the mirrored ones.
        azimuth=float(azimuth if hand == "right" else -azimuth),
        height=float(rng.uniform(0.9, 2.0)),
        distance=float(rng.uniform(4.5, 7.5)),
        field_of_view=float(rng.uniform(55.0, 72.0)),
        roll=float(rng.normal(0.0, 1.0)),
        shake=float(rng.uniform(0.0, 0.1)),
        # Phones film this fast at a moderate size only.
        size=size if rate <= 120.0 else (1280, 720),
        fps=rate,
        shutter=float(min(rng.choice(_SHUTTERS), 0.5 / rate)),
        seed=seed,
    )


def scene_of(seed: int) -> Scene:
    """The court, light and passers-by of a seed."""
    rng = np.random.default_rng([seed, 78])
    return Scene(
        surface=str(rng.choice(sorted(SURFACES))),
        exposure=float(rng.uniform(0.8, 1.3)),
        sun_azimuth=float(rng.uniform(0, 360)),
        noise=float(rng.uniform(1.0, 6.0)),
        bystander=(None, None, None, "standing", "walking")[int(rng.integers(5))],
        seed=seed,
    )


def shot(seed: int, place: int, stroke: str = "forehand") -> Shot:
    """The clip of a seed: everything but the camera's place and rate, and the stroke, is drawn."""
    player = PLAYERS[stroke](seed)
    look = Look.of(seed, build=player.build.girth)
    crf = float(np.random.default_rng([seed, 79]).choice([20.0, 26.0, 32.0]))
    return Shot(seed, player, camera_of(seed, place, player.hand), look, scene_of(seed), crf, stroke)


def shots(seeds: Sequence[int], count: int, stroke: str = "forehand") -> list[Shot]:
    """The clips of the first ``count`` of some seeds; the seed also says the camera's place and rate.

    Raises ``ValueError`` when there are fewer seeds than asked for.
    """
    if count > len(seeds):
        raise ValueError(f"there are only {len(seeds)} seeds, {count} were asked for")
    return [shot(seed, seed % _ROUND, stroke) for seed in seeds[:count]]


def film(item: Shot, folder: Path) -> tuple[Path, ClipTruth]:
    """Render a shot into ``folder`` unless it is there already; the clip's path and its truth."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{item.name}.mp4"
    if not (path.exists() and path.with_suffix(".truth.json").exists()):
        motion = item.player.perform(swings=_SWINGS)
        render(
            motion, aimed(item.camera, motion), item.look, item.scene, path, crf=item.crf, subframes=2,
            keep_truth=True,
        )  # fmt: skip
    return path, read_truth(path)
