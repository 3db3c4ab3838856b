"""Which stroke a swing is, and by which hand, from the movement alone.

Four questions are asked of a body in space, and each is answered by a small logistic regression. None of them needs to
know where the target or the camera is, because nothing in them depends on a turn about the vertical:

- *overhead*: is a hand high above the shoulders at the hit? Then it is a serve, by the hand that is the higher one.
- *turning*: which way round does the body turn into the hit, seen from above? Counter-clockwise is a right-hander's
  forehand or a left-hander's backhand.
- *two hands*: are the hands together, and as fast as each other? Then it is a two-handed backhand, and the turning
  tells the hand.
- *leading*: else, which arm hits? The forehand's arm is on the side that the body turns from, the one-handed
  backhand's on the other.

A mirrored movement is the other hand's: the answers keep that law exactly, because what tells left from right changes
sign with the mirror and has no constant beside it. So no hand is taken to be likelier than the other. The one-handed
backhand needs no examples of its own to be told; recordings of it are rare.

The weights (``recognise.json``) are made by ``python -m swingmatch.study.strokes``.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SIDES, middle
from swingmatch.series import resample
from swingmatch.stroke.swing import Hand

Array = NDArray[np.float64]

#: The strokes that can be told.
KINDS = ("forehand", "two-handed backhand", "one-handed backhand", "serve")
HANDS: tuple[Hand, Hand] = ("right", "left")
#: What each question looks at, see ``features``.
QUESTIONS: dict[str, tuple[str, ...]] = {
    "overhead": ("top_hand", "top_elbow"),
    "serving": ("higher_hand", "higher_shoulder", "faster"),
    "turning": ("shoulders_turned", "hips_turned", "swept"),
    "two hands": ("apart", "most_apart", "apart_after", "unlike"),
    "leading": ("faster", "longer_way", "longer_reach"),
}
#: How usual each stroke is before anything is seen of it (*common practice, no source*). A forehand with a quiet arm
#: looks like the other hand's one-handed backhand, which is rarer.
USUAL = {"forehand": 0.40, "two-handed backhand": 0.25, "one-handed backhand": 0.15, "serve": 0.20}
#: Those whose answer changes sides in a mirror.
MIRRORED = ("serving", "turning", "leading")

#: Samples about the hit, seconds.
_STEP = 0.01
_GRID = np.arange(-35, 26) * _STEP
#: Added to the hands' speeds before they are compared, statures a second: below it a hand is as good as still.
_SLOW = 0.3
#: No single swing is surer than this of its hand, as log-odds: one in a hundred is something else altogether.
_SUREST = 4.6


@dataclass(frozen=True)
class Recognised:
    """What a swing is taken for.

    Attributes
    ----------
    hand, stroke : the likeliest together; ``stroke`` is one of ``KINDS``.
    probability : of every hand with every stroke; they add up to one.
    """

    hand: Hand
    stroke: str
    probability: Mapping[tuple[Hand, str], float]

    def of_hand(self, hand: Hand) -> float:
        """Probability that ``hand`` hits, whatever the stroke."""
        return sum(self.probability[hand, kind] for kind in KINDS)

    def given(self, *, hand: Hand | None = None, stroke: str | None = None) -> Recognised:
        """The same once the hand, the stroke or both are known.

        Raises ``ValueError`` for a stroke that is not one of ``KINDS``.
        """
        if stroke is not None and stroke not in KINDS:
            raise ValueError(f"there is no stroke named {stroke!r}")
        kept = {
            key: value if (hand in (None, key[0]) and stroke in (None, key[1])) else 0.0
            for key, value in self.probability.items()
        }
        return likeliest(kept)


def recognise(times: Array, points: Array, contact: float) -> Recognised:
    """What one swing is.

    Parameters
    ----------
    times : (T,) seconds, rising. points : (T, K, 3) statures, y up, any turn about the vertical; camera axes as well as
        court axes.
    contact : seconds, known to a few hundredths: that of the strike, or a little after the faster hand's peak.
    """
    return likeliest(likelihoods(features(times, points, contact), _weights()))


def common_hand(swings: Iterable[Recognised]) -> Hand:
    """The hand that a player's swings speak for together: their log-odds added up."""
    score = 0.0
    for swing in swings:
        right, left = swing.of_hand("right"), swing.of_hand("left")
        score += float(np.clip(np.log((right + 1e-9) / (left + 1e-9)), -_SUREST, _SUREST))
    return "right" if score >= 0.0 else "left"


