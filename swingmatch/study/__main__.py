"""``python -m swingmatch.study report|calibrate|outside``: see the package's docstring."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Sequence
from pathlib import Path

from swingmatch.progress import Bar
from swingmatch.study import outside
from swingmatch.study.captured import strokes
from swingmatch.study.certainty import measures_tables, write_certainty
from swingmatch.study.measure import Errors
from swingmatch.study.recorded import HELD_OUT_PLAYERS, TUNING_PLAYERS, recorded_shots
from swingmatch.study.run import AnyShot, processes, run, time_reviews
from swingmatch.study.sample import PLAYERS, shots
from swingmatch.study.tables import accuracy, by_stroke, summary
from swingmatch.synth.cast import CALIBRATION, HELD_OUT, TUNING

_ACCURACY = Path(__file__).parents[1] / "findings" / "accuracy.json"
_RECORDED = (
    "The movement is that of recorded players on the generated figure, filmed from drawn cameras. Contact was not "
    "recorded: it and the events are those which the analysis's own code reads from the true movement, and the "
    "target is where the player's forehands go, to about 15 degrees. The analysis knows forehands; the other strokes "
    "show what it does with them."
)


def _words() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study", description=__doc__)
    parser.add_argument("what", choices=("report", "calibrate", "outside"))
    parser.add_argument("--clips", type=int, default=24, help="number of clips of each stroke (default: 24)")
    parser.add_argument(
        "--stroke",
        choices=tuple(PLAYERS),
        action="append",
        help="what is filmed; may be given several times (default: forehands)",
    )
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
        "--mocap",
        type=Path,
        help="drive the figure with the motion capture in this folder (with report), or put it beside "
        "published studies (with outside)",
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
    words.stroke = words.stroke or ["forehand"]
    if words.tuning and words.what == "calibrate":
        parser.error("what is tuned on flatters; calibrate has seeds of its own")
    if words.mocap and words.what == "calibrate":
        parser.error("the recorded movement is for reports; calibrate uses generated clips")
    if words.what == "outside" and not words.mocap:
        parser.error("outside needs --mocap")
    if words.keep_tracks and not words.folder:
        parser.error("--keep-tracks needs --folder")
    return words


def main() -> None:
    """Run the study."""
    words = _words()
    if words.what == "outside":
        print(outside.text(outside.compare(strokes(words.mocap))))
        return
    held_out = words.what == "report" and not words.tuning
    items: Sequence[AnyShot]
    if words.mocap:
        items = recorded_shots(words.mocap, HELD_OUT_PLAYERS if held_out else TUNING_PLAYERS)
    else:
        calibration = CALIBRATION if words.what == "calibrate" else HELD_OUT
        seeds = TUNING if words.tuning else calibration
        items = [item for stroke in words.stroke for item in shots(seeds, words.clips, stroke)]
    with tempfile.TemporaryDirectory() as scratch, processes(words.workers) as executor:
        folder = words.folder or Path(scratch)
        all_errors = run(items, folder, executor, keep=words.keep_tracks, progress=Bar())
        time_reviews(items, all_errors, folder, words.time_reviews)
    if words.mocap:
        print(_RECORDED + "\n")
    for stroke, found in by_stroke(all_errors):
        print(f"# {stroke}\n\n{summary(found)}\n\n{measures_tables(found)}\n")
    if words.what == "calibrate":
        _write_accuracy([errors for errors in all_errors if errors.stroke == "forehand"])
        write_certainty(all_errors)


def _write_accuracy(forehands: Sequence[Errors]) -> None:
    """Write the errors of the comparison's quantities, which are those of a forehand."""
    if not forehands:
        return
    note = (
        f"Root-mean-square error of each quantity, by column and camera side, over {len(forehands)} generated "
        "clips (seeds kept for this alone); written by: python -m swingmatch.study calibrate"
    )
    text = json.dumps({"about": note, "rms_error": accuracy(forehands)}, indent=1)
    _ACCURACY.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
