"""``python -m swingmatch.study report|calibrate``: see the package's docstring."""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Sequence
from pathlib import Path

from swingmatch.progress import Bar
from swingmatch.study.certainty import CERTAINTY, measures_tables, write_certainty
from swingmatch.study.recorded import HELD_OUT_PLAYERS, TUNING_PLAYERS, recorded_shots
from swingmatch.study.run import AnyShot, processes, run, time_reviews
from swingmatch.study.sample import shots
from swingmatch.study.tables import accuracy, summary
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
    if words.tuning and words.what == "calibrate":
        parser.error("what is tuned on flatters; calibrate has seeds of its own")
    if words.mocap and words.what == "calibrate":
        parser.error("the recorded movement is for reports; calibrate uses generated clips")
    if words.keep_tracks and not words.folder:
        parser.error("--keep-tracks needs --folder")
    return words


def main() -> None:
    """Run the study."""
    words = _words()
    held_out = words.what == "report" and not words.tuning
    items: Sequence[AnyShot]
    if words.mocap:
        items = recorded_shots(words.mocap, HELD_OUT_PLAYERS if held_out else TUNING_PLAYERS)
    else:
        calibration = CALIBRATION if words.what == "calibrate" else HELD_OUT
        items = shots(TUNING if words.tuning else calibration, words.clips)
    with tempfile.TemporaryDirectory() as scratch, processes(words.workers) as executor:
        folder = words.folder or Path(scratch)
        all_errors = run(items, folder, executor, keep=words.keep_tracks, progress=Bar())
        time_reviews(items, all_errors, folder, words.time_reviews)
    if words.mocap:
        print(_RECORDED + "\n")
    print(summary(all_errors))
    print("\n" + measures_tables(all_errors))
    if words.what == "calibrate":
        note = (
            f"Root-mean-square error of each quantity, by column and camera side, over {len(all_errors)} generated "
            "clips (seeds kept for this alone); written by: python -m swingmatch.study calibrate"
        )
        text = json.dumps({"about": note, "rms_error": accuracy(all_errors)}, indent=1)
        _ACCURACY.write_text(text + "\n", encoding="utf-8")
        write_certainty(all_errors)
        print(f"\nWritten: {_ACCURACY.name}, {CERTAINTY.name}")


if __name__ == "__main__":
    main()
