"""Swings of one volunteer become a model of the library, alone or together with the repeats that are there already."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from swingmatch.errors import LibraryError
from swingmatch.library.choosing.traits import traits
from swingmatch.library.choosing.words import stance_name
from swingmatch.library.format import GENERATED
from swingmatch.library.model import make_model
from swingmatch.library.quality import Verdict, judge
from swingmatch.library.records import Model
from swingmatch.stroke.swing import Swing


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What the coach says of a volunteer.

    Attributes
    ----------
    volunteer : code. label : what is shown, the code where empty. generated : no person was recorded.
    stature : metres, NaN where not given. level, sex, grip, licence, source : in words. tags : the coach's own words.
    despite : why swings that are not good enough are taken in all the same, "" where they are not.
    """

    volunteer: str
    label: str = ""
    generated: bool = False
    stature: float = float("nan")
    level: str = ""
    sex: str | None = None
    grip: str | None = None
    licence: str = "private, as the consent says"
    source: str = ""
    tags: frozenset[str] = frozenset()
    despite: str = ""


def plain(swing: Swing) -> Swing:
    """A swing as models are kept: seconds from contact, without what says how sure its film made it."""
    return replace(
        swing,
        times=swing.times - swing.contact,
        events={name: time - swing.contact for name, time in swing.events.items()},
        draws=None,
        racket_draws=None,
        racket_seen=None,
        struck=None,
        struck_draws=None,
    )


def to_model(
    swings: Sequence[Swing],
    contact_sds: Sequence[float],
    facts: Facts,
    before: Model | None = None,
    notes: Sequence[str] = (),
    footage: Verdict | None = None,
) -> tuple[Model, Verdict]:
    """One model of a volunteer's repeats of one stroke.

    Parameters
    ----------
    swings : at least one, of one stroke and hand, any clock. contact_sds : of each, seconds.
    before : the model of the same volunteer and stroke that they are added to. notes : on the footage.
    footage : what the film itself says against them.

    Raises
    ------
    LibraryError
        The quality does not pass, and the coach gives no reason to take them all the same; or ``before`` is another
        volunteer's or stroke's.
    StrokeError
        Too little is known of a swing.
    """
    if before is not None and (before.volunteer, before.stroke, before.hand) != (
        facts.volunteer,
        swings[0].stroke,
        swings[0].hand,
    ):
        raise LibraryError(
            "Repeats can only be added to the same volunteer's model of the same stroke and hand."
        )
    old = () if before is None else before.swings
    repeats = (*old, *(plain(swing) for swing in swings))
    made = make_model(repeats)
    verdict = judge(repeats, made, (*(0.0 for _ in old), *contact_sds), footage or Verdict((), ()))
    if not verdict.passed and not facts.despite:
        raise LibraryError(" ".join(verdict.against))
    kept = (
        *(() if before is None else before.notes),
        *notes,
        *verdict.doubts,
        *verdict.against,
        *([f"Taken in all the same: {facts.despite}"] if verdict.against else []),
    )
    model = Model(
        volunteer=facts.volunteer,
        label=facts.label or (facts.volunteer if before is None else before.label),
        stroke=repeats[0].stroke,
        hand=repeats[0].hand,
        generated=facts.generated,
        licence=facts.licence,
        source=facts.source or (GENERATED if facts.generated else "the coach's own film"),
        level=facts.level or ("" if before is None else before.level),
        sex=facts.sex or (None if before is None else before.sex),
        grip=facts.grip or (None if before is None else before.grip),
        stature=facts.stature if before is None or np.isfinite(facts.stature) else before.stature,
        tags=facts.tags | (frozenset() if before is None else before.tags),
        notes=tuple(dict.fromkeys(kept)),
        swings=repeats,
        mean=made.swing,
        spread=made.spread,
        apart=made.apart,
    )
    return _described(model), verdict


def _described(model: Model) -> Model:
    """The same with what its swings tell of build and style."""
    told = traits(model.swings)
    tastes: Mapping[str, float] = told.tastes
    stance, height = tastes.get("stance", float("nan")), tastes.get("take_back_height", float("nan"))
    return replace(
        model,
        build={name: float(value) for name, value in told.build.ratios.items()},
        traits={feature.name: float(v) for feature, v in zip(told.features, told.values, strict=True)},
        tempo=float(tastes.get("tempo", float("nan"))),
        stance=stance_name(stance).split(maxsplit=1)[1] if np.isfinite(stance) else None,
        take_back=_height_in_words(height) if np.isfinite(height) else None,
        style={name: float(value) for name, value in tastes.items() if np.isfinite(value)}
        | ({"grip": model.grip} if model.grip else {}),
    )


def _height_in_words(height: float) -> str:
    """The highest hand of the take-back, in hip-to-shoulder heights, in words."""
    if height > 1.0:
        return "hand above the shoulder"
    return "hand between hip and shoulder" if height >= 0.0 else "hand below the hip"
