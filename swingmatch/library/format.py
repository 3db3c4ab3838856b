"""The open format of model swings: what is in it, and the checks that every file passes on its way in and out.

One folder a volunteer: ``volunteer.json`` for what a person reads, and one ``.npz`` a swing for the arrays. The format
is described for readers in ``references/README.md``. Nothing here touches a disk.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SIDES, K
from swingmatch.errors import LibraryError
from swingmatch.stroke.swing import EVENTS, Hand, Swing

FORMAT = "swingmatch model swings"
VERSION = 1
RACKET_POINTS = ("butt", "throat", "tip", "left edge", "right edge")
UNITS = {
    "times": "seconds from contact",
    "points": "metres",
    "racket": "metres",
    "events": "seconds from contact",
}
AXES = {
    "x": "towards the target",
    "y": "up",
    "z": "to the right of someone facing the target",
    "origin": "on the ground under the middle of the hips at the first event",
}
GENERATED = "generated; no person was recorded"
#: Keypoints without which a swing cannot be compared, and the share of its frames in which each must be known.
NEEDED = tuple(
    f"{side}_{part}" for part in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle") for side in SIDES
)
MIN_KNOWN = 0.6


@dataclass(frozen=True)
class Volunteer:
    """The person, or the made-up figure, behind some model swings.

    Attributes
    ----------
    label : name to show; for a person whatever the consent allows.
    hand : hitting hand. swings : at least one; statures, court axes, time from contact, their own hand.
    stature : metres. generated : True when no person was recorded.
    style : taste in numbers or words, for people to read, for instance ``{"stance": "open"}``.
    id : of the model in the private library, "" elsewhere.
    licence : of the data. consent : for a person, the words of the consent given; None for a generated figure.
    """

    label: str
    hand: Hand
    swings: tuple[Swing, ...]
    stature: float
    generated: bool
    licence: str
    consent: str | None = None
    source: str = GENERATED
    sex: str | None = None
    level: str = ""
    stroke: str = "forehand"
    style: Mapping[str, str | float] = field(default_factory=dict)
    style_words: tuple[str, ...] = ()
    proportions: Mapping[str, float] = field(default_factory=dict)
    id: str = ""


def to_json(volunteer: Volunteer, files: tuple[str, ...]) -> dict[str, Any]:
    """Contents of ``volunteer.json``; ``files`` are the names of the swings' array files, in order."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "label": volunteer.label,
        "hand": volunteer.hand,
        "sex": volunteer.sex,
        "build": {
            "stature_m": round(volunteer.stature, 4),
            "proportions_of_stature": {n: round(v, 4) for n, v in volunteer.proportions.items()},
        },
        "stroke": volunteer.stroke,
        "level": volunteer.level,
        "style_words": list(volunteer.style_words),
        "style": {n: round(v, 4) if isinstance(v, float) else v for n, v in volunteer.style.items()},
        "generated": volunteer.generated,
        "source": volunteer.source,
        "licence": volunteer.licence,
        "consent": volunteer.consent,
        "consent_note": "none is needed: there is no person"
        if volunteer.generated
        else "given by the volunteer",
        "units": UNITS,
        "axes": AXES,
        "keypoints": list(KEYPOINTS),
        "racket_points": list(RACKET_POINTS),
        "swings": [
            {
                "file": name,
                "events": {
                    event: round(swing.events[event] - swing.contact, 4)
                    for event in EVENTS
                    if event in swing.events
                },
            }
            for name, swing in zip(files, volunteer.swings, strict=True)
        ],
    }


def to_arrays(swing: Swing, stature: float) -> dict[str, NDArray[np.float32]]:
    """Contents of a swing's ``.npz``: times from contact in seconds, points and racket in metres; float32."""
    arrays = {
        "times": (swing.times - swing.contact).astype(np.float32),
        "points": (swing.points * stature).astype(np.float32),
    }
    if swing.racket is not None:
        arrays["racket"] = (swing.racket * stature).astype(np.float32)
    return arrays


def check_text(text: Any, where: str) -> dict[str, Any]:
    """The contents of ``volunteer.json`` after parsing, or a LibraryError with all that is wrong with it."""
    if not isinstance(text, dict) or text.get("format") != FORMAT:
        raise LibraryError(f'{where} does not describe model swings (its "format" should be "{FORMAT}").')
    if text.get("version") != VERSION:
        raise LibraryError(
            f"{where} is in version {text.get('version')} of the format, but this swingmatch reads version {VERSION};"
            " a newer swingmatch may read it."
        )
    wrong = [sentence for sentence in _problems(text) if sentence]
    if wrong:
        raise LibraryError(f"{where} cannot be used: {'; '.join(wrong)}.")
    return text


