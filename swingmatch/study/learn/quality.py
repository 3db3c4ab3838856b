"""How good a network is on clips, above all on such as it did not learn from."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from swingmatch.study.learn.augment import _ENDS, Clips, depth_of
from swingmatch.study.learn.network import Network, about_hips
from swingmatch.study.learn.settings import LearnSettings
from swingmatch.study.learn.train import Answer, near_contact
from swingmatch.study.stated import HALF_WIDTH

#: Bounds of the factor by which the estimator's own depth is brought to the true length of a segment.
_SHRUNK, _STRETCHED = 0.3, 1.2


@dataclass(frozen=True)
class Quality:
    """Errors on some clips.

    Attributes
    ----------
    clips : their number.
    depth, own_depth : root-mean-square error of depth between the ends of segments, statures: the network's, and that
        of the estimator's own 3-D scaled to the true length of each segment.
    inside : share of depths inside the stated 90 % interval.
    exchanged_before, exchanged : share of samples and limbs with sides taken for each other, as tracked, and still so
        once the network is followed.
    hand_right : share of clips whose hand is told. azimuth : median error of the camera side, degrees.
    """

    clips: int
    depth: float
    own_depth: float
    inside: float
    exchanged_before: float
    exchanged: float
    hand_right: float
    azimuth: float

    def __str__(self) -> str:
        return (
            f"{self.clips} clips: depth off by {self.depth:.3f} statures (the estimator's own: {self.own_depth:.3f}), "
            f"{100 * self.inside:.0f} % inside their 90 % interval; limbs exchanged "
            f"{100 * self.exchanged_before:.1f} % before, {100 * self.exchanged:.1f} % after; "
            f"hand told in {100 * self.hand_right:.0f} %; camera side off by {self.azimuth:.0f} degrees"
        )


def _lengths(points: Tensor) -> Tensor:
    """(N, 1, B) median length of every segment."""
    one, other = (points[:, :, ends] for ends in _ENDS)
    return (one - other).norm(dim=-1).median(1, keepdim=True).values


def quality(network: Network, clips: Clips, which: Tensor, settings: LearnSettings) -> Quality:
    """Errors of the network on the clips ``which`` (numbers of clips), at the samples that they hold."""
    with torch.no_grad():
        batch = clips.as_they_are(which)
        answer = Answer(network(batch.features))
    covered = batch.covered > 0
    error = (answer.depth - batch.depth)[covered]
    # Of Laplace's distribution with a scale, as the network states it, the standard deviation is root 2 scales.
    sd = 2.0**0.5 * answer.log_scale.exp()[covered]
    world = about_hips(clips.world[which])
    factor = (_lengths(clips.seen[which]) / _lengths(world)).clamp(_SHRUNK, _STRETCHED)
    own = (depth_of(world) * factor - batch.depth)[covered]
    wrong = ((answer.exchanged > 0).float() != batch.exchanged).float() * batch.told
    near = near_contact(settings, clips.device)
    hand = (answer.left_handed * near).sum(1) / near.sum()
    sin, cos = (answer.target * batch.covered[..., None]).sum(1).unbind(-1)
    turned = torch.rad2deg(torch.atan2(sin, cos)) - batch.azimuth
    return Quality(
        len(which),
        float(error.square().mean().sqrt()),
        float(own.square().mean().sqrt()),
        float((error.abs() < HALF_WIDTH * sd).float().mean()),
        float((batch.exchanged * batch.told)[covered].mean()),
        float(wrong[covered].mean()),
        float(((hand > 0).float() == batch.left_handed).float().mean()),
        float(((turned + 180.0) % 360.0 - 180.0).abs().median()),
    )
