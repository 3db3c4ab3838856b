"""A made-up backhand, one-handed or two-handed: what it has of its own; the rest is as in ``forehand``.

All is worked out with the ball on the player's right (+Z), the left arm hitting; a right-hander is mirrored in the end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from swingmatch.stroke.swing import Hand
from swingmatch.synth.backhand_chain import one_handed_body, two_handed_body
from swingmatch.synth.backhand_style import FAULTS, BackhandStyle, Hands, apply_faults, random_backhand_style
from swingmatch.synth.build import Build, draw_build
from swingmatch.synth.cast import CALIBRATION, HELD_OUT, TUNING
from swingmatch.synth.curves import drive, step
from swingmatch.synth.forehand import (
    SPLIT,
    Keys,
    Kind,
    Planned,
    Strike,
    arm_elevation,
    events_of,
    repeat,
    sweep_racket,
    turn_trunk,
)
from swingmatch.synth.motion import Motion

Array = NDArray[np.float64]

#: Racket's direction as it lags most, and where the finish ends, degrees: of two hands over the front shoulder, of one
#: high towards the target.
LAG: Mapping[Hands, float] = {1: 174.0, 2: 156.0}
END: Mapping[Hands, float] = {1: -30.0, 2: -145.0}
#: Seconds before contact at which the racket turns fastest: it has less far to come than in a forehand.
RACKET_LEAD: Mapping[Hands, float] = {1: 0.012, 2: 0.0}
#: How far hips and shoulders go on after the drive through contact, degrees; who hits with one hand stays sideways.
MORE: Mapping[Hands, tuple[float, float]] = {1: (8.0, 4.0), 2: (24.0, 28.0)}
#: Swing of the front arm against the chest: fastest this long before contact, bell before and after it, seconds.
ARM_SWING: Mapping[Hands, tuple[float, float, float]] = {1: (0.040, 0.062, 0.050), 2: (0.042, 0.050, 0.040)}
#: Instants (seconds from contact) at which the arm's swing gets a key.
ARM_KEYS = (-0.12, -0.10, -0.08, -0.06, -0.045, -0.03, -0.015, 0.0, 0.015, 0.03, 0.05, 0.075, 0.10)
READY_RACKET = 22.0


def perform_backhand(
    style: BackhandStyle,
    build: Build,
    hand: Hand = "right",
    *,
    hands: Hands,
    swings: int = 3,
    faults: Mapping[str, float] | None = None,
    variation: float = 1.0,
    seed: int = 0,
    rest: float = 1.0,
) -> Motion:
    """A player hitting ``swings`` backhands in one continuous motion, 480 samples a second.

    Parameters
    ----------
    style, build : who plays and how. hand : the hitting hand; of two, the one at the butt. hands : how many hold the
        racket through contact.
    faults : name -> size 0..1, see ``backhand_style.FAULTS``. variation, seed, rest : as in ``forehand.perform``.

    Raises
    ------
    ValueError : for no swings, an unknown fault or a size outside 0..1.
    """
    faults = dict(faults or {})
    return repeat(
        KINDS[hands],
        apply_faults(style, faults),
        build,
        hand,
        swings,
        faults,
        variation,
        seed=seed,
        rest=rest,
    )


@dataclass(frozen=True)
class BackhandPlayer:
    """An invented player of backhands, drawn by seed: build, style, hand, how many hands, planted faults."""

    build: Build
    style: BackhandStyle
    hands: Hands
    hand: Hand = "right"
    faults: Mapping[str, float] = field(default_factory=dict)
    seed: int = 0

    def perform(self, *, swings: int = 3, variation: float = 1.0, rest: float = 1.0) -> Motion:
        """The player's motion; always the same for the same arguments."""
        return perform_backhand(
            self.style,
            self.build,
            self.hand,
            hands=self.hands,
            swings=swings,
            faults=self.faults,
            variation=variation,
            seed=self.seed,
            rest=rest,
        )


