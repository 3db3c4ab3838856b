"""Which model swing is most alike in build and style, and why, in plain words.

A fault must not choose the model: a player who meets the ball late needs a model who does not. So only build and
matters of taste are compared: stance, tempo, and how high the hand goes in the take-back. What the whole movement
looks like counts little, and as a median over the stroke, which a fault in one part of it hardly moves. A taste beyond
that of all volunteers counts as their extreme, for there a taste may have become a fault.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.align.warp import typical_distance
from swingmatch.body.skeleton import INDEX
from swingmatch.errors import LibraryError
from swingmatch.library.build import RATIOS, Build, measure_build
from swingmatch.library.folder import Library
from swingmatch.library.format import Volunteer
from swingmatch.stroke.measures import hand_height
from swingmatch.stroke.swing import Swing


@dataclass(frozen=True)
class Taste:
    """One matter of taste: ``scale`` is a difference that a coach would call clear, ``weight`` its share.

    Scales and weights are our own judgement; the weights of all, with ``BUILD`` and ``MOVEMENT``, sum to 1.
    """

    scale: float
    weight: float


TASTES: Mapping[str, Taste] = {
    "stance": Taste(25.0, 0.27),  # degrees
    # Seconds from the start of the turn to contact. The start of the forward swing in between is left out: how soon
    # the hand moves forward changes with faults (a cramped arm, little shoulder turn) and is no taste.
    "tempo": Taste(0.20, 0.20),
    # Highest hand of the take-back, loop included, in hip-to-shoulder heights.
    "take_back_height": Taste(0.20, 0.13),
}
BUILD = Taste(0.06, 0.30)  # root mean square of the ratios' logarithms: six per cent
MOVEMENT = Taste(15.0, 0.10)  # degrees a segment
#: Beyond this many scales a difference grows no further, so that one wild measure cannot decide.
MOST = 3.0

#: Names of stances by the angle of the line from the outside to the inside foot: 0 along the baseline, 90 towards the
#: target. Common practice, no source; the limits lie midway between the usual 0, 45 and 90, and 10 degrees beyond.
STANCES: tuple[tuple[float, str], ...] = (
    (22.5, "an open"),
    (67.5, "a semi-open"),
    (100.0, "a neutral"),
    (np.inf, "a closed"),
)
#: Build in words, for a ratio at least ``NOTABLE`` above and below the average body.
NOTABLE = 0.03
_BUILD_WORDS: Mapping[str, tuple[str, str]] = {
    "arm_for_height": ("long arms for the height", "short arms for the height"),
    "leg_for_trunk": ("long legs for the trunk", "a long trunk for the legs"),
    "shoulders_for_height": ("broad shoulders", "narrow shoulders"),
}


@dataclass(frozen=True)
class Choice:
    """The chosen model.

    Attributes
    ----------
    volunteer, swing : who, and which repeat; the swing is in the volunteer's own hand.
    reasons : sentences for the player, likenesses first.
    scores : every volunteer's label to how unlike the player, 0 alike, 1 clearly different on the whole.
    """

    volunteer: Volunteer
    swing: Swing
    reasons: tuple[str, ...]
    scores: Mapping[str, float]


@dataclass(frozen=True)
class Traits:
    """What is compared: taste by name (a key of ``TASTES``, NaN where unknown), and build."""

    tastes: Mapping[str, float]
    build: Build


def choose(swings: Sequence[Swing], library: Library, name: str | None = None) -> Choice:
    """The volunteer most alike in build and style, and the repeat to compare with.

    Parameters
    ----------
    swings : at least one swing of one player, either hand, distances in any unit.
    name : label of a volunteer to take whatever the likeness.

    Raises
    ------
    LibraryError
        For an unknown ``name``, or where no volunteer plays the stroke.
    StrokeError
        Where too little of the player's swing is known.
    ValueError
        Without a swing.
    """
    if not swings:
        raise ValueError("there is no swing to choose a model for")
    wanted = None if name is None else find_volunteer(library, name)
    candidates = [v for v in library if v.stroke == swings[0].stroke]
    if wanted is not None and wanted not in candidates:
        candidates.append(wanted)
    if not candidates:
        raise LibraryError(f"No volunteer of these model swings plays a {swings[0].stroke}.")
    player = traits(swings)
    theirs = {v.label: traits(v.swings) for v in candidates}
    apart = {
        v.label: np.array([[typical_distance(mine, model) for model in v.swings] for mine in swings])
        for v in candidates
    }
    inside = _within(player, list(theirs.values()))
    scores = {label: score(inside, other, float(np.median(apart[label]))) for label, other in theirs.items()}
    best = wanted or min(candidates, key=lambda v: scores[v.label])
    repeat = best.swings[int(np.argmin(np.median(apart[best.label], axis=0)))]
    reasons = explain(player, theirs[best.label])
    if wanted is not None:
        reasons = (f"You chose {best.label}.", *reasons)
    return Choice(best, repeat, reasons, scores)


def find_volunteer(library: Library, name: str) -> Volunteer:
    """The volunteer of that label, whatever the case; a LibraryError lists the labels there are."""
    labels = {v.label.casefold(): v for v in library}
    if name.strip().casefold() in labels:
        return labels[name.strip().casefold()]
    near = difflib.get_close_matches(name.strip().casefold(), labels, n=1)
    hint = f' Did you mean "{labels[near[0]].label}"?' if near else ""
    raise LibraryError(f'There is no model "{name}"; there are {", ".join(v.label for v in library)}.{hint}')


def traits(swings: Sequence[Swing]) -> Traits:
    """Taste and build of one player: the median over the swings."""
    each = [_tastes(swing.as_right_handed()) for swing in swings]
    builds = [measure_build(swing.points).ratios for swing in swings]
    return Traits(
        {name: _median([taste[name] for taste in each]) for name in TASTES},
        Build({name: _median([ratios[name] for ratios in builds]) for name in RATIOS}),
    )


def score(player: Traits, model: Traits, movement: float) -> float:
    """How unlike two players are: sqrt(sum w min(|d| / scale, MOST)^2 / sum w) over what is known of both.

    ``movement`` is their typical distance in degrees a segment.
    """
    terms = [(build_distance(player.build, model.build), BUILD), (movement, MOVEMENT)]
    terms += [(player.tastes[name] - model.tastes[name], taste) for name, taste in TASTES.items()]
    known = [
        (min(abs(difference) / taste.scale, MOST), taste.weight)
        for difference, taste in terms
        if np.isfinite(difference)
    ]
    total = sum(weight for _, weight in known)
    return float(np.sqrt(sum(weight * size**2 for size, weight in known) / total)) if total else float("inf")


def build_distance(one: Build, two: Build) -> float:
    """Root mean square of the differences of the ratios' natural logarithms, about a share; NaN if none is known."""
    differences = [np.log(one.ratios[name] / two.ratios[name]) for name in RATIOS]
    known = [d for d in differences if np.isfinite(d)]
    return float(np.sqrt(np.mean(np.square(known)))) if known else float("nan")


