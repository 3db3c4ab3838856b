"""What players are compared by when a model is chosen: the build of the body and the style of the stroke.

Each value comes with its standard deviation: the spread over the bodies that the footage allows as well
(``Swing.draws``), which is wide where the camera side shows the value badly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from swingmatch.library.build import RATIOS, Build, measure_build
from swingmatch.stroke.definition import Definition
from swingmatch.stroke.movement import Movement
from swingmatch.stroke.strokes import definition_of
from swingmatch.stroke.style import Style
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: Of a body's ratios, a difference that a coach would call clear, as a natural logarithm: six per cent. Own judgement.
BUILD_SCALE = 0.06
#: Footage tells nothing better than to this many scales, however little the drawn bodies spread. Own judgement.
LEAST = 0.2
#: Draws that are measured; their spread is good to a fifth with so many.
_DRAWS = 16


@dataclass(frozen=True)
class Feature:
    """One thing that is compared.

    Attributes
    ----------
    name : as a coach writes it, with underscores. label : in the middle of a sentence. group : "build" or "style".
    scale : a clear difference. share : of its group, 1 in all.
    """

    name: str
    label: str
    group: str
    scale: float
    share: float


_BUILD_LABELS = {
    "arm_for_height": "length of the arms",
    "leg_for_trunk": "length of the legs",
    "shoulders_for_height": "breadth of the shoulders",
    "hips_for_shoulders": "breadth of the hips",
    "forearm_for_upper_arm": "forearm against upper arm",
    "shank_for_thigh": "shank against thigh",
}


@dataclass(frozen=True)
class Traits:
    """One player: ``values`` and ``sds`` (F,) in the order of ``features``; ratios of the build as logarithms.

    NaN where unknown.
    """

    features: tuple[Feature, ...]
    values: Array
    sds: Array

    def of(self, name: str) -> float:
        """The value of one feature."""
        return float(self.values[[f.name for f in self.features].index(name)])

    def sd(self, name: str) -> float:
        """The standard deviation of one feature."""
        return float(self.sds[[f.name for f in self.features].index(name)])

    @cached_property
    def tastes(self) -> Mapping[str, float]:
        """The style alone: name -> value in its own unit."""
        return {
            f.name: float(v) for f, v in zip(self.features, self.values, strict=True) if f.group == "style"
        }

    @cached_property
    def build(self) -> Build:
        """The build alone."""
        pairs = zip(self.features, self.values, strict=True)
        return Build({f.name: float(np.exp(v)) for f, v in pairs if f.group == "build"})


def features_of(definition: Definition) -> tuple[Feature, ...]:
    """What is compared in a stroke, the build first."""
    build = (Feature(name, _BUILD_LABELS[name], "build", BUILD_SCALE, 1.0 / len(RATIOS)) for name in RATIOS)
    style = (Feature(s.name, s.label, "style", s.scale, s.share) for s in definition.style)
    return (*build, *style)


def traits(swings: Sequence[Swing]) -> Traits:
    """Build and style of one player: medians over the swings, which are of one stroke.

    The swings of a clip share the camera side and much of what is wrong with it. So the spread of the drawn bodies is
    not made smaller by their number; what the swings themselves differ by is.
    """
    definition = definition_of(swings[0])
    features = features_of(definition)
    values = np.array([_values(definition, swing) for swing in swings])
    drawn = np.array([_spread(definition, swing, own) for swing, own in zip(swings, values, strict=True)])
    known = np.isfinite(values).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = _nan(np.nanmedian, values)
        between = np.where(known > 1, _nan(np.nanvar, values) / np.maximum(known - 1, 1), 0.0)
    exact = all(swing.draws is None for swing in swings)
    least = np.zeros(len(features)) if exact else LEAST * np.array([f.scale for f in features])
    spread = _nan(np.nanmedian, drawn)
    # A value whose spread is not known is not known either.
    sds = np.where(np.isfinite(spread), np.maximum(spread, least), np.inf)
    return Traits(features, middle, np.where(np.isfinite(middle), np.sqrt(sds**2 + between), np.nan))


def _values(definition: Definition, swing: Swing) -> Array:
    """(F,) the features of one swing."""
    points = definition.on_ball_side(swing.points, swing.hand)
    events = {name: at - swing.contact for name, at in swing.events.items()}
    movement = Movement(swing.times - swing.contact, points, events, definition.hitting)
    ratios = measure_build(swing.points).ratios
    with np.errstate(invalid="ignore", divide="ignore"):
        build = [np.log(ratios[name]) for name in RATIOS]
        return np.array([*build, *(_value(style, movement) for style in definition.style)])


def _value(style: Style, movement: Movement) -> float:
    return float(style.of(movement))


def _spread(definition: Definition, swing: Swing, own: Array) -> Array:
    """(F,) root-mean-square departure of the drawn bodies' features from the swing's own; 0 without draws."""
    if swing.draws is None:
        return np.zeros(len(own))
    off = []
    for draw in swing.draws[:_DRAWS]:
        points = definition.on_ball_side(draw, swing.hand)
        events = definition.find_events(swing.times, points, swing.contact)
        off.append(_values(definition, replace(swing, points=draw, draws=None, events=events)) - own)
    known = np.isfinite(off).mean(axis=0) >= 0.5
    with np.errstate(invalid="ignore"):
        return np.where(known, np.sqrt(_nan(np.nanmean, np.square(off))), np.nan)


def _nan(function, values: Array) -> Array:  # type: ignore[no-untyped-def]
    """A function of numpy over the first axis, NaN without a warning where nothing is known."""
    values = np.asarray(values)
    out = np.full(values.shape[1], np.nan)
    some = np.isfinite(values).any(axis=0)
    if some.any():
        out[some] = function(values[:, some], axis=0)
    return out
