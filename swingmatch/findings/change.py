"""What changed since the last review of the same player, and what is no more than noise. No files.

A target is measured twice. Each value is off by the standard error of measurement, SEM: the error of the view, which
does not shrink with the number of swings, and the player's own spread over the root of the number of swings. The
smallest change that can be told from noise is ``1.96 * sqrt(SEM_1**2 + SEM_2**2)``, which for two equal errors is the
published 1.96 * sqrt(2) * SEM (PMC6558857 table 1; row E12 of the check values). From one camera side both reviews
share a part of the view's error, and that part cancels; from two sides nothing does. Where the own spread is known
from few swings, Student's t with Welch's degrees of freedom stands for 1.96 (Welch 1947, Biometrika 34:28), so that
the false alarms stay at one in twenty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from scipy.special import stdtrit

from swingmatch.findings.deviation import Deviation
from swingmatch.findings.repeatability import Repeatability, ScatterChange, compare_repeatability
from swingmatch.stroke.direction import wrap

#: The verdicts on a target.
BETTER = "better"
HELD = "held"
NO_CHANGE = "no change that can be told"
WORSE = "worse"
BEYOND = "past the model, to the other side"
NOT_COMPARABLE = "cannot be compared"
#: The verdicts on a fault.
GONE, STILL, OPEN = "gone", "still there", "cannot be told yet"

#: Reviews filmed from azimuths no further apart than this are of one side, degrees: half of what a named side covers.
SAME_SIDE = 22.5
#: Share of the view's error, as variance, that two reviews from one side have in common. Tried on one unchanged stroke
#: of a generated player (a seed for tuning) as filmed in four clips from each of five sides: between clips from one
#: side 4.3 % of 3986 targets changed by more than what is told from noise (with 0.6 it would be 5.5 %), between clips
#: from two sides 2.6 %.
SHARED = 0.5
#: From another side a change is not judged when even a change of this many floors could be noise (our choice: about
#: three times what a coach would mention).
_USELESS = 3.0
#: Probabilities above which a fault is named and below which it is gone; between them it cannot be told.
NAMED, FREE = 0.5, 0.2
#: Of a fault's signature this share of the weights must be visible for its absence to say something.
_SEEN = 0.5
#: Two-sided probabilities of the interval and of a change that is told: 90 % and 95 %.
_INTERVAL, _TOLD = 0.95, 0.975


@dataclass(frozen=True)
class Told:
    """One target as it was measured in one review: a ``Deviation`` without what is of no use later.

    Attributes
    ----------
    key, unit, player, model, spread, error, repeat, swings, floor, visible : as in ``Deviation``.
    """

    key: str
    unit: str
    player: float
    model: float
    spread: float
    error: float
    repeat: float
    swings: int
    floor: float
    visible: bool

    @property
    def value(self) -> float:
        """Player minus model."""
        return self.player - self.model


@dataclass(frozen=True)
class FaultTold:
    """How sure a fault was named in one review.

    Attributes
    ----------
    fault, title : of the catalogue's entry. sure : probability that it is there.
    size : 1 is what a coach would mention. weights : deviation key -> weight in its signature.
    """

    fault: str
    title: str
    sure: float
    size: float
    weights: Mapping[str, float]


@dataclass(frozen=True)
class Reviewed:
    """The numbers of one review.

    Attributes
    ----------
    day : on which it was filmed. azimuth : of the camera, degrees, of the right-handed swing; NaN where unknown.
    model : name of the model swing's volunteer. told : by key. faults : by the fault's id.
    targets : key -> title of what the player was asked to change. contact : None where it was not looked at.
    """

    day: date
    azimuth: float
    model: str
    told: Mapping[str, Told]
    faults: Mapping[str, FaultTold] = field(default_factory=dict)
    targets: Mapping[str, str] = field(default_factory=dict)
    contact: Repeatability | None = None


@dataclass(frozen=True)
class Change:
    """One target, then and now.

    Attributes
    ----------
    key, unit, title : of the target. before, after : player minus the model of the later review.
    difference : after minus before. low, high : its 90 % interval. smallest : the smallest change that can be told.
    floor : smallest difference that matters on court. verdict : one of the words above.
    reason : why it cannot be compared; else empty.
    """

    key: str
    unit: str
    title: str
    before: float
    after: float
    difference: float
    low: float
    high: float
    smallest: float
    floor: float
    verdict: str
    reason: str = ""


@dataclass(frozen=True)
class FaultChange:
    """A fault that was named last time. ``before``, ``after``: probability that it is there; NaN where not visible."""

    fault: str
    title: str
    before: float
    after: float
    verdict: str


@dataclass(frozen=True)
class Changes:
    """All that is to be said of a review beside the last one.

    Attributes
    ----------
    targets : what was asked for last time, then what is asked for now. faults : those named last time.
    contact : None where it was not looked at both times. same_side : of the camera. since : day of the last review.
    days : between the two.
    """

    targets: tuple[Change, ...]
    faults: tuple[FaultChange, ...]
    contact: ScatterChange | None
    same_side: bool
    since: date
    days: int


def told(deviation: Deviation) -> Told:
    """What is kept of a deviation."""
    return Told(
        **{name: getattr(deviation, name) for name in Told.__dataclass_fields__ if name != "key"},
        key=deviation.key,
    )


def same_side(one: float, two: float) -> bool:
    """Whether two azimuths in degrees are of one camera side; an unknown one is of none."""
    return bool(abs(wrap(one - two)) <= SAME_SIDE)


def sem(value: Told, other: Told | None = None) -> float:
    """Standard error of measurement of one value: the view's error, and the own spread over the root of the swings."""
    return math.sqrt(value.error**2 + _of_swings(value, other)[0])