def to_swing(
    arrays: Mapping[str, NDArray[Any]], events: Mapping[str, float], text: Mapping[str, Any], where: str
) -> Swing:
    """A model swing from the arrays of its file, its events and the volunteer's checked ``text``."""
    times, points, racket = _arrays(arrays, where)
    contact = events["contact"]
    if not times[0] < contact < times[-1]:
        raise LibraryError(
            f"{where} runs from {times[0]:.2f} to {times[-1]:.2f} s, which does not hold its contact ({contact:.2f} s)."
        )
    known = np.isfinite(points).all(axis=2).mean(axis=0)
    hidden = [name for name in NEEDED if known[INDEX[name]] < MIN_KNOWN]
    if hidden:
        raise LibraryError(f"{where} lacks {', '.join(hidden).replace('_', ' ')} in most of its frames.")
    stature = float(text["build"]["stature_m"])
    return Swing(
        times - contact,
        points / stature,
        {name: float(at) - contact for name, at in events.items()},
        text["hand"],
        stroke=text["stroke"],
        racket=None if racket is None else racket / stature,
    )


def _arrays(
    arrays: Mapping[str, NDArray[Any]], where: str
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64] | None]:
    for name in ("times", "points"):
        if name not in arrays:
            raise LibraryError(f'{where} holds no array named "{name}".')
    for name in ("times", "points", "racket"):
        if name in arrays and arrays[name].dtype.kind != "f":
            raise LibraryError(f'The array "{name}" of {where} does not hold decimal numbers.')
    times = np.asarray(arrays["times"], dtype=np.float64)
    points = np.asarray(arrays["points"], dtype=np.float64)
    racket = np.asarray(arrays["racket"], dtype=np.float64) if "racket" in arrays else None
    if times.ndim != 1 or len(times) < 2 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise LibraryError(f"The times of {where} do not rise from frame to frame.")
    for name, array, want in (
        ("points", points, (len(times), K, 3)),
        ("racket", racket, (len(times), len(RACKET_POINTS), 3)),
    ):
        if array is not None and array.shape != want:
            raise LibraryError(
                f'The array "{name}" of {where} has shape {array.shape}, but should have {want}.'
            )
        if array is not None and np.isinf(array).any():
            raise LibraryError(f'The array "{name}" of {where} holds infinite numbers.')
    return times, points, racket


def _problems(text: Mapping[str, Any]) -> list[str]:
    """Every reason why the text cannot be used, each a clause; empty strings in between."""
    keypoints = text.get("keypoints")
    generated, consent = text.get("generated"), text.get("consent")
    build = text.get("build")
    stature: Any = build.get("stature_m") if isinstance(build, dict) else None
    return [
        "" if _words(text.get("label")) else "it gives no label",
        "" if text.get("hand") in ("left", "right") else 'its hand is neither "left" nor "right"',
        "" if _words(text.get("stroke")) else "it names no stroke",
        "" if _words(text.get("licence")) else "it names no licence",
        ""
        if _number(stature) and 0.8 <= stature <= 2.5
        else "its stature_m is not between 0.8 and 2.5 metres",
        "" if isinstance(text.get("style", {}), dict) else "its style is not a list of names and values",
        "" if generated in (True, False) else "it does not say whether it was generated",
        "a person was recorded, but no consent is given"
        if generated is False and not _words(consent)
        else "",
        "it is generated and yet claims a consent" if generated is True and consent is not None else "",
        ""
        if text.get("units") == UNITS
        else "its units are not " + ", ".join(f"{n} in {u}" for n, u in UNITS.items()),
        _axes_problem(text.get("axes")),
        _keypoint_problem(keypoints),
        _swings_problem(text.get("swings")),
    ]


def _axes_problem(axes: Any) -> str:
    given = {n: axes.get(n) for n in "xyz"} if isinstance(axes, dict) else None
    return "" if given == {n: AXES[n] for n in "xyz"} else "its axes are not those of the format"


def _keypoint_problem(keypoints: Any) -> str:
    if not isinstance(keypoints, list):
        return "it does not list its keypoints"
    missing = [name for name in KEYPOINTS if name not in keypoints]
    if missing:
        return (
            f"the keypoint {missing[0]} is missing"
            if len(missing) == 1
            else f"keypoints are missing: {missing}"
        )
    return "" if tuple(keypoints) == KEYPOINTS else "its keypoints are not in the order of the format"


def _swings_problem(swings: Any) -> str:
    if not isinstance(swings, list) or not swings:
        return "it lists no swings"
    for number, entry in enumerate(swings, start=1):
        if not isinstance(entry, dict) or not _words(entry.get("file")):
            return f"swing {number} names no file"
        if "/" in entry["file"] or "\\" in entry["file"] or entry["file"].startswith("."):
            return f"the file of swing {number} lies outside the volunteer's folder"
        events = entry.get("events")
        if not isinstance(events, dict) or not _number(events.get("contact")):
            return f"swing {number} has no contact time"
        strange = [name for name in events if name not in EVENTS or not _number(events[name])]
        if strange:
            return f'the event "{strange[0]}" of swing {number} is unknown or has no time'
        # The hand may be lowest a moment before or after it starts forward, so that event keeps no strict place.
        given = [events[name] for name in EVENTS if name in events and name != "lowest_hand"]
        if any(later < earlier for earlier, later in itertools.pairwise(given)):
            return f"the events of swing {number} are not in order"
    return ""


def _words(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and bool(np.isfinite(value))
