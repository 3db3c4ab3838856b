"""A made-up forehand: key poses and turns of a style, strung together into a continuous performance.

The generator's own events are measured on its exact keypoints by ``events_of``, which defines them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from swingmatch.body.skeleton import INDEX, middle, mirror
from swingmatch.stroke.swing import Hand
from swingmatch.synth.build import Build
from swingmatch.synth.chain import body, pelvis_height, reach
from swingmatch.synth.curves import arc, drive, smooth_vectors, step, through
from swingmatch.synth.faults import apply_faults
from swingmatch.synth.flight import flight
from swingmatch.synth.footwork import FootPlan, Plant
from swingmatch.synth.motion import Motion, SwingTruth
from swingmatch.synth.style import ForehandStyle, GroundstrokeStyle, vary

Array = NDArray[np.float64]
Keys = dict[str, list[tuple[float, float]]]

RATE = 480.0
#: Smoothing of key curves in seconds: heavy body parts, arms, and the racket.
BODY, ARM, RACKET = 0.045, 0.022, 0.016
#: Bell of the turns after their fastest instant, seconds (chosen to meet A6 and A7).
HIP_AFTER, TRUNK_AFTER = 0.130, 0.125
#: Racket's direction as it lags most, and where the wrap-around finish ends, degrees.
LAG, WRAP = 186.0, -140.0
#: Swing of the arm against the chest: its bell's widths before and after the fastest instant, seconds.
ARM_BEFORE, ARM_AFTER = 0.044, 0.030
#: Instants (seconds from contact) at which the arm's swing gets a key.
ARM_KEYS = (-0.10, -0.08, -0.06, -0.045, -0.03, -0.015, 0.0, 0.015, 0.03, 0.05, 0.075)
#: Seconds before contact at which the racket turns fastest against the body (to meet A17 with the hand's speed).
RACKET_LEAD = 0.026
SPLIT = 0.26  # seconds from the split step's start to the turn


#: Channels that the solved strike changes.
STRIKE_CHANNELS = ("arm_azimuth", "arm_elevation", "racket_closing")


@dataclass(frozen=True)
class Strike:
    """What is solved so that contact is where the style wants it: arm direction, its rise, and the face."""

    azimuth: float = 42.0
    elevation: float = -34.0
    rise: float = 150.0
    closing: float = 8.0


@dataclass(frozen=True)
class Planned:
    """One swing on the clip's clock: contact time, style, ready place before and after, solved strike."""

    contact: float
    style: GroundstrokeStyle
    home: tuple[float, float]
    next_home: tuple[float, float]
    strike: Strike = Strike()


@dataclass(frozen=True)
class Kind:
    """What one groundstroke has of its own. All is worked out with the ball on the right (+Z).

    Attributes
    ----------
    turns : adds the turns of hips, shoulders and racket. hitting_arm, off_arm : add the arms' key poses.
    body : channels and build -> keypoints and racket. events : times, keypoints, racket and contact -> truth events.
    mirrored : players of this hand have the ball on their left, so that all is mirrored in the end.
    strike : where the search for the strike starts.
    """

    turns: Callable[[Array, Planned, dict[str, Array], Keys], None]
    hitting_arm: Callable[[Planned, Build, Keys], None]
    off_arm: Callable[[Array, Planned, Keys], Array]
    body: Callable[[Mapping[str, Array], Build], tuple[Array, Array]]
    events: Callable[[Array, Array, Array, float], dict[str, float]]
    mirrored: Hand
    strike: Strike = Strike()


def perform(
    style: ForehandStyle,
    build: Build,
    hand: Hand = "right",
    *,
    swings: int = 3,
    faults: Mapping[str, float] | None = None,
    variation: float = 1.0,
    seed: int = 0,
    rest: float = 1.0,
) -> Motion:
    """A player hitting ``swings`` forehands in one continuous motion, 480 samples a second.

    Parameters
    ----------
    style, build, hand : who plays and how. ``faults`` : name -> size 0..1, see ``faults.EVERY_FAULT``.
    variation : natural spread between repeats, 1 as usual, 0 for exact repeats. ``seed`` : fixes it.
    rest : seconds at ready between a recovery and the next split step.

    Raises
    ------
    ValueError : for no swings, an unknown fault or a size outside 0..1.
    """
    faults = dict(faults or {})
    return repeat(
        FOREHAND, apply_faults(style, faults), build, hand, swings, faults, variation, seed=seed, rest=rest
    )


