"""Make the model swings of ``references/``: ``python -m swingmatch.synth.volunteers references``.

Every volunteer of the cast plays a few repeats, with the natural variation of the generator; each becomes a swing
of the open format of ``swingmatch.library``. The same seeds give the same files.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import numpy as np

from swingmatch.body.skeleton import middle
from swingmatch.library.choose import stance_name, traits
from swingmatch.library.folder import write_volunteer
from swingmatch.library.format import Volunteer
from swingmatch.series import resample
from swingmatch.stroke.swing import Swing
from swingmatch.synth.build import C1
from swingmatch.synth.cast import VOLUNTEERS, Player
from swingmatch.synth.motion import Motion

RATE = 120.0  # frames a second of the files
REPEATS = 3
MARGIN = 0.1  # seconds kept before the first event and after the last
LICENCE = "the licence of swingmatch; generated data, no person has rights in it"


def swings_of(motion: Motion) -> tuple[Swing, ...]:
    """Each swing of a performance at ``RATE``: statures, time from contact, origin under the hips at its start."""
    swings = []
    for truth in motion.swings:
        contact = truth.events["contact"]
        start = max(min(truth.events.values()) - MARGIN, motion.times[0]) - contact
        end = min(max(truth.events.values()) + MARGIN, motion.times[-1]) - contact
        times = np.arange(np.ceil(start * RATE), np.floor(end * RATE) + 1) / RATE
        points = resample(motion.points, motion.times, times + contact)
        racket = resample(motion.racket, motion.times, times + contact)
        first = min(truth.events.values()) - contact
        origin = resample(middle(points, "hip"), times, np.array([first]))[0] * np.array([1.0, 0.0, 1.0])
        swings.append(
            Swing(
                times,
                (points - origin) / motion.stature,
                {name: at - contact for name, at in truth.events.items()},
                motion.hand,
                racket=(racket - origin) / motion.stature,
            )
        )
    return tuple(swings)


def volunteer_of(player: Player, repeats: int = REPEATS) -> Volunteer:
    """A cast member as a volunteer of the library."""
    swings = swings_of(player.perform(swings=repeats))
    tastes = traits(swings).tastes
    return Volunteer(
        label=player.name,
        hand=player.hand,
        swings=swings,
        stature=player.build.stature,
        generated=True,
        licence=LICENCE,
        sex=player.build.sex,
        level="invented, a sound club player's stroke",
        style={"stance": stance_name(tastes["stance"]).split(" ", 1)[1]}
        | {f"{name}_{unit}": round(tastes[name], 3) for name, unit in _UNITS.items()},
        style_words=(player.words,),
        proportions={name: player.build.length(name) / player.build.stature for name in C1},
    )


_UNITS = {"stance": "degrees", "tempo": "seconds", "take_back_height": "hip_to_shoulder"}


def write_references(
    folder: Path, players: Sequence[Player] = VOLUNTEERS, executor: Executor | None = None
) -> list[Path]:
    """Write all players as volunteers under ``folder``; returns their folders."""
    made = map(volunteer_of, players) if executor is None else executor.map(volunteer_of, players)
    return [write_volunteer(folder, volunteer) for volunteer in made]


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line: the folder to write to."""
    parser = argparse.ArgumentParser(description="Make the generated model swings that ship with swingmatch.")
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args(arguments).folder
    with ProcessPoolExecutor() as pool:
        for path in write_references(folder, executor=pool):
            print(path)


if __name__ == "__main__":
    main()
