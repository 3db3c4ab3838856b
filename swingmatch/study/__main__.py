"""``python -m swingmatch.study report|calibrate``: see the package's docstring."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import cv2

from swingmatch.progress import Bar
from swingmatch.study.measure import Errors, errors_of
from swingmatch.study.recorded import (
    HELD_OUT_PLAYERS,
    TUNING_PLAYERS,
    RecordedShot,
    film_recorded,
    recorded_shots,
)
from swingmatch.study.sample import Shot, film, shots
from swingmatch.study.tables import accuracy, summary

_ACCURACY = Path(__file__).parents[1] / "findings" / "accuracy.json"


def _one_thread() -> None:
    """Clips are spread over processes; threads inside each would only wait for one another."""
    cv2.setNumThreads(1)


def _one(item: Shot | RecordedShot, folder: Path) -> Errors:
    path, truth = film_recorded(item, folder) if isinstance(item, RecordedShot) else film(item, folder)
    return errors_of(path, truth)


def run(items: Sequence[Shot | RecordedShot], folder: Path, executor: Executor) -> list[Errors]:
    """Render what is not yet in ``folder``, analyse all clips, and give their errors in order."""
    bar = Bar()
    out = []
    for done, errors in enumerate(executor.map(_one, items, [folder] * len(items)), start=1):
        bar("studying clips", done / len(items))
        out.append(errors)
    return out


def main() -> None:
    """Run the study."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study", description=__doc__)
    parser.add_argument("what", choices=("report", "calibrate"))
    parser.add_argument("--clips", type=int, default=24, help="number of clips (default: 24)")
    parser.add_argument(
        "--folder", type=Path, help="keep the rendered clips here and use those that are there"
    )
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    parser.add_argument(
        "--tuning",
        action="store_true",
        help="report on what settings may be tuned on, not on what is held out",
    )
    parser.add_argument(
        "--mocap", type=Path, help="drive the figure with the motion capture in this folder (with report)"
    )
    words = parser.parse_args()
    if words.mocap and words.what == "calibrate":
        parser.error("the recorded movement is for reports; calibrate uses generated clips")
    held_out = words.what == "report" and not words.tuning
    items: Sequence[Shot | RecordedShot]
    if words.mocap:
        items = recorded_shots(words.mocap, HELD_OUT_PLAYERS if held_out else TUNING_PLAYERS)
    else:
        items = shots(words.clips, held_out=held_out)
    pool = ProcessPoolExecutor(words.workers, initializer=_one_thread)
    with tempfile.TemporaryDirectory() as scratch, pool as executor:
        all_errors = run(items, words.folder or Path(scratch), executor)
    print(summary(all_errors))
    if words.what == "calibrate":
        note = (
            f"Root-mean-square error of each quantity, by column and camera side, over {len(all_errors)} generated "
            "clips (seeds kept for tuning); written by: python -m swingmatch.study calibrate"
        )
        text = json.dumps({"about": note, "rms_error": accuracy(all_errors)}, indent=1)
        _ACCURACY.write_text(text + "\n", encoding="utf-8")
        print(f"\nWritten: {_ACCURACY.name}")


if __name__ == "__main__":
    main()
