"""Real movement for the generated figure: strokes out of optical motion capture, filmed like the generated ones.

Generated movement alone flatters, because the analysis and the generator were written with the same books in hand. Here
the joints are those of people who were recorded while they hit (BVH files and an ``index.csv`` in one folder, which is
not part of this repository). What such a recording does not hold is made up, and this is all of it:

- face and heels: rigid parts of the recorded head and feet, at average places;
- the racket: rigid in the recorded hand, square to the target at contact. It is drawn for the look, and is no truth;
- the height of the floor: the soles rest on it, each foot for itself, because marker feet differ by up to 3 cm;
- the target: where the player's own forehands send the hand, good to about 15 degrees;
- contact: no ball and no impact were recorded, so it is put ``WRIST_PEAK_BEFORE_CONTACT`` after the wrist is fastest.
  The events are **those which the analysis's own code reads from the true movement**. Errors of contact and events
  therefore say how far the picture leads the same reading astray, and nothing about the true moment of impact.

The recordings are of forehands, backhands and serves; the analysis knows forehands.
"""

from __future__ import annotations

import csv
import gzip
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import butter, find_peaks, sosfiltfilt

from swingmatch.body.skeleton import INDEX, SIDES, middle, mirror
from swingmatch.errors import LibraryError
from swingmatch.library.build import AVERAGE, segment_lengths
from swingmatch.library.bvh import Recording, keypoints, parse_bvh
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.events import forehand_events
from swingmatch.stroke.swing import Hand
from swingmatch.study.sample import shot
from swingmatch.synth.build import ANKLE_HEIGHT, C1
from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import HELD_OUT, TUNING
from swingmatch.synth.chain import (
    ANKLE_SHARE,
    CENTRE,
    GRIP,
    HEAD_WIDTH,
    RACKET_LENGTH,
    SOLE,
    THROAT,
    unit,
)
from swingmatch.synth.film import aimed, render
from swingmatch.synth.look import Look
from swingmatch.synth.motion import Motion, SwingTruth
from swingmatch.synth.scene import Scene
from swingmatch.synth.truth import ClipTruth, read_truth

Array = NDArray[np.float64]

RATE = 240.0
#: Seconds kept before and after the hit where the neighbouring strokes leave them, and how near to a neighbour's hit.
AROUND, FROM_NEIGHBOUR = 2.0, 0.7
#: Players on whose recordings settings may be tried out, and those kept for reporting; both have high-performance and
#: regular players, men and women.
TUNING_PLAYERS, HELD_OUT_PLAYERS = ("P1", "P3", "P5", "P7"), ("P2", "P4", "P6", "P8")

#: Joints of which the recorded rotation is needed, not the place alone.
_TURNING = ("Head", "LeftAnkle", "RightAnkle", "LeftWrist", "RightWrist")
#: Wrist speed for finding hits: low-pass in Hz, share of the recording's near-maximum, least seconds between two.
_CUTOFF, _SHARE, _APART = 12.0, 0.6, 1.5
#: A hip, shoulder or knee that is accelerated by more than this, m/s^2, is a marker that jumped. Running and jumping
#: stay below 60 in these recordings; a jump gives several hundred.
_JUMPED = 80.0
#: Degrees by which the racket's shaft is cocked out of the line of the hand towards the thumb (*common practice, no
#: source*).
_COCKED = 25.0
#: Middle of the ears above the head joint, ears from the middle, nose ahead of and below the ears: statures, as in the
#: generated figure, whose ears are ``neck - 0.011`` above the shoulders; the head joint is 0.065 above them here.
_EAR_UP, _EAR_OUT, _NOSE = 0.042, 0.043, (0.066, -0.008)
#: Height of the shoulders over the ankles, thigh and shank and trunk, over stature (C1).
_LEGS_AND_TRUNK = AVERAGE["thigh"] + AVERAGE["shank"] + AVERAGE["trunk"]


