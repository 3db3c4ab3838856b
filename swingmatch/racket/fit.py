"""A racket fitted to all frames of a stroke at once.

The poses that single frames allow (``pose``) are strung into paths (``modes``); every different path starts a fit of
rotations and places over all frames together (``terms``), by Levenberg-Marquardt on banded equations (``chain``). What
remains of the mirror images' ambiguity stays in the drawn rackets: each path gets as many of them as its cost deserves.

Rotations are smooth in time, but for contact, over which nothing is smoothed (row E18 of the check values).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.racket import terms
from swingmatch.racket.chain import Rows, factor, right_side
from swingmatch.racket.hoop import RacketShape
from swingmatch.racket.modes import paths
from swingmatch.racket.path import RacketPath, face_normal, head_centre, unseen, velocity
from swingmatch.racket.points import TIP, RacketPoints
from swingmatch.racket.pose import ROLLED, Hold, candidates, enough, place
from swingmatch.racket.settings import FitSettings
from swingmatch.racket.terms import Given, State
from swingmatch.racket.turning import between, turn
from swingmatch.racket.view import View

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Arm:
    """The arm that holds the racket, of a lifted body (level axes, statures).

    Attributes
    ----------
    times : (T,) seconds. elbow, wrist, hand : (T, 3). hands : (S, T, 3) the hand of every drawn body; S may be 0.
    """

    times: Array
    elbow: Array
    wrist: Array
    hand: Array
    hands: Array


def arm_of(times: Array, points: Array, draws: Array | None, side: str) -> Arm:
    """The arm on one side ("left", "right") of a body (T, K, 3) with draws (S, T, K, 3)."""
    elbow, wrist, hand = (points[:, INDEX[f"{side}_{part}"]] for part in ("elbow", "wrist", "hand"))
    drawn = np.zeros((0, len(times), 3)) if draws is None else draws[:, :, INDEX[f"{side}_hand"]]
    return Arm(np.asarray(times), elbow, wrist, hand, drawn)


@dataclass(frozen=True)
class _Fitted:
    """One path, fitted: its equations, and its cost."""

    state: State
    cost: float
    rows: list[Rows]


def fit_racket(
    arm: Arm,
    view: View,
    keypoints: RacketPoints | None,
    contact: float,
    *,
    marks: RacketPoints | None = None,
    shape: RacketShape | None = None,
    settings: FitSettings | None = None,
) -> RacketPath:
    """The racket over the frames of a stroke.

    Parameters
    ----------
    arm : of the lifted body, at least 4 frames. view : the camera that it was lifted with.
    keypoints : what was found in the pictures, or None. Frames that the body has not are left out.
    contact : seconds, on the body's clock.
    marks : what the coach placed: never doubted, and where there are some, the frame's other points count for nothing
        more than before.
    """
    settings = settings or FitSettings()
    shape = shape or RacketShape()
    count = len(arm.times)
    drawn = len(arm.hands) or settings.draws
    image, sd, known, hard = _evidence(arm.times, keypoints, marks)
    if count < 4 or not enough(known).any():
        return unseen(arm.times, drawn)
    given = _given(arm, view, image, sd, known, hard, contact, shape, settings)
    starts, posed = _starts(given, contact)
    if not starts:
        return unseen(arm.times, drawn)
    fitted = [_fit(given, start) for start in starts]
    facing = [_facing(given, one, contact) for one in fitted]
    cost = np.array([one.cost + more for one, (_, more) in zip(fitted, facing, strict=True)], dtype=float)
    fitted = [
        replace(one, state=_rolled(one.state)) if behind else one
        for one, (behind, _) in zip(fitted, facing, strict=True)
    ]
    chance = np.exp(-(cost - float(cost.min())) / (2.0 * settings.warm))
    best = int(cost.argmin())
    owner = _owners(chance / chance.sum(), drawn)
    draws = np.empty((drawn, count, 5, 3))
    for number in np.unique(owner):
        mine = np.flatnonzero(owner == number)
        draws[mine] = _draw(given, fitted[number], arm, mine, number)
    return _path(given, fitted[best].state, draws, posed)


def _evidence(
    times: Array, keypoints: RacketPoints | None, marks: RacketPoints | None
) -> tuple[Array, Array, Flags, Flags]:
    """Points on the body's frames: (T, 5, 2), (T, 5) pixels, which are known, and which are marks."""
    count = len(times)
    image, sd = np.full((count, 5, 2), np.nan), np.full((count, 5), np.inf)
    known, hard = np.zeros((count, 5), dtype=bool), np.zeros((count, 5), dtype=bool)
    near = 0.5 * float(np.median(np.diff(times))) if count > 1 else np.inf
    for source, sure in ((keypoints, False), (marks, True)):
        if source is None or len(source.times) == 0:
            continue
        at = np.abs(times[:, None] - source.times[None, :]).argmin(axis=1)
        beside = np.abs(times - source.times[at]) < near
        use = source.known[at] & beside[:, None]
        image = np.where(use[..., None], source.image[at], image)
        sd, known = np.where(use, source.sd[at], sd), known | use
        hard = np.where(use, sure, hard)
    return image, sd, known, hard


