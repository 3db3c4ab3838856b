"""What a racket's path is held to, as residuals with their slopes (``chain.Rows``)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swingmatch.racket.chain import Rows
from swingmatch.racket.pose import edges_as, project
from swingmatch.racket.settings import FitSettings
from swingmatch.racket.turning import log_moves, vector
from swingmatch.racket.view import View

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class State:
    """A racket's path as the fit moves it.

    ``turns`` (T, 3, 3) the racket's axes in space; ``shift`` (T, 3) statures by which it is held off the lifted hand;
    ``length`` logarithm of its length over the expected; ``grip`` statures from the butt to the hand.
    """

    turns: Array
    shift: Array
    length: float
    grip: float


@dataclass(frozen=True)
class Given:
    """Everything that does not move in a fit.

    Attributes
    ----------
    times : (T,) s. hand, forearm : (T, 3) statures; unit vectors from elbow to wrist. tie : (T, 3, 3) whitens shifts.
    image, sd, known : (T, 5, 2), (T, 5) pixels, (T, 5). hard : (T, 5) points that are never doubted.
    model : (5, 3) statures. unrest : (T - 2,) rad/s, by how much the angular velocity changes from step to step.
    """

    times: Array
    hand: Array
    forearm: Array
    tie: Array
    image: Array
    sd: Array
    known: Flags
    hard: Flags
    model: Array
    unrest: Array
    view: View
    settings: FitSettings


def rate(away: Array, settings: FitSettings) -> Array:
    """Angular acceleration about each axis, rad/s^2 at 60 frames a second, ``away`` seconds from contact."""
    return np.asarray(
        settings.still
        + settings.swing * np.exp(-0.5 * (away / settings.swing_reach) ** 2)
        + settings.hit * np.exp(-0.5 * (away / settings.hit_reach) ** 2)
    )


def unrest(times: Array, contact: float, settings: FitSettings) -> Array:
    """(T - 2,) rad/s by which the angular velocity changes at each inner frame, one standard deviation an axis.

    Free within a frame of contact: the ball turns the racket there.
    """
    gap = np.diff(times)
    span = 0.5 * (gap[1:] + gap[:-1])
    usual = rate(times[1:-1] - contact, settings)
    spans_contact = (times[:-2] <= contact) & (times[2:] >= contact)
    return np.asarray(np.where(spans_contact, settings.loose, 1.0) * usual * np.sqrt(span / 60.0))


def picture(given: Given, state: State) -> tuple[Rows, Array]:
    """Picture residuals of every point, and their robust cost's weights (T, 10), 1 on the racket, towards 0 far off."""
    model = given.model * np.exp(state.length)
    seen = project(given.view, state.turns, given.hand + state.shift, model, state.grip)
    at, sd, known = edges_as(given.image, given.sd, given.known, seen.image)
    weight = np.where(known, 1.0 / np.where(known, sd, 1.0), 0.0)
    miss = (
        np.where(known[..., None], seen.image - np.where(known[..., None], at, 0.0), 0.0) * weight[..., None]
    )
    off = (miss**2).sum(axis=2) / given.settings.wild**2
    trust = np.where(given.hard, 1.0, 1.0 / (1.0 + off) ** 2)
    scale = weight[..., None] * np.sqrt(trust)[..., None]
    slope = np.concatenate([seen.by_turn, seen.by_shift], axis=-1) * scale[..., None]
    shared = np.stack([seen.by_length, seen.by_grip], axis=-1) * scale[..., None]
    count = len(given.times)
    rows = Rows(
        first=np.arange(count),
        miss=(miss * np.sqrt(trust)[..., None]).reshape(count, 10),
        slopes=(slope.reshape(count, 10, 6),),
        shared=shared.reshape(count, 10, 2),
    )
    cost = np.where(given.hard, (miss**2).sum(axis=2), given.settings.wild**2 * off / (1.0 + off))
    return rows, cost


def hold(given: Given, state: State) -> Rows:
    """Shifts off the lifted hand: as large as its error, and as lasting. (T, 3) residuals."""
    keep = np.exp(-np.diff(given.times) / given.settings.keeps)
    scale = 1.0 / np.sqrt(1.0 - keep**2)
    steps = scale[:, None] * (state.shift[1:] - keep[:, None] * state.shift[:-1])
    miss = np.einsum("tij,tj->ti", given.tie[1:], steps)
    before = np.zeros((len(keep), 3, 6))
    after = before.copy()
    after[..., 3:] = given.tie[1:] * scale[:, None, None]
    before[..., 3:] = -keep[:, None, None] * after[..., 3:]
    return Rows(np.arange(len(keep)), miss, (before, after))


def hold_first(given: Given, state: State) -> Rows:
    """The first frame's shift."""
    slope = np.zeros((1, 3, 6))
    slope[0, :, 3:] = given.tie[0]
    return Rows(np.array([0]), (given.tie[0] @ state.shift[0])[None], (slope,))


def steady(given: Given, state: State) -> Rows:
    """Changes of the angular velocity from step to step, over what is usual."""
    gap = np.diff(given.times)[:, None]
    step = vector(state.turns[1:] @ np.swapaxes(state.turns[:-1], 1, 2))
    later, earlier = log_moves(step) / gap[..., None], -log_moves(-step) / gap[..., None]
    speed = step / gap
    weight = 1.0 / given.unrest

    def slope(values: Array) -> Array:
        out = np.zeros((len(weight), 3, 6))
        out[..., :3] = weight[:, None, None] * values
        return out

    return Rows(
        np.arange(len(weight)),
        weight[:, None] * (speed[1:] - speed[:-1]),
        (slope(-earlier[:-1]), slope(earlier[1:] - later[:-1]), slope(later[1:])),
    )


def pace(given: Given, state: State) -> Rows:
    """Angular velocity itself, so that nothing turns for ever where nothing is seen."""
    gap = np.diff(given.times)
    step = vector(state.turns[1:] @ np.swapaxes(state.turns[:-1], 1, 2))
    weight = np.sqrt(gap / given.settings.pace_reach) / (gap * given.settings.pace)
    before, after = np.zeros((len(gap), 3, 6)), np.zeros((len(gap), 3, 6))
    before[..., :3] = -log_moves(-step) * weight[:, None, None]
    after[..., :3] = log_moves(step) * weight[:, None, None]
    return Rows(np.arange(len(gap)), step * weight[:, None], (before, after))


def wrist(given: Given, state: State) -> Rows:
    """Bends between forearm and racket that no wrist allows: (T, 1) residuals, 0 within the limit."""
    along = state.turns[..., 2]
    cosine = (along * given.forearm).sum(axis=1)
    limit = np.cos(np.radians(given.settings.bent))
    # As many frames as there are in a lasting error of the forearm say it once.
    gap = np.gradient(given.times)
    weight = np.sqrt(np.minimum(gap / given.settings.keeps, 1.0)) / np.sin(np.radians(given.settings.bent))
    weight = weight / np.radians(given.settings.bent_sd)
    over = cosine < limit
    slope = np.zeros((len(along), 1, 6))
    # d(forearm . along) = forearm . (small x along) = small . (along x forearm)
    slope[over, 0, :3] = weight[over, None] * np.cross(along, given.forearm)[over]
    return Rows(np.arange(len(along)), np.where(over, weight * (cosine - limit), 0.0)[:, None], (slope,))
