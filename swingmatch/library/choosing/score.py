"""How unlike a player and models are: in build, in style, in what the camera side can compare; and how sure that is.

Each part is the root mean square, over its features, of differences in scales (a scale is what a coach would call a
clear difference), none beyond ``MOST``, and nothing within the error, up to ``UNSEEN``. A feature counts by its
share and by how well it is known of both players:

    reliability = (TELLING scale)^2 / ((TELLING scale)^2 + sd_player^2 + sd_model^2),

the share of a difference of ``TELLING`` scales that is no error. So the camera side itself takes out what it does not
show. How sure a part is, is the share of it that is left; parts that are less sure count less in the total.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from swingmatch.library.choosing.traits import Feature, Traits

Array = NDArray[np.float64]

PARTS = ("build", "style", "view")
#: Beyond this many scales a difference grows no further, so that one wild value cannot decide.
MOST = 3.0
#: Differences within one standard deviation do not count, as far as it is no more than this, in scales.
UNSEEN = 0.25
#: Models of one style (``groups.groups_of``) are chosen together as far as the footage does not show the difference. Of
#: a group, those whose totals are this close to its best, times the share of the comparison that is not shown, are as
#: good, and always the same one comes first, so that the error of a film does not choose between them. Found, as
#: ``UNSEEN``, on generated players kept for tuning (``study.choosing --tuning``).
NEAR = 0.5
#: Half of a clear difference is what a coach begins to see. Own judgement.
TELLING = 0.5
#: Draws of the player and the models for how sure the first place is.
_DRAWS = 400


@dataclass(frozen=True)
class Score:
    """How unlike one model is to the player.

    Attributes
    ----------
    label : of the volunteer.
    total : of all parts, 0 alike, 1 clearly different on the whole.
    parts : "build", "style", "view" -> the same of the part alone, NaN where nothing of it can be compared.
    sure : part -> share of it that can be compared, 0..1.
    chance : how likely this model is the most alike of all, given what is not known exactly, 0..1.
    differences : feature -> model less player, in scales of the feature; NaN where unknown.
    known : feature -> its reliability, 0..1.
    repeat : which of the volunteer's swings moves most like the player.
    """

    label: str
    total: float
    parts: Mapping[str, float]
    sure: Mapping[str, float]
    chance: float = float("nan")
    differences: Mapping[str, float] = field(default_factory=dict)
    known: Mapping[str, float] = field(default_factory=dict)
    repeat: int = 0


@dataclass(frozen=True)
class Field:
    """A player against N models: everything but the movement.

    Attributes
    ----------
    labels : of the models. features : F of them. shares : part -> share. own : (F,) share of each within its part.
    apart : (N, F) model less player in scales, 0 where unknown. reliability : (N, F).
    sds : (F,) and (N, F) of player and models, in scales.
    """

    labels: tuple[str, ...]
    features: tuple[Feature, ...]
    shares: Mapping[str, float]
    own: Array
    apart: Array
    reliability: Array
    sds: tuple[Array, Array]


def field_of(
    player: Traits,
    models: Mapping[str, Traits],
    shares: Mapping[str, float],
    own: Mapping[str, float],
) -> Field:
    """The player's traits beside all models'. A taste beyond that of all models is taken as their extreme: there it may
    have become a fault."""
    features = player.features
    scale = np.array([f.scale for f in features])
    values = np.array([m.values for m in models.values()])
    mine = player.values.copy()
    for i, feature in enumerate(features):
        known = values[np.isfinite(values[:, i]), i]
        if feature.group == "style" and len(known):
            mine[i] = np.clip(mine[i], known.min(), known.max())
    my_sd, their_sd = player.sds / scale, np.array([m.sds for m in models.values()]) / scale
    apart = (values - mine) / scale
    with np.errstate(invalid="ignore"):
        reliability = TELLING**2 / (TELLING**2 + my_sd**2 + their_sd**2)
    unknown = ~np.isfinite(apart) | ~np.isfinite(reliability)
    return Field(
        tuple(models),
        features,
        shares,
        np.array([own[f.name] for f in features]),
        np.where(unknown, 0.0, apart),
        np.where(unknown, 0.0, reliability),
        (np.where(np.isfinite(my_sd), my_sd, 0.0), np.where(np.isfinite(their_sd), their_sd, 0.0)),
    )


def sized(apart: Array, within: Array) -> Array:
    """What differences in scales count for: nothing up to ``within``, and no more beyond ``MOST``."""
    return np.clip(np.abs(apart) - within, 0.0, MOST)


def parts_of(field_: Field, apart: Array | None = None) -> dict[str, tuple[Array, Array]]:
    """Part -> how unlike (..., N) and how sure (N,), of build and style; ``apart`` (..., N, F) replaces the field's."""
    sizes = sized(field_.apart if apart is None else apart, np.minimum(np.hypot(*field_.sds), UNSEEN))
    out = {}
    for part in ("build", "style"):
        its = [i for i, f in enumerate(field_.features) if f.group == part]
        counts = field_.own[its] * field_.reliability[:, its]
        sure = counts.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            out[part] = np.sqrt((counts * sizes[..., its] ** 2).sum(axis=-1) / sure), sure
    return out