def stance_name(angle: float) -> str:
    """The stance in words with its article, for an angle in degrees as in ``STANCES``."""
    return next(words for limit, words in STANCES if angle < limit)


def explain(player: Traits, model: Traits) -> tuple[str, ...]:
    """Why this model, as sentences to the player: what is alike first, then what is not."""
    alike, unlike = [], []
    mine, theirs = player.tastes, model.tastes

    if np.isfinite(mine["stance"]) and np.isfinite(theirs["stance"]):
        own, other = stance_name(mine["stance"]), stance_name(theirs["stance"])
        if own == other:
            alike.append(f"Like you, hits from {own} stance.")
        elif abs(mine["stance"] - theirs["stance"]) < TASTES["stance"].scale:
            alike.append(f"Hits from {other} stance, not far from yours.")
        else:
            unlike.append(f"Hits from {other} stance, while you use {own} one.")

    shared = [
        words[0] if ours > 1 else words[1]
        for name, words in _BUILD_WORDS.items()
        for ours, other in ((player.build.against_average[name], model.build.against_average[name]),)
        if min(abs(ours - 1), abs(other - 1)) >= NOTABLE and (ours > 1) == (other > 1)
    ]
    size = build_distance(player.build, model.build)
    if shared:
        alike.append(f"Like you, has {' and '.join(shared)}.")
    elif size < BUILD.scale:
        alike.append("Is built in proportions close to yours.")
    elif size >= 2 * BUILD.scale:
        unlike.append("Is built in other proportions than you; sizes are taken out before comparing.")

    longer = theirs["tempo"] - mine["tempo"]
    if abs(longer) < 0.5 * TASTES["tempo"].scale:
        alike.append(f"Takes about as long as you from the first turn to the ball ({theirs['tempo']:.1f} s).")
    elif np.isfinite(longer):
        how = "more" if longer > 0 else "less"
        unlike.append(f"Takes {abs(longer):.1f} s {how} than you from the first turn to the ball.")

    higher = theirs["take_back_height"] - mine["take_back_height"]
    if abs(higher) < 0.5 * TASTES["take_back_height"].scale:
        alike.append("Takes the hand back about as high as you.")
    elif np.isfinite(higher):
        unlike.append(f"Takes the hand back {'higher' if higher > 0 else 'lower'} than you.")
    return (*alike, *unlike)


def _within(player: Traits, models: Sequence[Traits]) -> Traits:
    """The player's tastes, drawn in to the range of the models'."""
    tastes = {}
    for name, value in player.tastes.items():
        known = [m.tastes[name] for m in models if np.isfinite(m.tastes[name])]
        tastes[name] = float(np.clip(value, min(known), max(known))) if known else value
    return Traits(tastes, player.build)


def _tastes(swing: Swing) -> dict[str, float]:
    """Tastes of one right-handed swing; NaN where events or keypoints are missing."""
    events, times, points = swing.events, swing.times, swing.points
    nan = float("nan")
    start, apart = events.get("turn_start", nan), events.get("hands_apart", nan)

    # The feet stand from the start of the forward swing until contact.
    hitting = (times >= events.get("forward_start", nan)) & (times <= swing.contact)
    feet = points[:, INDEX["left_ankle"]] - points[:, INDEX["right_ankle"]]
    line = [_median(feet[hitting, axis]) for axis in (0, 2)]

    height = hand_height(points)
    taking = (times >= (apart if np.isfinite(apart) else start)) & (times <= swing.contact)
    known = height[taking & np.isfinite(height)]
    return {
        "stance": float(np.degrees(np.arctan2(line[0], -line[1]))),
        "tempo": swing.contact - start,
        "take_back_height": float(known.max()) if len(known) else nan,
    }


def _median(values: Sequence[float] | np.ndarray) -> float:
    known = [v for v in values if np.isfinite(v)]
    return float(np.median(known)) if known else float("nan")