def repeat(
    kind: Kind,
    style: GroundstrokeStyle,
    build: Build,
    hand: Hand,
    swings: int,
    faults: Mapping[str, float],
    variation: float,
    *,
    seed: int,
    rest: float,
) -> Motion:
    """A player hitting ``swings`` strokes of one kind, as in ``perform``; ``faults`` are in the style already."""
    if swings < 1:
        raise ValueError(f"swings is {swings}, expected at least 1")
    rng = np.random.default_rng(seed)
    planned: list[Planned] = []
    homes = rng.normal(0.0, 0.04 * variation, size=(swings + 1, 2))
    homes[0] = 0.0
    clock = 0.5
    for i in range(swings):
        own = vary(style, rng, variation)
        contact = round((clock + SPLIT + own.turn_lead) * RATE) / RATE
        here, there = (
            (float(homes[i][0]), float(homes[i][1])),
            (float(homes[i + 1][0]), float(homes[i + 1][1])),
        )
        planned.append(_solve(kind, Planned(contact, own, here, there, kind.strike), build))
        clock = contact + own.finish_time + own.recovery_time + max(rest, 0.15)
    times = np.arange(round((clock + 0.2) * RATE) + 1) / RATE

    channels = posture(times, planned, build, kind)
    sway = rng.uniform(0.0, 2.0 * np.pi, size=2)
    channels["pelvis_x"] = channels["pelvis_x"] + 0.003 * np.sin(2.0 * np.pi * 0.31 * times + sway[0])
    channels["pelvis_z"] = channels["pelvis_z"] + 0.004 * np.sin(2.0 * np.pi * 0.43 * times + sway[1])
    points, racket = kind.body(channels, build)
    ball = np.full((len(times), 3), np.nan)
    centre = 0.5 * (racket[:, 3] + racket[:, 4])
    for p in planned:
        struck = flight(times, p.contact, centre[round(p.contact * RATE)])
        # The opponent's next ball replaces what is left of the last one.
        ball = np.where(np.isfinite(struck), struck, ball)
    channels.update(_gaze(times, planned, ball, points))
    points, racket = kind.body(channels, build)
    truths = tuple(SwingTruth(kind.events(times, points, racket, p.contact), faults) for p in planned)
    if hand == kind.mirrored:
        points = mirror(points)
        racket = racket[:, [0, 1, 2, 4, 3]] * np.array([1.0, 1.0, -1.0])
        ball = ball * np.array([1.0, 1.0, -1.0])
    return Motion(times, points, racket, ball, hand, build.stature, truths)


def smoothing(channel: str) -> float:
    """Smoothing of a channel's key curve, seconds."""
    if channel.startswith("racket"):
        return RACKET
    return BODY if channel.startswith(("lean", "tilt", "pelvis")) else ARM


def posture(times: Array, planned: list[Planned], build: Build, kind: Kind) -> dict[str, Array]:
    """Channels for ``chain.body`` over ``times`` (T,), evenly spaced; the gaze is straight ahead."""
    keys: Keys = defaultdict(list)
    zero = np.zeros(len(times))
    out: dict[str, Array] = {"gaze_yaw": zero, "gaze_pitch": zero - 4.0, "neck_x": zero, "neck_z": zero}
    turns = {name: zero.copy() for name in ("hip_turn", "shoulder_turn", "racket_azimuth")}
    hold = np.ones(len(times))
    first = planned[0]
    feet = _ready_feet(first.style, first.home, build)
    plans = {"left": FootPlan(feet[0]), "right": FootPlan(feet[1])}
    for p in planned:
        kind.turns(times, p, turns, keys)
        kind.hitting_arm(p, build, keys)
        hold -= kind.off_arm(times, p, keys)
        _trunk(p, keys)
        _feet(p, build, plans, keys)
    for side, plan in plans.items():
        for name, value in zip(
            ("toe_xz", "foot_yaw", "heel", "lift"), plan.channels(times, build), strict=True
        ):
            out[f"{side}_{name}"] = value
    for name, values in keys.items():
        curve = through(times, values, smoothing(name))
        out[name] = curve + turns.pop(name) if name in turns else curve
    out.update(turns)
    out["hold"] = hold
    for pole in ("pole", "off_pole"):
        out[pole] = np.stack([out.pop(f"{pole}_{a}") for a in "xyz"], axis=-1)
    out["pelvis_y"] = _hip_height(times, planned, out, plans, build)
    return out


