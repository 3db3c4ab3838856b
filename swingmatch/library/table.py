"""CSV: one stroke as a table that any program reads and writes.

Lines that begin with "#" say what the numbers cannot: ``# name: value``. Then comes a line of column names, and one
line a moment. Everything is in seconds and metres on court axes (X towards the target, Y up, Z to the right of someone
facing the target); an empty cell is unknown.

    # format: swingmatch swing
    # version: 1
    # hand: right
    # stroke: forehand
    # stature_m: 1.72
    # event contact: 0.0
    time,left_shoulder_x,left_shoulder_y,left_shoulder_z,...

Column names are ``time`` and a keypoint's name with ``_x``, ``_y``, ``_z``; the racket's are ``racket_butt_x`` and so
on. ``# units: mm`` (or cm) changes the lengths' unit. Keypoints that are not in the table are unknown.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS, K
from swingmatch.errors import LibraryError
from swingmatch.library.c3d import UNITS
from swingmatch.library.format import NEEDED, RACKET_POINTS
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Hand, Swing

FORMAT, VERSION = "swingmatch swing", 1
#: Longest file that is read, bytes: an hour of one body at 100 Hz.
_MOST = 400_000_000
_RACKET = tuple(f"racket_{name.replace(' ', '_')}" for name in RACKET_POINTS)
_COLUMNS = ("time", *(f"{name}_{axis}" for name in (*KEYPOINTS, *_RACKET) for axis in "xyz"))
_EVENTS = frozenset(event for stroke in STROKES.values() for event in stroke.events)


@dataclass(frozen=True)
class Table:
    """One stroke.

    Attributes
    ----------
    times : (T,) seconds. points : (T, K, 3) metres on court axes. racket : (T, 5, 3) metres or None.
    events : name -> seconds. hand, stroke, stature (metres) : None where the file does not say.
    """

    times: NDArray[np.float64]
    points: NDArray[np.float64]
    racket: NDArray[np.float64] | None
    events: Mapping[str, float]
    hand: Hand | None
    stroke: str | None
    stature: float | None


def write_table(swing: Swing, stature: float) -> str:
    """A swing as the text of a CSV file; ``stature`` in metres gives it its size. Numbers keep all their digits."""
    out = io.StringIO()
    out.write(f"# format: {FORMAT}\n# version: {VERSION}\n# hand: {swing.hand}\n# stroke: {swing.stroke}\n")
    out.write(f"# stature_m: {float(stature)!r}\n")
    for name, at in swing.events.items():
        out.write(f"# event {name}: {float(at)!r}\n")
    arrays = [swing.points] if swing.racket is None else [swing.points, swing.racket]
    columns = _COLUMNS if swing.racket is not None else _COLUMNS[: 1 + 3 * K]
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    body = np.concatenate(arrays, axis=1) * stature
    for time, row in zip(swing.times, body.reshape(len(swing.times), -1), strict=True):
        writer.writerow([repr(float(time)), *("" if np.isnan(v) else repr(float(v)) for v in row)])
    return out.getvalue()


def read_table(path: Path | str) -> Table:
    """A stroke from a CSV file; a LibraryError says in one sentence what is wrong with it."""
    path = Path(path)
    try:
        if path.stat().st_size > _MOST:
            raise LibraryError(f"{path} is too long for a table of one stroke.")
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise LibraryError(f"There is no table at {path}.") from None
    except OSError as error:
        raise LibraryError(f"The table {path} cannot be read ({error.strerror}).") from error
    except UnicodeDecodeError as error:
        raise LibraryError(f"{path} is not a table of plain text.") from error
    return parse_table(text, str(path))


def parse_table(text: str, where: str = "The table") -> Table:
    """The same from the text of a file; ``where`` names it in errors."""
    lines = text.splitlines()
    said = _said([line for line in lines if line.startswith("#")], where)
    rows = list(csv.reader(line for line in lines if line.strip() and not line.startswith("#")))
    if len(rows) < 3:
        raise LibraryError(f"{where} holds no line of column names with two moments under it.")
    columns = [name.strip() for name in rows[0]]
    strange = [name for name in columns if name not in _COLUMNS]
    if strange or len(set(columns)) < len(columns):
        what = f'the column "{strange[0]}", which is no keypoint\'s' if strange else "a column twice"
        raise LibraryError(f"{where} has {what}; columns are time and names like left_shoulder_x.")
    values = _numbers(rows, where)
    place = {name: j for j, name in enumerate(columns)}
    missing = [
        name for name in ("time", *(f"{n}_{axis}" for n in NEEDED for axis in "xyz")) if name not in place
    ]
    if missing:
        raise LibraryError(f"{where} lacks the column {missing[0]}.")
    times = values[:, place["time"]]
    if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise LibraryError(f"The times of {where} do not rise from line to line.")
    unit = UNITS.get(said.get("units", "m"))
    if unit is None:
        raise LibraryError(f'{where} gives its lengths in "{said["units"]}"; say m, cm or mm.')
    body = np.full((len(times), K + len(_RACKET), 3), np.nan)
    order = {**INDEX, **{name: K + i for i, name in enumerate(_RACKET)}}
    for name, j in place.items():
        if name != "time":
            body[:, order[name[:-2]], "xyz".index(name[-1])] = values[:, j]
    racket = body[:, K:] * unit if any(name.startswith("racket_") for name in columns) else None
    return Table(
        times, body[:, :K] * unit, racket, _events(said, where), _hand(said, where), said.get("stroke"),
        _stature(said, where),
    )  # fmt: skip


def _said(lines: list[str], where: str) -> dict[str, str]:
    """What the lines that begin with "#" say; a line without a colon is a remark."""
    pairs = (line.lstrip("# ").partition(":") for line in lines)
    said = {name.strip(): value.strip() for name, colon, value in pairs if colon}
    if said.get("format", FORMAT) != FORMAT or said.get("version", str(VERSION)) != str(VERSION):
        raise LibraryError(f"{where} is not in version {VERSION} of the format of swings as tables.")
    return said


def _numbers(rows: list[list[str]], where: str) -> NDArray[np.float64]:
    width = len(rows[0])
    for number, row in enumerate(rows[1:], start=1):
        if len(row) != width:
            raise LibraryError(
                f"Moment {number} of {where} has {len(row)} cells, but there are {width} columns."
            )
    try:
        values = np.array([[float(cell) if cell.strip() else np.nan for cell in row] for row in rows[1:]])
    except ValueError:
        raise LibraryError(f"{where} holds something that is not a number among its moments.") from None
    if np.isinf(values).any():
        raise LibraryError(f"{where} holds an infinite number.")
    return values


def _events(said: Mapping[str, str], where: str) -> dict[str, float]:
    out = {}
    for name, value in said.items():
        if not name.startswith("event "):
            continue
        event = name.removeprefix("event ").strip().replace(" ", "_")
        if event not in _EVENTS:
            raise LibraryError(f'{where} names the event "{event}", which no stroke has.')
        out[event] = _float(value, where, name)
    return out


def _hand(said: Mapping[str, str], where: str) -> Hand | None:
    hand = said.get("hand")
    if hand == "right" or hand == "left" or hand is None:
        return hand  # type: ignore[return-value]
    raise LibraryError(f'{where} gives the hand "{hand}"; say right or left.')


def _stature(said: Mapping[str, str], where: str) -> float | None:
    if "stature_m" not in said:
        return None
    stature = _float(said["stature_m"], where, "stature_m")
    if not 0.8 <= stature <= 2.5:
        raise LibraryError(f"{where} gives a stature of {stature:g} m; it should be between 0.8 and 2.5.")
    return stature


def _float(value: str, where: str, name: str) -> float:
    try:
        number = float(value)
    except ValueError:
        number = float("nan")
    if not np.isfinite(number):
        raise LibraryError(f'{where} gives "{value}" for {name}, which is not a number.')
    return number
