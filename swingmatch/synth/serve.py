"""A made-up serve: stance, toss, leg drive, drop of the racket and the hit, strung into a continuous performance.

The generator's own events are measured on its exact keypoints, racket and ball by ``events_of``, which defines them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, middle, mirror
from swingmatch.stroke.swing import Hand
from swingmatch.synth.build import Build
from swingmatch.synth.chain import body, pelvis_height
from swingmatch.synth.curves import drive, smooth_vectors, step, through
from swingmatch.synth.flight import GRAVITY, RADIUS
from swingmatch.synth.footwork import FootPlan, Plant
from swingmatch.synth.forehand import RATE
from swingmatch.synth.motion import Motion, SwingTruth
from swingmatch.synth.serve_arm import Arm, arm_channels
from swingmatch.synth.serve_style import ServeStyle, apply_serve_faults, vary

Array = NDArray[np.float64]
Keys = dict[str, list[tuple[float, float]]]

#: Names of a serve's events, in order of time.
SERVE_EVENTS = (
    "ready", "toss_release", "loaded", "racket_low", "contact", "end_of_follow_through", "recovery",
)  # fmt: skip
#: Channels of the hitting arm's joints, in the order of ``Arm``.
JOINTS = (
    "upper_azimuth", "upper_elevation", "elbow", "rotation", "pronation", "deviation", "extension",
)  # fmt: skip
#: Smoothing of key curves in seconds: heavy body parts, arms.
BODY, ARM = 0.045, 0.020
#: Widths (seconds) of the bells after their fastest instant: hips and trunk.
HIP_AFTER, TRUNK_AFTER = 0.055, 0.050
#: Turns from the upright ready stance to the sideways one, degrees, and how far they go on past contact at least.
READY_HIP, READY_SHOULDER, PAST = 72.0, 80.0, 24.0
#: The lean of the trunk adds turn about the spine late; the shoulders' turn is this much (seconds) earlier for it.
LEAN_LATE = 0.020
#: Elbow: fastest this long before contact, bell before and after, seconds (B24: 1510 degrees a second).
ELBOW_LEAD, ELBOW_BEFORE, ELBOW_AFTER = 0.027, 0.025, 0.022
#: Inward turn of the upper arm: fastest after contact, bell before and after, seconds (B25), and where it ends.
TURN_LEAD, TURN_BEFORE, TURN_AFTER, TURN_END = -0.010, 0.036, 0.038, 5.0
#: Seconds of walking back to the line between two serves, and of standing before and after.
WALK, PAUSE = 2.2, 0.25
#: Rise of the tossing hand over its stretch of time that the bell above is made for, statures a second.
RISE = 3.03
#: Middle of the ball from the knuckles of the hand that holds it, metres.
HELD = 0.055
#: Speed that a ball keeps on its bounce, along and up, and how long it is followed, seconds.
KEPT, BOUNCE, OUT = 0.70, 0.75, 0.9


@dataclass(frozen=True)
class Strike:
    """What is solved so that the strings are where the style wants them at contact, degrees (see ``Arm``)."""

    azimuth: float = 72.0
    pronation: float = -5.0
    deviation: float = 22.0
    extension: float = 5.0


@dataclass(frozen=True)
class Planned:
    """One serve on the clip's clock: contact time, style, place of the front foot, start of the walk there."""

    contact: float
    style: ServeStyle
    home: tuple[float, float]
    walk: float | None = None
    strike: Strike = Strike()


