"""The network in PyTorch: a small pyramid of plain convolutions, and its way into ONNX."""

from __future__ import annotations

from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from swingmatch.racket.crop import CHANNELS, SIDE

#: Cells of a heat map are this many pixels wide.
STRIDE = 4
POINTS = 5


class _Conv(nn.Sequential):
    def __init__(self, i: int, o: int, kernel: int = 1, stride: int = 1, groups: int = 1, act: bool = True):
        parts: list[nn.Module] = [
            nn.Conv2d(i, o, kernel, stride, kernel // 2, groups=groups, bias=False),
            nn.BatchNorm2d(o),
        ]
        super().__init__(*parts, *([nn.ReLU()] if act else []))


class _Block(nn.Module):
    """Two plain convolutions beside a way past them (He et al. 2016).

    Plain ones of three by three, because on a CPU OpenCV runs them several times faster for their size than
    depthwise ones.
    """

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.body = nn.Sequential(_Conv(channels, channels, 3), _Conv(channels, channels, 3, act=False))

    def forward(self, x: Tensor) -> Tensor:
        return functional.relu(x + self.body(x))


class Network(nn.Module):
    """(N, CHANNELS, SIDE, SIDE) to heat maps (N, 5, SIDE / 4, SIDE / 4), before the softmax, and (N, 1) present."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = _Conv(CHANNELS, 24, 3, 2)
        self.quarter = nn.Sequential(_Conv(24, 40, 3, 2), _Block(40), _Block(40))
        self.eighth = nn.Sequential(_Conv(40, 72, 3, 2), _Block(72), _Block(72))
        self.sixteenth = nn.Sequential(_Conv(72, 112, 3, 2), _Block(112), _Block(112))
        self.last = nn.Sequential(_Conv(112, 144, 3, 2), _Block(144))
        self.from_last = _Conv(144, 112, act=False)
        self.mix16 = _Block(112)
        self.from_16 = _Conv(112, 72, act=False)
        self.mix8 = _Block(72)
        self.from_8 = _Conv(72, 40, act=False)
        self.mix4 = _Block(40)
        self.heat = nn.Conv2d(40, POINTS, 1)
        self.present = nn.Sequential(nn.Linear(144 + 112, 64), nn.ReLU(), nn.Linear(64, 1))

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """See the class."""
        a = self.quarter(self.stem(x))
        b = self.eighth(a)
        c = self.sixteenth(b)
        d = self.last(c)
        up = functional.interpolate
        c = self.mix16(functional.relu(c + up(self.from_last(d), scale_factor=2.0, mode="nearest")))
        about = torch.cat([d.amax((2, 3)), c.amax((2, 3))], 1)
        b = self.mix8(functional.relu(b + up(self.from_16(c), scale_factor=2.0, mode="nearest")))
        a = self.mix4(functional.relu(a + up(self.from_8(b), scale_factor=2.0, mode="nearest")))
        return self.heat(a), self.present(about)


def export(network: Network, path: Path) -> None:
    """Write the weights as ONNX, the batch's length left open; the normalisations are folded in by the exporter."""
    network = network.eval().float().cpu()
    torch.onnx.export(
        network,
        (torch.zeros(1, CHANNELS, SIDE, SIDE),),
        str(path),
        input_names=["pictures"],
        output_names=["heat", "present"],
        opset_version=13,
        dynamo=False,
    )