def _turns(times: Array, p: Planned, turns: dict[str, Array], keys: Keys) -> None:
    """Turns of hips, shoulders and racket: wind up, drive through contact, follow through, come back."""
    turn_trunk(times, p, turns, (30.0, 34.0))
    s = p.style
    sweep_racket(times, p, turns, LAG, WRAP + (1.0 - s.finish_reach) * 95.0)
    keys["racket_azimuth"] += [
        (p.contact + at, value)
        for at, value in (
            (-s.turn_lead, -22.0),
            (-s.apart_lead, 0.62 * s.shoulder_turn - 6.0),
            (-s.top_lead, s.shoulder_turn + 42.0),
            (-s.slot_lead, LAG),
            (s.finish_time + 0.12, LAG),
            (s.finish_time + s.recovery_time, -22.0),
        )
    ]


def turn_trunk(times: Array, p: Planned, turns: dict[str, Array], more: tuple[float, float]) -> None:
    """Add the turns of hips and shoulders; they go on by ``more`` degrees after a full drive through contact."""
    s, t = p.style, times - p.contact
    wound, back = -s.top_lead + 0.06, (s.finish_time + 0.12, s.finish_time + s.recovery_time)
    parts = (
        ("hip_turn", s.hip_turn, s.hip_contact, s.trunk_peak + 0.001 * s.hip_lead, HIP_AFTER, more[0]),
        ("shoulder_turn", s.shoulder_turn, s.shoulder_contact, s.trunk_peak, TRUNK_AFTER, more[1]),
    )
    for name, full, at_contact, lead, after, beyond in parts:
        share = float(drive(np.zeros(1), -lead, s.forward_time, after)[0])
        total = (full - at_contact) / share
        on = beyond * (0.4 + 0.6 * s.finish_reach)
        turns[name] += full * step(t, -s.turn_lead, wound)
        turns[name] -= total * drive(t, -lead, s.forward_time, after) + on * step(t, 0.0, 0.40)
        turns[name] += (total + on - full) * step(t, *back)


def sweep_racket(
    times: Array, p: Planned, turns: dict[str, Array], lag: float, end: float, lead: float = RACKET_LEAD
) -> None:
    """Add the racket's turn from ``lag`` to ``end`` degrees, at ``racket_aim`` at contact, and its way back.

    It is fastest ``lead`` seconds before contact.
    """
    s, t = p.style, times - p.contact
    before, after = _bell(lag - s.racket_aim, lag - end, s.racket_rate, lead)
    swept = (lag - end) * drive(t, -lead, before, after)
    turns["racket_azimuth"] -= swept - (lag - end) * step(
        t, s.finish_time + 0.12, s.finish_time + s.recovery_time
    )


def _bell(until_contact: float, total: float, rate: float, lead: float) -> tuple[float, float]:
    """Widths (seconds) of the racket's turn before and after its fastest instant.

    The turn is ``total`` degrees, ``rate`` degrees a second at its fastest, ``lead`` before contact, and
    ``until_contact`` of it is done at contact. Fixed-point iteration on the share done by the fastest instant.
    """
    both = total / (np.sqrt(0.5 * np.pi) * rate)
    share = until_contact / total
    for _ in range(30):
        late = float(erf(lead / ((1.0 - share) * both * np.sqrt(2.0))))
        share = until_contact / total - (1.0 - share) * late
    return share * both, (1.0 - share) * both


def arm_elevation(height: float, elbow: float, build: Build) -> float:
    """Elevation in degrees of an arm with that elbow flexion whose wrist is at a height, 0 hip .. 1 shoulder."""
    far = float(reach(np.array(elbow), build.length("upper_arm"), build.length("forearm")))
    return float(np.degrees(np.arcsin(np.clip((height - 1.0) * build.length("trunk") / far, -0.95, 0.95))))


