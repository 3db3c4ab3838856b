"""From a laboratory's markers to the 21 keypoints: a marker set says which markers stand for which keypoint.

A marker set is a JSON file that anybody can write:

    {
      "format": "swingmatch marker set",
      "version": 1,
      "up": "z",
      "target": "x",
      "keypoints": {"left_shoulder": ["LSHO"], "left_elbow": ["LELB", "LELM"], "...": ["..."]},
      "pelvis": {"left_front": "LASI", "right_front": "RASI", "left_back": "LPSI", "right_back": "RPSI"},
      "racket": {"butt": ["R1"], "throat": ["R2"], "tip": ["R3"], "left edge": ["R4"], "right edge": ["R5"]}
    }

A keypoint is the middle of its markers. ``up`` and ``target`` name the file's axes ("x", "-x", ... "-z");
where they are left out, up is told from the body and the target from the hand at contact. With ``pelvis`` the hips are
put where the joints are, from the four markers on the pelvis. ``racket`` may be left out.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS, SIDES, K
from swingmatch.errors import LibraryError
from swingmatch.library.c3d import Markers
from swingmatch.library.format import NEEDED, RACKET_POINTS

Array = NDArray[np.float64]

FORMAT, VERSION = "swingmatch marker set", 1
AXES = tuple(f"{sign}{axis}" for sign in ("", "-") for axis in "xyz")
_CORNERS = ("left_front", "right_front", "left_back", "right_back")
#: The hip joint from the front marker of its side, shares of the distance between the front markers: inwards, down, and
#: backwards (Bell, Pedersen and Brand, J. Biomech. 23:617-621, 1990: 14 %, 30 %, 22 %; *from memory*).
_HIP = (0.14, 0.30, 0.22)


@dataclass(frozen=True)
class MarkerSet:
    """Which markers stand for what; see the module's text."""

    keypoints: Mapping[str, tuple[str, ...]]
    pelvis: Mapping[str, str] = field(default_factory=dict)
    racket: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    up: str | None = None
    target: str | None = None


#: Files that name their markers as swingmatch names its keypoints.
OWN = MarkerSet({name: (name,) for name in KEYPOINTS}, racket={name: (name,) for name in RACKET_POINTS})
#: Names that many laboratories give to a full-body set (*common practice, no source*). A shoulder and a knee marker lie
#: on the skin, some centimetres beside the joint.
USUAL = MarkerSet(
    {
        f"{side}_{part}": tuple(f"{side[0].upper()}{name}" for name in names)
        for side in SIDES
        for part, names in {
            "shoulder": ("SHO",),
            "elbow": ("ELB",),
            "wrist": ("WRA", "WRB"),
            "hand": ("FIN",),
            "hip": ("ASI", "PSI"),
            "knee": ("KNE",),
            "ankle": ("ANK",),
            "heel": ("HEE",),
            "toe": ("TOE",),
            "ear": ("FHD", "BHD"),
        }.items()
    }
    | {"nose": ("LFHD", "RFHD")},
    pelvis={
        "left_front": "LASI",
        "right_front": "RASI",
        "left_back": "LPSI",
        "right_back": "RPSI",
    },
)


def read_marker_set(path: Path | str) -> MarkerSet:
    """A marker set from its file; a LibraryError says what is wrong with it."""
    path = Path(path)
    try:
        text = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LibraryError(f"The marker set {path} cannot be read ({error.strerror}).") from error
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LibraryError(f"The marker set {path} is not readable as JSON text.") from error
    if not isinstance(text, dict) or text.get("format") != FORMAT or text.get("version") != VERSION:
        raise LibraryError(
            f'{path} is no marker set of version {VERSION} (its "format" should be "{FORMAT}").'
        )
    wrong = [
        *(f'the axis "{text[k]}"' for k in ("up", "target") if text.get(k) not in (None, *AXES)),
        *_unknown(text.get("keypoints"), KEYPOINTS, "keypoint"),
        *_unknown(text.get("racket", {}), RACKET_POINTS, "racket point"),
    ]
    pelvis = text.get("pelvis", {})
    if pelvis and (not isinstance(pelvis, dict) or set(pelvis) != set(_CORNERS)):
        wrong.append(f"the pelvis without one of {', '.join(_CORNERS)}")
    if wrong:
        raise LibraryError(f"The marker set {path} names {wrong[0]}, which is not understood.")
    return MarkerSet(
        {name: tuple(names) for name, names in text["keypoints"].items()},
        {name: str(marker) for name, marker in pelvis.items()},
        {name: tuple(names) for name, names in text.get("racket", {}).items()},
        text.get("up"),
        text.get("target"),
    )