def total_of(shares: Mapping[str, float], parts: Mapping[str, tuple[Array, Array]]) -> Array:
    """All parts together, each by its share and how sure it is: root mean square; infinite where nothing is known."""
    weights = {part: shares[part] * sure for part, (_, sure) in parts.items()}
    total = np.sum([weights[part] * np.nan_to_num(size) ** 2 for part, (size, _) in parts.items()], axis=0)
    counted = np.sum(list(weights.values()), axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(counted > 0.0, np.sqrt(total / counted), np.inf))


def least_totals(field_: Field) -> Array:
    """(N,) what the total is at the least, whatever the movement: it may be alike in all and be seen in all."""
    parts = parts_of(field_)
    count = len(field_.labels)
    return total_of(field_.shares, {**parts, "view": (np.zeros(count), np.ones(count))})


def scores_of(
    field_: Field,
    views: Mapping[str, tuple[float, float, int]],
    swings: Mapping[str, int] | None = None,
    groups: Mapping[str, str] | None = None,
) -> list[Score]:
    """The models whose movement was compared (label -> how unlike, how sure, repeat), in order; see ``in_order``."""
    at = [field_.labels.index(label) for label in views]
    kept = replace(
        field_,
        labels=tuple(views),
        apart=field_.apart[at],
        reliability=field_.reliability[at],
        sds=(field_.sds[0], field_.sds[1][at]),
    )
    view = tuple(np.array([seen[i] for seen in views.values()], dtype=float) for i in (0, 1))
    parts = {**parts_of(kept), "view": (view[0], view[1])}
    totals = total_of(kept.shares, parts)
    chances = _chances(kept, (view[0], view[1]))
    names = [f.name for f in kept.features]
    out = [
        Score(
            label,
            float(totals[n]),
            {part: float(size[n]) for part, (size, _) in parts.items()},
            {part: float(sure[n]) for part, (_, sure) in parts.items()},
            float(chances[n]),
            {
                name: float(kept.apart[n, i]) if kept.reliability[n, i] > 0.0 else float("nan")
                for i, name in enumerate(names)
            },
            {name: float(kept.reliability[n, i]) for i, name in enumerate(names)},
            views[label][2],
        )
        for n, label in enumerate(kept.labels)
    ]
    return in_order(out, kept.shares, swings, groups)


def in_order(
    scores: Sequence[Score],
    shares: Mapping[str, float],
    swings: Mapping[str, int] | None = None,
    groups: Mapping[str, str] | None = None,
) -> list[Score]:
    """The most alike first.

    The first is of the group (label -> group; all are one where None) that is most alike. A group is as unlike as its
    best member, and as far as the footage does not show the difference, as all its members (root mean square). Of
    those within ``NEAR`` of the group's best, times what is not shown, the first is the one of most ``swings``, then of
    the first label. ``shares`` : part -> what it counts.
    """
    swings = swings or {}
    every = sorted(scores, key=lambda s: (s.total, s.label.casefold()))
    its: dict[str, list[Score]] = {}
    for score in every:
        its.setdefault("" if groups is None else groups[score.label], []).append(score)

    def unseen(some: Sequence[Score]) -> float:
        shown = np.mean([sum(shares[part] * score.sure[part] for part in PARTS) for score in some])
        return max(1.0 - float(shown), 0.0)

    def whole(some: Sequence[Score]) -> float:
        totals = np.array([score.total for score in some])
        return float(totals[0] + unseen(some) * (np.sqrt(np.mean(totals**2)) - totals[0]))

    # Of equals the group of the best model: they are in the order of their best.
    group = min(its.values(), key=whole)
    close = [s for s in group if s.total <= group[0].total + NEAR * unseen(group)]
    first = min(close, key=lambda s: (-swings.get(s.label, 0), s.label.casefold()))
    return [first, *(s for s in every if s is not first)]


def _chances(field_: Field, view: tuple[Array, Array]) -> Array:
    """(N,) share of draws of player and models, as far as they are not known exactly, in which each model is first."""
    rng = np.random.default_rng(0)
    mine = rng.standard_normal((_DRAWS, 1, len(field_.features))) * field_.sds[0]
    theirs = rng.standard_normal((_DRAWS, *field_.apart.shape)) * field_.sds[1]
    drawn = parts_of(field_, field_.apart + theirs - mine)
    totals = total_of(
        field_.shares, {**drawn, "view": (np.broadcast_to(view[0], drawn["build"][0].shape), view[1])}
    )
    # Models that are as good share the first place, or their order would decide.
    first = totals <= totals.min(axis=1, keepdims=True) + 1e-9
    return np.asarray((first / first.sum(axis=1, keepdims=True)).mean(axis=0))


def ranked(scores: Sequence[Score], part: str) -> list[Score]:
    """The scores by one part alone, the most alike first; those that cannot be compared come last."""
    return sorted(scores, key=lambda s: (np.nan_to_num(s.parts[part], nan=np.inf), s.label.casefold()))