def _hitting_arm(p: Planned, build: Build, keys: Keys) -> None:
    """Key poses of the hitting arm, wrist and racket."""
    s, k = p.style, p.strike

    def elevation(height: float, elbow: float) -> float:
        return arm_elevation(height, elbow, build)

    slot_elbow = 0.4 * s.elbow_take_back + 0.6 * s.elbow_contact
    top = elevation(s.take_back_height, s.elbow_take_back)
    loop_elbow = 0.5 * (80.0 + s.elbow_take_back)
    # Half way back the hand is above the straight line from the turn to the top of the take-back.
    loop = elevation(0.5 * (0.62 + s.take_back_height) + s.loop, loop_elbow)
    slot = elevation(s.drop_height, slot_elbow)
    finish = elevation(s.finish_height, 98.0)
    ready, turn, apart = -s.turn_lead - SPLIT, -s.turn_lead, -s.apart_lead
    back, low = -s.top_lead, -s.slot_lead
    half = 0.5 * (apart + back)
    fin, held, home = s.finish_time, s.finish_time + 0.10, s.finish_time + s.recovery_time
    wrap = 20.0 - 82.0 * s.finish_reach
    # The tip still points down just before contact and whips up through the ball.
    tip = max(s.racket_drop + 3.0, s.racket_contact - 4.0)
    # A flat stroke has no whip: the racket keeps the angle that it has at contact.
    whip = float(np.clip(s.path / 12.0, 0.0, 1.0))
    tip, up = (s.racket_contact + whip * (value - s.racket_contact) for value in (tip, -10.0))
    down = held + 0.6 * (home - held)
    # The arm has done most of its swing before contact; then it slows and the racket goes on.
    slot_azimuth = s.take_back_reach - 4.0
    shares = drive(np.array(ARM_KEYS), -s.arm_lead, ARM_BEFORE, ARM_AFTER)
    swung = (slot_azimuth - k.azimuth) / float(shares[ARM_KEYS.index(0.0)])
    forward = [(at, slot_azimuth - swung * float(share)) for at, share in zip(ARM_KEYS, shares, strict=True)]
    table: Keys = {
        "arm_azimuth": [
            (ready, -30), (turn, -32), (apart, -38), (half, 0.40 * s.take_back_reach),
            (back, 0.93 * s.take_back_reach), (back + 0.07, s.take_back_reach), (min(low, -0.12), slot_azimuth),
            *forward, (fin, wrap), (held, wrap - 2.0), (down, -42), (home, -30),
        ],
        "arm_elevation": [
            (ready, -54), (turn, -54), (apart, -32), (half, loop), (back, top), (low, slot),
            (-0.05, k.elevation - 0.05 * k.rise), (0.0, k.elevation), (0.05, k.elevation + 0.05 * k.rise),
            (fin, finish), (held, finish), (down, -40), (home, -54),
        ],
        "elbow": [
            (ready, 88), (turn, 90), (apart, 100), (half, loop_elbow), (back, s.elbow_take_back),
            (low, slot_elbow), (0.0, s.elbow_contact), (0.07, s.elbow_contact + s.elbow_through),
            (fin, 98), (held, 100), (home, 88),
        ],
        "pole_x": [(ready, -0.3), (apart, -0.3), (back, -0.5), (low, -0.5), (0.0, -0.4), (0.14, 0.1),
                   (fin, 1.0), (held, 1.0), (home, -0.3)],
        "pole_y": [(ready, -1.0), (apart, -0.9), (back, -0.8), (low, -0.9), (0.0, -1.0), (0.14, -0.9),
                   (fin, -0.15), (held, -0.15), (home, -1.0)],
        "pole_z": [(ready, 0.5), (apart, 0.7), (back, 0.2), (low, 0.1), (0.0, 0.2), (0.14, 0.6),
                   (fin, 0.5), (held, 0.5), (home, 0.5)],
        "wrist": [
            (ready, 12), (apart, 15), (back, 25), (-0.055, s.wrist_lag), (0.0, 0.5 * s.wrist_lag),
            (0.10, 5), (fin, 0), (home, 12),
        ],
        "racket_elevation": [
            (ready, 36), (turn, 36), (apart, 60), (back, 48 + 40 * s.loop), (low, -s.racket_drop),
            (-0.05, -tip), (0.0, -s.racket_contact), (0.05, -up),
            (0.11, 28), (0.20, 30), (fin, -18), (held, -22), (down, 30), (home, 36),
        ],
        "racket_closing": [
            (ready, 5), (apart, 12), (back, 28), (low, 90.0 - s.face_drop), (0.0, k.closing),
            (0.10, k.closing + 30.0), (fin, 20), (home, 5),
        ],
    }  # fmt: skip
    if s.pause > 0.0:
        table["arm_elevation"].append((back + s.pause, top))
        table["elbow"].append((back + s.pause, s.elbow_take_back))
        table["racket_elevation"].append((back + s.pause, 48 + 40 * s.loop))
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]


