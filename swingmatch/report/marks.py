"""Where a measure is taken, as simple geometry: on the player's own picture, and on the ground seen from above.

An angle has an arc, a width a line between its ends, a point a ring, the centre of mass a crossed ring, a way its path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, SEGMENTS
from swingmatch.body.track import Track
from swingmatch.report.figure import turn
from swingmatch.report.framing import azimuth_of, pixels_a_stature
from swingmatch.report.shots import Shot
from swingmatch.series import resample
from swingmatch.stroke.definition import Definition, Row
from swingmatch.stroke.mass import centre_of_mass
from swingmatch.stroke.movement import Movement
from swingmatch.stroke.shown import flipped, own_keypoints
from swingmatch.stroke.swing import Swing

Array = NDArray[np.float64]

#: Sizes of marks, in statures.
_RING, _HEAD, _ARC = 0.035, 0.075, 0.10
#: A path that is shorter than this, in statures, has no arrow.
_FAR = 0.2
#: Seconds about a moment over which the player's size in the picture is taken.
_ABOUT = 0.25
#: Seconds between the points of a path, and how long the hand's way to the ball is (``gauges.forward.LAST``).
_STEP, _LAST = 1.0 / 60.0, 0.1
#: Side of the view from above, in statures: with the hand in it, and of the body alone.
_WIDE, _NARROW = 1.6, 1.0


@dataclass(frozen=True)
class Ring:
    """A ring around a place; ``crossed`` for a centre of mass. Pixels."""

    at: tuple[float, float]
    radius: float
    crossed: bool = False


@dataclass(frozen=True)
class Line:
    """A line through places, pixels; ``dashed`` where it is a reference and not a part of the body."""

    points: tuple[tuple[float, float], ...]
    dashed: bool = False
    arrow: bool = False


Shape = Ring | Line


@dataclass(frozen=True)
class Body:
    """One player at the moment of one shot."""

    swing: Swing
    definition: Definition
    track: Track
    shot: Shot

    @property
    def time(self) -> float:
        """Seconds on the track's clock."""
        return float(self.track.times[self.shot.frame])

    @cached_property
    def stature(self) -> float:
        """The player's stature in the shot's pixels."""
        at = self.time
        size = pixels_a_stature(self.track, self.swing, at - _ABOUT, at + _ABOUT)
        if not np.isfinite(size):
            tall = np.ptp(self.track.image[self.shot.frame][:, 1])
            size = float(tall) / 0.95
        return size * self.shot.zoom

    @cached_property
    def movement(self) -> Movement:
        """The swing as its measures see it."""
        return self.definition.movement(self.swing)

    def point(self, name: str, time: float | None = None) -> Array:
        """(2,) pixels of a name of ``Row.shows`` in the shot, now or where it was at another time; NaN unknown."""
        image = (
            self.track.image[self.shot.frame]
            if time is None
            else resample(self.track.image, self.track.times, np.array([time]))[0]
        )
        if name == "centre_of_mass":
            return self.shot.place(centre_of_mass(image))
        own = [INDEX[key] for key in own_keypoints(name, self.definition, self.swing.hand)]
        place = self.shot.place(image[own].mean(axis=0))
        if name in ("racket", "string_bed"):
            place = place + self._strings(self.time if time is None else time)
        return place

    def _strings(self, time: float) -> Array:
        """(2,) pixels from the hitting hand to the middle of the strings."""
        movement = self.movement
        away = movement.at_time(time - self.swing.contact, movement.string_bed - movement.hand)
        if flipped(self.definition, self.swing.hand):
            away = away * np.array([1.0, 1.0, -1.0])
        seen = turn(away, azimuth_of(self.swing))
        return np.array([seen[0], -seen[1]]) * self.stature

    def ahead(self) -> Array:
        """(2,) unit vector in the picture of the level way to the target; zero where the camera looks along it."""
        seen = turn(np.array([1.0, 0.0, 0.0]), azimuth_of(self.swing))
        return np.array([np.sign(seen[0]) if abs(seen[0]) > 0.2 else 0.0, 0.0])


def bones(track: Track, shot: Shot) -> tuple[Line, ...]:
    """The player's skeleton in the shot."""
    seen = shot.place(track.image[shot.frame])
    return tuple(
        _line(seen[INDEX[a]], seen[INDEX[b]])
        for _, a, b in SEGMENTS
        if np.isfinite(seen[[INDEX[a], INDEX[b]]]).all()
    )