def smallest_change(sem_before: float, sem_after: float | None = None) -> float:
    """Smallest change that can be told from noise, 95 %, for two independent errors; the published formula."""
    return 1.96 * math.hypot(sem_before, sem_before if sem_after is None else sem_after)


def change(
    before: Told, after: Told, *, from_same_side: bool, title: str = "", shared: float = SHARED
) -> Change:
    """One target, then and now.

    Both values are taken against the later model, so that another model swing is no change of the player.

    Parameters
    ----------
    before, after : of one key. from_same_side : of the camera. title : what it is called.
    shared : share of the view's error, as variance, that both have in common from one side.

    Raises
    ------
    ValueError : the two are of different keys.
    """
    if before.key != after.key:
        raise ValueError(f"{before.key} is not {after.key}")
    step = (lambda x: x - 360.0 * round(x / 360.0)) if after.unit == "deg" else (lambda x: x)
    was = step(before.player - after.model)
    now = was + step(after.player - before.player)
    first, few_first = _of_swings(before, after)
    second, few_second = _of_swings(after, before)
    common = shared * before.error * after.error if from_same_side else 0.0
    view = max(before.error**2 + after.error**2 - 2.0 * common, 0.0)
    sd = math.sqrt(view + first + second)
    freedom = _freedom(sd, ((first, few_first), (second, few_second)))
    half, smallest = (sd * float(stdtrit(freedom, p)) for p in (_INTERVAL, _TOLD))
    difference = now - was
    verdict, reason = _verdict(was, now, smallest, after.floor)
    if not (before.visible and after.visible) or not math.isfinite(difference + sd):
        hidden = "then" if not before.visible else "now"
        verdict, reason = NOT_COMPARABLE, f"not visible {hidden}"
    elif not from_same_side and smallest > _USELESS * after.floor:
        verdict, reason = NOT_COMPARABLE, "filmed from another side"
    return Change(
        key=after.key,
        unit=after.unit,
        title=title,
        before=was,
        after=now,
        difference=difference,
        low=difference - half,
        high=difference + half,
        smallest=smallest,
        floor=after.floor,
        verdict=verdict,
        reason=reason,
    )


def compare_reviews(before: Reviewed, after: Reviewed, keys: Sequence[str] | None = None) -> Changes:
    """A review beside an earlier one of the same player and stroke.

    Parameters
    ----------
    before, after : the earlier and the later. keys : what to look at; the targets of both by default.
    """
    side = same_side(before.azimuth, after.azimuth)
    titles = {**after.targets, **before.targets}
    wanted = [*before.targets, *(key for key in after.targets if key not in before.targets)]
    found = []
    for key in wanted if keys is None else keys:
        if key not in before.told and key not in after.told:
            continue
        found.append(
            change(before.told[key], after.told[key], from_same_side=side, title=titles.get(key, key))
            if key in before.told and key in after.told
            else _missing(key, titles.get(key, key), before.told.get(key), after.told.get(key))
        )
    named = [fault for fault in before.faults.values() if fault.sure >= NAMED]
    contact = None
    if before.contact is not None and after.contact is not None:
        contact = compare_repeatability(before.contact, after.contact, from_same_side=side)
    return Changes(
        targets=tuple(found),
        faults=tuple(_fault_change(fault, after) for fault in named),
        contact=contact,
        same_side=side,
        since=before.day,
        days=(after.day - before.day).days,
    )


