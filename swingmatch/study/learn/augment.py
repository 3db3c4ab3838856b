"""Examples without end out of a few dozen clips: the errors of each clip laid on other movements, and varied.

The pose model's errors depend on the camera side and come in runs, so they are not drawn from a distribution: the
differences between the track of a real clip and its truth, over the whole stretch, are added to another movement seen
from about the same side.
"""

from __future__ import annotations

from typing import NamedTuple

import torch
from torch import Tensor
from torch.nn import functional

from swingmatch.body.reading import LIMBS, WORLD_STATURE
from swingmatch.body.skeleton import _SWAP, BONES, INDEX, K
from swingmatch.study.learn.examples import CONTACT, SAMPLES, Examples
from swingmatch.study.learn.network import about_hips, features_of, in_statures
from swingmatch.study.learn.settings import LearnSettings

#: Parts of each limb by which sides are told apart in the picture; hands, feet and ears are too close together.
TELLING: dict[str, tuple[str, ...]] = {
    "arm": ("elbow", "wrist"),
    "leg": ("knee", "ankle"),
    "trunk": ("shoulder", "hip"),
}
#: Left and right that are nearer than this in the picture, statures, tell nothing.
_APART = 0.05
_ENDS = tuple([bone[end] for bone in BONES] for end in (0, 1))
_SIDES = torch.from_numpy(_SWAP)


class Batch(NamedTuple):
    """What goes in, (N, IN, T), and what should come out.

    ``depth`` (N, T, B) statures; ``exchanged``, ``told`` (N, T, 3) whether a limb is on the other side, and whether
    that can be told; ``left_handed`` (N,) 0 or 1; ``azimuth`` (N,) degrees; ``covered`` (N, T) samples that
    count; ``asked`` (N,) 1 where the hand is to be told, which is of forehands.
    """

    features: Tensor
    depth: Tensor
    exchanged: Tensor
    told: Tensor
    left_handed: Tensor
    azimuth: Tensor
    covered: Tensor
    asked: Tensor


class Clips:
    """The examples as tensors in statures: tracks, truth, and the errors (residuals) of the tracks."""

    def __init__(self, examples: Examples, device: str) -> None:
        def tensor(values: object) -> Tensor:
            return torch.as_tensor(values, dtype=torch.float32, device=device)

        self.device = device
        self.upright = in_statures(tensor(examples.image) * tensor([1.0, -1.0]))
        self.world = tensor(examples.world) / WORLD_STATURE
        self.visibility = tensor(examples.visibility)
        self.body = tensor(examples.body)
        self.azimuth = tensor(examples.azimuth)
        self.covered = tensor(examples.covered)
        self.recorded = torch.as_tensor(examples.recorded, device=device)
        self.seen = to_camera(self.body, self.azimuth)
        self.image_errors = about_hips(self.upright) - about_hips(self.seen[..., :2])
        self.world_errors = about_hips(self.world) - about_hips(self.seen)
        self.generated_motions = tensor(examples.generated_motions)
        self.recorded_motions = tensor(examples.recorded_motions)
        self.recorded_forehands = torch.as_tensor(examples.recorded_forehands, device=device)

    def __len__(self) -> int:
        return len(self.body)

    def as_they_are(self, which: Tensor) -> Batch:
        """The clips themselves, unvaried."""
        upright, seen = self.upright[which], self.seen[which]
        exchanged, told = exchanged_limbs(about_hips(upright), about_hips(seen[..., :2]))
        return Batch(
            features_of(upright, self.world[which], self.visibility[which]),
            depth_of(seen),
            exchanged,
            told,
            torch.zeros(len(which), device=self.device),
            self.azimuth[which],
            self.covered[which],
            torch.ones(len(which), device=self.device),
        )


class Draws:
    """Random numbers of one seed on one device."""

    def __init__(self, seed: int, device: str) -> None:
        self._device = device
        self._generator = torch.Generator(device=device)
        self._generator.manual_seed(seed)

    def whole(self, below: int, count: int) -> Tensor:
        """(count,) whole numbers from 0."""
        return torch.randint(below, (count,), generator=self._generator, device=self._device)

    def uniform(self, *shape: int) -> Tensor:
        """Between 0 and 1."""
        return torch.rand(*shape, generator=self._generator, device=self._device)

    def normal(self, *shape: int) -> Tensor:
        """Of mean 0 and standard deviation 1."""
        return torch.randn(*shape, generator=self._generator, device=self._device)


