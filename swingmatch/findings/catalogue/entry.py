"""One entry of the catalogue: from the table of a TOML file to a value, and back. No files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from swingmatch.errors import SwingmatchError
from swingmatch.findings.catalogue.fault import Drill, Fault, Sign, Virtue
from swingmatch.findings.columns import INSTANT_NAMES, columns_of
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.stroke.strokes import STROKES


class CatalogueError(SwingmatchError):
    """A file of the catalogue that cannot be read, or an entry that cannot be used."""


_TEXTS = ("title", "costs", "cause", "cue", "source")
_NUMBERS = {"consequence": (0.5, 2.0), "teachable": (0.5, 1.5), "order": (0.0, 1.0)}
_FIELDS = frozenset({"id", "signs", "causes", "confused", "drill", "caution", *_TEXTS, *_NUMBERS})
#: Largest amount of a sign, in floors: no fault that a coach would mention is larger.
_MOST = 8.0


def compared_in(quantity: str, stroke: str) -> tuple[str, ...]:
    """The columns in which a quantity is compared, none for a name that is not a quantity of the comparison.

    "scatter" is the spread of the contact point between the player's own swings.
    """
    columns = columns_of(stroke)
    if quantity in QUANTITIES or quantity == "shift":
        return columns
    if quantity == "duration":
        return tuple(column for column in columns if column not in INSTANT_NAMES)
    return ("contact",) if quantity == "scatter" else ()


def known_keys(stroke: str) -> frozenset[str]:
    """Every key that a sign or a virtue of a stroke may name: ``quantity@column`` and the measures' keys."""
    names = (*QUANTITIES, "duration", "shift", "scatter")
    compared = {f"{name}@{column}" for name in names for column in compared_in(name, stroke)}
    return frozenset(compared | {row.key for row in STROKES[stroke].measures})


def fault_of(table: Mapping[str, Any], stroke: str, where: str, *, own: bool = False) -> Fault:
    """The fault that a table of a TOML file holds.

    Raises
    ------
    CatalogueError : for anything missing, misspelt, of the wrong kind or out of range; ``where`` names the file.
    """
    if not isinstance(table, Mapping):
        raise CatalogueError(f"A fault in {where} is not a table of its own ([[fault]]).")
    name = table.get("id")
    if not isinstance(name, str) or not name.isidentifier():
        raise CatalogueError(
            f"A fault in {where} needs an id of letters, digits and low lines, like late_contact."
        )
    here = f"The fault {name} in {where}"
    extra = sorted(set(table) - _FIELDS)
    if extra:
        raise CatalogueError(f"{here} has a field {extra[0]} that nothing is known of.")
    texts = {field: _text(table, field, here) for field in _TEXTS}
    numbers = {field: _number(table, field, here, low, high) for field, (low, high) in _NUMBERS.items()}
    confused = table.get("confused", {})
    if not isinstance(confused, Mapping) or not all(isinstance(v, str) for v in confused.values()):
        raise CatalogueError(f"{here}: confused must give a sentence for each id.")
    return Fault(
        id=name,
        stroke=stroke,
        title=texts["title"],
        signs=_signs(table.get("signs"), stroke, here),
        costs=texts["costs"],
        cause=texts["cause"],
        causes=_texts(table.get("causes", []), f"{here}: causes"),
        confused=dict(confused),
        cue=texts["cue"],
        drill=_drill(table.get("drill"), here),
        caution=_text(table, "caution", here) if table.get("caution") else "",
        consequence=numbers["consequence"],
        teachable=numbers["teachable"],
        order=numbers["order"],
        source=texts["source"],
        own=own,
    )


def virtue_of(table: Mapping[str, Any], stroke: str, where: str) -> Virtue:
    """The virtue that a table of a TOML file holds. Raises ``CatalogueError``."""
    key = _text(table, "key", f"A virtue in {where}")
    if key not in known_keys(stroke):
        raise CatalogueError(f"A virtue in {where} speaks of {key}, which is not measured of a {stroke}.")
    here = f"The virtue {key} in {where}"
    return Virtue(key, _text(table, "title", here), _number(table, "matters", here, 0.5, 2.0))