def _off_arm(times: Array, p: Planned, keys: Keys) -> Array:
    """Key poses of the off arm; gives (T,) how far it has let go of the racket, 0..1."""
    s = p.style
    span = s.off_arm_span
    apart, back, fin = -s.apart_lead - s.part_early, -s.top_lead, s.finish_time
    home = s.finish_time + s.recovery_time
    table: Keys = {
        "off_azimuth": [(-s.turn_lead, 25), (apart, 35), (back, 12 - 20 * (1 - span)), (-0.2, 8 - 20 * (1 - span)),
                        (0.0, -28), (fin, -12), (home, 25)],
        "off_elevation": [(-s.turn_lead, -40), (apart, -14), (back, -8 - 62 * (1 - span)),
                          (-0.2, -10 - 62 * (1 - span)), (0.0, -46), (fin, -42), (home, -40)],
        "off_elbow": [(-s.turn_lead, 60), (apart, 45), (back, 22), (-0.2, 26), (0.0, 96), (fin, 104), (home, 60)],
        "off_pole_x": [(-s.turn_lead, -0.2), (back, -0.2), (0.0, -0.5), (fin, -0.3), (home, -0.2)],
        "off_pole_y": [(-s.turn_lead, -1.0), (home, -1.0)],
        "off_pole_z": [(-s.turn_lead, -0.5), (back, -0.4), (0.0, -0.6), (fin, -0.6), (home, -0.5)],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]
    t = times - p.contact
    return step(t, apart - 0.03, apart + 0.17) - step(t, home - 0.32, home - 0.02)


def _trunk(p: Planned, keys: Keys) -> None:
    """Lean of the trunk, in court axes, and the tilt of the shoulder line."""
    s = p.style
    home = s.finish_time + s.recovery_time
    table: Keys = {
        "lean_x": [(-s.turn_lead, 17), (-s.apart_lead, 9), (-s.top_lead, 4 + 0.3 * min(s.lean, 6.0)),
                   (-s.slot_lead, 0.6 * s.lean), (0.0, s.lean), (s.finish_time, s.lean + 1), (home, 17)],
        "lean_z": [(-s.turn_lead, 0), (-s.top_lead, 7), (0.0, s.side_lean), (s.finish_time, -2), (home, 0)],
        "tilt": [(-s.turn_lead, 0), (-s.top_lead, 1), (-s.slot_lead, 9), (0.0, 6), (s.finish_time, -8), (home, 0)],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]


def _ready_feet(s: GroundstrokeStyle, home: tuple[float, float], build: Build) -> tuple[Plant, Plant]:
    half = 0.5 * s.ready_width * build.length("shoulder_width")
    return Plant(home[0], home[1] - half, -10.0), Plant(home[0], home[1] + half, 10.0)


def _feet(p: Planned, build: Build, plans: dict[str, FootPlan], keys: Keys) -> None:
    """Split step, steps into the stance, back foot round, shuffle home; and the pelvis over the feet."""
    s, c = p.style, p.contact
    left, right = plans["left"], plans["right"]
    shoulders = build.length("shoulder_width")
    split = c - s.turn_lead - SPLIT
    ready = (left.last, right.last)
    wide = tuple(replace(q, z=q.z + d) for q, d in zip(ready, (-0.03, 0.03), strict=True))
    for plan, to in zip((left, right), wide, strict=True):
        plan.move(split + 0.06, split + 0.22, to, s.split)

    angle = np.radians(s.stance)
    base = s.base_width * shoulders
    outside = Plant(
        p.home[0] - 0.10 * np.sin(angle), wide[1].z + s.step_out * build.stature, 32.0 + 0.5 * s.stance
    )
    inside = Plant(
        float(outside.x + base * np.sin(angle)),
        float(outside.z - base * np.cos(angle)),
        8.0 + 0.35 * s.stance,
    )
    right.move(c - s.turn_lead + 0.02, c - s.turn_lead + 0.30, outside, 0.05)
    left.move(c - s.turn_lead + 0.25, c - s.top_lead + 0.03, inside, 0.06)
    # The heel comes up as the weight leaves the inside foot.
    left.heel += [(split, 0), (c - s.turn_lead + 0.08, 0), (c - s.turn_lead + 0.28, 32), (c - s.top_lead, 0)]
    right.heel += [(split, 0), (c - 0.22, 0), (c, 30 * s.back_heel), (c + 0.10, 54 * s.back_heel)]
    right.pivots.append((c - 0.16, c + 0.12, -0.45 * outside.yaw))

    fin, home = c + s.finish_time, c + s.finish_time + s.recovery_time
    landed = outside
    if s.back_foot_round > 0.5:
        landed = Plant(
            inside.x - 0.02 + 0.35 * s.balance_save,
            inside.z + max(1.25, 0.8 * s.base_width) * shoulders,
            14.0,
        )
        # The longer the step into the ball, the sooner the back foot is pulled along.
        leave = c + 0.12 - 0.07 * float(np.clip((s.stance - 50.0) / 40.0, 0.0, 1.0))
        leave -= s.balance_save * (leave - c)
        right.move(leave, fin + 0.06, landed, 0.09)
        right.heel += [(c + 0.22, 44), (fin + 0.10, 0)]
    else:
        right.heel += [(fin + 0.10, 38)]

    after = _ready_feet(s, p.next_home, build)
    count = 2 if max(abs(inside.z - after[0].z), abs(inside.x - after[0].x)) > 0.25 else 1
    start = fin + 0.14
    beat = (home - start) / (2 * count)
    mids: list[tuple[float, float, float]] = []
    for i in range(count):
        share = (i + 1) / count
        for j, (plan, begin, end) in enumerate(((left, inside, after[0]), (right, landed, after[1]))):
            to = Plant(
                begin.x + share * (end.x - begin.x),
                begin.z + share * (end.z - begin.z),
                begin.yaw + share * (end.yaw - begin.yaw),
            )
            at = start + (2 * i + j) * beat
            plan.move(at, at + 1.05 * beat if at + 1.05 * beat < home else home, to, 0.045)
            if plan is right and not s.back_foot_round > 0.5 and i == 0:
                right.heel += [(at + beat, 0)]
        here = 0.5 * np.array([left.last.x + right.last.x, left.last.z + right.last.z])
        mids.append((start + (2 * i + 2) * beat, float(here[0]), float(here[1])))
    right.heel += [(home, 0)]

    def between(share: float) -> tuple[float, float]:
        return outside.x + share * (inside.x - outside.x), outside.z + share * (inside.z - outside.z)

    stand = 0.5 * np.array([inside.x + landed.x, inside.z + landed.z])
    through_contact = between(min(s.weight_contact + 0.12, 0.95))
    spots = [
        (split, *p.home),
        (c - s.turn_lead, *p.home),
        (c - s.top_lead, *between(s.weight_load)),
        (c - s.slot_lead - 0.06, *between(s.weight_load + 0.04)),
        (c, *between(s.weight_contact)),
        (c + 0.16, *through_contact),
        (fin + 0.12, float(stand[0]), float(stand[1])),
        *mids,
    ]
    for at, x, z in spots:
        keys["pelvis_x"].append((at, x - 0.02))
        keys["pelvis_z"].append((at, z))


