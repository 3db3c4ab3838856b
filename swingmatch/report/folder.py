"""Write a review to a folder: the film and the page, side by side."""

from __future__ import annotations

import itertools
import os
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from swingmatch.clip.reader import Frame, frames, open_clip
from swingmatch.errors import LibraryError, SwingmatchError
from swingmatch.findings.measured import Measured
from swingmatch.findings.review import Review
from swingmatch.library.folder import slug
from swingmatch.progress import Progress, silent
from swingmatch.report.film import write_film
from swingmatch.report.measures_files import write_csv, write_parquet
from swingmatch.report.page import write_page
from swingmatch.report.save import save_text


@dataclass(frozen=True)
class Written:
    """Files that were written for one review."""

    page: Path
    film: Path


def check_folder(folder: Path) -> None:
    """Raise ``SwingmatchError`` where a folder for reviews can be neither made nor written to. Makes nothing."""
    nearest = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not nearest.is_dir():
        raise SwingmatchError(
            f"The reviews cannot go to {folder} because {nearest} is not a folder; choose another with --out."
        )
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise SwingmatchError(
            f"The reviews cannot go to {folder} because nothing may be written to {nearest}; choose another with --out."
        )


def write_review(
    review: Review, clip: Path, folder: Path, progress: Progress = silent, *, keep: Collection[Path] = ()
) -> Written:
    """Write ``<player>.mp4`` and ``<player>.html`` into ``folder``, which is made where it is missing.

    Files of an earlier run are replaced, but never the clip nor a file of ``keep``: a number is added to the name.

    Raises
    ------
    SwingmatchError : the folder cannot be made or written to.
    """
    _make_folder(folder)
    source = open_clip(clip)
    tall = review.track.size[1]

    def clip_frames(start: float, stop: float) -> Iterator[Frame]:
        # The review's times are real; a clip in slow motion takes longer over them.
        for frame in frames(source, start * review.slow, stop * review.slow, max_height=tall):
            yield replace(frame, time=frame.time / review.slow)

    page, film = _free(folder, _file_name(review.player), (clip, *keep), ("html", "mp4"))
    write_film(review, clip_frames, film, progress_to=lambda share: progress("drawing the film", share))
    write_page(review, page, film, clip_frames=clip_frames)
    return Written(page=page, film=film)


def write_measures(
    measured: Measured, clip: Path, folder: Path, *, keep: Collection[Path] = ()
) -> tuple[Path, Path]:
    """Write ``<clip's name>-measures.csv`` and ``.parquet`` into ``folder``, which is made where it is missing.

    Files of an earlier run are replaced, but never a file of ``keep``: a number is added to the name.

    Raises
    ------
    SwingmatchError : the folder or a file cannot be written.
    """
    _make_folder(folder)
    table, frame = _free(folder, f"{clip.stem}-measures", keep, ("csv", "parquet"))
    write_csv(measured, table)
    write_parquet(measured, frame)
    return table, frame


def write_note(text: str, clip: Path, folder: Path, *, keep: Collection[Path] = ()) -> Path:
    """Write a note on a clip to ``<clip's name>-note.txt`` in ``folder``, which is made where it is missing.

    A note of an earlier run is replaced, but never a file of ``keep``: a number is added to the name.

    Raises
    ------
    SwingmatchError : the folder or the file cannot be written.
    """
    _make_folder(folder)
    names = (f"{clip.stem}-note{'' if number == 1 else f'-{number}'}.txt" for number in itertools.count(1))
    path = next(folder / name for name in names if not any(_same(folder / name, kept) for kept in keep))
    save_text(text, path)
    return path


def _make_folder(folder: Path) -> None:
    check_folder(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SwingmatchError(
            f"The folder {folder} cannot be made ({error.strerror}); choose another with --out."
        ) from error


def _file_name(player: str) -> str:
    """The player's name as a file name, or "review" where the name holds neither letter nor digit."""
    try:
        return slug(player)
    except LibraryError:
        return "review"


def _free(folder: Path, name: str, keep: Collection[Path], kinds: tuple[str, str]) -> tuple[Path, Path]:
    """Files of both ``kinds`` of the first of name, name-2, name-3 ... that would replace no file of ``keep``."""
    stems = (name if number == 1 else f"{name}-{number}" for number in itertools.count(1))
    pairs = ((folder / f"{stem}.{kinds[0]}", folder / f"{stem}.{kinds[1]}") for stem in stems)
    return next(pair for pair in pairs if not any(_same(path, kept) for path in pair for kept in keep))


def _same(one: Path, other: Path) -> bool:
    return one.exists() and other.exists() and one.samefile(other)