def marks(row: Row, body: Body) -> tuple[Shape, ...]:
    """What is drawn on the picture for one row; nothing where the player was not found just then."""
    out = _marks(row, tuple(dict.fromkeys(row.shows)), body)
    return tuple(shape for shape in out if _known(shape))


def _marks(row: Row, names: tuple[str, ...], body: Body) -> list[Shape]:
    at = {name: body.point(name) for name in names}
    if row.unit == "hip-to-shoulder":
        return [*_levels(body), body_ring(_end(names), body)]
    if row.key == "hand_path_angle":
        return _slope(body)
    if row.key == "elbow_from_trunk":
        foot = _foot(at["hitting_elbow"], at["mid_hip"], at["mid_shoulder"])
        return [_line(at["mid_hip"], at["mid_shoulder"]), _line(at["hitting_elbow"], foot, dashed=True),
                body_ring("hitting_elbow", body)]  # fmt: skip
    if row.key.startswith("arm_abduction"):
        down = body.point("mid_hip") - body.point("mid_shoulder")
        return _angle(at["hitting_shoulder"], at["hitting_elbow"], down, body)
    if "wrist" in row.key:
        return _bend([at[f"hitting_{part}"] for part in ("elbow", "wrist", "hand")], body)
    if row.unit == "deg" and len(names) >= 3 and _chain(names):
        return _bend(list(at.values())[:3], body)
    if names == ("mid_hip", "mid_shoulder"):
        return _angle(at["mid_hip"], at["mid_shoulder"], np.array([0.0, -1.0]), body)
    if "shoulder_tilt" in row.key:
        ends = sorted(at.values(), key=lambda p: float(p[0]))
        return _angle(ends[0], ends[1], np.array([1.0, 0.0]), body)
    if row.key == "com_speed":
        way = 0.25 * body.stature * body.ahead()
        return [body_ring(names[0], body), Line((_xy(at[names[0]]), _xy(at[names[0]] + way)), arrow=True)]
    if "stance" in row.key:
        feet = [0.5 * (at[f"{side}_heel"] + at[f"{side}_toe"]) for side in ("right", "left")]
        return [
            *_feet(at),
            _line(*feet),
            _line(feet[0], feet[0] + 0.3 * body.stature * body.ahead(), dashed=True),
        ]
    return [*_path(row, names, body), *_parts(names, at, body)]


def _parts(names: tuple[str, ...], at: dict[str, Array], body: Body) -> list[Shape]:
    """Lines of the body between the names that belong together, rings around those that stand alone."""
    out: list[Shape] = []
    left = list(names)
    if {"left_heel", "left_toe"} <= set(left) or {"right_heel", "right_toe"} <= set(left):
        out += _feet(at)
        left = [name for name in left if not name.endswith(("_heel", "_toe"))]
    if "left_ear" in left:
        centre = 0.5 * (at["left_ear"] + at["right_ear"])
        out.append(Ring(_xy(centre), _HEAD * body.stature))
        if len(left) < len(names):  # something is under it
            out.append(_plumb(centre, body))
        left = [name for name in left if name not in ("nose", "left_ear", "right_ear")]
    for part in ("shoulder", "hip", "ankle"):
        pair = [f"left_{part}", f"right_{part}"]
        if set(pair) <= set(left):
            out += [_line(*(at[name] for name in pair)), *(_dot(at[name], body) for name in pair)]
            left = [name for name in left if name not in pair]
    if _chain(tuple(left)) and len(left) >= 2:
        out += [_line(*(at[name] for name in left)), *(_dot(at[name], body) for name in left)]
        return out
    if len(left) == 2:
        out.append(_line(*(at[name] for name in left), dashed=True))
    out += [body_ring(name, body) for name in left]
    if "centre_of_mass" in left and any(name.endswith(("_ankle", "_heel")) for name in names):
        out.append(_plumb(at["centre_of_mass"], body))
    return out


def _chain(names: tuple[str, ...]) -> bool:
    """Whether the names follow each other along one limb."""
    order = ("shoulder", "elbow", "wrist", "hand", "hip", "knee", "ankle")
    sides = {name.partition("_")[0] for name in names}
    parts = [name.partition("_")[2] for name in names]
    if len(names) < 2 or len(sides) != 1 or any(part not in order for part in parts):
        return False
    places = [order.index(part) for part in parts]
    return places == list(range(places[0], places[0] + len(places)))


