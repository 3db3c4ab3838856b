"""BVH: how a motion-capture laboratory hands over a skeleton in motion.

A BVH file has two parts: HIERARCHY, a tree of joints with an offset from the parent and a list of channels, and
MOTION, one line of channel values a frame. The place of joint j with parent p, offset o and rotation R is

    position_j = position_p + G_p o_j,    G_j = G_p R_j,

where R_j multiplies the rotations of its channels in the order in which they are listed (so "Zrotation Xrotation
Yrotation" is R_z R_x R_y). Position channels take the place of the offset.
"""

from __future__ import annotations

import gzip
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from swingmatch.body.skeleton import INDEX, SIDES, K
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, segment_lengths

_CHANNELS = {f"{axis}{kind}" for axis in "XYZ" for kind in ("position", "rotation")}
#: Units that are tried when none is given: metres a unit.
UNITS: Mapping[str, float] = {"metres": 1.0, "centimetres": 0.01, "millimetres": 0.001, "inches": 0.0254}
#: Statures that are believed when the unit is guessed, metres.
BELIEVED = (1.2, 2.3)
#: Wrist to knuckles over wrist to fingertip: 0.0495 (de Leva 1996, from memory) over 0.108 of stature (C1).
_KNUCKLES = 0.0495 / 0.108

#: Names that joints go by, without side, prefix and punctuation, in the order in which they are tried. "Shoulder" comes
#: after "arm", because files that have both mean the collar-bone by it; likewise "hip" after "upleg".
_NAMES: Mapping[str, tuple[str, ...]] = {
    "shoulder": ("arm", "upperarm", "uparm", "shldr", "shoulder", "humerus"),
    "elbow": ("elbow", "forearm", "lowerarm", "lowarm", "radius"),
    "wrist": ("wrist", "hand"),
    "hip": ("upleg", "upperleg", "thigh", "femur", "hip"),
    "knee": ("knee", "leg", "lowerleg", "lowleg", "shin", "calf", "tibia"),
    "ankle": ("ankle", "foot"),
    "heel": ("heel",),
}
_TOES = ("toebase", "toe", "toes", "ball")
_HAND_TIPS = ("handend", "wristend", "fingertip")
_KNUCKLE_NAMES = ("knuckles", "fingerbase", "handmiddle1", "middle1")


@dataclass(frozen=True)
class Skeleton:
    """The tree of joints; an end site is a joint without channels, named after its parent with ``_end``.

    ``parents`` gives the index of each joint's parent, -1 for the root, always smaller than the joint's own.
    """

    names: tuple[str, ...]
    parents: tuple[int, ...]
    offsets: NDArray[np.float64]
    channels: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Recording:
    """Joints over time: ``times`` (T,) seconds from 0, ``positions`` (T, J, 3) in the file's unit and axes."""

    names: tuple[str, ...]
    times: NDArray[np.float64]
    positions: NDArray[np.float64]


def read_bvh(path: Path | str) -> Recording:
    """Read a ``.bvh`` or ``.bvh.gz`` file and work out where its joints are.

    Raises
    ------
    LibraryError
        Where the file is missing, is no BVH, or has too few or too many numbers.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
        if data[:2] == b"\x1f\x8b":
            data = gzip.decompress(data)
    except FileNotFoundError:
        raise LibraryError(f"There is no motion file at {path}.") from None
    except (OSError, EOFError, zlib.error) as error:
        raise LibraryError(f"The motion file {path} cannot be read or unpacked.") from error
    return parse_bvh(data.decode("latin-1"), str(path))


def read_keypoints(
    path: Path | str, metres_per_unit: float | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times (T,) in seconds and swingmatch keypoints (T, K, 3) in metres, Y up, of a BVH file.

    The horizontal axes stay those of the file. Errors as in :func:`read_bvh` and :func:`keypoints`.
    """
    recording = read_bvh(path)
    return recording.times, keypoints(recording, metres_per_unit, str(path))


def parse_bvh(text: str, where: str = "The motion file") -> Recording:
    """The same from the text of a file; ``where`` names it in errors."""
    head, found, body = text.partition("MOTION")
    if "HIERARCHY" not in head[:200] or not found:
        raise LibraryError(f"{where} is not a BVH file: it lacks HIERARCHY or MOTION.")
    skeleton = _parse_hierarchy(head, where)
    times, values = _parse_motion(body, sum(map(len, skeleton.channels)), where)
    return Recording(skeleton.names, times, forward_kinematics(skeleton, values))


