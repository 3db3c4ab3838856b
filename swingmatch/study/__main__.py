"""``python -m swingmatch.study report|calibrate``: see the package's docstring."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import cv2

from swingmatch.library.store import load_library
from swingmatch.progress import Bar
from swingmatch.study.measure import Errors, errors_of
from swingmatch.study.recorded import (
    HELD_OUT_PLAYERS,
    TUNING_PLAYERS,
    RecordedShot,
    film_recorded,
    recorded_shots,
)
from swingmatch.study.review_time import review_seconds
from swingmatch.study.sample import Shot, film, shots
from swingmatch.study.tables import accuracy, summary
from swingmatch.synth.truth import ClipTruth

_ACCURACY = Path(__file__).parents[1] / "findings" / "accuracy.json"
_RECORDED = (
    "The movement is that of recorded players on the generated figure, filmed from drawn cameras. Contact was not "
    "recorded: it and the events are those which the analysis's own code reads from the true movement, and the "
    "target is where the player's forehands go, to about 15 degrees. The analysis knows forehands; the other strokes "
    "show what it does with them."
)


def _one_thread() -> None:
    """Clips are spread over processes; threads inside each would only wait for one another."""
    cv2.setNumThreads(1)


def filmed(item: Shot | RecordedShot, folder: Path) -> tuple[Path, ClipTruth]:
    """The clip of a shot, rendered where it is not yet in ``folder``, and its truth."""
    return film_recorded(item, folder) if isinstance(item, RecordedShot) else film(item, folder)


def _one(item: Shot | RecordedShot, folder: Path, keep: bool) -> Errors:
    path, truth = filmed(item, folder)
    stroke = f"recorded {item.stroke}" if isinstance(item, RecordedShot) else "forehand"
    return errors_of(path, truth, stroke=stroke, keep=keep)


def run(
    items: Sequence[Shot | RecordedShot], folder: Path, executor: Executor, *, keep: bool = False
) -> list[Errors]:
    """Render what is not yet in ``folder``, analyse all clips, and give their errors in order.

    With ``keep`` raw tracks are kept in ``folder`` too and used again, see ``kept``.
    """
    bar = Bar()
    out = []
    count = len(items)
    for done, errors in enumerate(executor.map(_one, items, [folder] * count, [keep] * count), start=1):
        bar("studying clips", done / count)
        out.append(errors)
    return out


def time_reviews(
    items: Sequence[Shot | RecordedShot], all_errors: Sequence[Errors], folder: Path, count: int
) -> None:
    """Add the seconds of the review's steps to the errors of the first ``count`` clips that could be used."""
    library = load_library()
    usable = [(item, errors) for item, errors in zip(items, all_errors, strict=True) if not errors.failed]
    for item, errors in usable[:count]:
        errors.seconds.update(review_seconds(filmed(item, folder)[0], library))


def _words() -> argparse.Namespace:
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
    parser.add_argument(
        "--keep-tracks",
        action="store_true",
        help="keep raw tracks in --folder and use those that are there, so that the pose model runs once",
    )
    parser.add_argument(
        "--time-reviews",
        type=int,
        default=0,
        metavar="N",
        help="also time aligning, comparing, page and film of N",
    )
    words = parser.parse_args()
    if words.mocap and words.what == "calibrate":
        parser.error("the recorded movement is for reports; calibrate uses generated clips")
    if words.keep_tracks and not words.folder:
        parser.error("--keep-tracks needs --folder")
    return words


def main() -> None:
    """Run the study."""
    words = _words()
    held_out = words.what == "report" and not words.tuning
    items: Sequence[Shot | RecordedShot]
    if words.mocap:
        items = recorded_shots(words.mocap, HELD_OUT_PLAYERS if held_out else TUNING_PLAYERS)
    else:
        items = shots(words.clips, held_out=held_out)
    pool = ProcessPoolExecutor(words.workers, initializer=_one_thread)
    with tempfile.TemporaryDirectory() as scratch, pool as executor:
        folder = words.folder or Path(scratch)
        all_errors = run(items, folder, executor, keep=words.keep_tracks)
        time_reviews(items, all_errors, folder, words.time_reviews)
    if words.mocap:
        print(_RECORDED + "\n")
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