def body_ring(name: str, body: Body) -> Ring:
    """A ring around one name."""
    centre = name in ("centre_of_mass", "mid_hip", "mid_shoulder")
    size = 1.4 * _RING if name in ("string_bed", "racket") else _RING
    return Ring(_xy(body.point(name)), size * body.stature, crossed=centre and name == "centre_of_mass")


def _end(names: tuple[str, ...]) -> str:
    """The name whose height is meant."""
    return next(
        (name for name in reversed(names) if name.endswith("_hand") or name == "string_bed"), names[0]
    )


def _levels(body: Body) -> list[Shape]:
    """Level lines at hips and shoulders, and the trunk between them."""
    hip, chest = body.point("mid_hip"), body.point("mid_shoulder")
    reach = np.array([0.32 * body.stature, 0.0])
    return [
        _line(hip, chest),
        *(_line(centre - reach, centre + reach, dashed=True) for centre in (hip, chest)),
    ]


def _bend(limb: Sequence[Array], body: Body) -> list[Shape]:
    """The bend of a limb of three joints: 0 where the far part goes on straight."""
    start, joint, end = limb
    return [
        _line(start, joint, end),
        *(_dot(place, body) for place in limb),
        *_angle(joint, end, joint - start, body)[1:],
    ]


def _angle(vertex: Array, end: Array, reference: Array, body: Body) -> list[Shape]:
    """A line from ``vertex`` to ``end``, the direction it is held against, and the arc between them."""
    radius = _ARC * body.stature
    unit = reference / max(float(np.linalg.norm(reference)), 1e-9)
    first, last = (np.arctan2(v[1], v[0]) for v in (unit, end - vertex))
    sweep = (last - first + np.pi) % (2.0 * np.pi) - np.pi
    angles = first + np.linspace(0.0, sweep, 13)
    arc = vertex + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return [
        _line(vertex, end),
        _line(vertex, vertex + 1.5 * radius * unit, dashed=True),
        Line(tuple(_xy(place) for place in arc)),
    ]


def _slope(body: Body) -> list[Shape]:
    """The hitting hand's way over its last tenth of a second, against the level."""
    stop = body.time
    way = [body.point("hitting_hand", t) for t in np.arange(stop - _LAST, stop + 1e-6, _STEP)]
    level = np.array([np.sign(way[-1][0] - way[0][0]), 0.0])
    return [*_angle(way[0], way[-1], level, body)[1:], Line(tuple(map(_xy, way)), arrow=True),
            body_ring("hitting_hand", body)]  # fmt: skip


def _path(row: Row, names: tuple[str, ...], body: Body) -> list[Shape]:
    """The way of a single place over the stretch that the row needs."""
    first, _, last = row.at.partition("..")
    events = body.swing.events
    single = {name.removeprefix("right_").removeprefix("left_") for name in names} in (
        {"hitting_hand"}, {"centre_of_mass"}, {"mid_hip"}, {"heel", "toe"}, {"nose", "ear"},
    )  # fmt: skip
    if not (single and last and first in events and last in events):
        return []
    name = "nose" if "nose" in names else names[-1]
    times = np.arange(events[first], events[last] + 1e-6, 2.0 * _STEP)
    way = np.array([body.point(name, float(t)) for t in times])
    way = way[np.isfinite(way).all(axis=1)]
    if len(way) < 3:
        return []
    far = float(np.linalg.norm(np.ptp(way, axis=0))) > _FAR * body.stature
    return [Line(tuple(map(_xy, way)), arrow=far)]


def _feet(at: dict[str, Array]) -> list[Shape]:
    return [
        _line(at[f"{side}_heel"], at[f"{side}_toe"]) for side in ("left", "right") if f"{side}_heel" in at
    ]


def _plumb(place: Array, body: Body) -> Line:
    """From a place straight down to the ground under the feet."""
    ground = max(
        float(body.point(f"{side}_{part}")[1]) for side in ("left", "right") for part in ("heel", "toe")
    )
    return _line(place, np.array([place[0], max(ground, float(place[1]))]), dashed=True)