def perform_serve(
    style: ServeStyle,
    build: Build,
    hand: Hand = "right",
    *,
    swings: int = 2,
    faults: Mapping[str, float] | None = None,
    variation: float = 1.0,
    seed: int = 0,
    rest: float = 1.0,
) -> Motion:
    """A player serving ``swings`` times in one continuous motion, 480 samples a second.

    Parameters
    ----------
    style, build, hand : who plays and how. ``faults`` : name -> size 0..1, see ``serve_style.SERVE_FAULTS``.
    variation : natural spread between repeats, 1 as usual, 0 for exact repeats. ``seed`` : fixes it.
    rest : seconds of standing before a serve, after the walk back to the line.

    Raises
    ------
    ValueError : for no swings, an unknown fault or a size outside 0..1.
    """
    if swings < 1:
        raise ValueError(f"swings is {swings}, expected at least 1")
    faults = dict(faults or {})
    faulty = apply_serve_faults(style, faults)
    rng = np.random.default_rng(seed)
    homes = rng.normal(0.0, 0.03 * variation, size=(swings, 2))
    homes[0] = 0.0
    planned: list[Planned] = []
    clock, walk = 0.5, None
    for i in range(swings):
        repeat = vary(faulty, rng, variation)
        contact = round((clock + repeat.start_lead) * RATE) / RATE
        home = (float(homes[i][0]), float(homes[i][1]))
        planned.append(_solve(Planned(contact, repeat, home, walk), build))
        walk = contact + repeat.finish_time + repeat.recovery_time + PAUSE
        clock = walk + WALK + max(rest, 0.3)
    last = planned[-1]
    end = last.contact + last.style.finish_time + last.style.recovery_time + 0.3
    times = np.arange(round(end * RATE) + 1) / RATE

    channels = posture(times, planned, build)
    sway = rng.uniform(0.0, 2.0 * np.pi, size=2)
    channels["pelvis_x"] = channels["pelvis_x"] + 0.003 * np.sin(2.0 * np.pi * 0.31 * times + sway[0])
    channels["pelvis_z"] = channels["pelvis_z"] + 0.003 * np.sin(2.0 * np.pi * 0.43 * times + sway[1])
    points, racket = body(channels, build)
    ball = _ball(times, planned, points, racket)
    channels.update(_gaze(times, planned, ball, points))
    points, racket = body(channels, build)
    truths = tuple(SwingTruth(events_of(times, points, racket, ball, p.contact), faults) for p in planned)
    if hand == "left":
        flip = np.array([1.0, 1.0, -1.0])
        points, racket, ball = mirror(points), racket[:, [0, 1, 2, 4, 3]] * flip, ball * flip
    return Motion(times, points, racket, ball, hand, build.stature, truths)


def posture(times: Array, planned: list[Planned], build: Build) -> dict[str, Array]:
    """Channels for ``chain.body`` over ``times`` (T,), evenly spaced; the gaze is straight ahead."""
    keys: Keys = defaultdict(list)
    zero = np.zeros(len(times))
    out: dict[str, Array] = {"gaze_yaw": zero, "gaze_pitch": zero, "neck_x": zero, "neck_z": zero}
    sums = {name: zero.copy() for name in ("hip_turn", "shoulder_turn", "elbow", "rotation", "off_elevation")}
    hold = np.zeros(len(times))
    stand = _stance(planned[0], build)
    plans = {"left": FootPlan(stand[0]), "right": FootPlan(stand[1])}
    for p in planned:
        _turns(times, p, sums)
        _hitting_arm(times, p, sums, keys)
        hold += _off_arm(times, p, build, sums, keys)
        _trunk(p, keys)
        _feet(p, build, plans, keys)
    for side, plan in plans.items():
        for name, value in zip(
            ("toe_xz", "foot_yaw", "heel", "lift"), plan.channels(times, build), strict=True
        ):
            out[f"{side}_{name}"] = value
    for name, values in keys.items():
        smooth = BODY if name.startswith(("lean", "pelvis")) else ARM
        out[name] = through(times, values, smooth) + sums.pop(name, zero)
    out.update(sums)
    out["tilt"] = zero
    out["hold"] = hold
    out.update(arm_channels(Arm(*(out.pop(name) for name in JOINTS)), out, build))
    out["off_pole"] = np.stack([out.pop(f"off_pole_{a}") for a in "xyz"], axis=-1)
    out["pelvis_y"] = _hip_height(times, planned, out, plans, build)
    return out


def _turns(times: Array, p: Planned, sums: dict[str, Array]) -> None:
    """Hips and shoulders: sideways to start with, further with the toss, through the ball, back to face the net."""
    s, t = p.style, times - p.contact
    back = (s.finish_time + 0.05, s.finish_time + s.recovery_time)
    parts = (
        ("hip_turn", READY_HIP, s.hip_turn, s.hip_contact,
         s.trunk_peak + 0.001 * s.hip_lead, s.hip_spread * s.pace, HIP_AFTER * s.pace),
        ("shoulder_turn", READY_SHOULDER, s.shoulder_turn, s.shoulder_contact,
         s.trunk_peak + LEAN_LATE, s.trunk_spread * s.pace, TRUNK_AFTER * s.pace),
    )  # fmt: skip
    for name, ready, full, at_contact, lead, before, after in parts:
        share = float(drive(np.zeros(1), -lead, before, after)[0])
        total = (full - at_contact) / share
        if p.walk is None:
            sums[name] += ready
        else:
            sums[name] += ready * step(times, p.walk + 0.1, p.walk + WALK)
        sums[name] += (full - ready) * step(t, -s.start_lead + 0.5, -s.load_lead)
        sums[name] -= total * drive(t, -lead, before, after) + PAST * step(t, 0.02, s.finish_time)
        sums[name] += (total + PAST - full) * step(t, *back)