def likeliest(probability: Mapping[tuple[Hand, str], float]) -> Recognised:
    """The likeliest of hands and strokes from numbers that stand in the right proportions."""
    total = sum(probability.values())
    shares = {key: value / total for key, value in probability.items()}
    hand, stroke = max(shares, key=lambda key: shares[key])
    return Recognised(hand, stroke, shares)


def features(times: Array, points: Array, contact: float) -> dict[str, float]:
    """What the questions look at: name to number, in statures, radians and seconds.

    Parameters
    ----------
    times : (T,) seconds, rising. points : (T, K, 3) statures, y up. contact : seconds.

    Returns
    -------
    - ``top_hand``, ``top_elbow``: the highest wrist and elbow over the middle of the shoulders, over the quarter
      of a second about the hit in which it is highest; a tenth of the window counts, so that one frame says nothing;
    - ``higher_hand``, ``higher_shoulder``: right over left, at the moment of the highest wrist;
    - ``shoulders_turned``, ``hips_turned``: turn of the lines from 0.2 s before to 0.1 s after the hit, positive
      counter-clockwise from above; ``swept``: area that the wrists sweep about the hips, seen from above;
    - ``apart``: distance of the wrists, its median over the last 0.2 s; ``most_apart``: nearly its largest about the
      hit; ``unlike``: size of ``faster``;
    - ``faster``, ``longer_way``: logarithm of the right wrist's largest speed against the hips, and of its way, over
      the left one's; ``longer_reach``: how much farther the right wrist is from its shoulder.
    """
    body = resample(points, times, contact + _GRID)
    shoulders, hips = middle(body, "shoulder"), middle(body, "hip")
    wrist = {side: body[:, INDEX[f"{side}_wrist"]] for side in SIDES}
    speed = {
        side: np.linalg.norm(np.gradient(wrist[side] - hips, _STEP, axis=0), axis=1) + _SLOW for side in SIDES
    }
    reach = {side: np.linalg.norm(wrist[side] - body[:, INDEX[f"{side}_shoulder"]], axis=1) for side in SIDES}
    over = {
        part: np.max([body[:, INDEX[f"{side}_{part}"], 1] - shoulders[:, 1] for side in SIDES], axis=0)
        for part in ("wrist", "elbow")
    }
    about = _within(-0.20, 0.05)
    top = int(np.argmax(np.where(about, over["wrist"], -np.inf)))
    apart = np.linalg.norm(wrist["right"] - wrist["left"], axis=1)
    hit, way, at = _within(-0.10, 0.05), _within(-0.15, 0.05), _within(-0.05, 0.03)
    faster = float(np.log(speed["right"][hit].max() / speed["left"][hit].max()))
    return {
        "top_hand": float(np.quantile(over["wrist"][about], 0.9)),
        "top_elbow": float(np.quantile(over["elbow"][about], 0.9)),
        "higher_hand": float(wrist["right"][top, 1] - wrist["left"][top, 1]),
        "higher_shoulder": float(
            body[top, INDEX["right_shoulder"], 1] - body[top, INDEX["left_shoulder"], 1]
        ),
        "shoulders_turned": _turned(body, "shoulder"),
        "hips_turned": _turned(body, "hip"),
        "swept": _swept(wrist, hips, speed),
        "apart": float(np.median(apart[_within(-0.20, 0.0)])),
        "most_apart": float(np.quantile(apart[_within(-0.20, 0.10)], 0.85)),
        "apart_after": float(np.median(apart[_within(0.05, 0.15)])),
        "unlike": abs(faster),
        "faster": faster,
        "longer_way": float(np.log(speed["right"][way].mean() / speed["left"][way].mean())),
        "longer_reach": float(reach["right"][at].mean() - reach["left"][at].mean()),
    }


