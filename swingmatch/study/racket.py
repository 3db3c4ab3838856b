"""The racket beside the truth of generated clips: ``python -m swingmatch.study.racket --clips 16``.

How often it is seen, how far off tip and face are, how often it is claimed to be seen and is wrong, with what is found
in the pictures and with three frames that are marked by hand (the truth, two pixels off). The pictures are generated:
real footage has rackets, courts and blur that none of them show, and may be worse.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX
from swingmatch.body.track import Track
from swingmatch.clip.reader import open_clip
from swingmatch.clip.sound import Onsets
from swingmatch.errors import SwingmatchError
from swingmatch.racket.ball import BallContact
from swingmatch.racket.held import Finder, RacketWatcher
from swingmatch.racket.keypoints import racket_finder
from swingmatch.racket.path import face_normal
from swingmatch.racket.points import BUTT, TIP, RacketPoints, nothing
from swingmatch.racket.watch import ball_watcher
from swingmatch.series import resample
from swingmatch.stroke.cut import body_height
from swingmatch.stroke.direction import side_name
from swingmatch.stroke.reconstruct import find_swings
from swingmatch.stroke.swing import Swing
from swingmatch.study.measure import track_timed, true_swings
from swingmatch.study.run import processes
from swingmatch.study.sample import Shot, film, shots
from swingmatch.synth.cast import HELD_OUT, TUNING
from swingmatch.synth.truth import ClipTruth

Array = NDArray[np.float64]

#: A face that is claimed to be seen and is further off than this is wrong, degrees.
WRONG = 20.0
#: A hand that marks a racket is off by this, pixels on each axis.
_MARK = 2.0
#: Marked frames, seconds before contact, where the drop's middle is not among them.
_MARKED = (0.06, 0.0)
#: About contact the face is read over this long before it, seconds.
_AT_CONTACT = 0.02
#: A ball whose contact is this many frames off is found.
_FRAMES = 2.0


@dataclass
class RacketErrors:
    """Errors of one clip.

    Attributes
    ----------
    side : camera side of a right-hander. rate : frames a second. shutter : seconds.
    frames, seen : frames from the take-back's end to 0.15 s after contact, and those with a racket.
    tip, whole : cm, in frames with a racket: of the tip against the butt, and against the body's hand.
    face : degrees, the same frames.
    drop, contact : degrees, of the face through the drop, and just before contact.
    ball : frames by which the ball's contact is off, NaN where it was not seen; one for each stroke looked at.
    failed : why the clip could not be used.
    """

    side: str
    rate: float
    shutter: float
    frames: int = 0
    seen: int = 0
    tip: list[float] = field(default_factory=list)
    whole: list[float] = field(default_factory=list)
    face: list[float] = field(default_factory=list)
    drop: list[float] = field(default_factory=list)
    contact: list[float] = field(default_factory=list)
    ball: list[float] = field(default_factory=list)
    failed: str = ""


def marked(truth: ClipTruth, track: Track, swing: Swing, seed: int = 0) -> RacketPoints:
    """Three frames marked by hand: in the drop, in the forward swing and at contact."""
    drop = 0.5 * (swing.events["end_of_take_back"] + swing.events["forward_start"])
    moments = [drop, *(swing.contact - before for before in _MARKED)]
    rows = sorted({int(np.abs(truth.times - moment).argmin()) for moment in moments})
    scale = track.size[1] / float(truth.camera["size"][1])  # type: ignore[index]
    image = truth.racket_image[rows] * scale
    noise = np.random.default_rng([seed, 31]).normal(0.0, _MARK, image.shape)
    return RacketPoints(truth.times[rows], image + noise, np.full((len(rows), 5), _MARK))


def racket_errors(
    path: Path,
    truth: ClipTruth,
    track: Track,
    onsets: Onsets | None,
    *,
    find: Finder | None = None,
    marks: bool = False,
    stroke: str = "forehand",
    ball: bool = True,
) -> RacketErrors:
    """One clip's racket beside the truth.

    Parameters
    ----------
    find : looks for the racket in the pictures, None for no one. marks : whether three frames are marked.
    ball : whether the ball is looked for.

    Hand, stroke and camera side are given, so that the errors are the racket's and not theirs.
    """
    azimuth = float(truth.camera["azimuth"])  # type: ignore[arg-type]
    mirrored = azimuth if truth.hand == "right" else -azimuth
    out = RacketErrors(side_name(mirrored), float(truth.camera["fps"]), float(truth.camera["shutter"]))  # type: ignore[arg-type]
    true = true_swings(truth, stroke)
    looks = ball_watcher(open_clip(path), track, body_height(track)) if ball else None
    asked: list[BallContact | None] = []

    def ball_seen(guess: float, hand: str) -> BallContact | None:
        assert looks is not None
        asked.append(looks(guess, hand))
        return asked[-1]

    given = marked(truth, track, true[0]) if marks else nothing(np.zeros(0))
    watcher = RacketWatcher(
        track.size, body_height(track), find, given if marks else None, ball_seen if ball else None
    )
    try:
        strokes = find_swings(track, onsets, hand=truth.hand, stroke=stroke, azimuth=azimuth, racket=watcher)
    except SwingmatchError as error:
        out.failed = str(error)
        return out
    for one in true:
        near = min(strokes.swings, key=lambda swing: abs(swing.contact - one.contact))
        if abs(near.contact - one.contact) < 0.2:
            _beside(out, near, one, truth.stature)
    period = float(np.median(np.diff(truth.times)))
    for found in asked:
        off = np.nan if found is None else min(abs(found.time - one.contact) for one in true) / period
        out.ball.append(float(off))
    return out


def _beside(out: RacketErrors, swing: Swing, true: Swing, stature: float) -> None:
    """Add a swing's frames."""
    start = true.events.get("end_of_take_back", true.contact - 0.5)
    inside = (swing.times >= start) & (swing.times <= true.contact + 0.15)
    out.frames += int(inside.sum())
    if swing.racket is None or swing.racket_seen is None or true.racket is None:
        return
    seen = inside & swing.racket_seen
    out.seen += int(seen.sum())
    at = swing.times[seen]
    mine, theirs = swing.racket[seen], resample(true.racket, true.times, at)
    hand = INDEX[f"{true.hand}_hand"]
    held = mine[:, TIP] - swing.points[seen, hand]
    truly = theirs[:, TIP] - resample(true.points[:, hand], true.times, at)
    own, its = mine[:, TIP] - mine[:, BUTT], theirs[:, TIP] - theirs[:, BUTT]
    out.tip += (100.0 * stature * np.linalg.norm(own - its, axis=1)).tolist()
    out.whole += (100.0 * stature * np.linalg.norm(held - truly, axis=1)).tolist()
    cosine = np.clip((face_normal(mine) * face_normal(theirs)).sum(axis=1), -1.0, 1.0)
    off = np.degrees(np.arccos(cosine))
    out.face += off.tolist()
    drop = at <= true.events.get("forward_start", true.contact - 0.15)
    out.drop += off[drop].tolist()
    out.contact += off[
        (at >= true.contact - max(_AT_CONTACT, 1.0 / out.rate)) & (at <= true.contact)
    ].tolist()


