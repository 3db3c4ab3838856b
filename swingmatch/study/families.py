"""Generated players of known style: a family is stance by take-back by tempo, laid down before any result was seen.

Three stances (open, semi-open, neutral: the classes of ``library.choose.STANCES``), two take-backs (low with hardly a
loop, high with a loop) and two tempi (a tenth quicker and a good tenth slower than the generator's sound forehand) make
twelve families. Within a family, and in everything else of style and build, players are drawn as widely as the study
of accuracy draws them.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from swingmatch.library.format import Volunteer
from swingmatch.synth.build import draw_build
from swingmatch.synth.cast import Player, random_player, tempo
from swingmatch.synth.style import ForehandStyle
from swingmatch.synth.volunteers import volunteer_of

Range = tuple[float, float]

#: Degrees of ``ForehandStyle.stance``, at least 7 from the limits between the classes.
STANCE: Mapping[str, Range] = {"open": (5.0, 15.0), "semi-open": (33.0, 58.0), "neutral": (75.0, 93.0)}
#: ``take_back_height`` and ``loop``.
TAKE_BACK: Mapping[str, tuple[Range, Range]] = {
    "low take-back": ((0.62, 0.74), (0.02, 0.06)),
    "high take-back": ((0.92, 1.00), (0.12, 0.20)),
}
#: Factor on the times of preparation and recovery.
TEMPO: Mapping[str, Range] = {"quick": (0.86, 0.94), "slow": (1.10, 1.18)}


class Family(NamedTuple):
    """One kind of forehand."""

    stance: str
    take_back: str
    tempo: str


FAMILIES: tuple[Family, ...] = tuple(itertools.starmap(Family, itertools.product(STANCE, TAKE_BACK, TEMPO)))


class Known(NamedTuple):
    """A player and the family that the player's style was drawn from."""

    family: Family
    player: Player


def known_player(seed: int, family: Family, faults: Mapping[str, float] | None = None) -> Known:
    """The right-handed player of a seed in a family; ``faults`` by name and size, as in ``synth.faults``."""
    rng = np.random.default_rng([seed, 81])

    def draw(ends: Range) -> float:
        return float(rng.uniform(*ends))

    # Everything that is no matter of the family is that of the study's players.
    base = random_player(seed).style
    height, loop = TAKE_BACK[family.take_back]
    sound = ForehandStyle()
    # The random player's own tempo is taken out first.
    plain = tempo(base, sound.turn_lead / base.turn_lead)
    style = replace(plain, stance=draw(STANCE[family.stance]), take_back_height=draw(height), loop=draw(loop))
    style = tempo(style, draw(TEMPO[family.tempo]))
    return Known(
        family,
        Player(
            f"Player {seed}", "Drawn by seed.", draw_build(rng), style, faults=dict(faults or {}), seed=seed
        ),
    )


def known_players(seeds: Sequence[int], each: int) -> list[Known]:
    """``each`` players of every family, seeds in turn.

    Raises ``ValueError`` when there are fewer seeds than players.
    """
    if len(seeds) < each * len(FAMILIES):
        raise ValueError(f"there are only {len(seeds)} seeds, {each * len(FAMILIES)} were asked for")
    return [known_player(seed, family) for seed, family in zip(seeds, FAMILIES * each, strict=False)]


def as_models(players: Sequence[Known], repeats: int = 2) -> tuple[Volunteer, ...]:
    """The players as volunteers of a library."""
    return tuple(volunteer_of(known.player, repeats) for known in players)
