"""The command line: it translates words into calls and errors into one sentence each, nothing else."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from swingmatch import __version__, explain_command, library_commands, players_commands
from swingmatch.errors import SwingmatchError
from swingmatch.progress import Bar
from swingmatch.words.language import choose

if TYPE_CHECKING:
    from swingmatch.body.estimator import PoseEstimator
    from swingmatch.library.folder import Library
    from swingmatch.library.own import OwnModels
    from swingmatch.pipeline import Options

#: What the coach may call the places a camera stands, with the azimuth in degrees.
CAMERA_PLACES: dict[str, float] = {
    "front": 0.0,
    "front-right": 45.0,
    "right": 90.0,
    "back-right": 135.0,
    "back": 180.0,
    "back-left": -135.0,
    "left": -90.0,
    "front-left": -45.0,
}
#: What the coach may call a stroke, with its name.
STROKE_WORDS: dict[str, str] = {
    "forehand": "forehand",
    "two-handed-backhand": "two-handed backhand",
    "one-handed-backhand": "one-handed backhand",
    "serve": "serve",
}
_CAUTION = (
    "Feedback on movement, not medical advice: where something hurts, stop and see a professional. "
    "Film minors only with their own and their parents' consent."
)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="swingmatch",
        description="Set a player's forehand beside a model swing, at the same moment and from the same side.",
        epilog=_CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"swingmatch {__version__}")
    commands = parser.add_subparsers(dest="command", required=True)

    demo = commands.add_parser("demo", help="review the two generated players that come with swingmatch")
    demo.add_argument("--out", type=Path, default=Path("swingmatch-review"), help="folder for the reviews")

    compare = commands.add_parser("compare", help="review clips of your own")
    compare.add_argument("--out", type=Path, default=Path("swingmatch-review"), help="folder for the reviews")
    compare.add_argument(
        "--model", metavar="NAME", help="volunteer to compare with (default: the most alike)"
    )
    _add_library(compare)
    compare.add_argument("--player", metavar="NAME", help="name to show (default: the file's name)")
    explain_command.add_language(compare)
    _add_clips(compare)
    _add_height(compare)

    explain = commands.add_parser("explain", help="say what works and the two or three changes worth making")
    explain.add_argument(
        "--model", metavar="NAME", help="volunteer to compare with (default: the most alike)"
    )
    _add_library(explain)
    explain.add_argument(
        "--player", metavar="NAME", help="the player's name or code (default: the file's name)"
    )
    explain_command.add_arguments(explain)
    _add_clips(explain, least="*")
    _add_height(explain)
    explain.add_argument(
        "--stroke", choices=tuple(STROKE_WORDS), help="which stroke it is (default: told from the swing)"
    )

    measure = commands.add_parser("measure", help="measure the swings of clips the way a coach looks at them")
    measure.add_argument(
        "--out", type=Path, default=Path("swingmatch-measures"), help="folder for the CSV and Parquet files"
    )
    _add_clips(measure)
    _add_height(measure)
    measure.add_argument(
        "--stroke", choices=tuple(STROKE_WORDS), help="which stroke it is (default: told from the swing)"
    )

    check = commands.add_parser("check", help="say what clips can show, and how to film the next one")
    check.add_argument("--out", type=Path, help="folder for the notes to the players (default: only shown)")
    _add_clips(check)

    models = commands.add_parser("models", help="list the model swings")
    _add_library(models)

    library_commands.register(commands, _add_clips)
    players_commands.register(commands)
    return parser


def _add_clips(parser: argparse.ArgumentParser, least: str = "+") -> None:
    """The clips, and what the coach may say about them."""
    parser.add_argument(
        "clips", nargs=least, type=Path, metavar="CLIP", help="video file of one player, or a folder of them"
    )
    parser.add_argument(
        "--hand", choices=("right", "left"), help="hitting hand (default: told from the swing)"
    )
    parser.add_argument(
        "--camera",
        choices=tuple(CAMERA_PLACES),
        help="where the camera stands, seen by the player (default: told)",
    )
    parser.add_argument(
        "--person",
        metavar="WHO",
        help="who the player is among several people: biggest, left, right, or a point in the first picture like "
        "0.3,0.5, shares of its width and height (default: told)",
    )
    parser.add_argument(
        "--slow",
        type=float,
        metavar="TIMES",
        help="how many times slower than life the clip plays, 1 for real speed (default: told)",
    )
    parser.add_argument(
        "--pose-model", type=Path, metavar="FILE", help="a BlazePose .task file in place of the bundled model"
    )


def _add_library(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--library",
        metavar="WHERE",
        help="shipped: the model swings that ship; mine: those of your private library that may be shown to students; "
        "or a folder of model swings (default: shipped and mine)",
    )


def _add_height(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--height",
        type=float,
        metavar="METRES",
        help="the player's height; lengths are then told in metres too",
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command. Returns 0, 1 when a clip could not be used, or 130 when the user stopped it."""
    words = _parser().parse_args(arguments)
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A terminal or a pipe that knows no "−" or "°" shall cost that letter, not the review.
        sys.stdout.reconfigure(errors="replace")
    try:
        if words.command == "demo":
            return _demo(words.out)
        if words.command == "explain":
            return explain_command.run(words, _options, _files)
        if words.command == "library":
            return library_commands.run(words, _options, _files)
        if words.command == "players":
            return players_commands.run(words)
        if words.command == "models":
            return _models(words.library)
        if words.command == "check":
            return _check(words)
        if words.command == "measure":
            return _measure(words)
        return _compare(words)
    except SwingmatchError as error:
        print(f"swingmatch: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nswingmatch: stopped; what was finished is kept.", file=sys.stderr)
        return 130


