"""Progress of long work: a callable that the steps report to, and a bar for the terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TextIO

#: Called with the name of the step and the share of it that is done, 0..1.
Progress = Callable[[str, float], None]


def silent(step: str, share: float) -> None:
    """Report nothing."""


class Bar:
    """One line in the terminal that is rewritten as the work goes on; plain lines where there is no terminal."""

    def __init__(self, stream: TextIO | None = None, width: int = 30) -> None:
        self._stream = stream or sys.stderr
        self._width = width
        self._last = ("", -1)

    def __call__(self, step: str, share: float) -> None:
        """Show the step and its share."""
        percent = int(100 * min(max(share, 0.0), 1.0))
        if (step, percent) == self._last:
            return
        if self._stream.isatty():
            filled = round(self._width * percent / 100)
            bar = "█" * filled + "·" * (self._width - filled)
            end = "\n" if percent == 100 else ""
            self._stream.write(f"\r{step:<22} {bar} {percent:3d} %{end}")
        elif step != self._last[0]:
            self._stream.write(f"{step}\n")
        self._stream.flush()
        self._last = (step, percent)
