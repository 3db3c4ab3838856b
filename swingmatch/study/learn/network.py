"""The network in PyTorch, with names and shapes of what ``body.reading`` runs, and what it is fed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from swingmatch.body.reading import _DILATIONS
from swingmatch.body.skeleton import BONES, INDEX, NOSE_OVER_ANKLES, K

#: Numbers that go in for a sample, and that come out: depth and its scale for each segment, then three limbs
#: exchanged, the left hand, sine and cosine of the camera's azimuth.
IN, OUT = 6 * K + 2, 2 * len(BONES) + 6
#: Least and largest logarithm of the scale of Laplace's distribution, statures.
LEAST_SCALE, LARGEST_SCALE = -6.0, 0.0
_HIPS = [INDEX["left_hip"], INDEX["right_hip"]]
_ANKLES = [INDEX["left_ankle"], INDEX["right_ankle"]]


class Network(nn.Module):
    """Residual blocks of growing dilation, so that the whole sees half a second on either side."""

    def __init__(self, channels: int = 128, dropout: float = 0.1) -> None:
        super().__init__()

        def block(dilation: int) -> nn.Module:
            return nn.Conv1d(channels, channels, 3, padding=dilation, dilation=dilation)

        self.inp = nn.Conv1d(IN, channels, 5, padding=2)
        self.a = nn.ModuleList()
        self.b = nn.ModuleList()
        for dilation in _DILATIONS:
            self.a.append(block(dilation))
            self.b.append(block(dilation))
        self.out = nn.Conv1d(channels, OUT, 1)
        self.dropout = dropout

    def forward(self, features: Tensor) -> Tensor:
        """(N, IN, T) to (N, T, OUT)."""
        x = functional.relu(self.inp(features))
        for a, b in zip(self.a, self.b, strict=True):
            x = x + functional.dropout(b(functional.relu(a(x))), self.dropout, self.training)
        return self.out(functional.relu(x)).transpose(1, 2)


def about_hips(points: Tensor) -> Tensor:
    """(N, T, K, D) from the middle of the hips."""
    return points - points[:, :, _HIPS].mean(2, keepdim=True)


def in_statures(upright: Tensor) -> Tensor:
    """Picture positions (N, T, K, 2), y up, over the player's stature in the picture, as ``reading`` takes it."""
    over = upright[:, :, INDEX["nose"], 1] - upright[:, :, _ANKLES, 1].mean(-1)
    stature = torch.quantile(over, 0.9, dim=1) / NOSE_OVER_ANKLES
    return upright / stature[:, None, None, None]


def features_of(upright: Tensor, world: Tensor, visibility: Tensor) -> Tensor:
    """What ``reading._features`` gives, for many stretches at once.

    ``upright`` (N, T, K, 2) picture, y up; ``world`` (N, T, K, 3) statures; ``visibility`` (N, T, K); to (N, IN, T).
    """
    upright = in_statures(upright)
    hips = upright[:, :, _HIPS].mean(2)
    path = hips - hips.quantile(0.5, dim=1, keepdim=True)
    parts = (about_hips(upright).flatten(2), about_hips(world).flatten(2), visibility, path)
    return torch.cat(parts, -1).transpose(1, 2)


def save(network: Network, path: Path) -> None:
    """Write the weights as ``body.reading`` wants them: half precision, by PyTorch's names."""
    weights = {name: values.half().cpu().numpy() for name, values in network.state_dict().items()}
    with path.open("wb") as file:
        np.savez_compressed(file, **weights)