def _hip_height(
    times: Array, planned: list[Planned], channels: dict[str, Array], plans: dict[str, FootPlan], build: Build
) -> Array:
    """Height of the hips (T,) from the knee flexions of the style, within reach of both feet."""
    xz = np.stack([channels["pelvis_x"], channels["pelvis_z"]], axis=-1)
    ankles = {side: plan.ankle(times, build) for side, plan in plans.items()}
    turn = channels["hip_turn"]
    keys: list[tuple[float, float]] = []

    def bent(side: int, flexion: float, at: float) -> float:
        i = int(np.clip(np.searchsorted(times, at), 0, len(times) - 1))
        pick = slice(i, i + 1)
        ankle = ankles["left" if side < 0 else "right"][pick]
        return float(pelvis_height(xz[pick], turn[pick], ankle, side, np.array([flexion]), build)[0])

    for p in planned:
        s, c = p.style, p.contact
        split, home = c - s.turn_lead - SPLIT, c + s.finish_time + s.recovery_time
        # At ready both feet stand still, so the height is that of the ready stance alone.
        stand = bent(1, s.knee_ready, split)
        loaded = bent(1, s.knee_outside, c - 0.26)
        struck = bent(-1, s.knee_inside, c)
        up = bent(-1, 0.75 * s.knee_inside, c + 0.16)
        done = bent(-1, 26.0, c + s.finish_time + 0.12)
        end = bent(-1, s.knee_ready, home)
        keys += [
            (split, stand), (split + 0.05, stand - 0.012), (split + 0.15, stand + 0.8 * s.split),
            (c - s.turn_lead + 0.05, stand - 0.03), (c - s.apart_lead, 0.5 * (stand + loaded)),
            (c - 0.29, loaded), (c - 0.21, loaded), (c, struck), (c + 0.16, up),
            (c + s.finish_time + 0.12, done), (home, end),
        ]  # fmt: skip
    height = through(times, keys, 0.05)
    for side, name in ((-1, "left"), (1, "right")):
        top = pelvis_height(xz, turn, ankles[name], side, np.full(len(times), 11.0), build)
        top = smooth_vectors(top, float(times[1] - times[0]), 0.02) - 0.004
        height = 0.5 * (height + top - np.sqrt((height - top) ** 2 + 0.012**2))
    return height


