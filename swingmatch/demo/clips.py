"""The demo clips that ship: two made-up players, rendered by ``swingmatch.synth``; no person was recorded."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from swingmatch.errors import SetupError

_FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class DemoClip:
    """One shipped clip and the name shown for its made-up player."""

    path: Path
    player: str


def demo_clips() -> tuple[DemoClip, ...]:
    """The shipped clips, in the order in which the demo reviews them.

    Raises ``SetupError`` where they are missing.
    """
    paths = sorted(_FOLDER.glob("*.mp4"))
    if not paths:
        raise SetupError("The demo clips that come with swingmatch are missing; please install it again.")
    return tuple(DemoClip(path, f"{path.stem.capitalize()} (generated)") for path in paths)
