"""The training loop: every draw is seeded, so that the same machine makes the same weights again."""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from swingmatch.body.skeleton import BONES
from swingmatch.progress import Progress, silent
from swingmatch.study.learn.augment import Batch, Clips, Draws, draw_batch
from swingmatch.study.learn.examples import MOMENTS
from swingmatch.study.learn.network import LARGEST_SCALE, LEAST_SCALE, Network
from swingmatch.study.learn.settings import LearnSettings

_B = len(BONES)


class Answer:
    """The network's numbers (N, T, OUT) by name; shapes as in ``Batch``, ``target`` (N, T, 2) sine and cosine."""

    def __init__(self, out: Tensor) -> None:
        self.depth = out[..., :_B]
        self.log_scale = out[..., _B : 2 * _B].clamp(LEAST_SCALE, LARGEST_SCALE)
        self.exchanged = out[..., 2 * _B : 2 * _B + 3]
        self.left_handed = out[..., 2 * _B + 3]
        self.target = out[..., 2 * _B + 4 :]


def near_contact(settings: LearnSettings, device: str) -> Tensor:
    """(T,) 1 where the hand is to be told."""
    near = (-settings.hand_within <= MOMENTS) & (settings.hand_within > MOMENTS)
    return torch.as_tensor(near, dtype=torch.float32, device=device)


def loss_of(out: Tensor, batch: Batch, settings: LearnSettings) -> Tensor:
    """The loss over the samples that clips hold.

    Depth has Laplace's distribution, because the pose model's errors have long tails; limbs exchanged and the hand
    have cross-entropy; the target has the square, which makes it short where the side is not known.
    """
    answer, covered = Answer(out), batch.covered
    within, samples = covered[..., None], covered.sum()
    crossed = functional.binary_cross_entropy_with_logits
    depth = (answer.depth - batch.depth).abs() / answer.log_scale.exp() + answer.log_scale
    exchanged = crossed(answer.exchanged, batch.exchanged, reduction="none") * batch.told
    near = near_contact(settings, str(out.device)) * batch.asked[:, None]
    hand = crossed(answer.left_handed, batch.left_handed[:, None].expand_as(covered), reduction="none") * near
    angle = torch.deg2rad(batch.azimuth)[:, None]
    target = (answer.target[..., 0] - torch.sin(angle)) ** 2 + (answer.target[..., 1] - torch.cos(angle)) ** 2
    return (
        (depth * within).sum() / samples / _B
        + settings.weigh_exchanged * (exchanged * within).sum() / samples
        + settings.weigh_hand * hand.sum() / near.sum()
        + settings.weigh_target * (target * covered).sum() / samples
    )


def train(
    clips: Clips, pool: Tensor, settings: LearnSettings, progress: Progress = silent
) -> tuple[Network, list[float]]:
    """Train on the clips ``pool`` (numbers of clips); gives the network and the loss at every step."""
    torch.manual_seed(settings.seed)
    draws = Draws(settings.seed + 1, clips.device)
    network = Network(settings.channels, settings.dropout).to(clips.device)
    optimizer = torch.optim.AdamW(network.parameters(), weight_decay=settings.weight_decay)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, settings.peak_rate, settings.steps)
    network.train()
    losses = []
    for step in range(1, settings.steps + 1):
        batch = draw_batch(clips, pool, draws, settings)
        loss = loss_of(network(batch.features), batch, settings)
        optimizer.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), settings.longest_gradient)
        optimizer.step()
        schedule.step()
        losses.append(loss.detach())
        if step % 100 == 0 or step == settings.steps:
            progress("training", step / settings.steps)
    return network.eval(), [float(value) for value in losses]