def _solve(kind: Kind, p: Planned, build: Build) -> Planned:
    """Find the strike that puts the string-bed centre, its path and the face where the style wants them.

    Newton's method on the whole chain around contact with a numerical Jacobian: four unknowns (arm azimuth,
    elevation and rise, face roll), four targets (ahead, height, path, face).
    """
    times = p.contact + np.arange(-round(0.05 * RATE), round(0.05 * RATE) + 1) / RATE
    i = len(times) // 2
    s = p.style
    goal = np.array([s.contact_front, s.contact_height, s.path, s.face])

    # Only three channels depend on the strike; the rest is worked out once.
    fixed = posture(times, [p], build, kind)

    def result(x: Array) -> Array:
        keys: Keys = defaultdict(list)
        kind.hitting_arm(replace(p, strike=Strike(*x.tolist())), build, keys)
        moved = {n: through(times, keys[n], smoothing(n)) for n in STRIKE_CHANNELS}
        points, racket = kind.body({**fixed, **moved}, build)
        measured = contact_of(times, points, racket, i, build)
        return np.array([measured[n] for n in ("front", "height", "path", "face")])

    x = np.array([p.strike.azimuth, p.strike.elevation, p.strike.rise, p.strike.closing])
    deltas = np.array([0.5, 0.5, 5.0, 0.5])
    scale = np.array([0.01, 0.01, 1.0, 1.0])
    for _ in range(8):
        here = result(x)
        miss = goal - here
        if (np.abs(miss) < 0.01 * scale).all():
            break
        slope = np.stack([(result(x + np.eye(4)[j] * d) - here) / d for j, d in enumerate(deltas)], axis=1)
        change = np.linalg.lstsq(slope / scale[:, None], miss / scale, rcond=None)[0]
        x = x + np.clip(change, [-15.0, -15.0, -120.0, -15.0], [15.0, 15.0, 120.0, 15.0])
        x = np.clip(x, [-90.0, -75.0, -900.0, -60.0], [110.0, 30.0, 900.0, 70.0])
    return replace(p, strike=Strike(*x.tolist()))


def contact_of(times: Array, points: Array, racket: Array, i: int, build: Build) -> dict[str, float]:
    """Contact of a right-hander at sample ``i``.

    ``front``, ``aside``, ``height`` of the string-bed centre from the middle of the hips in arm lengths; ``path``
    degrees of its velocity above the horizontal (D5); ``face`` degrees (D6); ``speed`` m/s of the string-bed centre.
    """
    centre = 0.5 * (racket[:, 3] + racket[:, 4])
    gap = (centre[i] - middle(points[i], "hip")) / build.arm
    velocity = (centre[i + 1] - centre[i - 1]) / (times[i + 1] - times[i - 1])
    normal = np.cross(racket[i, 2] - racket[i, 0], racket[i, 4] - racket[i, 3])
    normal = normal / np.linalg.norm(normal)
    return {
        "front": float(gap[0]),
        "height": float(gap[1]),
        "aside": float(gap[2]),
        "path": float(np.degrees(np.arctan2(velocity[1], np.hypot(velocity[0], velocity[2])))),
        "face": float(90.0 + np.degrees(np.arcsin(normal[1]))),
        "speed": float(np.linalg.norm(velocity)),
    }


def _gaze(times: Array, planned: list[Planned], ball: Array, points: Array) -> dict[str, Array]:
    """Where the head looks: on the ball, on the contact point a moment longer, then after the ball."""
    eyes = middle(points, "ear")
    ahead = np.array([11.0, 1.0, 0.0])
    spot = np.where(np.isfinite(ball), ball, ahead)
    neck_x, neck_z = np.zeros(len(times)), np.zeros(len(times))
    for p in planned:
        t = times - p.contact
        after = (t >= 0.0) & (t < 1.2)
        struck = spot[round(p.contact * RATE)]
        # The eyes stay at the contact point for a tenth of a second, then go back to the far court.
        leave = step(t[after], 0.10, 0.40)[:, None]
        spot[after] = (1.0 - leave) * struck + leave * ahead
        wild = 1.0 - p.style.head_steadiness
        up = wild * step(t, -0.20, -0.03) * (1.0 - step(t, 0.15, 0.6))
        spot = (1.0 - up)[:, None] * spot + up[:, None] * (ahead + np.array([0.0, 2.0, -4.0]))
        neck_x -= 0.5 * wild * arc(t, -0.30, 0.34)
        neck_z -= 0.7 * wild * arc(t, -0.30, 0.34)
    spot = smooth_vectors(spot, 1.0 / RATE, 0.04)
    line = spot - eyes
    yaw = np.degrees(np.unwrap(np.arctan2(line[:, 2], line[:, 0])))
    pitch = np.degrees(np.arctan2(line[:, 1], np.hypot(line[:, 0], line[:, 2])))
    smooth = 0.04
    return {
        "gaze_yaw": smooth_vectors(yaw, 1.0 / RATE, smooth),
        # The eyes themselves do a part of looking down.
        "gaze_pitch": smooth_vectors(0.7 * pitch, 1.0 / RATE, smooth),
        "neck_x": neck_x,
        "neck_z": neck_z,
    }


