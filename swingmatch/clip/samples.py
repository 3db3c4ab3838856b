"""The sound of a clip, mono and at one rate. Runs in the child process."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.container import Pulse, open_container


def samples(
    path: Path, origin: float, rate: int, pulse: Pulse
) -> Generator[tuple[float, NDArray[np.float32]]]:
    """(seconds after ``origin``, mono samples at ``rate``) of successive blocks; damaged ones left out."""
    with open_container(path) as container:
        audio = next((s for s in container.streams.audio if s.codec_context is not None), None)
        if audio is None:
            return
        resample = _Resampler(rate)
        time = 0.0
        try:
            for packet in container.demux(audio):
                pulse()
                try:
                    parts = [part for block in packet.decode() for part in resample(block)]
                except (av.error.InvalidDataError, EOFError, ValueError):
                    continue
                for part in parts:
                    if part.pts is not None and part.time_base:
                        time = float(part.pts * part.time_base) - origin
                    sound = part.to_ndarray().reshape(-1)
                    yield time, sound
                    time += len(sound) / rate
        except MemoryError:
            raise
        except (av.error.FFmpegError, OSError):
            return  # cut off: what was heard before is still good


class _Resampler:
    """To mono at one rate, also where the sound's form changes on the way, as it does in damaged files."""

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._form: tuple[str, str, int] | None = None

    def __call__(self, block: Any) -> list[Any]:
        form = block.format.name, block.layout.name, block.sample_rate
        if form != self._form:
            self._form = form
            self._resampler = av.AudioResampler(format="flt", layout="mono", rate=self._rate)
        return self._resampler.resample(block)