@dataclass(frozen=True)
class RecordedShot:
    """One recorded stroke and how it is filmed, before it is rendered.

    Attributes
    ----------
    name : the recording's file name without its endings. player, stroke : as in the folder's index.
    motion : the movement; ``motion.swings`` holds the one stroke in the middle.
    """

    name: str
    player: str
    stroke: str
    motion: Motion
    camera: Camera
    look: Look
    scene: Scene


@dataclass(frozen=True)
class _Body:
    """One recording: times (T,) s, points (T, K, 3) m, rotations of ``_TURNING`` joints (T, 3, 3), columns x y z."""

    times: Array
    points: Array
    axes: Mapping[str, Array]
    stature: float


@dataclass(frozen=True)
class _Hit:
    """One hit of a recording: ``peak`` s at which the wrist is fastest, its speed m/s, room to the neighbours s."""

    peak: float
    speed: float
    before: float
    after: float


def recorded_shots(folder: Path, players: Sequence[str] | None = None) -> list[RecordedShot]:
    """One shot of every recording in ``folder``, in the order of its index, camera places in turn.

    Parameters
    ----------
    folder : holds ``index.csv`` (columns file, player, stroke, sex) and the BVH files it names.
    players : only these; all where None.

    Raises
    ------
    LibraryError : the index or a recording is missing or damaged, or holds no stroke with room around it.
    """
    rows = [row for row in _index(folder) if players is None or row["player"] in players]
    bodies = {row["file"]: _read(folder / row["file"]) for row in rows}
    hands = {player: _hand(rows, bodies, player) for player in {row["player"] for row in rows}}
    targets = {player: _forehand_target(rows, bodies, player, hand) for player, hand in hands.items()}
    seeds = [
        list(HELD_OUT if row["player"] in HELD_OUT_PLAYERS else TUNING)[-1 - i] for i, row in enumerate(rows)
    ]
    out = []
    for place, (row, seed) in enumerate(zip(rows, seeds, strict=True)):
        hand = hands[row["player"]]
        motion = motion_of(bodies[row["file"]], hand, targets[row["player"]], row["file"])
        drawn = shot(seed, place)
        # The places are those of the drawn player's hand; they are mirrored where the recorded one differs.
        azimuth = drawn.camera.azimuth if drawn.player.hand == hand else -drawn.camera.azimuth
        camera = replace(drawn.camera, azimuth=azimuth, size=(1280, 720), fps=60.0)
        look = replace(drawn.look, build=0.95 if row.get("sex") == "F" else 1.0)
        name = row["file"].split(".")[0]
        out.append(
            RecordedShot(name, row["player"], row["stroke"], motion, aimed(camera, motion), look, drawn.scene)
        )
    return out