def _hitting_arm(times: Array, p: Planned, sums: dict[str, Array], keys: Keys) -> None:
    """Joints of the hitting arm: down, back and up to the loaded pose, drop, up to the ball, across the body."""
    s, k, t = p.style, p.strike, times - p.contact
    start, load, low = -s.start_lead, -s.load_lead, -s.low_lead
    down, back = start + 0.55, 0.5 * (start + 0.55 + load)
    fin, home = s.finish_time, s.finish_time + s.recovery_time
    lift, hit = s.abduction_load - 90.0, s.abduction_contact - 90.0

    straightened = s.elbow_drop - s.elbow_contact
    bell = (-s.pace * ELBOW_LEAD, s.pace * ELBOW_BEFORE, s.pace * ELBOW_AFTER)
    swept = straightened / float(drive(np.zeros(1), *bell)[0])
    sums["elbow"] -= swept * (drive(t, *bell) - step(t, 0.06 * s.pace, fin))

    ready = 0.0
    bell = (-s.pace * TURN_LEAD, s.pace * TURN_BEFORE, s.pace * TURN_AFTER)
    sums["rotation"] += (s.rotation_load - ready) * step(t, down, load)
    sums["rotation"] += (s.rotation_low - s.rotation_load) * step(t, load + 0.04, low + 0.02)
    sums["rotation"] -= (s.rotation_low - TURN_END) * drive(t, *bell)
    sums["rotation"] += (ready - TURN_END) * step(t, fin, home)

    # Instants about the hit; a slower hit takes longer.
    late, soon, after, done = -0.06 * s.pace, -0.05 * s.pace, 0.05 * s.pace, 0.10 + 0.06 * s.pace
    table: Keys = {
        "upper_azimuth": [(start, 58), (down, 72), (back, 112), (load, 104), (low, 88), (soon, k.azimuth + 1.0),
                          (0.0, k.azimuth), (after, k.azimuth - 5.0), (done, 14), (fin, -30), (fin + 0.12, -30),
                          (home, 58)],
        "upper_elevation": [(start, -62), (down, -66), (back, 0.5 * (lift - 60.0)), (load, lift),
                            (low, 0.4 * lift + 0.6 * hit), (soon, hit - 12.0), (0.0, hit), (after, hit + 3.0),
                            (done, -14), (fin, -34), (fin + 0.12, -36), (home, -62)],
        "elbow": [(start, 78), (down, 28), (back, 48), (load, s.elbow_load), (low + 0.01, s.elbow_drop),
                  (0.06 * s.pace, s.elbow_drop), (fin, 62), (fin + 0.12, 64), (home, 78)],
        "pronation": [(start, 55), (down, 30), (back, 15), (load, 0), (low, -62), (low + 0.02, -62),
                      (0.0, k.pronation), (after, k.pronation + 42.0), (done, 50), (fin, 40), (home, 55)],
        "deviation": [(start, 55), (down, 40), (back, 42), (load, 42), (low, 70), (late, 60),
                      (0.0, k.deviation), (after, k.deviation + 3.0), (done, 32), (fin, 48), (home, 55)],
        "extension": [(start, 5), (down, 0), (load, 5), (low, 30), (0.8 * soon, 29), (0.0, k.extension),
                      (after, k.extension - 22.0), (done, -10), (fin, 0), (home, 5)],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]


