"""Random servers, drawn by seed. None is, or is modelled on, a real person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from swingmatch.stroke.swing import Hand
from swingmatch.synth.build import Build, draw_build
from swingmatch.synth.cast import CALIBRATION, HELD_OUT, TUNING
from swingmatch.synth.motion import Motion
from swingmatch.synth.serve import perform_serve
from swingmatch.synth.serve_style import SERVE_FAULTS, ServeStyle, random_serve_style


@dataclass(frozen=True)
class Server:
    """An invented player who serves: build, style, hand, planted faults, seed of the repeats."""

    name: str
    build: Build
    style: ServeStyle
    hand: Hand = "right"
    faults: Mapping[str, float] = field(default_factory=dict)
    seed: int = 0

    def perform(self, *, swings: int = 2, variation: float = 1.0, rest: float = 1.0) -> Motion:
        """The player's motion; always the same for the same arguments."""
        return perform_serve(
            self.style,
            self.build,
            self.hand,
            swings=swings,
            faults=self.faults,
            variation=variation,
            seed=self.seed,
            rest=rest,
        )


def random_server(seed: int) -> Server:
    """A random server: build, style and hand drawn, with none to two planted faults.

    Raises
    ------
    ValueError : for a seed in none of ``cast.TUNING``, ``cast.CALIBRATION`` and ``cast.HELD_OUT``.
    """
    if not any(seed in seeds for seeds in (TUNING, CALIBRATION, HELD_OUT)):
        raise ValueError(f"seed {seed} is in none of TUNING, CALIBRATION and HELD_OUT")
    rng = np.random.default_rng([seed, 5])  # the 5 keeps it apart from the forehand's player of the same seed
    build, style = draw_build(rng), random_serve_style(rng)
    hand: Hand = "left" if rng.random() < 0.25 else "right"
    chosen = rng.choice(sorted(SERVE_FAULTS), size=int(rng.integers(0, 3)), replace=False)
    faults = {str(name): float(rng.uniform(0.4, 1.0)) for name in chosen}
    return Server(f"Random server {seed}", build, style, hand, faults, seed)
