"""The film: the player's own picture beside the model, both always at the same moment of the stroke."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import ClipError
from swingmatch.findings.review import Pair, Review
from swingmatch.report.clock import FPS, Moment, differences_at, moments, progress
from swingmatch.report.figure import draw_figure, draw_stage
from swingmatch.report.framing import Framing, frame_swing
from swingmatch.report.labels import milliseconds, sentence_case
from swingmatch.report.overlay import draw_key, draw_skeleton
from swingmatch.report.palette import MODEL, PLAYER, STAGE, mix, rgb
from swingmatch.report.text import Picture, fit_text, put_text, text_width
from swingmatch.series import resample
from swingmatch.stroke.swing import phase_bounds

#: Film size; readable on a phone held level.
SIZE = (1280, 848)
_PANE = (636, 616)
_TOP, _CAPTION, _GAP = 64, 76, 8
_PAPER = (244, 240, 230)
_DIM = (150, 162, 158)


class FrameLike(Protocol):
    """What the film needs of a clip's frame: ``time`` in seconds and ``image``, (height, width, 3) RGB."""

    @property
    def time(self) -> float: ...
    @property
    def image(self) -> NDArray[np.uint8]: ...


#: Gives the clip's frames between two clip times, in order: ``lambda a, b: frames(clip, a, b)``.
ClipFrames = Callable[[float, float], Iterable[FrameLike]]


def write_film(
    review: Review,
    clip_frames: ClipFrames,
    path: str | os.PathLike[str],
    *,
    fps: float = FPS,
    crf: float = 24,
    progress_to: Callable[[float], None] | None = None,
) -> None:
    """Write the side-by-side film of every swing, the best one first.

    Frames are read once for each swing and never kept: memory does not grow with the clip.

    Parameters
    ----------
    review : what to show.
    clip_frames : gives the clip's upright frames between two clip times.
    path : the MP4 file to make.
    fps, crf : frames a second and x264 quality of the film.
    progress_to : called now and then with the share done, 0 to 1.

    Raises
    ------
    ClipError
        When the clip gives no frame for a swing or the film cannot be written.
    """
    plan = moments(review, fps)
    done = 0
    with FilmWriter(path, SIZE, fps, crf=crf) as film:
        for index, group in groupby(plan, key=lambda moment: moment.pair):
            shown = list(group)
            for moment, picture in _swing_pictures(review, index, shown, clip_frames):
                film.write(picture, moment.output)
                done += 1
                if progress_to is not None and done % 15 == 0:
                    progress_to(done / len(plan))
    if progress_to is not None:
        progress_to(1.0)


def _swing_pictures(
    review: Review, index: int, shown: list[Moment], clip_frames: ClipFrames
) -> Iterable[tuple[Moment, Picture]]:
    """Film pictures of one swing. The clip's frames pass by once; only the present one is held."""
    pair, times = review.pairs[index], review.track.times
    first, last = times[shown[0].frame], times[shown[-1].frame]
    framing = frame_swing(review.track, pair, _PANE, float(first), float(last))
    stage = draw_stage(_PANE, framing.view)
    board = _board(review, index)
    half = 0.5 * float(np.median(np.diff(times))) if len(times) > 1 else 0.02
    frames = iter(clip_frames(float(first) - half, float(last) + half))
    current = next(frames, None)
    if current is None:
        raise ClipError(
            f"The clip {review.clip} gave no pictures for the swing at {pair.player.contact:.1f} s."
        )
    ahead = next(frames, None)
    for frame_index, group in groupby(shown, key=lambda moment: moment.frame):
        wanted = float(times[frame_index])
        while ahead is not None and abs(ahead.time - wanted) <= abs(current.time - wanted):
            current, ahead = ahead, next(frames, None)
        left = player_pane(review, pair, framing, frame_index, current.image)
        for (model, _, _), same in groupby(group, key=lambda m: (m.model, m.hold, m.speed)):
            picture: Picture | None = None
            for moment in same:
                if picture is None:
                    picture = _compose(board, pair, moment, left, model_pane(pair, framing, stage, model))
                yield moment, picture


def player_pane(
    review: Review, pair: Pair, framing: Framing, frame_index: int, image: NDArray[np.uint8]
) -> Picture:
    """The player's part of the picture with the skeleton on it; ``image`` is the whole upright frame."""
    shift = float(review.track.times[frame_index]) - pair.player.contact
    points = framing.to_pane(review.track.image[frame_index])
    dot = float(np.clip(0.018 * framing.view.scale, 4.5, 9.0))
    return draw_skeleton(framing.crop(image), points, differences_at(pair, shift), dot=dot)