def random_backhand_player(seed: int, hands: Hands) -> BackhandPlayer:
    """A random player of backhands: build, style and hand drawn, with none or one planted fault.

    Seeds are those of ``cast``: what is tuned or trained uses ``TUNING`` only.

    Raises
    ------
    ValueError : for a seed in none of ``TUNING``, ``CALIBRATION`` and ``HELD_OUT``.
    """
    if not any(seed in seeds for seeds in (TUNING, CALIBRATION, HELD_OUT)):
        raise ValueError(f"seed {seed} is in none of TUNING, CALIBRATION and HELD_OUT")
    rng = np.random.default_rng([seed, hands])
    build = draw_build(rng)
    style = random_backhand_style(rng, hands)
    hand: Hand = "left" if rng.random() < 0.25 else "right"
    chosen = rng.choice(sorted(FAULTS), size=int(rng.integers(0, 2)), replace=False)
    faults = {str(name): float(rng.uniform(0.4, 1.0)) for name in chosen}
    return BackhandPlayer(build, style, hands, hand, faults, seed)


def _turns(hands: Hands, times: Array, p: Planned, turns: dict[str, Array], keys: Keys) -> None:
    """Turns of hips, shoulders and racket."""
    s, lag = p.style, LAG[hands]
    turn_trunk(times, p, turns, MORE[hands])
    sweep_racket(times, p, turns, lag, END[hands], RACKET_LEAD[hands])
    keys["racket_azimuth"] += [
        (p.contact + at, value)
        for at, value in (
            (-s.turn_lead, READY_RACKET),
            (-s.apart_lead, READY_RACKET + 0.5 * s.shoulder_turn),
            (-s.top_lead, min(s.shoulder_turn + 42.0, lag - 12.0)),
            (-s.slot_lead, lag),
            (s.finish_time + 0.12, lag),
            (s.finish_time + s.recovery_time, READY_RACKET),
        )
    ]


def _forward(hands: Hands, start: float, at_contact: float) -> list[tuple[float, float]]:
    """Keys of the front arm's azimuth from the slot through contact: seconds from contact, degrees."""
    lead, before, after = ARM_SWING[hands]
    shares = drive(np.array(ARM_KEYS), -lead, before, after)
    swung = (start - at_contact) / float(shares[ARM_KEYS.index(0.0)])
    return [(at, start - swung * float(share)) for at, share in zip(ARM_KEYS, shares, strict=True)]


def _one_handed_arm(p: Planned, build: Build, keys: Keys) -> None:
    """Key poses of the hitting arm, wrist and racket with one hand."""
    s, k = _style(p), p.strike
    slot_elbow = 0.5 * (s.elbow_take_back + s.elbow_contact)
    loop_elbow = 0.5 * (80.0 + s.elbow_take_back)
    top = arm_elevation(s.take_back_height, s.elbow_take_back, build)
    loop = arm_elevation(0.5 * (0.62 + s.take_back_height) + s.loop, loop_elbow, build)
    slot = arm_elevation(s.drop_height, slot_elbow, build)
    finish = arm_elevation(s.finish_height, 16.0, build)
    ready, turn, apart, back, low = (
        -s.turn_lead - SPLIT,
        -s.turn_lead,
        -s.apart_lead,
        -s.top_lead,
        -s.slot_lead,
    )
    half = 0.5 * (apart + back)
    fin, held, home = s.finish_time, s.finish_time + 0.12, s.finish_time + s.recovery_time
    down = held + 0.5 * (home - held)
    slot_azimuth = s.take_back_reach - 4.0
    wide = k.azimuth - 38.0 * (0.4 + 0.6 * s.finish_reach)
    tip = max(s.racket_drop, s.racket_contact - 4.0)
    table: Keys = {
        "arm_azimuth": [
            (ready, 30), (turn, 30), (apart, 38), (half, 0.5 * (38 + s.take_back_reach)),
            (back, s.take_back_reach), (min(low, -0.14), slot_azimuth), *_forward(1, slot_azimuth, k.azimuth),
            (fin, wide), (held, wide), (down, -10), (home, 30),
        ],
        "arm_elevation": [
            (ready, -54), (turn, -54), (apart, -38), (half, loop), (back, top), (low, slot),
            (-0.05, k.elevation - 0.05 * k.rise), (0.0, k.elevation), (0.05, k.elevation + 0.05 * k.rise),
            (fin, finish), (held, finish), (down, -30), (home, -54),
        ],
        "elbow": [
            (ready, 88), (turn, 90), (apart, 84), (half, loop_elbow), (back, s.elbow_take_back), (low, slot_elbow),
            (0.0, s.elbow_contact), (0.10, s.elbow_contact), (fin, 16), (held, 18), (down, 60), (home, 88),
        ],
        "pole_x": [(ready, -0.3), (apart, 0.1), (back, 0.4), (low, 0.4), (0.0, -0.1), (fin, -0.2), (home, -0.3)],
        "pole_y": [(ready, -1.0), (home, -1.0)],
        "pole_z": [(ready, -0.5), (apart, -0.5), (back, -0.3), (low, -0.3), (0.0, -0.3), (fin, -0.3), (home, -0.5)],
        "wrist": [
            (ready, 8), (apart, 4), (back, s.wrist_lag), (-0.10, s.wrist_lag), (-0.01, s.wrist_contact),
            (0.05, s.wrist_contact + 6.0), (fin, 8), (home, 8),
        ],
        "racket_elevation": [
            (ready, 36), (turn, 36), (apart, 50), (back, 44 + 40 * s.loop), (low, -s.racket_drop), (-0.05, -tip),
            (0.0, -s.racket_contact), (0.05, 10), (0.13, 34), (fin, 46), (held, 46), (down, 40), (home, 36),
        ],
        "racket_closing": [
            (ready, 5), (apart, 12), (back, 22), (low, 90.0 - s.face_drop), (0.0, k.closing),
            (0.10, k.closing + 10.0), (fin, 10), (home, 5),
        ],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]


