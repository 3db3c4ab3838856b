"""Why a model was chosen, in the words of a coach."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.library.build import Build
from swingmatch.library.choosing.score import Score
from swingmatch.library.choosing.traits import BUILD_SCALE, Traits

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
#: Below this reliability nothing is said of a feature but that it cannot be told.
SAID = 0.3
#: Differences, in scales: alike below the first, unlike from the second on.
ALIKE, UNLIKE = 0.5, 1.0
#: A model is about as alike as the first where its chance to be the first is at least this share of the other's.
EVEN = 0.6


@dataclass(frozen=True)
class Phrase:
    """A style feature in words: short and as sentences, alike, with more of it, and with less of it."""

    alike: str
    more: str
    less: str
    alike_said: str
    more_said: str
    less_said: str


PHRASES: Mapping[str, Phrase] = {
    "tempo": Phrase(
        "much the same tempo", "a slower swing", "a quicker swing",
        "Takes about as long as you from the first turn to the ball ({theirs:.1f} s).",
        "Takes {apart:.1f} s more than you from the first turn to the ball.",
        "Takes {apart:.1f} s less than you from the first turn to the ball.",
    ),
    "take_back_height": Phrase(
        "the hand as high in the take-back", "a higher take-back", "a lower take-back",
        "Takes the hand back about as high as you.",
        "Takes the hand back higher than you.",
        "Takes the hand back lower than you.",
    ),
    "base": Phrase(
        "the feet as far apart", "the feet wider apart", "the feet closer together",
        "Serves with the feet about as far apart as you.",
        "Serves with the feet wider apart than you.",
        "Serves with the feet closer together than you.",
    ),
    "loaded_hand_height": Phrase(
        "the hand as high when loaded", "the hand higher when loaded", "the hand lower when loaded",
        "Holds the hand about as high as you when loaded.",
        "Holds the hand higher than you when loaded.",
        "Holds the hand lower than you when loaded.",
    ),
}  # fmt: skip


def stance_name(angle: float) -> str:
    """The stance in words with its article, for an angle in degrees as in ``STANCES``."""
    return next(words for limit, words in STANCES if angle < limit)


def explain(player: Traits, model: Traits, known: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """Why this model, as sentences to the player: what is alike first, then what is not, then what cannot be told.

    ``known`` : feature -> reliability, as in ``Score``; all are known where None.
    """
    alike: list[str] = []
    unlike: list[str] = []
    untold: list[str] = []
    for feature in player.features:
        if feature.group != "style":
            continue
        mine, theirs = player.of(feature.name), model.of(feature.name)
        if not (np.isfinite(mine) and np.isfinite(theirs)):
            continue
        if known is not None and known.get(feature.name, 0.0) < SAID:
            untold.append(feature.label)
            continue
        if feature.name == "stance":
            says, said = _stance(mine, theirs, feature.scale)
        else:
            says, said = _sentence(
                PHRASES[feature.name], (theirs - mine) / feature.scale, theirs, theirs - mine
            )
        if said:
            (alike if says else unlike).append(said)
    body = _build_sentence(player.build, model.build)
    if body and (known is None or _build_known(player, known) >= SAID):
        (alike if body[0] else unlike).insert(min(1, len(alike)) if body[0] else len(unlike), body[1])
    elif body:
        untold.append("build")
    if untold:
        unlike.append(f"From this camera side {_listed(untold)} can hardly be compared.")
    return (*alike, *unlike)


def line(scores: Sequence[Score], player: Traits, model: Traits) -> str:
    """The choice in one sentence: how sure, what is alike, and what is clearly not; ``scores`` the most alike first."""
    best = scores[0]
    good, bad = [], []
    for feature in player.features:
        gap = best.differences.get(feature.name, float("nan"))
        if feature.group != "style" or best.known.get(feature.name, 0.0) < SAID or not np.isfinite(gap):
            continue
        if feature.name == "stance":
            own, other = stance_name(player.of("stance")), stance_name(model.of("stance"))
            if own == other or abs(gap) < ALIKE:
                good.append(
                    f"{other} stance like yours" if own == other else f"{other} stance, close to yours"
                )
            elif abs(gap) >= UNLIKE:
                bad.append(f"{other} stance")
        elif abs(gap) < ALIKE:
            # The gap is from the nearest taste of all models; who is beyond them all is not alike for that.
            if abs(model.of(feature.name) - player.of(feature.name)) < ALIKE * feature.scale:
                good.append(PHRASES[feature.name].alike)
        elif abs(gap) >= UNLIKE:
            bad.append(PHRASES[feature.name].more if gap > 0.0 else PHRASES[feature.name].less)
    if best.sure["build"] >= SAID and best.parts["build"] < UNLIKE:
        good.append("a build close to yours")
    words = _listed(good)
    if bad:
        words = (
            f"{words}, but {_listed(bad)}" if words else f"the nearest there is, though with {_listed(bad)}"
        )
    return f"{_lead(scores)}{': ' + words if words else ''}."


def as_alike(scores: Sequence[Score]) -> tuple[str, ...]:
    """Labels of the models that are about as alike as the first, which is among them; ``scores`` most alike first."""
    best = scores[0]
    # The chances are of the same draws: a model that is first half as often as the best is hardly behind it.
    most = max(score.chance for score in scores)
    near = [
        s.label
        for s in scores[1:3]
        if s.chance >= EVEN * max(best.chance, 1e-9) or s.chance == most > best.chance
    ]
    return (best.label, *near)


def _lead(scores: Sequence[Score]) -> str:
    best = scores[0]
    even = as_alike(scores)
    if len(even) > 1:
        return f"{_listed(even)} are about equally alike; {best.label} is taken"
    if len(scores) == 1:
        return f"{best.label} is the only model of this stroke"
    return f"{best.label} is {'' if best.chance >= 0.8 else 'probably '}the most alike"


def _stance(mine: float, theirs: float, scale: float) -> tuple[bool, str]:
    own, other = stance_name(mine), stance_name(theirs)
    if own == other:
        return True, f"Like you, hits from {own} stance."
    if abs(mine - theirs) < scale:
        return True, f"Hits from {other} stance, not far from yours."
    return False, f"Hits from {other} stance, while you use {own} one."


def _sentence(phrase: Phrase, gap: float, theirs: float, apart: float) -> tuple[bool, str]:
    said = phrase.alike_said if abs(gap) < ALIKE else phrase.more_said if gap > 0.0 else phrase.less_said
    return abs(gap) < ALIKE, said.format(theirs=theirs, apart=abs(apart))


def _build_sentence(mine: Build, theirs: Build) -> tuple[bool, str] | None:
    shared = [
        words[0] if ours > 1 else words[1]
        for name, words in _BUILD_WORDS.items()
        for ours, other in ((mine.against_average[name], theirs.against_average[name]),)
        if min(abs(ours - 1), abs(other - 1)) >= NOTABLE and (ours > 1) == (other > 1)
    ]
    size = build_distance(mine, theirs)
    if shared:
        return True, f"Like you, has {_listed(shared)}."
    if size < BUILD_SCALE:
        return True, "Is built in proportions close to yours."
    if size >= 2 * BUILD_SCALE:
        return False, "Is built in other proportions than you; sizes are taken out before comparing."
    return None


def build_distance(one: Build, two: Build) -> float:
    """Root mean square of the differences of the ratios' natural logarithms, about a share; NaN if none is known."""
    differences = [np.log(one.ratios[name] / two.ratios[name]) for name in one.ratios]
    known = [d for d in differences if np.isfinite(d)]
    return float(np.sqrt(np.mean(np.square(known)))) if known else float("nan")


def _build_known(player: Traits, known: Mapping[str, float]) -> float:
    return float(np.mean([known.get(f.name, 0.0) for f in player.features if f.group == "build"]))


def _listed(words: Iterable[str]) -> str:
    names = list(words)
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
