"""The training loop: turned, scaled and mirrored examples; heat maps, places and whether there is a racket at all."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from swingmatch.racket.crop import _ARM_WIDTH, SIDE
from swingmatch.study.sight.feed import Feed, Store
from swingmatch.study.sight.network import STRIDE, Network, export
from swingmatch.study.sight.settings import CANVAS, SightSettings

_CELLS = SIDE // STRIDE


@dataclass(frozen=True)
class Batch:
    """What goes in (N, 6, SIDE, SIDE), and the labels in its pixels: points (N, 5, 2), weights (N, 5), present (N,)."""

    pictures: Tensor
    points: Tensor
    weight: Tensor
    present: Tensor


def ordered(points: Tensor) -> tuple[Tensor, Tensor]:
    """Put the edge first that is on the left of someone who looks from the butt to the tip in the picture: (N, 5, 2);
    and (N,) where that exchanged them."""
    along = points[:, 2] - points[:, 0]
    across = points[:, 4] - points[:, 3]
    # y goes down in pictures, so the cross product is positive where the second edge is on the right.
    swap = (along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]) < 0
    changed = points[:, [0, 1, 2, 4, 3]]
    return torch.where(swap[:, None, None], changed, points), swap


def draw_batch(planes: Tensor, rows: Tensor, settings: SightSettings, vary: bool) -> Batch:
    """Planes (N, 5, CANVAS, CANVAS) bytes and rows (N, NUMBERS) as they go in, turned and shifted if ``vary``."""
    n, device = len(planes), planes.device
    arm, points, shows, present = (
        rows[:, :4].view(n, 2, 2),
        rows[:, 4:14].view(n, 5, 2),
        rows[:, 14:19],
        rows[:, 19],
    )
    on = 1.0 if vary else 0.0
    angle = torch.randn(n, device=device) * math.radians(settings.turn) * on
    scale = torch.exp(torch.randn(n, device=device) * settings.size * on)
    flip = torch.where(torch.rand(n, device=device) < 0.5 * on, -1.0, 1.0)
    shift = torch.randn(n, 2, device=device) * settings.shift * on
    c, s = torch.cos(angle) / scale, torch.sin(angle) / scale
    # What goes in at q (about the middle) is taken from the canvas at A q + shift.
    turn = torch.stack([torch.stack([c * flip, -s], -1), torch.stack([s * flip, c], -1)], 1)
    axis = torch.arange(SIDE, device=device) - 0.5 * (SIDE - 1)
    grid = torch.stack(torch.meshgrid(axis, axis, indexing="xy"), -1).view(1, -1, 2)
    take = (grid @ turn.transpose(1, 2) + shift[:, None]).view(n, SIDE, SIDE, 2) / (0.5 * CANVAS)
    pictures = functional.grid_sample(planes.float(), take, padding_mode="border", align_corners=False)
    back = torch.linalg.inv(turn)
    middle = 0.5 * (CANVAS - 1)

    def inward(places: Tensor) -> Tensor:
        return (places - middle - shift[:, None]) @ back.transpose(1, 2) + 0.5 * (SIDE - 1)

    points, arm = inward(points), inward(arm)
    points, swap = ordered(points)
    shows = torch.where(swap[:, None], shows[:, [0, 1, 2, 4, 3]], shows)
    inside = ((points > -0.5) & (points < SIDE - 0.5)).all(-1)
    weight = inside * torch.where(shows > 0.5, 1.0, settings.hidden) * (present[:, None] > 0.25)
    pictures = pictures / 255.0
    if vary:
        light = 1.0 + 0.15 * torch.randn(n, 1, 1, 1, device=device)
        tint = 1.0 + 0.06 * torch.randn(n, 3, 1, 1, device=device)
        pictures = pictures * light
        pictures = torch.cat([pictures[:, :3] * tint, pictures[:, 3:]], 1).clamp(0, 1)
    pictures = torch.cat([pictures - 0.5, arm_maps(arm)[:, None]], 1)
    return Batch(pictures, torch.nan_to_num(points), weight, present)


def arm_maps(arm: Tensor) -> Tensor:
    """What ``crop.arm_map`` draws, for many: (N, 2, 2) elbow and hand to (N, SIDE, SIDE)."""
    elbow, along = arm[:, 0], arm[:, 1] - arm[:, 0]
    axis = torch.arange(SIDE, device=arm.device, dtype=arm.dtype)
    x, y = axis - elbow[:, :1], axis - elbow[:, 1:]
    dot = x[:, None] * along[:, 0, None, None] + y[:, :, None] * along[:, 1, None, None]
    share = (dot / (along**2).sum(-1).clamp(min=1e-6)[:, None, None]).clamp(0, 1)
    away = (x[:, None] - share * along[:, 0, None, None]) ** 2 + (
        y[:, :, None] - share * along[:, 1, None, None]
    ) ** 2
    return torch.exp(-away / (2 * _ARM_WIDTH**2)) * (0.3 + 0.7 * share)


def targets(points: Tensor, soft: float) -> Tensor:
    """(N, 5, cells, cells) where each point is, as probabilities of the cells."""
    axis = torch.arange(_CELLS, device=points.device, dtype=torch.float32)
    at = (points + 0.5) / STRIDE - 0.5
    x = functional.softmax(-((axis - at[..., :1]) ** 2) / (2 * soft**2), -1)
    y = functional.softmax(-((axis - at[..., 1:]) ** 2) / (2 * soft**2), -1)
    return y[..., :, None] * x[..., None, :]


def places(heat: Tensor, about: Tensor | None = None, reach: float = 4.0) -> Tensor:
    """(N, 5, 2) pixels: the mean of the heat maps near ``about``, or near their highest cell."""
    n = len(heat)
    axis = torch.arange(_CELLS, device=heat.device, dtype=torch.float32)
    if about is None:
        best = heat.view(n, 5, -1).argmax(-1)
        about = torch.stack([best % _CELLS, best // _CELLS], -1).float()
    near_x, near_y = (axis - about[..., :1]).abs() <= reach, (axis - about[..., 1:]).abs() <= reach
    near = near_y[..., :, None] & near_x[..., None, :]
    share = functional.softmax(heat.masked_fill(~near, -1e4).view(n, 5, -1), -1).view(heat.shape)
    at = torch.stack([(share.sum(2) * axis).sum(-1), (share.sum(3) * axis).sum(-1)], -1)
    return (at + 0.5) * STRIDE - 0.5


def loss_of(heat: Tensor, present: Tensor, batch: Batch, settings: SightSettings) -> Tensor:
    """Cross-entropy of the heat maps and of racket or none, and how far the places are off, cells."""
    heat = heat.float()
    n = len(heat)
    want = targets(batch.points, settings.soft).view(n, 5, -1)
    crossed = -(want * functional.log_softmax(heat.view(n, 5, -1), -1)).sum(-1)
    total = batch.weight.sum().clamp(min=1.0)
    cells = (batch.points + 0.5) / STRIDE - 0.5
    off = functional.smooth_l1_loss(
        places(heat, cells) / STRIDE, batch.points / STRIDE, reduction="none", beta=0.2
    ).sum(-1)
    there = functional.binary_cross_entropy_with_logits(
        present.float()[:, 0], batch.present, reduction="none"
    )
    sure = torch.where((batch.present > 0.25) & (batch.present < 0.75), 0.0, 1.0)
    return (
        (crossed * batch.weight).sum() / total
        + settings.weigh_place * (off * batch.weight).sum() / total
        + settings.weigh_present * (there * sure).mean()
    )


def rate(share: float) -> float:
    """The learning rate as a share of its peak, ``share`` of the training done."""
    return min(share / 0.03, 1.0) * (0.5 + 0.5 * math.cos(math.pi * min(share, 1.0))) + 0.002


def train(settings: SightSettings, clips: Sequence[Path], out: Path, device: str) -> Network:
    """Train for ``settings.minutes``; writes the weights to ``out`` every minute and at the end."""
    began = time.monotonic()
    feed = Feed(settings, clips)
    try:
        torch.manual_seed(settings.seed)
        store = Store.empty(settings.kept, device)
        while store.made < settings.first:
            feed.take(store, wait=5.0)
        print(f"{store.made} pictures after {time.monotonic() - began:.0f} s", flush=True)
        check = draw_batch(store.planes[:1024].clone(), store.rows[:1024].clone(), settings, vary=False)
        return _learn(settings, feed, store, check, out, device, began)
    finally:
        feed.stop()


def _learn(
    settings: SightSettings, feed: Feed, store: Store, check: Batch, out: Path, device: str, began: float
) -> Network:
    network = Network().to(device, memory_format=torch.channels_last)
    mean = deepcopy(network).eval()
    optimizer = torch.optim.AdamW(network.parameters(), weight_decay=settings.weight_decay)
    start, wrote, step, running = time.monotonic(), time.monotonic(), 0, 0.0
    length = 60 * settings.minutes - (start - began)
    first = 1024  # the check's pictures are never learnt from until they are overwritten
    while (share := (time.monotonic() - start) / length) < 1.0:
        for group in optimizer.param_groups:
            group["lr"] = settings.peak_rate * rate(share)
        feed.take(store)
        chosen = torch.randint(first, store.held, (settings.batch,), device=device)
        batch = draw_batch(store.planes[chosen], store.rows[chosen], settings, vary=True)
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            heat, present = network(batch.pictures.contiguous(memory_format=torch.channels_last))
        loss = loss_of(heat, present, batch, settings)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), settings.longest_gradient)
        optimizer.step()
        step += 1
        follow(mean, network, min(settings.averaged, step / (step + 10)))
        if step % 100 == 0:
            running = float(loss.detach())
        if time.monotonic() - wrote > 60 or step == 3:
            wrote = time.monotonic()
            export(deepcopy(mean), out)
            print(
                f"{share:.2f}: step {step}, {store.made} pictures, loss {running:.3f}; {quality(mean, check)}",
                flush=True,
            )
    export(deepcopy(mean), out)
    print(f"end: step {step}, {store.made} pictures; {quality(mean, check)}", flush=True)
    return mean


@torch.no_grad()
def follow(mean: Network, network: Network, keep: float) -> None:
    """Move the averaged weights towards those of now."""
    theirs = network.state_dict()
    for name, value in mean.state_dict().items():
        if value.dtype.is_floating_point:
            value.lerp_(theirs[name], 1.0 - keep)
        else:
            value.copy_(theirs[name])


@torch.no_grad()
def quality(network: Network, batch: Batch) -> str:
    """Errors of the points that show, pixels of what goes in, and of racket or none."""
    heat, present = [], []
    for part in batch.pictures.split(128):
        h, p = network(part.contiguous(memory_format=torch.channels_last))
        heat.append(h.float())
        present.append(p.float())
    found = places(torch.cat(heat))
    off = (found - batch.points).norm(dim=-1)
    shown = batch.weight > 0.9
    parts = [
        f"{name} {off[:, k][shown[:, k]].median():.2f}/{off[:, k][shown[:, k]].quantile(0.9):.1f}"
        for k, name in enumerate(("butt", "throat", "tip", "left", "right"))
    ]
    there, sure = torch.cat(present)[:, 0] > 0, (batch.present < 0.25) | (batch.present > 0.75)
    wrong = ((there != (batch.present > 0.5)) & sure).sum() / sure.sum()
    return "px median/90th: " + ", ".join(parts) + f"; presence wrong {100 * wrong:.1f} %"