def _two_handed_arm(p: Planned, build: Build, keys: Keys) -> None:
    """Key poses of the front arm, wrist and racket with both hands, and where the other elbow points."""
    s, k = _style(p), p.strike
    slot_elbow = 0.5 * (s.elbow_take_back + s.elbow_contact)
    loop_elbow = 0.5 * (70.0 + s.elbow_take_back)
    top = arm_elevation(s.take_back_height, s.elbow_take_back, build)
    loop = arm_elevation(0.5 * (0.5 + s.take_back_height) + s.loop, loop_elbow, build)
    slot = arm_elevation(s.drop_height, slot_elbow, build)
    finish = arm_elevation(s.finish_height, 112.0, build)
    ready, turn, apart, back, low = (
        -s.turn_lead - SPLIT,
        -s.turn_lead,
        -s.apart_lead,
        -s.top_lead,
        -s.slot_lead,
    )
    half = 0.5 * (apart + back)
    fin, held, home = s.finish_time, s.finish_time + 0.10, s.finish_time + s.recovery_time
    down = held + 0.5 * (home - held)
    slot_azimuth = s.take_back_reach - 10.0
    tip = max(s.racket_drop, s.racket_contact - 4.0)
    whip = float(np.clip(s.path / 12.0, 0.0, 1.0))
    tip, up = (s.racket_contact + whip * (value - s.racket_contact) for value in (tip, -8.0))
    table: Keys = {
        "arm_azimuth": [
            (ready, 30), (turn, 30), (apart, 38), (half, 0.5 * (38 + s.take_back_reach)),
            (back, s.take_back_reach), (min(low, -0.14), slot_azimuth), *_forward(2, slot_azimuth, k.azimuth),
            (fin, 16), (held, 16), (down, 26), (home, 30),
        ],
        "arm_elevation": [
            (ready, -54), (turn, -54), (apart, -44), (half, loop), (back, top), (low, slot),
            (-0.05, k.elevation - 0.05 * k.rise), (0.0, k.elevation), (0.05, k.elevation + 0.05 * k.rise),
            (fin, finish), (held, finish), (down, -40), (home, -54),
        ],
        "elbow": [
            (ready, 84), (turn, 84), (apart, 74), (half, loop_elbow), (back, s.elbow_take_back), (low, slot_elbow),
            (0.0, s.elbow_contact), (0.08, s.elbow_contact + 6.0), (fin, 112), (held, 114), (home, 84),
        ],
        "pole_x": [(ready, -0.2), (apart, 0.2), (back, 0.5), (low, 0.5), (0.0, 0.35), (0.14, 0.4), (fin, 1.0),
                   (held, 1.0), (home, -0.2)],
        "pole_y": [(ready, -1.0), (0.0, -1.0), (0.14, -0.9), (fin, -0.3), (held, -0.3), (home, -1.0)],
        "pole_z": [(ready, -0.5), (back, -0.3), (0.0, -0.3), (0.14, -0.5), (fin, -0.6), (held, -0.6), (home, -0.5)],
        "off_pole_x": [(ready, -0.2), (back, -0.3), (0.0, -0.2), (fin, 0.8), (held, 0.8), (home, -0.2)],
        "off_pole_y": [(ready, -1.0), (0.0, -1.0), (fin, -0.5), (held, -0.5), (home, -1.0)],
        "off_pole_z": [(ready, 0.5), (back, 0.5), (0.0, 0.4), (fin, 0.6), (held, 0.6), (home, 0.5)],
        "wrist": [
            (ready, 8), (back, s.wrist_lag), (-0.09, s.wrist_lag), (0.0, s.wrist_contact), (0.05, s.wrist_contact),
            (fin, 0), (home, 8),
        ],
        "racket_elevation": [
            (ready, 36), (turn, 36), (apart, 44), (back, 34 + 40 * s.loop), (low, -s.racket_drop),
            (-0.05, -tip), (0.0, -s.racket_contact), (0.05, -up), (0.11, 26), (0.20, 32), (fin, 8),
            (held, 6), (held + 0.10, 30), (down, 52), (home, 36),
        ],
        "racket_closing": [
            (ready, 5), (apart, 10), (back, 20), (low, 90.0 - s.face_drop), (0.0, k.closing),
            (0.10, k.closing + 22.0), (fin, 20), (home, 5),
        ],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]