def _off_arm(times: Array, p: Planned, build: Build, sums: dict[str, Array], keys: Keys) -> Array:
    """The tossing arm: down with the ball, up past the release, into the body; (T,) how far it holds the racket."""
    s, t = p.style, times - p.contact
    start, toss, load = -s.start_lead, -s.toss_lead, -s.load_lead
    fin, home = s.finish_time, s.finish_time + s.recovery_time
    top = s.off_arm_top
    # The hand rises as fast as the ball has to leave it: from shoulder height to contact, about half a stature.
    needed = 0.5 * build.stature / s.toss_lead + 0.5 * GRAVITY * s.toss_lead
    slower = RISE * build.stature / needed * (top + 58.0) / 120.0
    sums["off_elevation"] += (top + 58.0) * drive(t, toss + 0.015, 0.105 * slower, 0.110 * slower)
    stay = load + 0.02 - (1.0 - s.off_arm_rise) * (s.toss_lead - s.load_lead - 0.16)
    sums["off_elevation"] -= (top + 36.0) * step(t, stay, stay + 0.34)
    sums["off_elevation"] -= (58.0 - 36.0) * step(t, fin, home)
    table: Keys = {
        "off_azimuth": [(start, -10), (start + 0.45, -18), (toss - 0.25, -30), (toss, -52), (toss + 0.25, -78),
                        (stay, -80), (stay + 0.17, -45), (stay + 0.34, -12), (fin, -5), (home, 15)],
        "off_elevation": [(start, -58), (home, -58)],
        "off_elbow": [(start, 45), (start + 0.45, 26), (toss - 0.2, 14), (toss + 0.1, 12), (stay, 14),
                      (stay + 0.18, 70), (stay + 0.34, 108), (0.1, 110), (fin, 85), (home, 60)],
        "off_pole_x": [(start, -0.5), (toss, -0.4), (stay, -0.4), (stay + 0.3, -0.5), (home, -0.3)],
        "off_pole_y": [(start, -1.0), (toss, -1.0), (stay, -0.5), (stay + 0.3, -1.0), (home, -1.0)],
        "off_pole_z": [(start, -0.4), (toss, -0.6), (stay, -0.8), (stay + 0.3, -0.6), (home, -0.5)],
    }  # fmt: skip
    for name, values in table.items():
        keys[name] += [(p.contact + at, float(value)) for at, value in values]
    free = step(t, start + 0.05, start + 0.45) - step(t, home - 0.32, home - 0.02)
    return (1.0 if p.walk is None else 0.0) - free


def _trunk(p: Planned, keys: Keys) -> None:
    """Lean of the trunk in court axes: away from the target as the legs bend, over the front leg at contact."""
    s = p.style
    home = s.finish_time + s.recovery_time
    start, load, low = -s.start_lead, -s.load_lead, -s.low_lead

    def lean(inclination: float, towards: float) -> tuple[float, float]:
        """Lean along X and Z of a spine inclined towards an azimuth (0 target, 90 right)."""
        far = np.tan(np.radians(inclination))
        a = np.radians(towards)
        return float(np.degrees(np.arctan(far * np.cos(a)))), float(np.degrees(np.arctan(far * np.sin(a))))

    poses = (
        (start, lean(8.0, 60.0)),
        (start + 0.45, lean(7.0, 60.0)),
        (-s.toss_lead, lean(0.6 * s.trunk_load, 190.0)),
        (load - 0.03, lean(s.trunk_load, 195.0)),
        (load + 0.04, lean(s.trunk_load, 196.0)),
        (0.5 * (load + low), lean(0.8 * s.trunk_load, 212.0)),
        (low, lean(0.60 * s.trunk_contact, -1.1 * s.trunk_side)),
        (0.0, lean(s.trunk_contact, -s.trunk_side)),
        (0.06, lean(s.trunk_contact + 2.0, -0.8 * s.trunk_side)),
        (0.20, lean(s.trunk_contact + 6.0, -0.35 * s.trunk_side)),
        (s.finish_time, lean(36.0, -8.0)),
        (s.finish_time + 0.12, lean(32.0, -5.0)),
        (home, lean(15.0, 0.0)),
    )
    if p.walk is not None:
        keys["lean_x"].append((p.walk, 15.0))
        keys["lean_z"].append((p.walk, 0.0))
    for at, (ahead, aside) in poses:
        keys["lean_x"].append((p.contact + at, ahead))
        keys["lean_z"].append((p.contact + at, aside))


def _stance(p: Planned, build: Build) -> tuple[Plant, Plant]:
    """Front (left) and back (right) foot behind the line; the front foot stands at home."""
    s = p.style
    base = s.stance_width * build.length("shoulder_width")
    a = np.radians(s.stance)
    front = Plant(p.home[0] + 0.25, p.home[1] - 0.10, 46.0)
    return front, Plant(
        float(front.x - base * np.sin(a) - 0.06), float(front.z + base * np.cos(a) - 0.05), 88.0
    )


