"""Read the catalogue of a stroke, with what the coach wrote laid over it; write the coach's own.

The shipped entries are TOML files beside this module, one a stroke. The coach's own file holds the faults of all
strokes, each under its stroke: ``[["forehand".fault]]``. An entry whose id is known replaces the shipped one as a
whole, any other is added. Comments and order of the coach's file are kept when an entry is saved.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, InlineTable

from swingmatch.findings.catalogue.entry import CatalogueError, fault_of, floors_of, table_of, virtue_of
from swingmatch.findings.catalogue.fault import Catalogue, Fault
from swingmatch.stroke.strokes import STROKES

__all__ = ["CatalogueError", "load", "own_faults", "save_own"]


def load(stroke: str, own: Path | None = None) -> Catalogue:
    """The catalogue of a stroke, the coach's own file laid over it.

    Parameters
    ----------
    stroke : as in ``stroke.strokes.STROKES``. own : the coach's file; one that does not exist yet holds nothing.

    Raises
    ------
    CatalogueError : for a file or an entry that cannot be used.
    """
    shipped = _shipped(stroke)
    if own is None or not own.exists():
        return shipped
    mine = {fault.id: fault for fault in own_faults(own, stroke)}
    kept = tuple(mine.pop(fault.id, fault) for fault in shipped.faults)
    return _checked(replace(shipped, faults=(*kept, *mine.values())), own.name)


def own_faults(path: Path, stroke: str) -> tuple[Fault, ...]:
    """The faults of a stroke in a coach's own file, flagged ``own``. Raises ``CatalogueError``."""
    tables = _document(path).unwrap()
    unknown = sorted(set(tables) - set(STROKES))
    if unknown:
        raise CatalogueError(f"{path.name} names the stroke {unknown[0]}; known are {', '.join(STROKES)}.")
    part = tables.get(stroke, {})
    if not isinstance(part, Mapping) or set(part) - {"fault"}:
        raise CatalogueError(f"{path.name} may hold faults only, each under [[{stroke!r}.fault]].")
    return _faults(part.get("fault", []), stroke, path.name, own=True)


def save_own(path: Path, fault: Fault) -> None:
    """Write a fault into the coach's own file: over the entry of the same id, else after the others.

    The file is replaced at once as a whole: whoever is interrupted keeps the old one.

    Raises
    ------
    CatalogueError : for a file that is broken or may not be written, or an entry that could not be read again.
    """
    table = table_of(fault)
    fault_of(table, fault.stroke, path.name)
    document = _document(path) if path.exists() else tomlkit.document()
    part = document.setdefault(fault.stroke, tomlkit.table(is_super_table=True))
    entries = part.setdefault("fault", tomlkit.aot()) if isinstance(part, MutableMapping) else None
    if not isinstance(entries, AoT):
        raise CatalogueError(f"{path.name} may hold faults only, each under [[{fault.stroke!r}.fault]].")
    there = next((entry for entry in entries if entry.get("id") == fault.id), None)
    if there is None:
        entries.append(_written(table))
    else:
        _change(there, table)
    _write(path, tomlkit.dumps(document))


@cache
def _shipped(stroke: str) -> Catalogue:
    if stroke not in STROKES:
        raise CatalogueError(f"There is no catalogue for {stroke}; known are {', '.join(STROKES)}.")
    name = f"{stroke.replace(' ', '_').replace('-', '_')}.toml"
    text = files(__package__).joinpath(name).read_text(encoding="utf-8")
    tables = _parsed(text, name).unwrap()
    return _checked(
        Catalogue(
            stroke=stroke,
            faults=_faults(tables.get("fault", []), stroke, name, own=False),
            virtues=tuple(virtue_of(table, stroke, name) for table in tables.get("virtue", [])),
            floors=floors_of(tables.get("floors", {}), stroke, name),
        ),
        name,
    )


def _faults(tables: object, stroke: str, where: str, *, own: bool) -> tuple[Fault, ...]:
    if not isinstance(tables, Sequence) or isinstance(tables, str):
        raise CatalogueError(f"The faults of a {stroke} in {where} must each be a table of its own.")
    out = tuple(fault_of(table, stroke, where, own=own) for table in tables)
    names = [fault.id for fault in out]
    for name in names:
        if names.count(name) > 1:
            raise CatalogueError(f"The fault {name} stands twice in {where}.")
    return out


def _checked(catalogue: Catalogue, where: str) -> Catalogue:
    """The same, once every id that is spoken of exists, what is measured has a floor, and no fault causes itself."""
    causes = {fault.id: fault.causes for fault in catalogue.faults}
    for fault in catalogue.faults:
        for name in (*fault.causes, *fault.confused):
            if name not in causes or name == fault.id:
                raise CatalogueError(
                    f"The fault {fault.id} in {where} speaks of {name}, which is no other fault."
                )
        for sign in fault.signs:
            if not sign.when and sign.of not in catalogue.floors:
                raise CatalogueError(
                    f"The fault {fault.id} in {where} speaks of {sign.of}, for which no floor is known."
                )
    for name in causes:
        seen, front = set(), set(causes[name])
        while front:
            if name in front:
                raise CatalogueError(f"The fault {name} in {where} is, in the end, a cause of itself.")
            seen |= front
            front = {cause for one in front for cause in causes[one]} - seen
    return catalogue


def _document(path: Path) -> tomlkit.TOMLDocument:
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise CatalogueError(f"{path.name} is not text; the own catalogue is a TOML file.") from error
    except OSError as error:
        raise CatalogueError(f"The own catalogue {path} cannot be read ({error.strerror}).") from error
    return _parsed(text, path.name)


def _parsed(text: str, where: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise CatalogueError(f"{where} is not valid TOML: {str(error).rstrip('.')}.") from error


def _written(table: Mapping[str, Any]) -> tomlkit.items.Table:
    """A table as a coach would type it: one sign a line, sub-tables last."""
    out = tomlkit.table()
    for key, value in table.items():
        out[key] = _item(key, value)
    return out


def _item(key: str, value: Any) -> Any:
    if key != "signs":
        return tomlkit.item(value)
    lines = tomlkit.array()
    for one in value:
        line: InlineTable = tomlkit.inline_table()
        line.update(one)
        lines.append(line)
    return lines.multiline(True)


def _change(entry: Any, table: Mapping[str, Any]) -> None:
    """Set only what is different, so that comments beside the rest stay."""
    before = entry.unwrap()
    for key in set(before) - set(table):
        del entry[key]
    for key, value in table.items():
        old = before.get(key)
        if isinstance(value, dict) and isinstance(old, dict):
            _change(entry[key], value)
        elif old != value:
            entry[key] = _item(key, value)


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(text)
                out.flush()
                os.fsync(out.fileno())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CatalogueError(f"The own catalogue {path} cannot be written ({error.strerror}).") from error