def film_recorded(item: RecordedShot, folder: Path) -> tuple[Path, ClipTruth]:
    """Render a shot into ``folder`` unless it is there already; the clip's path and its truth."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"recorded-{item.name}.mp4"
    if not (path.exists() and path.with_suffix(".truth.json").exists()):
        render(item.motion, item.camera, item.look, item.scene, path, subframes=2, keep_truth=True)
    return path, read_truth(path)


def motion_of(body: _Body, hand: Hand, target: Array, where: str = "The recording") -> Motion:
    """The clearest stroke of a recording as a motion on court axes.

    Parameters
    ----------
    body : the recording. hand : the hitting hand.
    target : (2,) unit vector (x, z) on the recording's axes; turned round where this recording's strokes go the other
        way. where : names the recording in errors.
    """
    hits = _hits(body, hand)
    if np.dot(_path(body, hand, hits), target) < -0.5:
        target = -target
    hit = _clearest(body, hits, where)
    start = hit.peak - min(hit.before - FROM_NEIGHBOUR, AROUND)
    stop = hit.peak + min(hit.after - FROM_NEIGHBOUR, AROUND)
    times = np.arange(int((stop - start) * RATE) + 1) / RATE
    at = start + times
    # X to the target, Z = X x Y to the right of it: rows are the court's axes in those of the recording.
    x, z = target
    court = np.array([[x, 0.0, z], [0.0, 1.0, 0.0], [-z, 0.0, x]])
    points = CubicSpline(body.times, body.points @ court.T)(at)
    wrist = np.einsum("ij,tjk->tik", court, body.axes[f"{hand.title()}Wrist"])
    wrist = CubicSpline(body.times, wrist)(at)
    contact = hit.peak + WRIST_PEAK_BEFORE_CONTACT - start
    hips = middle(points[0], "hip")
    points = points - np.array([hips[0], 0.0, hips[2]])
    own = points if hand == "right" else mirror(points)
    events = forehand_events(times, own / body.stature, contact)
    racket = _racket(points, wrist, hand, int(np.argmin(np.abs(times - contact))))
    ball = np.full((len(times), 3), np.nan)
    return Motion(times, points, racket, ball, hand, body.stature, (SwingTruth(events),))


def _index(folder: Path) -> list[dict[str, str]]:
    try:
        with (folder / "index.csv").open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
    except FileNotFoundError:
        raise LibraryError(f"There is no index.csv of recordings in {folder}.") from None
    if not rows or not {"file", "player", "stroke"} <= set(rows[0]):
        raise LibraryError(f"The index.csv in {folder} does not list file, player and stroke.")
    return rows


def _read(path: Path) -> _Body:
    """A recording with face, soles and the rotations of head, feet and hands."""
    try:
        data = path.read_bytes()
        text = (gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data).decode("latin-1")
    except (OSError, EOFError) as error:
        raise LibraryError(f"The motion file {path} cannot be read or unpacked.") from error
    recording = parse_bvh(_with_axes(text), str(path))
    points = keypoints(recording, where=str(path))
    lengths = segment_lengths(points)
    stature = (lengths["thigh"] + lengths["shank"] + lengths["trunk"]) / _LEGS_AND_TRUNK
    axes = {name: _axes(recording, name) for name in _TURNING}
    _add_face(points, recording, axes["Head"], stature)
    _add_soles(points, axes, stature)
    return _Body(recording.times, points, axes, stature)


def _with_axes(text: str) -> str:
    """The file with three more joints on each of ``_TURNING``, one unit along its axes, to read its rotation from."""
    for name in _TURNING:
        more = "".join(
            f"JOINT {name}_{axis}\n{{\nOFFSET {place}\nCHANNELS 0\n}}\n"
            for axis, place in zip("xyz", ("1 0 0", "0 1 0", "0 0 1"), strict=True)
        )
        head = re.compile(rf"(JOINT\s+{name}\s*\{{\s*OFFSET[^\n]*\n\s*CHANNELS[^\n]*\n)")
        text = head.sub(lambda found, more=more: found.group(1) + more, text, count=1)  # type: ignore[misc]
    return text


def _axes(recording: Recording, name: str) -> Array:
    """Rotation (T, 3, 3) of a joint: columns are its axes x (to the left at rest), y (up), z (ahead)."""
    place = recording.names.index
    try:
        ends = [recording.positions[:, place(f"{name}_{axis}")] for axis in "xyz"]
    except ValueError:
        raise LibraryError(f"The recording has no joint named {name}.") from None
    return np.stack([end - recording.positions[:, place(name)] for end in ends], axis=2)


def _add_face(points: Array, recording: Recording, head: Array, stature: float) -> None:
    """Put nose and ears into ``points`` (T, K, 3), in place."""
    # The neck's length is the same in the file's unit and in metres but for the unit: take the unit from the trunk.
    place = recording.names.index
    shoulders, hips = middle(points, "shoulder"), middle(points, "hip")
    scale = np.linalg.norm(shoulders - hips, axis=1) / np.linalg.norm(
        0.5 * sum(recording.positions[:, place(f"{side}Shoulder")] for side in ("Left", "Right"))
        - 0.5 * sum(recording.positions[:, place(f"{side}Hip")] for side in ("Left", "Right")),
        axis=1,
    )
    joint = recording.positions[:, place("Head")] * float(np.median(scale))
    left, up, ahead = (head[:, :, i] * stature for i in range(3))
    ears = joint + _EAR_UP * up
    points[:, INDEX["left_ear"]] = ears + _EAR_OUT * left
    points[:, INDEX["right_ear"]] = ears - _EAR_OUT * left
    points[:, INDEX["nose"]] = ears + _NOSE[0] * ahead + _NOSE[1] * up


def _add_soles(points: Array, axes: Mapping[str, Array], stature: float) -> None:
    """Put heels and toes into ``points`` (T, K, 3), in place, and move the whole body so that it stands on the floor.

    A foot is rigid, as long as the table's. It stands where its lower end is in a fifth of the frames; what the two
    differ by is taken up between ankle and sole.
    """
    length = C1["foot"] * stature
    drops = {}
    for side in SIDES:
        turn = axes[f"{side.title()}Ankle"]
        low = _foot(points, turn, side, length, (ANKLE_HEIGHT - SOLE) * stature)
        drops[side] = float(np.percentile(low[..., 1].min(axis=0), 20))
    floor = 0.5 * (drops["left"] + drops["right"])
    for side in SIDES:
        turn = axes[f"{side.title()}Ankle"]
        drop = (ANKLE_HEIGHT - SOLE) * stature + drops[side] - floor
        heel, toe = _foot(points, turn, side, length, drop)
        points[:, INDEX[f"{side}_heel"]], points[:, INDEX[f"{side}_toe"]] = heel, toe
    points[..., 1] -= floor - SOLE * stature


def _foot(points: Array, turn: Array, side: str, length: float, drop: float) -> Array:
    """Heel and toe (2, T, 3) of a foot whose sole is ``drop`` metres below the ankle."""
    ankle, up, ahead = points[:, INDEX[f"{side}_ankle"]], turn[:, :, 1], turn[:, :, 2]
    below = ankle - drop * up
    return np.stack([below - ANKLE_SHARE * length * ahead, below + (1.0 - ANKLE_SHARE) * length * ahead])


def _wrist_speed(body: _Body, hand: Hand) -> tuple[Array, Array]:
    """Velocity (T, 3) and speed (T,) of a wrist below ``_CUTOFF``, m/s."""
    step = body.times[1] - body.times[0]
    sos = butter(2, _CUTOFF, fs=1.0 / step, output="sos")
    wrist = sosfiltfilt(sos, body.points[:, INDEX[f"{hand}_wrist"]], axis=0)
    velocity = np.gradient(wrist, body.times, axis=0)
    return velocity, np.linalg.norm(velocity, axis=1)


def _hits(body: _Body, hand: Hand) -> list[_Hit]:
    """All hits of a recording: peaks of the hitting wrist's speed."""
    _, speed = _wrist_speed(body, hand)
    step = body.times[1] - body.times[0]
    peaks, _ = find_peaks(speed, height=_SHARE * np.percentile(speed, 99.5), distance=round(_APART / step))
    times = body.times[peaks]
    # At the ends of the recording there is no neighbour to keep away from.
    edges = np.concatenate([[body.times[0] - FROM_NEIGHBOUR], times, [body.times[-1] + FROM_NEIGHBOUR]])
    return [
        _Hit(float(t), float(speed[k]), float(t - edges[i]), float(edges[i + 2] - t))
        for i, (t, k) in enumerate(zip(times, peaks, strict=True))
    ]