def _unknown(given: Any, known: Sequence[str], what: str) -> list[str]:
    if not isinstance(given, dict):
        return [f"no list of {what}s"]
    return [
        f'the {what} "{name}"'
        for name, markers in given.items()
        if name not in known
        or not isinstance(markers, list)
        or not markers
        or not all(isinstance(marker, str) for marker in markers)
    ]


def keypoints(
    markers: Markers, marker_set: MarkerSet | None, where: str
) -> tuple[Array, Array | None, MarkerSet]:
    """Keypoints (T, K, 3) and racket (T, 5, 3) or None in metres on the file's axes, and the marker set used.

    Without a marker set those that are built in are tried.

    Raises
    ------
    LibraryError
        Where markers of shoulders, elbows, wrists, hips, knees or ankles are missing.
    """
    # Names may come as "player:LSHO".
    place = {
        name.split(":")[-1].strip().casefold(): j for j, name in reversed(list(enumerate(markers.names)))
    }
    tried = (marker_set,) if marker_set is not None else (OWN, USUAL)
    lacks: list[list[str]] = []
    for one in tried:
        points, missing = _middles(markers, one.keypoints, KEYPOINTS, place)
        lacks.append([name for name in NEEDED if name in missing])
        if lacks[-1]:
            continue
        corners = [place.get(name.casefold()) for name in (one.pelvis.get(c, "") for c in _CORNERS)]
        if one.pelvis and None not in corners:
            hips = _hips(*(markers.positions[:, corner] for corner in corners))
            points[:, INDEX["left_hip"]], points[:, INDEX["right_hip"]] = hips
        racket, without = _middles(markers, one.racket, RACKET_POINTS, place)
        return points, None if without else racket, one
    fewest = min(lacks, key=len)
    raise LibraryError(
        f"{where} has no markers for {', '.join(fewest).replace('_', ' ')}; its markers are "
        f"{', '.join(markers.names[:12])}{' and more' if len(markers.names) > 12 else ''}. "
        "Say which is which in a marker set (--markers FILE)."
    )


def _middles(
    markers: Markers,
    wanted: Mapping[str, Sequence[str]],
    order: Sequence[str],
    place: Mapping[str, int],
) -> tuple[Array, set[str]]:
    """The middle of the markers of each name (T, len(order), 3), and the names that lack a marker."""
    out = np.full((len(markers.times), len(order), 3), np.nan)
    missing = set()
    for j, name in enumerate(order):
        found = [place.get(marker.casefold()) for marker in wanted.get(name, ())]
        columns = [column for column in found if column is not None]
        if not found or len(columns) < len(found):
            missing.add(name)
        else:
            out[:, j] = markers.positions[:, columns].mean(axis=1)
    return out, missing


def _hips(left_front: Array, right_front: Array, left_back: Array, right_back: Array) -> tuple[Array, Array]:
    """Hip joints (T, 3) each, from the markers on the pelvis; see ``_HIP``."""
    across = right_front - left_front
    wide = np.linalg.norm(across, axis=1, keepdims=True)
    right = across / wide
    back = 0.5 * (left_back + right_back) - 0.5 * (left_front + right_front)
    back = back - (back * right).sum(axis=1, keepdims=True) * right
    back /= np.linalg.norm(back, axis=1, keepdims=True)
    down = np.cross(right, back)
    inwards, below, behind = _HIP
    shift = wide * (below * down + behind * back)
    return left_front + inwards * across + shift, right_front - inwards * across + shift


def upright(points: Array, up: str | None, target: str | None) -> tuple[Array, bool]:
    """(3, 3) rotation from the file's axes to Y up, and whether its X is towards the target.

    ``points`` (T, K, 3) on the file's axes tell where up is when ``up`` is None: from the ankles to the shoulders.
    """
    assert points.shape[1] == K
    if up is None:
        ends = [
            np.nanmean(points[:, [INDEX[f"{side}_{part}"] for side in SIDES]], axis=(0, 1))
            for part in ("ankle", "shoulder")
        ]
        way = ends[1] - ends[0]
        axis = int(np.argmax(np.abs(way)))
        up = ("" if way[axis] > 0 else "-") + "xyz"[axis]
    y = _unit_vector(up)
    if target is not None and target.lstrip("-") == up.lstrip("-"):
        raise LibraryError(f'The target cannot be along "{target}" where up is "{up}".')
    x = _unit_vector(target) if target is not None else np.roll(np.abs(y), -1)
    return np.stack([x, y, np.cross(x, y)]), target is not None


def _unit_vector(name: str) -> Array:
    out = np.zeros(3)
    out["xyz".index(name[-1])] = -1.0 if name.startswith("-") else 1.0
    return out