def model_pane(pair: Pair, framing: Framing, stage: Picture, model: float) -> Picture:
    """The model as a drawn figure at a time from its contact, on ``stage``."""
    swing, at = pair.model, np.array([pair.model.contact + model])
    racket = None if swing.racket is None else resample(swing.racket, swing.times, at)[0]
    return draw_figure(stage, swing.at(at)[0], framing.view, racket=racket)


def _board(review: Review, index: int) -> Picture:
    """All that stays the same through one swing: names, panes' ground, the clock's phases."""
    w, h = SIZE
    board = np.empty((h, w, 3), np.uint8)
    board[:] = mix(rgb(STAGE), (0, 0, 0), 0.35)
    right = w - _PANE[0]
    kind = "generated figure" if review.model_generated else ""
    count = f"swing {index + 1} of {len(review.pairs)}" if len(review.pairs) > 1 else ""
    for x, colour, name, tail in (
        (0, PLAYER, review.player, count),
        (right, MODEL, f"Model: {review.model_name}", kind),
    ):
        cv2.circle(board, (x + 30, _TOP // 2), 11, rgb(colour), -1, cv2.LINE_AA)
        room = _PANE[0] - 54 - 16 - (text_width(tail, 24) + 14 if tail else 0)
        size = next((z for z in range(34, 26, -1) if text_width(name, z, bold=True) <= room), 26)
        put_text(board, fit_text(name, size, room, bold=True), x + 54, _TOP // 2, size, _PAPER, bold=True)
        put_text(board, tail, x + _PANE[0] - 16, _TOP // 2, 24, _DIM, align="right")
    return board


def _compose(board: Picture, pair: Pair, moment: Moment, left: Picture, right: Picture) -> Picture:
    out = board.copy()
    w, h = SIZE
    out[_TOP : _TOP + _PANE[1], : _PANE[0]] = left
    out[_TOP : _TOP + _PANE[1], w - _PANE[0] :] = right
    draw_key(out, 24, _TOP + _PANE[1] - 30)
    events = pair.events
    place, phase = progress(events, pair.player.contact + moment.player)
    y = _TOP + _PANE[1] + _CAPTION // 2 + 2
    caption = moment.hold or sentence_case(phase)
    colour = (255, 232, 120) if moment.hold else _PAPER
    put_text(out, caption, 22, y, 48, colour, bold=True)
    put_text(out, milliseconds(moment.player), w - 22, y, 44, colour, align="right")
    speed = "held" if moment.hold else {0.25: "¼ speed", 0.5: "½ speed"}.get(moment.speed, "")
    put_text(out, speed, w // 2, y, 30, _DIM, align="centre")
    _draw_clock(out, pair, place, phase, _TOP + _PANE[1] + _CAPTION, h - 14)
    return out


def _draw_clock(out: Picture, pair: Pair, place: float, phase: str, top: int, bottom: int) -> None:
    """The stroke clock: one box a phase, the present one lit, and one mark for both swings."""
    names = list(phase_bounds(pair.events))
    if not names:
        return
    x0, x1 = 22, SIZE[0] - 22
    edges = np.linspace(x0, x1, len(names) + 1).round().astype(int)
    base = rgb(STAGE)
    for name, a, b in zip(names, edges[:-1], edges[1:], strict=True):
        lit = name == phase
        out[top:bottom, a + 2 : b - 2] = mix(base, _PAPER, 0.30 if lit else 0.10)
        colour = _PAPER if lit else _DIM
        lines = [sentence_case(name)]
        if text_width(lines[0], 30) > b - a - 10:
            lines = re.sub("([ -])", r"\1\n", lines[0], count=1).split("\n")
        for i, line in enumerate(lines):
            y = (top + bottom) // 2 + round(34 * (i - (len(lines) - 1) / 2))
            put_text(out, line.strip(), (a + b) // 2, y, 30, colour, align="centre")
    if "forward swing" in names:
        contact = int(edges[names.index("forward swing") + 1])
        cv2.line(out, (contact, top - 4), (contact, bottom + 4), (255, 232, 120), 3, cv2.LINE_AA)
    x = round(x0 + place * (x1 - x0))
    mark = np.array([[x - 13, top - 16], [x + 13, top - 16], [x, top + 4]], np.int32)
    cv2.fillConvexPoly(out, mark, _PAPER, cv2.LINE_AA)
    cv2.line(out, (x, top), (x, bottom), _PAPER, 4, cv2.LINE_AA)