def _path(body: _Body, hand: Hand, hits: Sequence[_Hit]) -> Array:
    """Mean horizontal direction (x, z) of the wrist between its fastest moment and contact; zero without hits."""
    velocity, _ = _wrist_speed(body, hand)
    total = np.zeros(2)
    for hit in hits:
        near = (body.times >= hit.peak) & (body.times <= hit.peak + WRIST_PEAK_BEFORE_CONTACT)
        way = velocity[near][:, [0, 2]].mean(axis=0)
        total += way / np.linalg.norm(way)
    length = float(np.linalg.norm(total))
    return total / length if length > 0.0 else total


def _hand(rows: Sequence[Mapping[str, str]], bodies: Mapping[str, _Body], player: str) -> Hand:
    """The hitting hand: the faster one in the player's forehands and serves, else in all there is."""
    mine = [row for row in rows if row["player"] == player]
    # A two-handed backhand says nothing: there the off hand is as fast.
    files = [row["file"] for row in mine if row["stroke"] != "backhand"] or [row["file"] for row in mine]
    fast = {
        hand: sum(float(np.percentile(_wrist_speed(bodies[file], hand)[1], 99.5)) for file in files)
        for hand in ("left", "right")
    }
    return "right" if fast["right"] >= fast["left"] else "left"


