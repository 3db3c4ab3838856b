"""C3D: how a motion-capture laboratory hands over its markers. Read with ``ezc3d``, in a process of its own.

The library reads well-formed files and may run for ever, or take the process with it, on a damaged one. So a file is
looked at first, and then read by a child process with a time limit: ``python -m swingmatch.library.c3d IN OUT``.
"""

from __future__ import annotations

import json
import struct
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.errors import LibraryError

_BLOCK = 512
_KEY = 0x50  # the second byte of every C3D file
#: Seconds that a file may take; minutes of forty markers take one or two.
TIME_LIMIT = 60.0
#: Metres in a unit of the file's POINT:UNITS.
UNITS: Mapping[str, float] = {"mm": 0.001, "cm": 0.01, "dm": 0.1, "m": 1.0, "in": 0.0254, "inch": 0.0254}


@dataclass(frozen=True)
class Markers:
    """Markers over time.

    Attributes
    ----------
    names : as in the file. times : (T,) seconds. positions : (T, M, 3) metres on the file's axes, NaN where not seen.
    events : (label, seconds) in order of time, on the same clock.
    """

    names: tuple[str, ...]
    times: NDArray[np.float64]
    positions: NDArray[np.float64]
    events: tuple[tuple[str, float], ...] = ()


def read_c3d(path: Path | str) -> Markers:
    """The markers of a C3D file.

    Raises
    ------
    LibraryError
        Where the file is missing, damaged, without markers, or in a unit that is not known.
    """
    path = Path(path)
    _look(path)
    with tempfile.TemporaryDirectory(prefix="swingmatch-c3d-") as folder:
        out = Path(folder) / "markers.npz"
        try:
            done = subprocess.run(
                [sys.executable, "-m", "swingmatch.library.c3d", str(path.resolve()), str(out)],
                capture_output=True,
                timeout=TIME_LIMIT,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise _damaged(path) from None
        if done.returncode != 0 or not out.is_file():
            raise _damaged(path)
        with np.load(out, allow_pickle=False) as stored:
            text = json.loads(str(stored["text"]))
            positions = np.asarray(stored["positions"], dtype=np.float64)
    return _markers(path, text, positions)


def _look(path: Path) -> None:
    """Whether the head of a file is that of a C3D with all its frames. Raises ``LibraryError``."""
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(_BLOCK)
    except FileNotFoundError:
        raise LibraryError(f"There is no motion file at {path}.") from None
    except OSError as error:
        raise LibraryError(f"The motion file {path} cannot be read ({error.strerror}).") from error
    if len(head) < _BLOCK or head[1] != _KEY:
        raise LibraryError(f"{path} is not a C3D file.")
    start = (head[0] - 1) * _BLOCK
    if not _BLOCK <= start < size - 4:
        raise _damaged(path)
    with path.open("rb") as file:
        file.seek(start + 3)
        processor = file.read(1)[0]
    order = ">" if processor == 86 else "<"
    markers, _, first, last = struct.unpack(order + "4H", head[2:10])
    data, per_frame = struct.unpack(order + "2H", head[16:20])
    analog = struct.unpack(order + "H", head[4:6])[0]
    # A scale factor below zero means four-byte numbers; processor 85 has other floating-point numbers, whose sign is
    # in the same bit of the second byte.
    scale = head[12:16]
    negative = scale[0] if order == ">" else scale[3] if processor != 85 else scale[1]
    width = 4 if negative & 0x80 else 2
    del per_frame  # samples of force plates for each frame of markers; ``analog`` counts all of a frame
    # More frames than 65535 do not fit into the head, which then says 65535.
    frames = last - first + 1
    need = (data - 1) * _BLOCK + frames * (4 * markers + analog) * width
    if data < 2 or frames < 1 or (size < need and last != 0xFFFF):
        raise _damaged(path)


def _markers(path: Path, text: dict, positions: NDArray[np.float64]) -> Markers:
    unit = UNITS.get(str(text["unit"]).strip().lower())
    if unit is None:
        raise LibraryError(
            f"{path} gives its lengths in {text['unit']!r}; known are millimetres, centimetres and metres."
        )
    frames, count = positions.shape[:2]
    names = [str(name).strip() for name in text["names"]][:count]
    if count == 0 or frames < 2 or len(names) < count:
        raise LibraryError(f"{path} holds no markers over time.")
    if not text["rate"] > 0:
        raise LibraryError(f"{path} does not say how many frames a second it has.")
    times = (int(text["first"]) + np.arange(frames)) / float(text["rate"])
    events = sorted(((str(n), float(t)) for n, t in text["events"]), key=lambda event: event[1])
    return Markers(tuple(names), times, positions * unit, tuple(events))


def _damaged(path: Path) -> LibraryError:
    return LibraryError(f"The motion file {path} is damaged or cut off; please export it again.")


def _child(path: str, out: str) -> None:
    """Read a file with ``ezc3d`` and write what is needed of it as arrays."""
    import ezc3d

    file = ezc3d.c3d(path)
    point = file["parameters"]["POINT"]
    names: list[str] = []
    for number in range(1, 100):  # more than 255 markers go on in LABELS2, LABELS3 and so on
        more = point.get("LABELS" if number == 1 else f"LABELS{number}")
        if more is None:
            break
        names += more["value"]
    events = []
    listed = file["parameters"].get("EVENT")
    if listed is not None and "LABELS" in listed and "TIMES" in listed:
        minutes, seconds = np.asarray(listed["TIMES"]["value"], dtype=float).reshape(2, -1)
        events = [
            [label.strip(), float(60.0 * m + s)]
            for label, m, s in zip(listed["LABELS"]["value"], minutes, seconds, strict=False)
        ]
    text = {
        "names": names,
        "rate": float(point["RATE"]["value"][0]),
        "unit": (point["UNITS"]["value"] or ["mm"])[0] if "UNITS" in point else "mm",
        "first": int(file["header"]["points"]["first_frame"]),
        "events": events,
    }
    positions = np.moveaxis(file["data"]["points"][:3], (0, 1, 2), (2, 1, 0))
    np.savez(out, positions=positions, text=np.array(json.dumps(text)))


if __name__ == "__main__":
    _child(sys.argv[1], sys.argv[2])
