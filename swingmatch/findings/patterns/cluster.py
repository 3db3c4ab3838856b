"""What recurs over many swings, of one player or of many: clusters of deviations, named where the catalogue knows them.

Every swing becomes one vector of deviations in standard deviations of the noise. Swings that are like the model are set
aside; the others are clustered by direction, so that the same fault in two sizes is one cluster: agglomerative, by the
mean cosine between two groups (scikit-learn). Clustering by density (HDBSCAN) was tried and took five swings of one
made-up player with one fault for three and two that belong to none; a limit on the angle says what is meant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2
from sklearn.cluster import AgglomerativeClustering

from swingmatch.findings.catalogue.fault import Catalogue, Drill, Fault, Sign
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.evidence import Evidence
from swingmatch.findings.patterns.decompose import posterior, signatures
from swingmatch.findings.patterns.find import calibrated, carriers
from swingmatch.findings.patterns.noise import Noise, Seen, seen, shipped_noise
from swingmatch.findings.patterns.pattern import Pattern

Array = NDArray[np.float64]

#: Fewer swings than this are no recurrence.
FEWEST = 3
#: A swing is set aside as sound unless its vector is longer than all but this share of sound ones.
_SOUND = 0.05
#: Groups of swings with at least this mean cosine are one: half of the square of two such vectors is shared.
TOGETHER = 0.5
#: Cosine and probability from which a cluster is taken for a fault of the catalogue.
ALIKE, LIKELY = 0.5, 0.5
#: Of an unnamed pattern: deviations that are at least this many floors, and this many standard deviations, and no more
#: of them than a coach can look at.
_FLOORS, _DOUBTS, _CITED = 1.0, 2.0, 8


@dataclass(frozen=True)
class Cluster:
    """Swings that depart from their models in the same way.

    Attributes
    ----------
    pattern : what recurs, ``fault`` None where it is unnamed. ``sure`` is the confidence of the match, or, unnamed, how
        surely its swings belong together. ``evidence`` holds the means over its swings.
    members : (player, swing) of each swing, places in the input.
    cosine : between its centre and the signature that is most alike, in whitened space, 0 without a catalogue entry.
    """

    pattern: Pattern
    members: tuple[tuple[int, int], ...]
    cosine: float


def clusters(
    players: Sequence[Evidence], catalogue: Catalogue, noise: Noise | None = None, fewest: int = FEWEST
) -> tuple[Cluster, ...]:
    """The recurrent patterns in swings of one player, or of many players of the same stroke, the largest first.

    Parameters
    ----------
    players : evidence of each; their models and camera sides may differ. catalogue, noise : as in ``find_patterns``.
    fewest : swings that make a recurrence.
    """
    if not players:
        return ()
    noise = shipped_noise(players[0].stroke) if noise is None else noise
    views, places = [], []
    for p, one in enumerate(players):
        for s, deviations in enumerate(one.each):
            view = seen(deviations, noise, one.camera_azimuth)
            if _departs(view):
                views.append(view)
                places.append((p, s))
    if len(views) < fewest:
        return ()
    keys = sorted({key for view in views for key in view.keys})
    unit = _directions(views, keys)
    labels, belong = _cluster(unit, fewest)
    whole = sum(len(one.each) for one in players)
    out = []
    for label in sorted(set(labels) - {-1}):
        rows = [i for i, found in enumerate(labels) if found == label]
        view = _centre([views[i] for i in rows])
        pattern, cosine = named(view, catalogue, noise, float(np.mean(belong[rows])))
        out.append(
            Cluster(
                replace(pattern, swings=len(rows), of=whole),
                tuple(places[i] for i in rows),
                cosine,
            )
        )
    return tuple(sorted(out, key=lambda one: (-len(one.members), one.members)))


def named(view: Seen, catalogue: Catalogue, noise: Noise, belong: float = 1.0) -> tuple[Pattern, float]:
    """The pattern of a cluster's centre and the cosine with the signature that is most alike.

    It takes the name of the fault that is most alike where that is likely too by the posterior over all faults;
    otherwise it is unnamed, and ``belong`` says how sure.
    """
    cosines = alike(view, catalogue.faults)
    best = int(np.argmax(cosines)) if len(cosines) else -1
    cosine = float(cosines[best]) if best >= 0 else 0.0
    if cosine >= ALIKE:
        found = posterior(view, catalogue.faults)[best]
        sure = calibrated(found.worth, noise)
        cited = carriers(found.fault, view)
        if sure >= LIKELY and cited:
            return Pattern(found.fault, found.size, found.size_sd, sure, cited, 0, 0), cosine
    return Pattern(None, 1.0, 0.0, belong, _largest(view), 0, 0), cosine


def alike(view: Seen, faults: Sequence[Fault]) -> Array:
    """(K,) cosine between the deviations and each signature in whitened space; 0 for one that this view cannot show."""
    if not view.deviations or not faults:
        return np.zeros(len(faults))
    white = view.whitened(np.column_stack([signatures(faults, view.keys), view.values]))
    lengths = np.linalg.norm(white, axis=0)
    with np.errstate(all="ignore"):
        return np.nan_to_num(white[:, :-1].T @ white[:, -1] / (lengths[:-1] * lengths[-1]))


def fault_from(
    pattern: Pattern,
    name: str,
    title: str,
    stroke: str,
    *,
    costs: str = "",
    cause: str = "",
    cue: str = "",
    drill: Drill | None = None,
    consequence: float = 1.0,
    teachable: float = 1.0,
    order: float = 0.5,
) -> Fault:
    """An entry for the coach's own catalogue from an unnamed pattern: its evidence becomes the signature.

    ``name`` is the id. The size at which it was found is the size that a coach would mention. Raises ``ValueError``
    where the pattern has no evidence.
    """
    if not pattern.evidence:
        raise ValueError("a pattern without evidence has no signature")
    signs = tuple(
        Sign(d.quantity, (d.phase,) if d.phase else (), round(d.value / d.floor, 2)) for d in pattern.evidence
    )
    return Fault(
        name, stroke, title, signs, costs, cause, (), {}, cue, drill or Drill("", (), ""), "", consequence,
        teachable, order, "common practice, no source", own=True,
    )  # fmt: skip


def _departs(view: Seen) -> bool:
    if not view.deviations:
        return False
    length = float((view.whitened(view.values[:, None]) ** 2).sum())
    return length > float(chi2.isf(_SOUND, len(view.values)))


def _directions(views: Sequence[Seen], keys: Sequence[str]) -> Array:
    """(N, F) of length one: standardised deviations, 0 where one is not seen.

    Each is standardised by itself: whitening would depend on what else a view shows.
    """
    at: Mapping[str, int] = {key: i for i, key in enumerate(keys)}
    out = np.zeros((len(views), len(keys)))
    for row, view in enumerate(views):
        for key, value, variance in zip(view.keys, view.values, np.diag(view.covariance), strict=True):
            out[row, at[key]] = value / np.sqrt(variance)
    lengths = np.linalg.norm(out, axis=1, keepdims=True)
    return out / np.where(lengths > 0.0, lengths, 1.0)


def _cluster(unit: Array, fewest: int) -> tuple[list[int], Array]:
    """(N) label of each row, -1 for none, and (N,) its cosine with the middle of its cluster."""
    found = AgglomerativeClustering(
        n_clusters=None, metric="cosine", linkage="average", distance_threshold=1.0 - TOGETHER
    ).fit(unit)
    labels = np.asarray(found.labels_)
    belong = np.zeros(len(unit))
    for label in set(labels):
        rows = labels == label
        if rows.sum() < fewest:
            labels = np.where(rows, -1, labels)
            continue
        centre = unit[rows].mean(axis=0)
        belong[rows] = unit[rows] @ centre / np.linalg.norm(centre)
    return [int(label) for label in labels], belong


def _centre(views: Sequence[Seen]) -> Seen:
    """Means over views of what most of them show; the noise is that of the first, the others' may not shrink it."""
    counts: dict[str, list[tuple[Deviation, float]]] = {}
    for view in views:
        for deviation, value in zip(view.deviations, view.values, strict=True):
            counts.setdefault(deviation.key, []).append((deviation, float(value)))
    first = views[0]
    kept = [i for i, key in enumerate(first.keys) if 2 * len(counts[key]) >= len(views)]
    deviations, values = [], []
    for i in kept:
        rows = counts[first.keys[i]]
        deviations.append(
            replace(
                rows[0][0],
                player=float(np.mean([d.player for d, _ in rows])),
                model=float(np.mean([d.model for d, _ in rows])),
            )
        )
        values.append(float(np.mean([value for _, value in rows])))
    return Seen(tuple(deviations), np.array(values), first.covariance[np.ix_(kept, kept)])


def _largest(view: Seen) -> tuple[Deviation, ...]:
    sd = np.sqrt(np.diag(view.covariance))
    rows = [
        (abs(value) / s, d)
        for d, value, s in zip(view.deviations, view.values, sd, strict=True)
        if abs(value) >= _FLOORS and abs(value) >= _DOUBTS * s
    ]
    rows.sort(key=lambda row: (-row[0], row[1].key))
    return tuple(d for _, d in rows[:_CITED])