def _verdict(was: float, now: float, smallest: float, floor: float) -> tuple[str, str]:
    """Towards the model is better. Past it counts as better only where it ends within the floor of the model."""
    if abs(now - was) <= smallest:
        return (HELD if max(abs(was), abs(now)) <= floor else NO_CHANGE), ""
    gain = abs(was) - abs(now)
    if gain > 0.0 and (gain > smallest or abs(now) <= floor):
        return BETTER, ""
    if gain < 0.0 and (-gain > smallest or abs(was) <= floor):
        return WORSE, ""
    return BEYOND, ""


def _of_swings(value: Told, other: Told | None) -> tuple[float, float]:
    """Variance of the mean over the swings, and the degrees of freedom that it is known with.

    One swing does not show its own spread: then the other review's stands for it, and where there is none either, that
    of the model's repeats, or what a coach would mention where that is not known.
    """
    if value.swings > 1:
        return value.repeat**2 / value.swings, value.swings - 1.0
    if other is not None and other.swings > 1:
        return other.repeat**2, other.swings - 1.0
    return (value.spread if math.isfinite(value.spread) else value.floor) ** 2, math.inf


def _freedom(sd: float, parts: Sequence[tuple[float, float]]) -> float:
    """Welch's degrees of freedom; the view's error is known from many clips and counts as known exactly."""
    below = sum(variance**2 / freedom for variance, freedom in parts)
    # What is as good as infinite; the quantile of infinity itself is not defined everywhere.
    return min(sd**4 / below, 1e6) if below > 0.0 else 1e6


def _missing(key: str, title: str, before: Told | None, after: Told | None) -> Change:
    one = after if after is not None else before
    assert one is not None
    nan = math.nan
    was = nan if before is None else before.value
    now = nan if after is None else after.value
    hidden = "then" if before is None else "now"
    return Change(
        *(key, one.unit, title, was, now, nan, nan, nan, nan, one.floor, NOT_COMPARABLE),
        reason=f"not visible {hidden}",
    )


def _fault_change(fault: FaultTold, after: Reviewed) -> FaultChange:
    whole = sum(abs(weight) for weight in fault.weights.values())
    seen = sum(
        abs(weight) for key, weight in fault.weights.items() if key in after.told and after.told[key].visible
    )
    if not whole or seen < _SEEN * whole:
        return FaultChange(fault.fault, fault.title, fault.sure, math.nan, NOT_COMPARABLE)
    there = after.faults.get(fault.fault)
    sure = 0.0 if there is None else there.sure
    verdict = STILL if sure >= NAMED else GONE if sure <= FREE else OPEN
    return FaultChange(fault.fault, fault.title, fault.sure, sure, verdict)


# Over the months ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Series:
    """One target over all reviews of a player, in order of time.

    Attributes
    ----------
    key, unit, title : of the target. days : when it was filmed. values : player minus model; NaN where not visible.
    low, high : 90 % interval of each. sides : azimuths. band : half-width about the model within which nobody on court
        would care or the model itself varies.
    """

    key: str
    unit: str
    title: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    azimuths: tuple[float, ...]
    band: float


def series(reviews: Sequence[Reviewed], key: str) -> Series | None:
    """One target over the reviews, the oldest first; None where no review holds it."""
    ordered = sorted((r for r in reviews if key in r.told), key=lambda review: review.day)
    if not ordered:
        return None
    kept = [review.told[key] for review in ordered]
    most = max(kept, key=lambda one: one.swings)
    values, low, high = [], [], []
    for one in kept:
        shown = one.value if one.visible else math.nan
        freedom = _freedom(sem(one, most), (_of_swings(one, most),))
        half = float(stdtrit(freedom, _INTERVAL)) * sem(one, most)
        values.append(shown)
        low.append(shown - half)
        high.append(shown + half)
    return Series(
        key=key,
        unit=kept[-1].unit,
        title=next((r.targets[key] for r in reversed(ordered) if key in r.targets), key),
        days=tuple(review.day for review in ordered),
        values=tuple(values),
        low=tuple(low),
        high=tuple(high),
        azimuths=tuple(review.azimuth for review in ordered),
        band=max(kept[-1].floor, 2.0 * kept[-1].spread if math.isfinite(kept[-1].spread) else 0.0),
    )