def _forehand_target(
    rows: Sequence[Mapping[str, str]], bodies: Mapping[str, _Body], player: str, hand: Hand
) -> Array:
    """Direction (x, z) in which the player hits: that of the forehands, else of all strokes."""
    mine = [row for row in rows if row["player"] == player]
    files = [row["file"] for row in mine if row["stroke"] == "forehand"] or [row["file"] for row in mine]
    paths = [_path(bodies[file], hand, _hits(bodies[file], hand)) for file in files]
    return unit(np.sum(paths, axis=0))


def _clearest(body: _Body, hits: Sequence[_Hit], where: str) -> _Hit:
    """The hit to film: no marker jumps near it, room around it, and about as fast as the player's others."""
    typical = float(np.median([hit.speed for hit in hits])) if hits else 0.0
    steady = [INDEX[f"{side}_{part}"] for side in SIDES for part in ("shoulder", "hip", "knee")]
    step = body.times[1] - body.times[0]
    jerky = np.linalg.norm(
        np.gradient(np.gradient(body.points[:, steady], step, axis=0), step, axis=0), axis=2
    )

    def cost(hit: _Hit) -> float:
        cramped = sum(max(AROUND - (room - FROM_NEIGHBOUR), 0.0) for room in (hit.before, hit.after))
        near = (body.times > hit.peak - AROUND) & (body.times < hit.peak + AROUND)
        jumps = float((jerky[near].max(axis=1) > _JUMPED).sum())
        return abs(float(np.log(hit.speed / typical))) + 0.5 * cramped + jumps

    if not hits:
        raise LibraryError(f"No stroke was found in {where}.")
    return min(hits, key=cost)


def _racket(points: Array, wrist: Array, hand: Hand, contact: int) -> Array:
    """A racket (T, 5, 3) that is rigid in the hand, its face to the target in the frame ``contact``.

    ``wrist`` (T, 3, 3) turns with the hand. The shaft leaves the line from wrist to knuckles towards the upper side.
    """
    knuckles = points[:, INDEX[f"{hand}_hand"]]
    along = unit(knuckles - points[:, INDEX[f"{hand}_wrist"]])[contact]
    face = np.array([1.0, 0.0, 0.0])
    face = unit(face - (face @ along) * along)
    thumb = np.cross(along, face)
    thumb = thumb if thumb[1] >= 0.0 else -thumb
    cocked = np.radians(_COCKED)
    shaft = np.cos(cocked) * along + np.sin(cocked) * thumb
    held = np.linalg.inv(wrist[contact]) @ np.stack([shaft, np.cross(face, shaft)], axis=1)
    turned = unit(np.einsum("tij,jk->tki", wrist, held))
    shaft, across = turned[:, 0], turned[:, 1]
    butt = knuckles - GRIP * shaft
    centre = butt + CENTRE * shaft
    return np.stack(
        [
            butt,
            butt + THROAT * shaft,
            butt + RACKET_LENGTH * shaft,
            centre - 0.5 * HEAD_WIDTH * across,
            centre + 0.5 * HEAD_WIDTH * across,
        ],
        axis=1,
    )
