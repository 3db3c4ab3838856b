"""How long the steps after tracking take for one clip: choosing, aligning, comparing, page and film, each by itself."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from swingmatch.align.warp import align
from swingmatch.clip.reader import Frame, frames, open_clip
from swingmatch.findings.compare import compare
from swingmatch.library.choose import choose, find_volunteer
from swingmatch.library.folder import Library
from swingmatch.pipeline import review_clip
from swingmatch.report.film import write_film
from swingmatch.report.page import write_page


def review_seconds(path: Path, library: Library) -> dict[str, float]:
    """Seconds of each step of one clip's review, by name; the steps before are timed by ``measure.track_timed``.

    Raises ``SwingmatchError`` where the clip cannot be reviewed.
    """
    review = review_clip(path, library)
    swings = [pair.player for pair in review.pairs]
    volunteer = find_volunteer(library, review.model_name)
    model = volunteer.swings[0]
    source = open_clip(path)

    def clip_frames(start: float, stop: float) -> Iterator[Frame]:
        return frames(source, start, stop, max_height=review.track.size[1])

    alignments = [align(swing, model) for swing in swings]
    with tempfile.TemporaryDirectory() as folder:
        film, page = Path(folder) / "film.mp4", Path(folder) / "page.html"
        return {
            "choose the model": _seconds(lambda: choose(swings, library)),
            "align": _seconds(lambda: [align(swing, model) for swing in swings]),
            "compare": _seconds(lambda: compare(swings, model, alignments, volunteer.swings)),
            "film": _seconds(lambda: write_film(review, clip_frames, film)),
            "page": _seconds(lambda: write_page(review, page, film, clip_frames=clip_frames)),
        }


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