def floors_of(table: Mapping[str, Any], stroke: str, where: str) -> dict[str, float]:
    """The floors that a table of a TOML file holds, in the measures' units. Raises ``CatalogueError``."""
    measured = {row.key for row in STROKES[stroke].measures}
    for key in table:
        if key not in measured:
            raise CatalogueError(f"A floor in {where} is for {key}, which is not measured of a {stroke}.")
        if _number(table, key, f"The floors in {where}", 0.0, float("inf")) == 0.0:
            raise CatalogueError(f"The floor of {key} in {where} must be above 0.")
    return {key: float(value) for key, value in table.items()}


def table_of(fault: Fault) -> dict[str, Any]:
    """A fault as the table that ``fault_of`` reads."""
    return {
        "id": fault.id,
        "title": fault.title,
        "signs": [
            {"of": sign.of, "when": list(sign.when), "amount": sign.amount}
            if sign.when
            else {"of": sign.of, "amount": sign.amount}
            for sign in fault.signs
        ],
        "costs": fault.costs,
        "cause": fault.cause,
        "causes": list(fault.causes),
        "cue": fault.cue,
        "caution": fault.caution,
        "consequence": fault.consequence,
        "teachable": fault.teachable,
        "order": fault.order,
        "source": fault.source,
        "drill": {"words": fault.drill.words, "steps": list(fault.drill.steps), "dose": fault.drill.dose},
        "confused": dict(fault.confused),
    }


def _signs(value: object, stroke: str, here: str) -> tuple[Sign, ...]:
    if not isinstance(value, Sequence) or isinstance(value, str) or not value:
        raise CatalogueError(f"{here} needs signs: what it does to the measures.")
    keys = known_keys(stroke)
    out: list[Sign] = []
    for one in value:
        if not isinstance(one, Mapping) or not set(one) <= {"of", "when", "amount"}:
            raise CatalogueError(
                f"{here}: a sign is of a quantity, when (the phases) and its amount in floors."
            )
        sign = Sign(
            of=_text(one, "of", f"{here}: a sign"),
            when=_texts(one.get("when", []), f"{here}: when"),
            amount=_number(one, "amount", f"{here}: a sign", -_MOST, _MOST),
        )
        if sign.amount == 0.0:
            raise CatalogueError(f"{here}: the amount of {sign.of} is 0 and says nothing.")
        for key in sign.keys:
            if key not in keys:
                raise CatalogueError(f"{here} speaks of {key}, which is not measured of a {stroke}.")
        out.append(sign)
    named = [key for sign in out for key in sign.keys]
    if len(named) != len(set(named)):
        twice = next(key for key in named if named.count(key) > 1)
        raise CatalogueError(f"{here} names {twice} twice.")
    return tuple(out)


def _drill(value: object, here: str) -> Drill:
    if not isinstance(value, Mapping) or not set(value) <= {"words", "steps", "dose"}:
        raise CatalogueError(f"{here} needs a drill with words, steps and dose.")
    return Drill(
        words=_text(value, "words", f"{here}: the drill"),
        steps=_texts(value.get("steps", []), f"{here}: the drill's steps"),
        dose=_text(value, "dose", f"{here}: the drill"),
    )


def _text(table: Mapping[str, Any], field: str, here: str) -> str:
    value = table.get(field)
    if not isinstance(value, str) or not value.strip():
        raise CatalogueError(f"{here} needs {field} in words.")
    return " ".join(value.split())


def _texts(value: object, here: str) -> tuple[str, ...]:
    if (
        not isinstance(value, Sequence)
        or isinstance(value, str)
        or not all(isinstance(v, str) for v in value)
    ):
        raise CatalogueError(f'{here} must be a list of words, like ["contact"].')
    return tuple(value)


def _number(table: Mapping[str, Any], field: str, here: str, low: float, high: float) -> float:
    value = table.get(field)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise CatalogueError(f"{here}: {field} must be a number from {low:g} to {high:g}.")
    return float(value)