def to_camera(points: Tensor, azimuth: Tensor) -> Tensor:
    """Court axes (N, T, K, 3) to camera axes for azimuths (N,) degrees; see ``direction.camera_to_court``."""
    angle = torch.deg2rad(azimuth)[:, None, None]
    sin, cos = torch.sin(angle), torch.cos(angle)
    x, y, z = points.unbind(-1)
    return torch.stack([x * sin - z * cos, y, x * cos + z * sin], -1)


def depth_of(seen: Tensor) -> Tensor:
    """(N, T, B) z of a segment's first end less that of its second, from camera axes (N, T, K, 3)."""
    return seen[:, :, _ENDS[0], 2] - seen[:, :, _ENDS[1], 2]


def exchanged_limbs(upright: Tensor, true: Tensor) -> tuple[Tensor, Tensor]:
    """Whether each limb lies on the other side's place, and whether that can be told: twice (N, T, 3), 0 or 1.

    ``upright``, ``true`` : (N, T, K, 2) picture positions about the hips, statures. It can be told where left and right
    are apart and one reading is clearly nearer than the other.
    """
    exchanged, told = [], []
    for limb in LIMBS:
        left, right = ([INDEX[f"{side}_{part}"] for part in TELLING[limb]] for side in ("left", "right"))
        gap = (true[:, :, left] - true[:, :, right]).norm(dim=-1)
        use = (gap > _APART).float()

        def off(
            places: list[int], left: list[int] = left, right: list[int] = right, use: Tensor = use
        ) -> Tensor:
            """How far left and right, in turn, are from true places (left and right, or crossed)."""
            gaps = upright[:, :, left + right] - true[:, :, places]
            one, other = gaps.norm(dim=-1).chunk(2, dim=-1)
            return ((one + other) * use).sum(-1)

        own, crossed = off(left + right), off(right + left)
        exchanged.append((crossed < own).float())
        clear = (crossed - own).abs() > 0.5 * (gap * use).sum(-1)
        told.append((use.sum(-1) > 0).float() * clear.float())
    return torch.stack(exchanged, -1), torch.stack(told, -1)


def _at_speed(motion: Tensor, factor: Tensor) -> Tensor:
    """Movements (N, T, K, 3) played ``factor`` (N,) times as fast about contact, held at the ends."""
    steps = torch.arange(SAMPLES, device=motion.device) - CONTACT
    place = (steps[None] * factor[:, None] + CONTACT).clamp(0, SAMPLES - 1.001)
    before = place.floor().long()
    share = (place - before)[..., None, None]
    row = torch.arange(len(motion), device=motion.device)[:, None]
    return motion[row, before] * (1 - share) + motion[row, before + 1] * share


def _tipped(seen: Tensor, pitch: Tensor, roll: Tensor) -> Tensor:
    """Camera axes (N, T, K, 3) seen by a camera tipped by ``pitch`` and ``roll`` (N,) radians."""
    x, y, z = seen.unbind(-1)
    sin, cos = torch.sin(pitch)[:, None, None], torch.cos(pitch)[:, None, None]
    y, z = cos * y - sin * z, sin * y + cos * z
    sin, cos = torch.sin(roll)[:, None, None], torch.cos(roll)[:, None, None]
    return torch.stack([cos * x - sin * y, sin * x + cos * y, z], -1)


def _drift(draws: Draws, count: int, axes: int, largest: float, knots: int) -> Tensor:
    """(count, T, K, axes) slow drifts of single keypoints, of another size in each example."""
    size = largest * draws.uniform(count, 1, 1, 1)
    lines = functional.interpolate(draws.normal(count, K * axes, knots), size=SAMPLES, mode="linear")
    return size * lines.transpose(1, 2).reshape(count, SAMPLES, K, axes)


