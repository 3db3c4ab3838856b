"""An explanation as JSON, in the shape that ``explanation.schema.json`` publishes."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from importlib import resources
from typing import Any

from swingmatch.findings.explanation import Change, Cited, Explanation, Praise

#: Version of the shape; a new one whenever a field is taken away or changes its meaning.
VERSION = 1


@lru_cache(maxsize=1)
def schema_text() -> str:
    """The published schema (JSON Schema, draft 2020-12)."""
    return (
        resources.files("swingmatch.findings").joinpath("explanation.schema.json").read_text(encoding="utf-8")
    )


def as_json(explanation: Explanation) -> dict[str, Any]:
    """Plain values for ``json``; what is not known is None, never NaN."""
    return {
        "version": VERSION,
        "language": explanation.language,
        "player": explanation.player,
        "model": {"name": explanation.model, "generated": explanation.generated},
        "stroke": explanation.stroke,
        "camera_side": explanation.camera_side,
        "swings": explanation.swings,
        "opening": explanation.opening,
        "strengths": [_praise(one) for one in explanation.strengths],
        "priorities": [_change(one) for one in explanation.priorities],
        "left_out": [_change(one) for one in explanation.left_out],
        "unnamed": [_change(one) for one in explanation.unnamed],
        "repeatability": list(explanation.repeatability),
        "since_last_review": list(explanation.since),
        "would_settle": list(explanation.settle),
        "cautions": list(explanation.cautions),
    }


def json_text(explanation: Explanation) -> str:
    """The explanation as JSON text."""
    return json.dumps(as_json(explanation), ensure_ascii=False, indent=2, allow_nan=False)


def _known(value: float) -> float | None:
    return round(float(value), 6) if math.isfinite(value) else None


def _praise(one: Praise) -> dict[str, Any]:
    return {"title": one.title, "sure": _known(one.sure), "evidence": _cited(one.evidence)}


def _change(one: Change) -> dict[str, Any]:
    return {
        "id": one.id,
        "title": one.title,
        "sure": _known(one.sure),
        "sure_words": one.sure_words,
        "size": _known(one.size),
        "swings": one.swings,
        "of": one.of,
        "seen": one.seen,
        "reason": one.reason,
        "evidence": [_cited(each) for each in one.evidence],
        "costs": one.costs,
        "cause": one.cause,
        "cue": one.cue,
        "drill": {"words": one.drill, "steps": list(one.steps), "dose": one.dose},
        "caution": one.caution,
        "confused_with": list(one.confused),
        "explains": [_change(each) for each in one.symptoms],
        "factors": {name: _known(value) for name, value in one.parts.items()},
        "source": one.source,
        "own": one.own,
    }


def _cited(one: Cited) -> dict[str, Any]:
    deviation = one.deviation
    return {
        "sentence": one.sentence,
        "quantity": deviation.quantity,
        "phase": deviation.phase,
        "unit": deviation.unit,
        "player": _known(deviation.player),
        "model": _known(deviation.model),
        "difference": _known(deviation.value),
        "doubt": _known(deviation.doubt),
        "floor": _known(deviation.floor),
        "at": _known(deviation.at),
        "peak": _known(deviation.peak),
        "peak_at": _known(deviation.peak_at),
        "chance": _known(deviation.chance),
        "swings": deviation.swings,
    }