def _feet(p: Planned, build: Build, plans: dict[str, FootPlan], keys: Keys) -> None:
    """Walk to the line, back foot up if it comes up, jump, landing on the front foot, step through; and the pelvis."""
    s, c = p.style, p.contact
    left, right = plans["left"], plans["right"]
    shoulders = build.length("shoulder_width")
    front, rear = _stance(p, build)
    pelvis: list[tuple[float, float, float]] = []
    if p.walk is not None:
        # Backwards, the back foot first, two steps each.
        ends, beat = ((right, rear), (left, front)), WALK / 4.2
        begins = {id(plan): plan.last for plan, _ in ends}
        pelvis.append((p.walk, *_between(left.last, right.last, 0.5)))
        for i in range(4):
            plan, to = ends[i % 2]
            begin, share = begins[id(plan)], 0.5 if i < 2 else 1.0
            half = Plant(
                begin.x + share * (to.x - begin.x),
                begin.z + share * (to.z - begin.z),
                begin.yaw + share * (to.yaw - begin.yaw),
            )
            at = p.walk + 0.1 + i * beat
            plan.move(at, at + 1.05 * beat, half, 0.05)
            if i % 2:
                pelvis.append((at + beat, *_between(left.last, right.last, 0.5)))
    start, toss, load = c - s.start_lead, c - s.toss_lead, c - s.load_lead
    left.heel.append((start, 0.0))
    right.heel.append((start, 0.0))
    back = rear
    if s.feet_together > 0.5:
        away = 0.62 * shoulders
        a = np.radians(s.stance + 16.0)
        back = Plant(float(front.x - away * np.sin(a) - 0.02), float(front.z + away * np.cos(a) - 0.02), 74.0)
        right.heel += [(toss - 0.02, 0), (toss + 0.12, 22), (toss + 0.38, 6)]
        right.move(toss + 0.02, min(toss + 0.36, load - 0.06), back, 0.035)
    # Up: heels first, then off the ground, the front foot last; down on the front foot.
    off, down = c - 0.13, c + 0.165
    left.heel += [
        (load, 0),
        (load + 0.12, 3),
        (off, 34),
        (off + 0.06, 46),
        (c, 48),
        (down - 0.02, 26),
        (down + 0.10, 0),
    ]
    right.heel += [(load - 0.10, 2), (load, 12), (load + 0.12, 40), (off - 0.05, 58), (c, 66), (c + 0.2, 74)]
    landed = Plant(front.x + s.step_in * build.stature, front.z - 0.08, 16.0)
    left.move(off, down, landed, max(s.jump, 0.014))
    through_to = Plant(landed.x + 0.42, landed.z + 0.95 * shoulders, 20.0)
    # The back leg is pulled along and kicks back before it steps through.
    kicked = Plant(front.x - 0.24, 0.4 * front.z + 0.6 * back.z, 52.0)
    right.move(min(load + 0.09, c - 0.24), c + 0.26, kicked, 0.24)
    right.move(c + 0.04, c + 0.62, through_to, 0.13)
    right.heel += [(c + 0.45, 40), (c + 0.60, 4), (c + 0.70, 0)]

    fin, home = c + s.finish_time, c + s.finish_time + s.recovery_time
    ready = Plant(through_to.x + 0.02, through_to.z - 1.2 * shoulders, -8.0)
    step_at = max(c + 0.68, fin + 0.12)
    left.heel += [(step_at - 0.16, 0), (step_at + 0.04, 26), (home - 0.16, 0)]
    left.move(step_at, home - 0.14, ready, 0.06)

    pelvis += [
        (start, *_between(front, rear, 0.52)),
        (start + 0.45, *_between(front, rear, 0.40)),
        (toss, *_between(front, rear, 0.46)),
        (load, *_between(front, back, 1.0 - s.weight_load, 0.05 + 0.07 * s.feet_together)),
        (load + 0.08, *_between(front, back, 1.0 - s.weight_load - 0.03, 0.07 + 0.07 * s.feet_together)),
        (off, front.x + 0.02, front.z + 0.04),
        (c, front.x + 0.12, front.z + 0.04),
        (down, landed.x - 0.06, landed.z + 0.10),
        (c + 0.36, landed.x + 0.05, landed.z + 0.05),
        (c + 0.62, landed.x + 0.20, landed.z + 0.35 * shoulders),
        (home - 0.08, *_between(ready, through_to, 0.5)),
    ]
    for at, x, z in pelvis:
        keys["pelvis_x"].append((at, x - 0.02))
        keys["pelvis_z"].append((at, z))


def _between(a: Plant, b: Plant, share: float, ahead: float = 0.0) -> tuple[float, float]:
    """Spot (x, z) at a share of the way between two feet, ``ahead`` metres nearer the target."""
    return a.x + share * (b.x - a.x) + ahead, a.z + share * (b.z - a.z)


