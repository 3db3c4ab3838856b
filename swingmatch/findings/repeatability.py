"""How well contact repeats, as a finding of its own, and whether it repeats better than last time. No files."""

from __future__ import annotations

import math
from dataclasses import dataclass

from swingmatch.stroke.measure import NINE_IN_TEN
from swingmatch.stroke.repeats import Scatter, Spread

#: The verdicts.
STEADIER, LESS_STEADY, NO_CHANGE, NOT_COMPARABLE = (
    "repeats better",
    "repeats less well",
    "no change that can be told",
    "cannot be compared",
)
#: Standard deviations beyond which a change is told: 95 %, two-sided.
_TOLD = 1.96


@dataclass(frozen=True)
class Repeatability:
    """How well contact repeats over the swings of a clip.

    Attributes
    ----------
    of : "string bed" or "hitting hand". word : the plain word, as in ``stroke.repeats``.
    radius : root-mean-square distance of contact from its mean place, arm lengths.
    metres : the same in metres, where the stature is known.
    forward, turn : of the time from the start of the forward swing, and of the turn, to contact, ms.
    """

    of: str
    word: str
    radius: Spread
    metres: Spread | None
    forward: Spread
    turn: Spread

    @property
    def known(self) -> bool:
        """Whether there is a figure at all."""
        return math.isfinite(self.radius.own)


@dataclass(frozen=True)
class ScatterChange:
    """Contact's spread, then and now.

    Attributes
    ----------
    before, after : root-mean-square distance, arm lengths, error taken out. ratio : after over before; below 1 is
        steadier. low, high : its 90 % interval. verdict : one of the words above. reason : why it cannot be compared.
    """

    before: float
    after: float
    ratio: float
    low: float
    high: float
    verdict: str
    reason: str = ""


def repeatability(scatter: Scatter) -> Repeatability:
    """What is said and kept of the scatter of contact."""
    return Repeatability(
        scatter.of, scatter.word, scatter.radius, scatter.metres, scatter.forward, scatter.turn
    )


def compare_repeatability(
    before: Repeatability, after: Repeatability, *, from_same_side: bool
) -> ScatterChange:
    """Whether contact repeats better than last time.

    From one side both spreads hold about the same error of measuring, so the spreads as seen are compared, as a ratio:
    the logarithm of a spread is nearly normal (the delta method), and its standard deviation is read off the interval.
    From another side the error differs, and only intervals that do not overlap tell a change.
    """
    then, now = before.radius, after.radius
    nan = math.nan
    if not (before.known and after.known) or before.of != after.of:
        reason = (
            "too few swings" if before.of == after.of else f"then of the {before.of}, now of the {after.of}"
        )
        return ScatterChange(then.own, now.own, nan, nan, nan, NOT_COMPARABLE, reason)
    if from_same_side and min(then.seen_low, now.seen_low) > 0.0:
        ratio = now.seen / then.seen
        sd = math.hypot(_log_sd(then), _log_sd(now))
        low, high = (ratio * math.exp(sign * NINE_IN_TEN * sd) for sign in (-1.0, 1.0))
        told = abs(math.log(ratio)) > _TOLD * sd
    else:
        ratio = now.own / then.own if then.own > 0.0 else nan
        low = now.low / then.high if then.high > 0.0 else nan
        high = now.high / then.low if then.low > 0.0 else math.inf
        told = low > 1.0 or high < 1.0
    verdict = NO_CHANGE if not told else STEADIER if high < 1.0 else LESS_STEADY
    return ScatterChange(then.own, now.own, ratio, low, high, verdict)


def _log_sd(spread: Spread) -> float:
    """Standard deviation of the logarithm of a spread as seen, from its 90 % interval."""
    return math.log(spread.high / spread.seen_low) / (2.0 * NINE_IN_TEN)