def _off_arm(times: Array, p: Planned, keys: Keys) -> Array:
    """Key poses of the off arm with one hand; gives (T,) how far it has let go of the racket, 0..1."""
    s = _style(p)
    span, fin, home = s.off_arm_span, s.finish_time, s.finish_time + s.recovery_time
    # Not before the racket is back, however quick the preparation.
    lets_go = max(-s.release_lead, 0.02 - s.top_lead)
    table: Keys = {
        "off_azimuth": [(-s.turn_lead, -25), (lets_go, 30), (0.0, 78), (0.15, 100), (fin, 96), (home, -25)],
        "off_elevation": [(-s.turn_lead, -40), (lets_go, -40), (0.0, -28 - 34 * (1 - span)),
                          (fin, -26 - 34 * (1 - span)), (home, -40)],
        "off_elbow": [(-s.turn_lead, 60), (lets_go, 50), (0.0, 28), (fin, 34), (home, 60)],
        "off_pole_x": [(-s.turn_lead, -0.3), (lets_go, -0.5), (0.0, -0.6), (fin, -0.5), (home, -0.3)],
        "off_pole_y": [(-s.turn_lead, -1.0), (home, -1.0)],
        "off_pole_z": [(-s.turn_lead, 0.5), (0.0, 0.4), (home, 0.5)],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]
    t = times - p.contact
    return step(t, lets_go, lets_go + 0.22) - step(t, home - 0.42, home - 0.02)


def _both_hold(times: Array, p: Planned, keys: Keys) -> Array:
    """Nothing is let go of: zeros (T,)."""
    return np.zeros(len(times))


def _style(p: Planned) -> BackhandStyle:
    assert isinstance(p.style, BackhandStyle)
    return p.style


KINDS: Mapping[Hands, Kind] = {
    1: Kind(
        partial(_turns, 1), _one_handed_arm, _off_arm, one_handed_body,
        partial(events_of, hitting="left", parting="late"), "right", Strike(-36.0, -34.0, 120.0, 8.0),
    ),
    2: Kind(
        partial(_turns, 2), _two_handed_arm, _both_hold, two_handed_body,
        partial(events_of, hitting="left", parting="never"), "right", Strike(45.0, -32.0, 100.0, 8.0),
    ),
}  # fmt: skip