def _hip_height(
    times: Array, planned: list[Planned], channels: dict[str, Array], plans: dict[str, FootPlan], build: Build
) -> Array:
    """Height of the hips (T,) from the front-knee flexions of the style, within reach of both feet."""
    xz = np.stack([channels["pelvis_x"], channels["pelvis_z"]], axis=-1)
    ankles = {side: plan.ankle(times, build) for side, plan in plans.items()}
    turn = channels["hip_turn"]
    keys: list[tuple[float, float]] = []
    flexion: list[tuple[float, float]] = []
    on_front = np.zeros(len(times))

    def bent(flexed: float, at: float, side: int) -> float:
        i = int(np.clip(np.searchsorted(times, at), 0, len(times) - 1))
        pick = slice(i, i + 1)
        ankle = ankles["left" if side < 0 else "right"][pick]
        return float(pelvis_height(xz[pick], turn[pick], ankle, side, np.array([flexed]), build)[0])

    for p in planned:
        s, c = p.style, p.contact
        start, load, home = c - s.start_lead, c - s.load_lead, c + s.finish_time + s.recovery_time
        # The front leg alone says how high the hips are, from the stance to the landing on it ...
        flexion += [
            (start, s.knee_ready),
            (start + 0.4, s.knee_ready + 4.0),
            (c - s.toss_lead, 0.7 * s.knee_ready + 0.3 * s.knee_load),
            *((load + d, s.knee_load) for d in (-0.05, 0.05)),
            (c - 0.16, 0.6 * s.knee_load + 0.4 * s.knee_contact),
            (c - 0.10, max(s.knee_contact - 7.0, 11.0)),
            (c - 0.07, max(s.knee_contact - 8.0, 11.0)),
            (c, s.knee_contact),
            (c + 0.04, s.knee_contact),
            (c + 0.12, max(s.knee_contact - 7.0, 11.0)),
            (c + 0.165, s.knee_contact),
            (c + 0.34, max(42.0, s.knee_contact + 12.0)),
            (c + 0.64, 34.0),
        ]
        on_front += step(times, start - 0.25, start - 0.02) - step(times, c + 0.26, c + 0.50)
        # ... and otherwise the leg that stands.
        if p.walk is not None:
            keys += [(p.walk, bent(30.0, p.walk, 1)), (p.walk + 0.5 * WALK, bent(28.0, p.walk, 1))]
        keys += [
            (start - 0.25, bent(s.knee_ready, start, -1)),
            (start, bent(s.knee_ready, start, -1)),
            (c + 0.30, bent(40.0, c + 0.30, -1)),
            (c + 0.62, bent(30.0, c + 0.62, 1)),
            (home, bent(30.0, home, 1)),
        ]
    front = pelvis_height(xz, turn, ankles["left"], -1, through(times, flexion, 0.025), build)
    height = on_front * front + (1.0 - on_front) * through(times, keys, 0.03)
    for side, name in ((-1, "left"), (1, "right")):
        top = pelvis_height(xz, turn, ankles[name], side, np.full(len(times), 8.0), build)
        top = smooth_vectors(top, float(times[1] - times[0]), 0.02) - 0.003
        height = 0.5 * (height + top - np.sqrt((height - top) ** 2 + 0.008**2))
    return height


def _solve(p: Planned, build: Build) -> Planned:
    """Find the strike that puts the strings where the style wants them.

    Newton's method on the whole chain at contact with a numerical Jacobian: four unknowns (direction of the upper arm,
    pronation, deviation, extension), four targets (ahead, the face's tilt and aim, the racket's lean to the side).
    """
    times = p.contact + np.arange(-round(0.06 * RATE), round(0.06 * RATE) + 1) / RATE
    i = len(times) // 2
    s = p.style
    goal = np.array([s.contact_front, s.face, s.face_aim, s.racket_side])

    # Only the hitting arm depends on the strike; the rest is worked out once.
    fixed = posture(times, [p], build)
    zero = np.zeros(len(times))

    def result(x: Array) -> Array:
        keys: Keys = defaultdict(list)
        sums = {name: np.zeros(len(times)) for name in ("elbow", "rotation")}
        _hitting_arm(times, replace(p, strike=Strike(*x.tolist())), sums, keys)
        curves = {name: through(times, values, ARM) for name, values in keys.items()}
        arm = Arm(*(curves.get(name, zero) + sums.get(name, zero) for name in JOINTS))
        points, racket = body({**fixed, **arm_channels(arm, fixed, build)}, build)
        measured = contact_of(points, racket, i, build)
        return np.array([measured[n] for n in ("front", "face", "face_aim", "racket_side")])

    x = np.array([p.strike.azimuth, p.strike.pronation, p.strike.deviation, p.strike.extension])
    scale = np.array([0.01, 1.0, 1.0, 1.0])
    for _ in range(10):
        here = result(x)
        miss = goal - here
        if (np.abs(miss) < 0.02 * scale).all():
            break
        slope = np.stack([(result(x + np.eye(4)[j] * 0.5) - here) / 0.5 for j in range(4)], axis=1)
        change = np.linalg.lstsq(slope / scale[:, None], miss / scale, rcond=None)[0]
        x = np.clip(x + np.clip(change, -12.0, 12.0), [20.0, -80.0, -20.0, -50.0], [125.0, 80.0, 75.0, 60.0])
    return replace(p, strike=Strike(*x.tolist()))


