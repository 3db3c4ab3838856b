"""``Reviewed`` to JSON and back. What is not known is NaN in the value and null in JSON, which knows no NaN."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from swingmatch.findings.change import FaultTold, Reviewed, Told
from swingmatch.findings.repeatability import Repeatability
from swingmatch.stroke.repeats import Spread

_SPREADS = ("radius", "metres", "forward", "turn")


def to_json(numbers: Reviewed) -> dict[str, Any]:
    """Everything but the day, the azimuth and the model, which have columns of their own."""
    contact = None if numbers.contact is None else asdict(numbers.contact)
    return plain(
        {
            "told": [asdict(one) for one in numbers.told.values()],
            "faults": [{**asdict(one), "weights": dict(one.weights)} for one in numbers.faults.values()],
            # As pairs, because PostgreSQL may keep the keys of an object in another order.
            "targets": [[key, title] for key, title in numbers.targets.items()],
            "contact": contact,
        }
    )


def from_json(held: Mapping[str, Any], day: date, azimuth: float | None, model: str) -> Reviewed:
    """The value that was kept."""
    contact = held["contact"]
    if contact is not None:
        parts = {name: _spread(contact[name]) for name in _SPREADS}
        contact = Repeatability(of=contact["of"], word=contact["word"], **parts)  # type: ignore[arg-type]
    told = [Told(**_numbers(Told, one)) for one in held["told"]]
    faults = [FaultTold(**_numbers(FaultTold, one)) for one in held["faults"]]
    return Reviewed(
        day=day,
        azimuth=math.nan if azimuth is None else azimuth,
        model=model,
        told={one.key: one for one in told},
        faults={one.fault: one for one in faults},
        targets=dict(held["targets"]),
        contact=contact,
    )


def plain(value: Any) -> Any:
    """A value as JSON knows it: numbers that are not finite become null, tuples lists, keys text."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    return value


def _spread(held: Mapping[str, Any] | None) -> Spread | None:
    return None if held is None else Spread(**_numbers(Spread, held))


def _numbers(kind: Any, held: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of a value; null is NaN, since none of them may be None."""
    return {
        part.name: math.nan if held[part.name] is None else held[part.name]
        for part in fields(kind)
        if part.name in held
    }