def _given(
    arm: Arm,
    view: View,
    image: Array,
    sd: Array,
    known: Flags,
    hard: Flags,
    contact: float,
    shape: RacketShape,
    settings: FitSettings,
) -> Given:
    fore = arm.wrist - arm.elbow
    sight = arm.hand / np.linalg.norm(arm.hand, axis=1, keepdims=True)
    outer = sight[:, :, None] * sight[:, None, :]
    return Given(
        times=arm.times,
        hand=arm.hand,
        forearm=fore / np.maximum(np.linalg.norm(fore, axis=1, keepdims=True), 1e-9),
        tie=np.eye(3) / settings.across + outer * (1.0 / settings.along - 1.0 / settings.across),
        image=image,
        sd=sd,
        known=known,
        hard=hard,
        model=shape.points() / settings.stature,
        unrest=terms.unrest(arm.times, contact, settings),
        view=view,
        settings=settings,
    )


def _starts(given: Given, contact: float) -> tuple[list[State], Flags]:
    """Where to start: a path for each way of stringing single poses, and (T,) the frames that have one."""
    settings = given.settings
    grip = settings.grip / settings.stature
    chosen = _thinned(given)
    image, sd, known = given.image[chosen], given.sd[chosen], given.known[chosen]
    found = candidates(
        image,
        sd,
        known,
        given.view,
        given.model,
        Hold(given.hand[chosen], grip, settings.across, settings.along),
    )
    frames = chosen[found.frame]
    if len(frames) == 0:
        return [], np.zeros(len(given.times), dtype=bool)
    bend = (found.turns[..., 2] * given.forearm[frames][:, None]).sum(-1)
    over = np.degrees(np.arccos(np.clip(bend, -1, 1))) - settings.bent
    extra = (np.maximum(over, 0.0) / settings.bent_sd) ** 2
    times = given.times[frames]
    strung = paths(times, found, extra, _unrest(times, contact, settings), most=settings.most)
    out = []
    for path in strung:
        on = np.flatnonzero(path.poses >= 0)
        turns = between(times[on], found.turns[on, path.poses[on]], given.times)
        out.append(State(turns, np.zeros_like(given.hand), 0.0, grip))
    posed = enough(given.known)
    return out, posed


def _unrest(times: Array, contact: float, settings: FitSettings) -> Array:
    """(M - 1,) rad/s by which the angular velocity changes from each frame to the next."""
    middles = 0.5 * (times[1:] + times[:-1])
    change = terms.rate(middles - contact, settings) * np.sqrt(np.diff(times) / 60.0)
    return np.asarray(
        np.where((times[:-1] <= contact) & (times[1:] >= contact), settings.loose, 1.0) * change
    )