def contact_of(points: Array, racket: Array, i: int, build: Build) -> dict[str, float]:
    """Contact of a right-hander's serve at sample ``i``.

    ``front``, ``aside``, ``height`` of the string-bed centre from the middle of the hips in arm lengths; ``face``
    degrees (90 = strings upright, less = turned down); ``face_aim`` degrees that they face to the right of the target;
    ``racket_side`` degrees that the racket leans to the right of the upright, seen along the court.
    """
    centre = 0.5 * (racket[i, 3] + racket[i, 4])
    gap = (centre - middle(points[i], "hip")) / build.arm
    shaft = racket[i, 2] - racket[i, 0]
    normal = np.cross(shaft, racket[i, 4] - racket[i, 3])
    normal = normal / np.linalg.norm(normal)
    return {
        "front": float(gap[0]),
        "height": float(gap[1]),
        "aside": float(gap[2]),
        "face": float(90.0 + np.degrees(np.arcsin(normal[1]))),
        "face_aim": float(np.degrees(np.arctan2(normal[2], normal[0]))),
        "racket_side": float(np.degrees(np.arctan2(shaft[2], shaft[1]))),
    }


def _ball(times: Array, planned: list[Planned], points: Array, racket: Array) -> Array:
    """The ball (T, 3) metres: in the off hand, tossed, struck, bounced in the far court; NaN where there is none.

    Free flight under gravity from the release to the middle of the strings at contact, and on from there.
    """
    ball = np.full((len(times), 3), np.nan)
    hand, wrist = points[:, INDEX["left_hand"]], points[:, INDEX["left_wrist"]]
    palm = hand - wrist
    held = hand + HELD * palm / np.linalg.norm(palm, axis=-1, keepdims=True)
    for p in planned:
        s, t = p.style, times - p.contact
        spot = 0.5 * (racket[:, 3] + racket[:, 4])[round(p.contact * RATE)]
        begin = -np.inf if p.walk is None else p.walk + 0.5 * WALK - p.contact
        release = round((p.contact - s.toss_lead) * RATE)
        carried = (t >= begin) & (np.arange(len(times)) <= release)
        ball[carried] = held[carried]

        span = p.contact - times[release]
        up = np.array([0.0, GRAVITY, 0.0])
        speed = (spot - held[release]) / span + 0.5 * up * span
        tossed = (np.arange(len(times)) > release) & (t < 0.0)
        u = (times[tossed] - times[release])[:, None]
        ball[tossed] = held[release] + speed * u - 0.5 * up * u**2

        # Down over the net into the service box, 18.3 m from the line (rules of tennis, *from memory*), and up again.
        out = s.ball_speed * np.array([1.0, 0.0, np.sin(np.radians(s.face_aim)) - 0.04])
        fly = 17.5 / s.ball_speed
        out[1] = (RADIUS - spot[1]) / fly + 0.5 * GRAVITY * fly
        struck = (t >= 0.0) & (t <= min(fly, OUT))
        u = t[struck][:, None]
        ball[struck] = spot + out * u - 0.5 * up * u**2
        after = (t > fly) & (t <= OUT)
        u = (t[after] - fly)[:, None]
        bounced = out * np.array([KEPT, 0.0, KEPT])
        bounced[1] = BOUNCE * (GRAVITY * fly - out[1])
        ball[after] = spot + out * fly - 0.5 * up * fly**2 + bounced * u - 0.5 * up * u**2
    return ball