def _demo(out: Path) -> int:
    from swingmatch.setup_check import check_native_libraries

    check_native_libraries()
    from swingmatch.demo.clips import demo_clips
    from swingmatch.pipeline import Options

    print("Two made-up players, filmed by a renderer; no person was recorded.\n")
    language = choose()
    jobs = [(clip.path, Options(player=clip.player, language=language)) for clip in demo_clips()]
    return _review_all(jobs, "shipped", None, out)


def _compare(words: argparse.Namespace) -> int:
    from swingmatch.setup_check import check_native_libraries

    check_native_libraries()
    options = explain_command.with_own(
        replace(_options(words), model=words.model, player=words.player, language=choose(words.language))
    )
    jobs = [(clip, options) for clip in _files(words.clips)]
    return _review_all(jobs, words.library, words.pose_model, words.out)


def _options(words: argparse.Namespace) -> Options:
    """What the coach says about clips. Raises ``SwingmatchError`` for what makes no sense."""
    from swingmatch.body.people import read_wanted
    from swingmatch.footage.slow_motion import said
    from swingmatch.pipeline import Options

    height, stroke = getattr(words, "height", None), getattr(words, "stroke", None)
    return Options(
        hand=words.hand,
        azimuth=None if words.camera is None else CAMERA_PLACES[words.camera],
        person=None if words.person is None else read_wanted(words.person),
        slow=None if words.slow is None else said(words.slow).factor,
        stature=height,
        stroke=None if stroke is None else STROKE_WORDS.get(stroke, stroke),
    )


def _files(paths: Sequence[Path]) -> list[Path]:
    """The files that are meant: each path itself, or every file in it where it is a folder, by name."""
    out: list[Path] = []
    for path in paths:
        if not path.is_dir():
            out.append(path)
            continue
        try:
            inside = sorted(
                file for file in path.iterdir() if file.is_file() and not file.name.startswith(".")
            )
        except OSError as error:
            raise SwingmatchError(f"The folder {path} may not be read ({error.strerror}).") from error
        if not inside:
            raise SwingmatchError(f"The folder {path} holds no files.")
        out += inside
    return out


def _check(words: argparse.Namespace) -> int:
    """Check clip after clip; one that cannot be used costs a sentence and the rest goes on."""
    from swingmatch.setup_check import check_native_libraries

    check_native_libraries()
    from swingmatch.body.estimator import make_estimator
    from swingmatch.report.folder import check_folder

    options = _options(words)
    clips = _files(words.clips)
    if words.out is not None:
        check_folder(words.out)
    estimator = make_estimator(words.pose_model)
    failed = 0
    keep = list(clips)
    try:
        for clip in clips:
            try:
                usable, written = _check_one(clip, options, estimator, words.out, keep)
            except SwingmatchError as error:
                usable, written = False, []
                print(f"\nswingmatch: {error}", file=sys.stderr)
            failed += not usable
            keep += written
    finally:
        estimator.close()
    print(_CAUTION)
    return 1 if failed else 0


