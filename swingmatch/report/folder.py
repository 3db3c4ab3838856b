"""Write a review to a folder: the film and the page, side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from swingmatch.clip.reader import Frame, frames, open_clip
from swingmatch.errors import SwingmatchError
from swingmatch.findings.review import Review
from swingmatch.library.store import slug
from swingmatch.progress import Progress, silent
from swingmatch.report.film import write_film
from swingmatch.report.page import write_page


@dataclass(frozen=True)
class Written:
    """Files that were written for one review."""

    page: Path
    film: Path


def write_review(review: Review, clip: Path, folder: Path, progress: Progress = silent) -> Written:
    """Write ``<player>.mp4`` and ``<player>.html`` into ``folder``, which is made where it is missing.

    Raises
    ------
    SwingmatchError : the folder cannot be made or written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SwingmatchError(
            f"The folder {folder} cannot be made ({error.strerror}); choose another with --out."
        ) from error
    source = open_clip(clip)
    tall = review.track.size[1]

    def clip_frames(start: float, stop: float) -> Iterator[Frame]:
        return frames(source, start, stop, max_height=tall)

    name = slug(review.player)
    film = folder / f"{name}.mp4"
    page = folder / f"{name}.html"
    write_film(review, clip_frames, film, progress_to=lambda share: progress("drawing the film", share))
    write_page(review, page, film, clip_frames=clip_frames)
    return Written(page=page, film=film)