def draw_batch(clips: Clips, pool: Tensor, draws: Draws, settings: LearnSettings) -> Batch:
    """Examples drawn from the clips ``pool`` (numbers of clips).

    In turn, and why:

    - a quarter are clips as they are, so that errors and movement that belong together are seen too; the others are
      the errors of a clip laid on another movement, so that movement and errors are not learnt by heart;
    - played faster or slower, because tempo differs more between players than the generator's does;
    - with the errors of the clip's mirror image now and then, because errors say nothing of the hand that hits;
    - with errors of any size, sometimes none, so that the movement itself is what is read;
    - turned a little against the camera side of the errors, so that every azimuth is seen;
    - seen by a camera that is tipped a little, which the depth asked for (that of a level camera) does not follow;
    - slow drifts of single keypoints in picture and world, and jitter in the picture, so that the network does not
      count on exact residuals;
    - now and then the whole body turned round, front for back, as the pose model takes it at times;
    - mirrored every other time, because left-handers are as likely to come as their clips are rare.
    """
    count = settings.batch
    device = clips.device

    def flip(*signs: float) -> Tensor:
        return torch.tensor(signs, device=device)

    def each(choice: Tensor) -> Tensor:
        return choice[:, None, None, None]

    chosen = pool[draws.whole(len(pool), count)]
    kind = draws.uniform(count)
    own = kind < settings.own
    motion = clips.generated_motions[draws.whole(len(clips.generated_motions), count)]
    asked = torch.ones(count, device=device)
    if len(clips.recorded_motions):
        number = draws.whole(len(clips.recorded_motions), count)
        from_recorded = ~own & (kind < settings.own + settings.recorded)
        motion = torch.where(each(from_recorded), clips.recorded_motions[number], motion)
        asked = (~from_recorded | clips.recorded_forehands[number]).float()
    factor = settings.slowest + (settings.fastest - settings.slowest) * draws.uniform(count)
    motion = torch.where(each(own), clips.body[chosen], _at_speed(motion, factor))
    varied = (~own).float()
    sides = _SIDES.to(device)
    crossed = ~own & (draws.uniform(count) < settings.other_hand)
    image_errors, world_errors = clips.image_errors[chosen], clips.world_errors[chosen]
    image_errors = torch.where(each(crossed), image_errors[:, :, sides] * flip(-1.0, 1.0), image_errors)
    world_errors = torch.where(each(crossed), world_errors[:, :, sides] * flip(-1.0, 1.0, 1.0), world_errors)
    visibility = clips.visibility[chosen]
    visibility = torch.where(crossed[:, None, None], visibility[:, :, sides], visibility)
    size = settings.least_errors + (settings.most_errors - settings.least_errors) * draws.uniform(count)
    exact = draws.uniform(count) < settings.exact
    size = each(torch.where(exact, 0.0, size))
    depth = torch.where(exact, settings.flattest + (1.0 - settings.flattest) * draws.uniform(count), 1.0)
    flat = torch.stack([torch.ones_like(depth), torch.ones_like(depth), depth], -1)[:, None, None]
    base = torch.where(crossed, -clips.azimuth[chosen], clips.azimuth[chosen])
    azimuth = base + settings.azimuth_sd * varied * draws.normal(count)
    seen = to_camera(motion, azimuth)
    pitch = settings.pitch_sd * varied * draws.normal(count)
    view = _tipped(seen, pitch, settings.roll_sd * varied * draws.normal(count))
    upright = torch.where(each(own), clips.upright[chosen], view[..., :2] + size * image_errors) + _drift(
        draws, count, 2, settings.image_drift, settings.drift_knots
    )
    jitter = settings.jitter * draws.uniform(count, 1, 1, 1)
    upright = upright + jitter * draws.normal(count, SAMPLES, K, 2)
    world = torch.where(
        each(own), clips.world[chosen], about_hips(seen) * flat + size * world_errors
    ) + _drift(draws, count, 3, settings.world_drift, settings.drift_knots)
    plain = (draws.uniform(count) < settings.all_visible)[:, None, None]
    visibility = torch.where(plain, 0.9 + 0.1 * draws.uniform(count, 1, 1), visibility)
    exchanged, told = exchanged_limbs(about_hips(upright), about_hips(seen[..., :2]))

    round_ = draws.uniform(count) < settings.turned_round
    upright = torch.where(each(round_), upright[:, :, sides], upright)
    world = torch.where(each(round_), (world * flip(1.0, 1.0, -1.0))[:, :, sides], world)
    exchanged = torch.where(round_[:, None, None], 1.0 - exchanged, exchanged)

    left = draws.uniform(count) < settings.mirrored
    upright = torch.where(each(left), upright[:, :, sides] * flip(-1.0, 1.0), upright)
    world = torch.where(each(left), world[:, :, sides] * flip(-1.0, 1.0, 1.0), world)
    seen = torch.where(each(left), seen[:, :, sides] * flip(-1.0, 1.0, 1.0), seen)
    visibility = torch.where(left[:, None, None], visibility[:, :, sides], visibility)
    return Batch(
        features_of(upright, world, visibility),
        depth_of(seen),
        exchanged,
        told,
        left.float(),
        torch.where(left, -azimuth, azimuth),
        clips.covered[chosen],
        asked,
    )
