"""The cast: invented players. None is, or is modelled on, a real person.

Volunteers have sound strokes of clearly different kinds and fill ``references/``; demo players have planted faults;
random players, drawn by seed, are for the study of accuracy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from swingmatch.stroke.swing import Hand
from swingmatch.synth.build import Build, draw_build
from swingmatch.synth.faults import FAULTS
from swingmatch.synth.forehand import perform
from swingmatch.synth.motion import Motion
from swingmatch.synth.style import TEMPO, ForehandStyle

#: Seeds of random players on which anything may be tuned or trained; those from which the shipped measurement errors
#: come, and nothing else; and those kept for reporting. Never mix them.
TUNING = range(0, 1_000)
CALIBRATION = range(1_000_000, 1_000_032)
HELD_OUT = range(1_000_032, 1_001_000)


@dataclass(frozen=True)
class Player:
    """An invented player: first name, one plain line about the stroke, build, style, hand, planted faults."""

    name: str
    words: str
    build: Build
    style: ForehandStyle
    hand: Hand = "right"
    faults: Mapping[str, float] = field(default_factory=dict)
    seed: int = 0

    def perform(self, *, swings: int = 3, variation: float = 1.0, rest: float = 1.0) -> Motion:
        """The player's motion; always the same for the same arguments."""
        return perform(
            self.style,
            self.build,
            self.hand,
            swings=swings,
            faults=self.faults,
            variation=variation,
            seed=self.seed,
            rest=rest,
        )


def tempo(style: ForehandStyle, factor: float) -> ForehandStyle:
    """A style whose preparation and recovery take ``factor`` times as long (the hit itself stays as quick)."""
    return replace(style, **{name: getattr(style, name) * factor for name in TEMPO if name != "slot_lead"})


_SOUND = ForehandStyle()

#: Eleven volunteers for ``references/``; four are left-handed.
VOLUNTEERS: tuple[Player, ...] = (
    Player(
        "Arlo",
        "Tall, semi-open, compact take-back, contact well in front.",
        Build(1.90, "male", 0.95, {"forearm": 1.03, "thigh": 1.02}),
        replace(_SOUND, stance=40.0, contact_front=0.72, loop=0.06, take_back_height=0.80),
        seed=101,
    ),
    Player(
        "Wren",
        "Short and quick, open stance, deep load, steep path.",
        Build(1.61, "female", 0.92, {"trunk": 1.02, "shank": 0.98}),
        tempo(
            replace(
                _SOUND, stance=18.0, base_width=1.7, knee_outside=62.0, path=25.0, racket_drop=40.0, face=80.0
            ),
            0.88,
        ),
        seed=102,
    ),
    Player(
        "Ines",
        "Neutral stance, stepping in, long smooth swing at an easy tempo.",
        Build(1.72, "female", 1.02, {"upper_arm": 1.02}),
        tempo(
            replace(
                _SOUND, stance=86.0, base_width=1.6, weight_contact=0.72, path=15.0, face=84.0, loop=0.18
            ),
            1.12,
        ),
        seed=103,
    ),
    Player(
        "Bram",
        "Heavy build, semi-open, little loop, strong shoulder turn, straight-arm contact.",
        Build(1.84, "male", 1.25, {"shoulder_width": 1.04, "shank": 0.98}),
        replace(
            _SOUND,
            stance=48.0,
            shoulder_turn=110.0,
            hip_turn=74.0,
            elbow_contact=22.0,
            loop=0.02,
            side_lean=3.0,
        ),
        seed=104,
    ),
    Player(
        "Tova",
        "Left-handed, semi-open, high take-back just under the shoulder, full wrap finish.",
        Build(1.69, "female", 0.97, {"thigh": 1.02, "trunk": 0.99}),
        replace(_SOUND, stance=52.0, take_back_height=0.96, loop=0.16, finish_height=1.2, path=21.0),
        hand="left",
        seed=105,
    ),
    Player(
        "Odin",
        "Left-handed, tall and slim, open stance, quick, big racket drop.",
        Build(1.93, "male", 0.86, {"shank": 1.03, "forearm": 1.02}),
        tempo(
            replace(_SOUND, stance=12.0, base_width=1.65, racket_drop=44.0, racket_rate=2150.0, path=23.0),
            0.92,
        ),
        hand="left",
        seed=106,
    ),
    Player(
        "Mael",
        "Left-handed, closed stance, flat and early ball, low take-back.",
        Build(1.78, "male", 1.05, {"upper_arm": 0.98}),
        replace(
            _SOUND,
            stance=102.0,
            base_width=1.45,
            take_back_height=0.66,
            loop=0.04,
            path=13.0,
            face=85.0,
            contact_front=0.70,
            weight_contact=0.70,
            finish_height=1.0,
        ),
        hand="left",
        seed=107,
    ),
    Player(
        "Suri",
        "Small, neutral stance, bent-arm contact, compact.",
        Build(1.56, "female", 0.9, {"forearm": 0.98, "shoulder_width": 0.97}),
        replace(_SOUND, stance=74.0, elbow_contact=52.0, elbow_take_back=78.0, loop=0.08, finish_height=1.05),
        seed=108,
    ),
    Player(
        "Pelle",
        "Average build, semi-open, slow preparation and a generous loop, low contact.",
        Build(1.80, "male", 1.0),
        tempo(
            replace(
                _SOUND, stance=58.0, loop=0.24, take_back_height=0.92, contact_height=0.08, knee_outside=60.0
            ),
            1.18,
        ),
        seed=109,
    ),
    Player(
        "Noor",
        "Left-handed, strong legs, open stance, high contact.",
        Build(1.74, "female", 1.12, {"thigh": 0.98, "hip_width": 1.04}),
        replace(
            _SOUND,
            stance=24.0,
            base_width=1.7,
            contact_height=0.42,
            path=17.0,
            knee_inside=24.0,
            finish_height=1.15,
        ),
        hand="left",
        seed=110,
    ),
    Player(
        "Gil",
        "Older club player's tempo: neutral to semi-open, unhurried, moderate turn, slower racket.",
        Build(1.76, "male", 1.15, {"trunk": 1.02}),
        tempo(
            replace(
                _SOUND,
                stance=66.0,
                shoulder_turn=91.0,
                hip_turn=64.0,
                racket_rate=1820.0,
                knee_outside=46.0,
                forward_time=0.092,
            ),
            1.10,
        ),
        seed=111,
    ),
)

