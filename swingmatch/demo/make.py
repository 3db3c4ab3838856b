"""Make the demo clips that ship: ``python -m swingmatch.demo.make``. The same seeds give the same pictures.

The truth of the clips is thrown away here: what the demo says about them comes from their pixels and their sound.
"""

from __future__ import annotations

from pathlib import Path

from swingmatch.synth.camera import Camera
from swingmatch.synth.cast import DEMO
from swingmatch.synth.film import aimed, render
from swingmatch.synth.look import Look
from swingmatch.synth.scene import Scene

#: One camera a player, in the order of ``cast.DEMO``: the hitting side, and the front quarter of the off side.
CAMERAS = (
    Camera(azimuth=84.0, height=1.35, distance=5.6, field_of_view=62.0, shake=0.05, size=(960, 540), seed=3),
    Camera(azimuth=48.0, height=1.5, distance=5.8, field_of_view=62.0, shake=0.05, size=(960, 540), seed=4),
)
SCENES = (
    Scene(surface="blue hard", sun_azimuth=70.0, seed=11),
    Scene(surface="clay", sun_azimuth=-40.0, exposure=0.95, seed=12),
)
SWINGS = 3
#: Keeps each clip well under 1.5 MB.
CRF = 26


def main() -> None:
    """Render both clips into this folder."""
    folder = Path(__file__).parent
    for player, camera, scene in zip(DEMO, CAMERAS, SCENES, strict=True):
        motion = player.perform(swings=SWINGS)
        path = folder / f"{player.name.lower()}.mp4"
        render(
            motion, aimed(camera, motion), Look.of(player.seed, build=player.build.girth), scene, path, crf=CRF,
            preset="slow",
        )  # fmt: skip
        print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
