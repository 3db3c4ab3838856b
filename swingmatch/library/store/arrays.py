"""The arrays of a model as one file, and back, without loss: an uncompressed ``.npz``.

``facts`` is JSON text as bytes: what of a swing is no array, and the names of the spread. The arrays are named
``0.points``, ``0.times``, ... for the first repeat, ``mean.points``, ... for the mean swing, ``spread.degrees``,
``spread.counts`` and ``apart``. The same model gives the same bytes.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.errors import LibraryError
from swingmatch.library.model import Spread
from swingmatch.library.records import Model
from swingmatch.stroke.swing import Swing


def to_bytes(model: Model) -> bytes:
    """All arrays of a model."""
    arrays: dict[str, NDArray[Any]] = {}
    facts: dict[str, Any] = {"swings": [], "mean": None, "spread": None}
    for number, swing in enumerate(model.swings):
        facts["swings"].append(_put(arrays, str(number), swing))
    if model.mean is not None:
        facts["mean"] = _put(arrays, "mean", model.mean)
    if model.spread is not None:
        spread = model.spread
        facts["spread"] = {"joints": list(spread.joints), "phases": list(spread.phases)}
        arrays["spread.degrees"], arrays["spread.counts"] = spread.degrees, spread.counts
        arrays["spread.milliseconds"] = np.array([spread.milliseconds[phase] for phase in spread.phases])
    arrays["apart"] = np.array(model.apart, dtype=np.float64)
    arrays["facts"] = np.frombuffer(json.dumps(facts, sort_keys=True, default=float).encode(), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    return buffer.getvalue()


def from_bytes(data: bytes, where: str) -> dict[str, Any]:
    """The array fields of ``Model``; a LibraryError names ``where`` if the bytes are not what ``to_bytes`` gives."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        facts = json.loads(arrays["facts"].tobytes())
        spread = facts["spread"]
        return {
            "swings": tuple(_take(arrays, str(i), entry) for i, entry in enumerate(facts["swings"])),
            "mean": None if facts["mean"] is None else _take(arrays, "mean", facts["mean"]),
            "spread": None
            if spread is None
            else Spread(
                tuple(spread["joints"]),
                tuple(spread["phases"]),
                arrays["spread.degrees"],
                dict(zip(spread["phases"], arrays["spread.milliseconds"].tolist(), strict=True)),
                arrays["spread.counts"],
            ),
            "apart": tuple(arrays["apart"].tolist()),
        }
    except Exception as error:  # a damaged archive can fail in the zip, the array reader or the text alike
        raise LibraryError(f"The swings of {where} are damaged: they cannot be read.") from error


def _put(arrays: dict[str, NDArray[Any]], name: str, swing: Swing) -> dict[str, Any]:
    """Put a swing's arrays beside the others; the rest of it is what comes back."""
    plain = {}
    for part in fields(swing):
        value = getattr(swing, part.name)
        if isinstance(value, np.ndarray):
            arrays[f"{name}.{part.name}"] = value
        elif value is not None:
            plain[part.name] = dict(value) if isinstance(value, Mapping) else value
    return plain


def _take(arrays: Mapping[str, NDArray[Any]], name: str, plain: Mapping[str, Any]) -> Swing:
    """The swing back. A part that this swingmatch does not know, written by a later one, is left out."""
    known = [part.name for part in fields(Swing)]
    own: dict[str, Any] = {part: plain[part] for part in known if part in plain}
    own |= {part: arrays[f"{name}.{part}"] for part in known if f"{name}.{part}" in arrays}
    return Swing(**own)