#: Two players of the demo with faults that show from their own camera side.
DEMO: tuple[Player, ...] = (
    Player(
        "Juno",
        "Right-handed, filmed from the hitting side: meets the ball late, on straight legs.",
        Build(1.73, "female", 1.0, {"thigh": 1.01}),
        replace(_SOUND, stance=54.0, path=18.0),
        faults={"late_contact": 1.0, "straight_legs": 1.0},
        seed=201,
    ),
    Player(
        "Kasper",
        "Left-handed, filmed from the front on the off side: hand far above the shoulder, off arm passive.",
        Build(1.86, "male", 1.08, {"shank": 1.01}),
        replace(_SOUND, stance=38.0, loop=0.14),
        hand="left",
        faults={"high_take_back": 0.85, "passive_off_arm": 0.9},
        seed=202,
    ),
)


def random_player(seed: int) -> Player:
    """A random player for the accuracy study: build, style and hand drawn, with none to two planted faults.

    Raises
    ------
    ValueError : for a seed in none of ``TUNING``, ``CALIBRATION`` and ``HELD_OUT``.
    """
    if not any(seed in seeds for seeds in (TUNING, CALIBRATION, HELD_OUT)):
        raise ValueError(f"seed {seed} is in none of TUNING, CALIBRATION and HELD_OUT")
    rng = np.random.default_rng(seed)
    build = draw_build(rng)

    def draw(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    style = replace(
        _SOUND,
        stance=draw(10.0, 98.0),
        base_width=draw(1.4, 1.75),
        knee_outside=draw(44.0, 62.0),
        shoulder_turn=draw(90.0, 110.0),
        hip_turn=draw(60.0, 76.0),
        hip_lead=draw(12.0, 26.0),
        take_back_height=draw(0.62, 1.0),
        loop=draw(0.02, 0.22),
        off_arm_span=draw(0.75, 1.0),
        elbow_take_back=draw(50.0, 80.0),
        elbow_contact=draw(24.0, 52.0),
        racket_drop=draw(24.0, 42.0),
        face_drop=draw(48.0, 66.0),
        face=draw(78.0, 86.0),
        path=draw(12.0, 26.0),
        contact_front=draw(0.58, 0.76),
        contact_height=draw(0.05, 0.42),
        finish_height=draw(1.0, 1.2),
        racket_rate=draw(1820.0, 2150.0),
        lean=draw(3.0, 9.0),
    )
    style = tempo(style, draw(0.88, 1.15))
    hand: Hand = "left" if rng.random() < 0.25 else "right"
    chosen = rng.choice(sorted(FAULTS), size=int(rng.integers(0, 3)), replace=False)
    faults = {str(name): draw(0.4, 1.0) for name in chosen}
    return Player(f"Random {seed}", "Drawn by seed.", build, style, hand, faults, seed)