def _check_one(
    clip: Path, options: Options, estimator: PoseEstimator, out: Path | None, keep: Sequence[Path]
) -> tuple[bool, list[Path]]:
    """Check one clip: whether it can be used, and the files that were written."""
    from swingmatch.footage.advice import note_to_player
    from swingmatch.pipeline import check_clip
    from swingmatch.report.folder import write_note
    from swingmatch.report.note import footage_note

    footage = check_clip(clip, options, estimator=estimator, progress=Bar())
    note = note_to_player(footage)
    print(f"\n{footage_note(clip.name, footage)}\n\nNote to forward\n\n{note}\n")
    if out is None:
        return footage.usable, []
    written = write_note(f"{note}\n", clip, out, keep=keep)
    print(f"Note: {written}\n")
    return footage.usable, [written]


def _measure(words: argparse.Namespace) -> int:
    """Measure clip after clip; one that cannot be used costs a sentence and the rest goes on."""
    from swingmatch.setup_check import check_native_libraries

    check_native_libraries()
    from swingmatch.body.estimator import make_estimator
    from swingmatch.report.folder import check_folder

    options = _options(words)
    clips = _files(words.clips)
    check_folder(words.out)
    estimator = make_estimator(words.pose_model)
    failed = 0
    keep = list(clips)
    try:
        for clip in clips:
            try:
                keep += _measure_one(clip, options, estimator, words.out, keep)
            except SwingmatchError as error:
                failed += 1
                print(f"\nswingmatch: {error}", file=sys.stderr)
    finally:
        estimator.close()
    print(_CAUTION)
    return 1 if failed else 0


def _measure_one(
    clip: Path, options: Options, estimator: PoseEstimator, out: Path, keep: Sequence[Path]
) -> tuple[Path, Path]:
    """Measure one clip without touching the files of ``keep``; the two files that were written."""
    from swingmatch.pipeline import measure_clip
    from swingmatch.report.folder import write_measures
    from swingmatch.report.measures_table import measures_table

    measured = measure_clip(clip, options, estimator=estimator, progress=Bar())
    print(f"\n{measures_table(measured)}")
    table, frame = write_measures(measured, clip, out, keep=keep)
    print(f"Table: {table}\nData frame: {frame}\n")
    return table, frame


def _review_all(
    jobs: Sequence[tuple[Path, Options]], where: str | None, pose_model: Path | None, out: Path
) -> int:
    """Review clip after clip; one that cannot be used costs a sentence and the rest goes on."""
    from swingmatch.body.estimator import make_estimator
    from swingmatch.library.choose import find_label
    from swingmatch.report.folder import check_folder

    failed = 0
    keep = [clip for clip, _ in jobs]
    # What is wrong with the words is said at once, not after minutes of work.
    check_folder(out)
    with library_commands.models_of(where) as library:
        for name in {options.model for _, options in jobs if options.model is not None}:
            find_label(library.names(), name)
        estimator = make_estimator(pose_model)
        try:
            for clip, options in jobs:
                try:
                    keep += _review_one(clip, options, library, estimator, out, keep)
                except SwingmatchError as error:
                    failed += 1
                    print(f"\nswingmatch: {error}", file=sys.stderr)
        finally:
            estimator.close()
    print(_CAUTION)
    return 1 if failed else 0


def _review_one(
    clip: Path,
    options: Options,
    library: Library | OwnModels,
    estimator: PoseEstimator,
    out: Path,
    keep: Sequence[Path],
) -> tuple[Path, Path]:
    """Review one clip without touching the files of ``keep``; the two files that were written."""
    from swingmatch.pipeline import review_clip
    from swingmatch.report.folder import write_review
    from swingmatch.report.note import coach_note

    bar = Bar()
    review = review_clip(clip, library, options, estimator=estimator, progress=bar)
    written = write_review(review, clip, out, progress=bar, keep=keep)
    print(f"\n{coach_note(review)}\n\nPage: {written.page}\nFilm: {written.film}\n")
    return written.page, written.film


def _models(where: str | None) -> int:
    with library_commands.models_of(where) as library:
        for line in library_commands.model_lines(library):
            print(line)
    return 0


if __name__ == "__main__":
    sys.exit(main())