def table(all_errors: Sequence[RacketErrors], title: str) -> str:
    """Errors by camera side, frame rate and shutter in Markdown; median / 90th percentile."""
    lines = [
        f"| {title} | clips | frames with racket | tip against butt cm | "
        "tip against hand cm | face in drop ° | face at contact ° | claimed seen, wrong "
        f"by > {WRONG:.0f}° | ball within ±{_FRAMES:.0f} frames |",
        "|---" * 9 + "|",
    ]
    groups: list[tuple[str, Callable[[RacketErrors], object]]] = [
        ("", lambda e: e.side),
        ("", lambda e: f"{e.rate:.0f} a second"),
        ("", lambda e: f"1/{1.0 / e.shutter:.0f} s"),
        ("", lambda e: "all"),
    ]
    for _, key in groups:
        for name in sorted({str(key(e)) for e in all_errors}):
            lines.append(_line(name, [e for e in all_errors if str(key(e)) == name]))
    return "\n".join(lines)


def _line(name: str, some: Sequence[RacketErrors]) -> str:
    frames = sum(e.frames for e in some)
    face = np.array([v for e in some for v in e.face])
    ball = np.array([v for e in some for v in e.ball])
    cells = [
        name,
        str(len(some)),
        f"{100.0 * sum(e.seen for e in some) / frames:.0f} %" if frames else "–",
        _spread([v for e in some for v in e.tip]),
        _spread([v for e in some for v in e.whole]),
        _spread([v for e in some for v in e.drop]),
        _spread([v for e in some for v in e.contact]),
        f"{100.0 * np.mean(face > WRONG):.0f} %" if len(face) else "–",
        f"{100.0 * np.mean(ball <= _FRAMES):.0f} %" if len(ball) else "–",
    ]
    return "| " + " | ".join(cells) + " |"


def _spread(values: Sequence[float]) -> str:
    if not values:
        return "–"
    return f"{np.median(values):.1f} / {np.percentile(values, 90):.1f}"


def _one(item: Shot, folder: Path, keep: bool) -> tuple[RacketErrors, RacketErrors]:
    """A clip's racket as the network finds it, and with three marked frames alone."""
    path, truth = film(item, folder)
    track, onsets, _ = track_timed(path, keep=keep)
    find = racket_finder(open_clip(path), track, body_height(track))
    found = racket_errors(path, truth, track, onsets, find=find)
    return found, racket_errors(path, truth, track, onsets, marks=True, ball=False)


def main() -> None:
    """Run the study of the racket, as the network finds it and with three marked frames alone."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.racket", description=__doc__)
    parser.add_argument("--clips", type=int, default=16, help="number of clips (default: 16)")
    parser.add_argument("--folder", type=Path, help="keep the rendered clips and tracks here")
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    parser.add_argument(
        "--tuning", action="store_true", help="report on what may be tuned on, not on what is held out"
    )
    words = parser.parse_args()
    items = shots(TUNING if words.tuning else HELD_OUT, words.clips)
    count = len(items)
    with tempfile.TemporaryDirectory() as scratch, processes(words.workers) as executor:
        folder = words.folder or Path(scratch)
        both = list(executor.map(_one, items, [folder] * count, [words.folder is not None] * count))
    for title, which in (("found in the pictures", 0), ("three marked frames", 1)):
        found = [pair[which] for pair in both]
        print(table(found, title) + "\n")
        print("\n".join(e.failed for e in found if e.failed))


if __name__ == "__main__":
    main()