def events_of(
    times: Array,
    points: Array,
    racket: Array,
    contact: float,
    hitting: Hand = "right",
    parting: Literal["early", "late", "never"] = "early",
) -> dict[str, float]:
    """Events of one groundstroke with the ball on the right (+Z), measured on exact keypoints.

    ``hitting`` is the side of the hitting hand (of two, the one at the butt), ``parting`` when the off hand lets go.

    ready : last instant before the turn at which every keypoint is slower than 0.12 m/s.
    turn_start : shoulder line has turned 3 degrees from where it was at ready.
    hands_apart : off hand is 2 cm further from the racket's throat than while it held it; "early" first after the
        turn has started, "late" first after the end of the take-back, "never" left out.
    end_of_take_back : hitting hand farthest back (smallest X) against the middle of the hips.
    lowest_hand : lowest hitting hand between end of take-back and contact.
    forward_start : last time before contact at which the hand's speed to the target (X, over the ground) rises
        through a tenth of its peak.
    contact : ball meets the string bed.
    end_of_follow_through : hand's speed against the middle of the shoulders first under 15 % of its peak after
        contact.
    recovery : shoulder line within 10 degrees of the net again and the off hand back on the racket (2 cm).
    """
    dt = float(times[1] - times[0])
    c = round((contact - times[0]) / dt)
    hand = points[:, INDEX[f"{hitting}_hand"]]
    line = points[:, INDEX["right_shoulder"]] - points[:, INDEX["left_shoulder"]]
    turn = np.degrees(np.unwrap(np.arctan2(-line[:, 0], line[:, 2])))
    off = points[:, INDEX["left_hand" if hitting == "right" else "right_hand"]]
    throat_gap = np.linalg.norm(off - racket[:, 1], axis=-1)
    start = max(0, c - round(1.6 / dt))
    end = min(len(times) - 1, c + round(2.2 / dt))
    window = slice(start, c)

    back = hand[:, 0] - middle(points, "hip")[:, 0]
    farthest = c - round(0.7 / dt) + int(np.argmin(back[c - round(0.7 / dt) : c]))
    speed = np.linalg.norm(np.gradient(points[window], dt, axis=0), axis=-1).max(axis=-1)
    turning = start + int(np.argmax(turn[start:farthest] > 0.5 * turn[farthest]))
    still = np.nonzero(speed[: turning - start] < 0.12)[0]
    ready = start + int(still[-1]) if len(still) else start
    turned = ready + int(np.argmax(turn[ready:farthest] > turn[ready] + 3.0))
    held = throat_gap[ready]
    together = turned if parting == "early" else farthest
    apart = together + int(np.argmax(throat_gap[together:c] > held + 0.02))
    lowest = farthest + int(np.argmin(hand[farthest : c + 1, 1]))
    ahead = np.gradient(hand[:, 0], dt)
    slow = np.nonzero(ahead[farthest:c] < 0.1 * ahead[farthest:c].max())[0]
    forward = farthest + (int(slow[-1]) + 1 if len(slow) else 0)
    relative = np.linalg.norm(np.gradient(hand - middle(points, "shoulder"), dt, axis=0), axis=-1)
    stop = c + int(np.argmax(relative[c:end] < 0.15 * relative[window].max()))
    home = (np.abs(turn) < 10.0) & (throat_gap < held + 0.02)
    recovered = stop + int(np.argmax(home[stop : end + 1]))
    found = (ready, turned, apart, farthest, lowest, forward, c, stop, recovered)
    names = (
        "ready", "turn_start", "hands_apart", "end_of_take_back", "lowest_hand", "forward_start", "contact",
        "end_of_follow_through", "recovery",
    )  # fmt: skip
    events = {name: float(times[i]) for name, i in zip(names, found, strict=True)}
    if parting == "never":
        del events["hands_apart"]
    return events


FOREHAND = Kind(_turns, _hitting_arm, _off_arm, body, events_of, "left")