def _thinned(given: Given) -> NDArray[np.int_]:
    """Frames whose poses are strung: about a hundred a second tell the paths apart; frames with marks always."""
    posed = np.flatnonzero(enough(given.known))
    kept: list[int] = []
    for n in posed:
        if given.hard[n].any() or not kept or given.times[n] - given.times[kept[-1]] > 0.0085:
            kept.append(int(n))
    return np.array(kept, dtype=int)


def _rows(given: Given, state: State) -> tuple[list[Rows], float]:
    """All residuals, the picture's first, and their cost."""
    seen, cost = terms.picture(given, state)
    others = [
        terms.hold_first(given, state),
        terms.hold(given, state),
        terms.steady(given, state),
        terms.pace(given, state),
        terms.wrist(given, state),
    ]
    grip = (state.grip - given.settings.grip / given.settings.stature) * given.settings.stature
    total = float(cost.sum()) + sum(float((one.miss**2).sum()) for one in others)
    total += (state.length / given.settings.stature_sd) ** 2 + (grip / given.settings.grip_sd) ** 2
    return [seen, *others], total


def _prior(given: Given, state: State) -> tuple[Array, Array]:
    """Weights and pull of what is known of length and grip beforehand."""
    s = given.settings
    sd = np.array([s.stature_sd, s.grip_sd / s.stature])
    return 1.0 / sd**2, np.array([-state.length, s.grip / s.stature - state.grip]) / sd**2


def _fit(given: Given, state: State) -> _Fitted:
    """Levenberg-Marquardt from one start."""
    count = len(given.times)
    rows, cost = _rows(given, state)
    damp = 1e-3
    for _ in range(given.settings.rounds):
        weights, pull = _prior(given, state)
        right, shared = right_side(count, [(one, -one.miss) for one in rows])
        step, common = factor(count, rows, weights, damp).solve(right, shared + pull)
        trial = _moved(state, step, common)
        new, value = _rows(given, trial)
        gain = cost - value
        if gain > 0.0:
            state, rows, cost, damp = trial, new, value, max(damp * 0.2, 1e-6)
            if gain < 1e-3 * max(cost, 1.0) and gain < 0.05:
                break
        elif damp > 1e4:
            break
        else:
            damp *= 10.0
    return _Fitted(state, cost, rows)


def _moved(state: State, step: Array, common: Array) -> State:
    """The state after a step (T, 6) and (2,); no frame turns by more than half a radian."""
    small = step[:, :3]
    size = np.linalg.norm(small, axis=1, keepdims=True)
    small = small * np.minimum(1.0, 0.5 / np.maximum(size, 1e-9))
    return State(
        turn(small) @ state.turns,
        state.shift + step[:, 3:],
        float(np.clip(state.length + common[0], -0.3, 0.3)),
        float(state.grip + common[1]),
    )


def _rolled(state: State) -> State:
    return replace(state, turns=state.turns @ ROLLED)


def _points(given: Given, state: State) -> Array:
    """(T, 5, 3) statures."""
    model = given.model * np.exp(state.length)
    return place(state.turns, given.hand + state.shift, model, state.grip)


def _facing(given: Given, one: _Fitted, contact: float) -> tuple[bool, float]:
    """Whether the face looks away from where the head goes at contact, and the cost of how far it looks aside."""
    points = _points(given, one.state)
    # Up to contact itself and a little before: the face that goes through the ball is the one that strikes.
    speed = velocity(given.times, head_centre(points), contact)
    near = (np.abs(given.times - (contact - 0.015)) <= 0.035) & np.isfinite(speed).all(axis=1)
    if not near.any():
        near = np.zeros(len(points), dtype=bool)
        near[np.abs(given.times - contact).argmin()] = True
        speed = np.gradient(head_centre(points), given.times, axis=0)
    going = speed[near].mean(axis=0)
    facing = (face_normal(points)[near] * speed[near]).sum(axis=1).sum()
    normal = face_normal(points)[near].mean(axis=0)
    size = float(np.linalg.norm(going) * np.linalg.norm(normal))
    off = np.degrees(np.arccos(np.clip(abs(float(going @ normal)) / max(size, 1e-9), 0.0, 1.0)))
    s = given.settings
    return bool(facing < 0.0), float((max(off - s.facing, 0.0) / s.facing_sd) ** 2) * s.warm