def _foot(place: Array, start: Array, end: Array) -> Array:
    """Foot of the perpendicular from a place to a line."""
    along = end - start
    share = float((place - start) @ along) / max(float(along @ along), 1e-9)
    return np.asarray(start + share * along)


def _dot(place: Array, body: Body) -> Ring:
    return Ring(_xy(place), 0.4 * _RING * body.stature)


def _line(*points: Array, dashed: bool = False) -> Line:
    return Line(tuple(_xy(p) for p in points), dashed)


def _xy(place: Array) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _known(shape: Shape) -> bool:
    numbers = shape.at if isinstance(shape, Ring) else shape.points
    return bool(np.isfinite(np.array(numbers)).all())


# --- from above -------------------------------------------------------------------------------------------------------

#: Parts of a key that say that the measure lies in the ground's plane.
_LEVEL = (
    "_turn",
    "separation",
    "stance",
    "base",
    "weight",
    "_front_",
    "_aside_",
    "hand_behind",
    "_across",
    "part_at",
)


def plan(row: Row, body: Body, size: float) -> tuple[Shape, ...]:
    """What is drawn of one row on the ground seen from above, the target up, in a square of ``size`` pixels.

    Nothing for a row that does not lie in the ground's plane, or is a time or a speed.
    """
    timed = row.unit == "ms" or row.unit.endswith("/s")
    if timed or "flexion" in row.key or not any(part in row.key for part in _LEVEL):
        return ()
    names = tuple(dict.fromkeys(row.shows))
    points = resample(body.swing.points, body.swing.times, np.array([body.time]))[0]
    hips = 0.5 * (points[INDEX["left_hip"]] + points[INDEX["right_hip"]])
    reaches = any(name.endswith("_hand") or name in ("string_bed", "racket") for name in names)
    scale = size / (_WIDE if reaches else _NARROW)

    def own(name: str) -> Array:
        if name == "centre_of_mass":
            place = centre_of_mass(points)
        else:
            keys = [INDEX[key] for key in own_keypoints(name, body.definition, body.swing.hand)]
            place = points[keys].mean(axis=0)
        if name in ("racket", "string_bed"):
            movement = body.movement
            away = movement.at_time(body.time - body.swing.contact, movement.string_bed - movement.hand)
            mirrored = flipped(body.definition, body.swing.hand)
            place = place + away * np.array([1.0, 1.0, -1.0 if mirrored else 1.0])
        away = place - hips
        return np.array([0.5 * size + scale * away[2], 0.5 * size - scale * away[0]])

    pairs = [(f"left_{part}", f"right_{part}") for part in ("shoulder", "hip", "ankle")]
    feet = [own(f"{side}_{part}") for side in ("left", "right") for part in ("heel", "toe")]
    # The feet and the two lines of the trunk stand in every view, so that one sees how the player stands.
    out: list[Shape] = [_line(*feet[:2], dashed=True), _line(*feet[2:], dashed=True)]
    out += [_line(own(a), own(b), dashed=not {a, b} <= set(names)) for a, b in pairs[:2]]
    if set(pairs[2]) <= set(names):
        out.append(_line(*map(own, pairs[2])))
    if "stance" in row.key:
        out.append(_line(0.5 * (feet[2] + feet[3]), 0.5 * (feet[0] + feet[1])))
    elif "left_toe" in names and "right_toe" in names:
        out.append(_around(feet))
    if "left_ear" in names:
        out.append(Ring(_xy(0.5 * (own("left_ear") + own("right_ear"))), 0.06 * scale))
    apart = {name for pair in pairs if set(pair) <= set(names) for name in pair}
    rest = [
        name for name in names if name not in apart and not name.endswith(("_heel", "_toe", "_ear", "nose"))
    ]
    if len(rest) == 2:
        out.append(_line(*map(own, rest), dashed=True))
    out += [Ring(_xy(own(name)), 0.05 * scale, name == "centre_of_mass") for name in rest]
    return tuple(shape for shape in out if _known(shape))


def _around(places: Sequence[Array]) -> Line:
    """A closed line around places, by their direction from their middle."""
    centre = np.mean(places, axis=0)
    corners = sorted(places, key=lambda p: float(np.arctan2(p[1] - centre[1], p[0] - centre[0])))
    return _line(*corners, corners[0])