def _gaze(times: Array, planned: list[Planned], ball: Array, points: Array) -> dict[str, Array]:
    """Where the head looks: ahead, on the ball from its release, on the contact point a moment longer, ahead again."""
    eyes = middle(points, "ear")
    ahead = np.array([11.0, 1.2, 0.0])
    spot = np.tile(ahead, (len(times), 1))
    for p in planned:
        t = times - p.contact
        toss = -p.style.toss_lead
        follow = (step(t, toss - 0.10, toss + 0.30) * (t < 0.0))[:, None]
        spot = np.where(follow > 0.0, (1.0 - follow) * ahead + follow * np.nan_to_num(ball), spot)
        struck = ball[round(p.contact * RATE)]
        leave = step(t, 0.06, 0.36)[:, None]
        after = ((t >= 0.0) & (t < 1.2))[:, None]
        spot = np.where(after, (1.0 - leave) * struck + leave * ahead, spot)
    line = smooth_vectors(spot, 1.0 / RATE, 0.04) - eyes
    # The head does not turn after a ball that is almost overhead.
    yaw = np.degrees(np.arctan2(line[:, 2], np.maximum(line[:, 0], 0.0) + 0.8))
    pitch = np.degrees(np.arctan2(line[:, 1], np.hypot(line[:, 0], line[:, 2]) + 0.3))
    zero = np.zeros(len(times))
    return {
        "gaze_yaw": smooth_vectors(yaw, 1.0 / RATE, 0.04),
        # The eyes themselves do a part of looking up.
        "gaze_pitch": smooth_vectors(0.75 * pitch, 1.0 / RATE, 0.04),
        "neck_x": zero,
        "neck_z": zero,
    }


def front_knee(points: Array) -> Array:
    """Flexion (T,) degrees of a right-hander's front (left) knee; 0 = straight."""
    thigh = points[:, INDEX["left_knee"]] - points[:, INDEX["left_hip"]]
    shank = points[:, INDEX["left_ankle"]] - points[:, INDEX["left_knee"]]
    cosine = (thigh * shank).sum(-1) / np.linalg.norm(thigh, axis=-1) / np.linalg.norm(shank, axis=-1)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def events_of(times: Array, points: Array, racket: Array, ball: Array, contact: float) -> dict[str, float]:
    """Events of one right-hander's serve, measured on exact keypoints, racket and ball.

    ready : last instant before the toss at which every keypoint is slower than 0.12 m/s.
    toss_release : last instant before contact at which the ball is within 1 mm of where the off hand carries it.
    loaded : front knee bent most between toss release and contact.
    racket_low : lowest tip of the racket between loaded and contact.
    contact : ball meets the string bed.
    end_of_follow_through : hitting hand's speed against the middle of the shoulders first under 15 % of its peak
        after contact.
    recovery : shoulder line within 10 degrees of the net again and the off hand back on the racket (2 cm from where it
        stays).
    """
    dt = float(times[1] - times[0])
    c = round((contact - times[0]) / dt)
    start, end = max(0, c - round(3.0 / dt)), min(len(times) - 1, c + round(2.4 / dt))
    hand = points[:, INDEX["right_hand"]]
    off, off_wrist = points[:, INDEX["left_hand"]], points[:, INDEX["left_wrist"]]
    palm = (off - off_wrist) / np.linalg.norm(off - off_wrist, axis=-1, keepdims=True)
    carried = np.linalg.norm(ball - off - HELD * palm, axis=-1)[start:c] < 0.001
    release = start + int(np.nonzero(carried)[0][-1])

    speed = np.linalg.norm(np.gradient(points[start:release], dt, axis=0), axis=-1).max(axis=-1)
    still = np.nonzero(speed < 0.12)[0]
    ready = start + int(still[-1]) if len(still) else start
    loaded = release + int(np.argmax(front_knee(points[release:c])))
    low = loaded + int(np.argmin(racket[loaded:c, 2, 1]))
    relative = np.linalg.norm(np.gradient(hand - middle(points, "shoulder"), dt, axis=0), axis=-1)
    stop = c + int(np.argmax(relative[c:end] < 0.15 * relative[release:end].max()))
    line = points[:, INDEX["right_shoulder"]] - points[:, INDEX["left_shoulder"]]
    turn = np.degrees(np.arctan2(-line[:, 0], line[:, 2]))
    throat_gap = np.linalg.norm(off - racket[:, 1], axis=-1)
    home = (np.abs(turn) < 10.0) & (throat_gap < throat_gap[ready] + 0.02)
    recovered = stop + int(np.argmax(home[stop : end + 1]))
    found = (ready, release, loaded, low, c, stop, recovered)
    return {name: float(times[i]) for name, i in zip(SERVE_EVENTS, found, strict=True)}