def _owners(chance: Array, count: int) -> NDArray[np.int_]:
    """Which path each of ``count`` drawn rackets follows: evenly by chance, mixed over the draws."""
    edges = np.cumsum(chance)
    owner = np.searchsorted(edges, (np.arange(count) + 0.5) / count * edges[-1])
    return np.random.default_rng(1).permutation(np.minimum(owner, len(chance) - 1))


def _lasting(times: Array, reach: float, shape: tuple[int, ...], generator: np.random.Generator) -> Array:
    """Unit errors (T, *shape) that have dropped to 1/e after ``reach`` seconds."""
    out = generator.standard_normal((len(times), *shape))
    keep = np.exp(-np.diff(times) / reach)
    for t, share in enumerate(keep, start=1):
        out[t] = share * out[t - 1] + np.sqrt(1.0 - share**2) * out[t]
    return out


def _draw(given: Given, one: _Fitted, arm: Arm, which: NDArray[np.int_], seed: int) -> Array:
    """Rackets (D, T, 5, 3) that the evidence of one path allows, for the draws ``which`` of the body.

    Every residual gets an error of its own size, the hand that of the drawn body; the equations then give the racket
    that would have been fitted.
    """
    s = given.settings
    count, many = len(given.times), len(which)
    generator = np.random.default_rng([seed, 7])
    weights, _ = _prior(given, one.state)
    solved = factor(count, one.rows, weights)
    state = one.state
    noise = []
    bodies = len(arm.hands) > 0
    off = np.moveaxis(arm.hands[which] - arm.hand, 0, -1) if bodies else np.zeros((count, 3, many))
    keep = np.exp(-np.diff(given.times) / s.keeps)
    for number, rows in enumerate(one.rows):
        size = (*rows.miss.shape, many)
        if number == 0:
            noise.append(s.picture_off * _lasting(given.times, s.lasting, size[1:], generator))
        elif number == 1:
            first = np.einsum("ij,jd->id", given.tie[0], off[0])[None]
            noise.append(first if bodies else generator.standard_normal(size))
        elif number == 2:
            steps = (off[1:] - keep[:, None, None] * off[:-1]) / np.sqrt(1.0 - keep**2)[:, None, None]
            moved = np.einsum("tij,tjd->tid", given.tie[1:], steps)
            noise.append(moved if bodies else generator.standard_normal(size))
        else:
            noise.append(generator.standard_normal(size))
    right, shared = right_side(count, list(zip(one.rows, noise, strict=True)))
    shared = shared + np.sqrt(weights)[:, None] * generator.standard_normal((2, many))
    step, common = solved.solve(right, shared)
    out = np.empty((many, count, 5, 3))
    for d in range(many):
        out[d] = _points(given, _moved(state, step[..., d], common[:, d]))
    return out


def _path(given: Given, state: State, draws: Array, posed: Flags) -> RacketPath:
    """Points, their spread, and what of it is called seen."""
    s = given.settings
    points = _points(given, state)
    cosine = (face_normal(draws) * face_normal(points)).sum(-1)
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    face_sd = np.sqrt((angle**2).mean(axis=0))
    tip_sd = np.sqrt(((draws[:, :, TIP] - points[:, TIP]) ** 2).sum(-1).mean(axis=0))
    at = given.times[posed]
    near = np.abs(given.times[:, None] - at[None, :]).min(axis=1) <= s.near
    seen = near & ((angle > s.wrong).mean(axis=0) <= s.doubt)
    hidden = ~seen
    points, draws = points.copy(), draws.copy()
    points[hidden], draws[:, hidden] = np.nan, np.nan
    return RacketPath(
        times=given.times,
        points=points,
        draws=draws,
        seen=seen,
        face_sd=face_sd,
        tip_sd=tip_sd,
        length=float(given.model[TIP, 2] * np.exp(state.length)),
    )
