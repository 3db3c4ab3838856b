"""Run the study over many shots, on as many processes as an executor has."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path

import cv2

from swingmatch.library.folder import load_library
from swingmatch.progress import Progress, silent
from swingmatch.study.measure import Errors, errors_of
from swingmatch.study.recorded import RecordedShot, film_recorded
from swingmatch.study.review_time import review_seconds
from swingmatch.study.sample import Shot, film
from swingmatch.synth.truth import ClipTruth

AnyShot = Shot | RecordedShot


def processes(count: int) -> ProcessPoolExecutor:
    """An executor of ``count`` processes on this machine, of one thread each.

    Clips are spread over processes; threads inside each would only wait for one another.
    """
    return ProcessPoolExecutor(count, initializer=cv2.setNumThreads, initargs=(1,))


def filmed(item: AnyShot, folder: Path) -> tuple[Path, ClipTruth]:
    """The clip of a shot, rendered where it is not yet in ``folder``, and its truth."""
    return film_recorded(item, folder) if isinstance(item, RecordedShot) else film(item, folder)


def _one(item: AnyShot, folder: Path, keep: bool) -> Errors:
    path, truth = filmed(item, folder)
    stroke = f"recorded {item.stroke}" if isinstance(item, RecordedShot) else item.stroke
    return errors_of(path, truth, stroke=stroke, keep=keep)


def run(
    items: Sequence[AnyShot],
    folder: Path,
    executor: Executor,
    *,
    keep: bool = False,
    progress: Progress = silent,
) -> list[Errors]:
    """Render what is not yet in ``folder``, analyse all clips, and give their errors in order.

    With ``keep`` raw tracks are kept in ``folder`` too and used again, see ``kept``.
    """
    count = len(items)
    out = []
    for done, errors in enumerate(executor.map(_one, items, [folder] * count, [keep] * count), start=1):
        progress("studying clips", done / count)
        out.append(errors)
    return out


def time_reviews(items: Sequence[AnyShot], all_errors: Sequence[Errors], folder: Path, count: int) -> None:
    """Add the seconds of the review's steps to the errors of the first ``count`` clips that could be used."""
    library = load_library()
    usable = [(item, errors) for item, errors in zip(items, all_errors, strict=True) if not errors.failed]
    for item, errors in usable[:count]:
        errors.seconds.update(review_seconds(filmed(item, folder)[0], library))