def forward_kinematics(skeleton: Skeleton, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Positions (T, J, 3) in the file's unit from channel values (T, C), angles in degrees, C channels in all."""
    frames = len(values)
    positions = np.empty((frames, len(skeleton.names), 3))
    turned: list[Rotation] = []
    column = 0
    for j, (parent, channels) in enumerate(zip(skeleton.parents, skeleton.channels, strict=True)):
        own = values[:, column : column + len(channels)]
        column += len(channels)
        offset = np.tile(skeleton.offsets[j], (frames, 1))
        for i, name in enumerate(channels):
            if name.endswith("position"):
                offset[:, "XYZ".index(name[0])] = own[:, i]
        spins = [i for i, name in enumerate(channels) if name.endswith("rotation")]
        rotation = Rotation.identity(frames)
        for i in spins:
            rotation = rotation * Rotation.from_euler(channels[i][0], own[:, i : i + 1], degrees=True)
        if parent < 0:
            positions[:, j] = offset
            turned.append(rotation)
        else:
            positions[:, j] = positions[:, parent] + turned[parent].apply(offset)
            turned.append(turned[parent] * rotation)
    return positions


def keypoints(
    recording: Recording, metres_per_unit: float | None = None, where: str = "The motion file"
) -> NDArray[np.float64]:
    """The 21 keypoints (T, K, 3) in metres from the joints of a recording, by the names that joints usually have.

    Knuckles and toes are taken from joints or end sites beyond wrist and ankle; nose, ears and heels only where the
    file has joints of those names. What a file lacks is NaN. Without ``metres_per_unit`` the unit is the one of
    ``UNITS`` that gives a believable stature.

    Raises
    ------
    LibraryError
        Where shoulders, elbows, wrists, hips, knees or ankles cannot be told by their names, or no unit fits.
    """
    place = {_plain(name): j for j, name in reversed(list(enumerate(recording.names)))}
    points = np.full((len(recording.times), K, 3), np.nan)

    def joint(side: str, names: tuple[str, ...]) -> NDArray[np.float64] | None:
        for name in names:
            for full in (f"{side}{name}", f"{side[0]}{name}", f"{name}{side}", f"{name}{side[0]}"):
                if full in place:
                    return recording.positions[:, place[full]]
        return None

    missing = []
    for side in SIDES:
        for part, names in _NAMES.items():
            found = joint(side, names)
            if found is not None:
                points[:, INDEX[f"{side}_{part}"]] = found
            elif part != "heel":
                missing.append(f"{side} {part}")
        toe = _first(
            joint(side, tuple(f"{n}end" for n in _TOES)),
            joint(side, ("ankleend", "footend")),
            joint(side, _TOES),
        )
        if toe is not None:
            points[:, INDEX[f"{side}_toe"]] = toe
        knuckles, tip = joint(side, _KNUCKLE_NAMES), joint(side, _HAND_TIPS)
        wrist = points[:, INDEX[f"{side}_wrist"]]
        if knuckles is None and tip is not None:
            knuckles = wrist + _KNUCKLES * (tip - wrist)
        if knuckles is not None:
            points[:, INDEX[f"{side}_hand"]] = knuckles
        ear = joint(side, ("ear",))
        if ear is not None:
            points[:, INDEX[f"{side}_ear"]] = ear
    if missing:
        raise LibraryError(f"{where} has no joint whose name says {', '.join(missing)}.")
    if "nose" in place:
        points[:, INDEX["nose"]] = recording.positions[:, place["nose"]]
    return points * (_guess_unit(points, where) if metres_per_unit is None else metres_per_unit)


def _first(*arrays: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    return next((array for array in arrays if array is not None), None)


def _plain(name: str) -> str:
    """A joint's name without prefix, case and punctuation."""
    return re.sub(r"[^a-z0-9]", "", re.split(r"[:|]", name)[-1].lower())


def _guess_unit(points: NDArray[np.float64], where: str) -> float:
    """Metres a unit, from the height that legs and trunk stand for (row C1 of the check values)."""
    lengths = segment_lengths(points)
    parts = ("thigh", "shank", "trunk")
    stature = sum(lengths[part] for part in parts) / sum(AVERAGE[part] for part in parts)
    for unit in UNITS.values():
        if BELIEVED[0] <= stature * unit <= BELIEVED[1]:
            return unit
    raise LibraryError(
        f"The body in {where} is {stature:.4g} units tall, which is no person in metres, centimetres, millimetres or"
        " inches; please give the metres a unit."
    )


def _parse_hierarchy(head: str, where: str) -> Skeleton:
    names: list[str] = []
    parents: list[int] = []
    offsets: list[list[float] | None] = []
    channels: list[tuple[str, ...]] = []
    open_joints: list[int] = []
    waiting = False  # a joint was named and its brace has not come yet
    for number, line in enumerate(head.splitlines(), start=1):
        words = line.replace("{", " { ").replace("}", " } ").split()
        while words:
            word = words.pop(0)
            if word == "HIERARCHY":
                continue
            if word in ("ROOT", "JOINT", "End"):
                if waiting or not words or (word != "ROOT" and not open_joints) or (word == "ROOT" and names):
                    raise _bad_line(where, number)
                parent = open_joints[-1] if open_joints else -1
                brace = words.index("{") if "{" in words else len(words)
                name, words = " ".join(words[:brace]), words[brace:]
                names.append(f"{names[parent]}_end" if word == "End" else name)
                parents.append(parent)
                offsets.append(None)
                channels.append(())
                waiting = True
            elif word == "{" and waiting:
                open_joints.append(len(names) - 1)
                waiting = False
            elif word == "}" and open_joints and not waiting:
                open_joints.pop()
            elif word == "OFFSET" and open_joints and len(words) >= 3:
                offsets[open_joints[-1]] = _numbers(words[:3], where, number)
                words = words[3:]
            elif word == "CHANNELS" and open_joints and words and words[0].isdecimal():
                count = int(words.pop(0))
                listed, words = tuple(words[:count]), words[count:]
                if len(listed) != count or not set(listed) <= _CHANNELS or len(set(listed)) != count:
                    raise _bad_line(where, number)
                channels[open_joints[-1]] = listed
            else:
                raise _bad_line(where, number)
    if not names or open_joints or waiting:
        raise LibraryError(f"The joint tree of {where} is cut off: a brace is not closed.")
    known = [offset for offset in offsets if offset is not None]
    if len(known) != len(names):
        raise LibraryError(f"The joint {names[offsets.index(None)]} of {where} has no offset.")
    return Skeleton(tuple(names), tuple(parents), np.array(known), tuple(channels))


def _parse_motion(body: str, count: int, where: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times (T,) and channel values (T, count) from the text after MOTION."""
    header = re.match(r"\s*Frames:\s*(\d+)\s+Frame Time:\s*(\S+)[^\S\n]*(?:\r?\n|$)", body)
    if header is None:
        raise LibraryError(f"{where} does not give its number of frames and its frame time after MOTION.")
    frames, step = int(header.group(1)), _numbers([header.group(2)], where, None)[0]
    if not step > 0:
        raise LibraryError(f"{where} gives a frame time of {header.group(2)} s, which is not above zero.")
    lines = [line.split() for line in body[header.end() :].splitlines() if line.strip()]
    for number, line in enumerate(lines, start=1):
        if len(line) != count:
            raise LibraryError(
                f"Frame {number} of {where} has {len(line)} numbers, but its joints have {count} channels;"
                " the file may be cut off."
            )
    if len(lines) != frames or frames == 0:
        raise LibraryError(f"{where} announces {frames} frames and holds {len(lines)}; it may be cut off.")
    try:
        values = np.array(lines, dtype=np.float64).reshape(frames, count)
    except ValueError:
        raise LibraryError(f"{where} holds something that is not a number among its frames.") from None
    if not np.isfinite(values).all():
        raise LibraryError(f"{where} holds something that is not a number among its frames.")
    return np.arange(frames) * step, values


def _numbers(words: list[str], where: str, line: int | None) -> list[float]:
    try:
        values = [float(word) for word in words]
    except ValueError:
        values = [float("nan")]
    if not np.isfinite(values).all():
        place = "" if line is None else f" in line {line}"
        raise LibraryError(f"{where} has {' '.join(words)!r}{place} where numbers should be.")
    return values


def _bad_line(where: str, number: int) -> LibraryError:
    return LibraryError(f"Line {number} of {where} is not part of a joint tree; the file may be damaged.")