def _within(start: float, stop: float) -> NDArray[np.bool_]:
    return (start - 0.5 * _STEP < _GRID) & (stop + 0.5 * _STEP > _GRID)


def _turned(body: Array, part: str) -> float:
    """Turn of a line from 0.2 s before to 0.1 s after the hit, radians, counter-clockwise from above."""
    line = body[:, INDEX[f"right_{part}"]] - body[:, INDEX[f"left_{part}"]]
    # Seen from above, z runs down the page where x runs to the right.
    angle = np.unwrap(np.arctan2(-line[:, 2], line[:, 0]))[_within(-0.20, 0.10)]
    return float(angle[-1] - angle[0])


def _swept(wrist: Mapping[str, Array], hips: Array, speed: Mapping[str, Array]) -> float:
    """Twice the area that the wrists sweep about the hips a second round the hit, counter-clockwise from above.

    The faster wrist counts for more: the other one may be thrown back against it.
    """
    near = _within(-0.10, 0.06)
    total, weights = 0.0, 0.0
    for side in SIDES:
        arm = wrist[side] - hips
        moved = np.gradient(arm, _STEP, axis=0)
        weight = speed[side][near] ** 2
        total += float(weight @ (arm[:, 2] * moved[:, 0] - arm[:, 0] * moved[:, 2])[near])
        weights += float(weight.sum())
    return total / weights


@cache
def _weights() -> dict[str, tuple[Array, float]]:
    text = files("swingmatch.stroke").joinpath("recognise.json").read_text(encoding="utf-8")
    return from_json(text)


def from_json(text: str) -> dict[str, tuple[Array, float]]:
    """Weights of each question, in the order of ``QUESTIONS``, and its constant."""
    stored = json.loads(text)["questions"]
    return {
        question: (
            np.array([stored[question]["weights"][name] for name in names]),
            stored[question]["constant"],
        )
        for question, names in QUESTIONS.items()
    }


def answers(seen: Mapping[str, float], weights: Mapping[str, tuple[Array, float]]) -> dict[str, float]:
    """Probability of yes to each question: "overhead", "serving" with the right hand, "turning" counter-clockwise,
    "two hands", "leading" with the right arm."""
    out = {}
    for question, names in QUESTIONS.items():
        slopes, constant = weights[question]
        score = float(slopes @ [seen[name] for name in names]) + constant
        out[question] = float(0.5 * (1.0 + np.tanh(0.5 * score)))
    return out


def likelihoods(
    seen: Mapping[str, float], weights: Mapping[str, tuple[Array, float]]
) -> dict[tuple[Hand, str], float]:
    """How likely every hand with every stroke is, from the answers, each taken to be right or wrong by itself.

    The numbers do not add up to one.
    """
    yes = answers(seen, weights)
    ground = 1.0 - yes["overhead"]
    out: dict[tuple[Hand, str], float] = {}
    for hand in HANDS:
        right = hand == "right"
        serving, leading = (yes[q] if right else 1.0 - yes[q] for q in ("serving", "leading"))
        # The body turns this way round in the hand's forehand, and the other way in its backhands.
        forehand = yes["turning"] if right else 1.0 - yes["turning"]
        one_hand = 1.0 - yes["two hands"]
        out[hand, "forehand"] = ground * one_hand * forehand * leading
        out[hand, "two-handed backhand"] = ground * yes["two hands"] * (1.0 - forehand)
        out[hand, "one-handed backhand"] = ground * one_hand * (1.0 - forehand) * leading
        out[hand, "serve"] = yes["overhead"] * serving
    return {key: value * USUAL[key[1]] for key, value in out.items()}
