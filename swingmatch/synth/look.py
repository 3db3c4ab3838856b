"""``Look``: what an invented player wears and how wide the body is. No likeness of anyone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Colour = tuple[float, float, float]

_SKIN: tuple[Colour, ...] = (
    (0.93, 0.76, 0.65),
    (0.86, 0.66, 0.53),
    (0.76, 0.56, 0.42),
    (0.60, 0.42, 0.31),
    (0.44, 0.30, 0.22),
    (0.33, 0.22, 0.17),
)
_HAIR: tuple[Colour, ...] = (
    (0.10, 0.08, 0.07),
    (0.20, 0.13, 0.09),
    (0.36, 0.24, 0.15),
    (0.60, 0.45, 0.26),
    (0.42, 0.41, 0.41),
)
_CLOTH: tuple[Colour, ...] = (
    (0.90, 0.90, 0.88),
    (0.75, 0.16, 0.18),
    (0.14, 0.30, 0.62),
    (0.10, 0.12, 0.18),
    (0.93, 0.62, 0.16),
    (0.30, 0.62, 0.60),
    (0.55, 0.30, 0.55),
    (0.50, 0.72, 0.30),
)
_DARK_CLOTH: tuple[Colour, ...] = (
    (0.10, 0.11, 0.14),
    (0.13, 0.18, 0.34),
    (0.30, 0.31, 0.33),
    (0.88, 0.88, 0.86),
    (0.36, 0.12, 0.16),
)


@dataclass(frozen=True)
class Look:
    """Clothes, colours (red, green, blue, 0..1) and body width.

    ``build`` scales every width of the body: about 0.9 slim, 1.15 heavy. ``bottom`` is "shorts" or "skirt";
    ``hair_style`` is "short", "long" (a pony tail) or "none".
    """

    skin: Colour = _SKIN[1]
    hair: Colour = _HAIR[1]
    shirt: Colour = _CLOTH[2]
    trim: Colour = _CLOTH[0]
    bottom_colour: Colour = _DARK_CLOTH[0]
    socks: Colour = (0.92, 0.92, 0.92)
    shoes: Colour = (0.90, 0.90, 0.92)
    sole: Colour = (0.25, 0.27, 0.32)
    cap_colour: Colour = (0.92, 0.92, 0.92)
    frame: Colour = (0.12, 0.12, 0.14)
    grip: Colour = (0.16, 0.16, 0.17)
    bottom: str = "shorts"
    hair_style: str = "short"
    cap: bool = False
    build: float = 1.0

    @staticmethod
    def of(seed: int, *, build: float = 1.0) -> Look:
        """A look drawn at random; the same seed gives the same look."""
        rng = np.random.default_rng([seed, 77])

        def pick(choices: tuple[Colour, ...]) -> Colour:
            return choices[int(rng.integers(len(choices)))]

        skin, shirt = pick(_SKIN), pick(_CLOTH)
        trim = pick(tuple(c for c in _CLOTH if c != shirt))
        shoes = pick((*_CLOTH[:3], _DARK_CLOTH[0]))
        return Look(
            skin=skin,
            hair=pick(_HAIR),
            shirt=shirt,
            trim=trim,
            bottom_colour=pick(_DARK_CLOTH),
            socks=pick((_CLOTH[0], _CLOTH[0], _DARK_CLOTH[0])),
            shoes=shoes,
            sole=(0.9, 0.9, 0.9) if sum(shoes) < 1.6 else (0.28, 0.30, 0.35),
            cap_colour=pick(_CLOTH),
            frame=pick((_DARK_CLOTH[0], _CLOTH[1], _CLOTH[2], _CLOTH[4])),
            bottom="skirt" if rng.random() < 0.3 else "shorts",
            hair_style=("short", "long")[int(rng.random() < 0.35)],
            cap=bool(rng.random() < 0.3),
            build=build,
        )
