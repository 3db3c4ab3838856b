"""What a clip can show, said before anything is measured, and what it therefore must not be asked.

``check`` gathers remarks; each may take measures away (``Remark.gates``), and ``Footage.hides`` tells the comparison
so: what cannot be seen from a clip is not reported later.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from swingmatch.body.skeleton import INDEX, KEYPOINTS
from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip
from swingmatch.clip.sound import Onsets
from swingmatch.findings.accuracy import can_be_seen, error_of
from swingmatch.findings.columns import COLUMNS
from swingmatch.findings.quantities import QUANTITIES
from swingmatch.footage import needs
from swingmatch.footage.picture import Picture
from swingmatch.footage.slow_motion import REAL_TIME, SlowMotion
from swingmatch.stroke.direction import SIDES, side_name
from swingmatch.stroke.swing import Hand

Severity = Literal["fine", "limits", "unusable"]

#: Fewer pictures a second than this hold a stroke in three or four of them.
_LEAST_RATE = 12.0
#: From this rate on nothing more is asked for; phones offer 60 (nominal rates are a little off at times).
_GOOD_RATE = 50.0
#: Height of the player in the picture, pixels. On three generated clips of the tuning seeds, made smaller, the median
#: (90th percentile) of the error in the picture was 1.8 (4.7) % of stature at 280 pixels, 2.0 (5.5) at 90, 2.2 (6.1) at
#: 60 and 2.7 (13) at 45. Real clips this small are compressed as well.
_SMALL, _TINY = 80.0, 45.0
#: Share of the frames with a part of the body out of the picture from which its measures are left out.
CUT_OFF = 0.15
#: Parts nearer to the border than this share of the picture count as out: the model draws them in.
_BORDER = 0.005
#: Shares of the frames in which the player is found: fewer than the first is said, fewer than the second too few.
_FOUND, _TOO_FEW = 0.98, 0.5
#: Share of the player's box that is blown out or black from which the light is bad.
_LIGHT = 0.35
#: Smear of the hand while it is fast, in body heights, from which it is said. A weak sign, so nothing is gated by it:
#: of generated clips with a shutter of 1/1000 s none reach it, of those with 1/60 s about half do.
_SMEAR = 0.012
#: Width of the edges on the player in body heights from which the picture is soft.
_SOFT = 0.02
#: Camera movement over two seconds, in picture heights; generated hand-held clips reach 0.06.
_TRAVEL = 0.12
#: Share of the frames in which the head is lower than the feet.
_UPSIDE_DOWN = 0.5
#: A view that shows fewer than this share of what the best view shows is not what a coach needs. The measured errors
#: behind it rest on four clips a side, so that a little less says nothing.
_POOR_VIEW = 0.75

_ALL = frozenset((*QUANTITIES, "duration"))
_PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("head", ("nose", "ear")),
    ("shoulders", ("shoulder",)),
    ("arms", ("elbow", "wrist", "hand")),
    ("hips", ("hip",)),
    ("knees", ("knee",)),
    ("feet", ("ankle", "heel", "toe")),
)


@dataclass(frozen=True)
class Remark:
    """One thing about the footage.

    Attributes
    ----------
    kind : what it is about, a short key such as "rate". severity : "fine", "limits" or "unusable".
    sentence : for the coach. gates : what is not reported because of it: keys of quantities ("hip_turn"), or of one
        column of one ("hand_in_front at contact").
    """

    kind: str
    severity: Severity
    sentence: str
    gates: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Footage:
    """What a clip can show.

    Attributes
    ----------
    remarks : the gravest first. rate : pictures a second of real time, NaN where unknown.
    slow : by how much the clip is slowed. hand : the hitting hand, where swings were found.
    """

    remarks: tuple[Remark, ...]
    rate: float = float("nan")
    slow: SlowMotion = REAL_TIME
    hand: Hand | None = None

    @property
    def usable(self) -> bool:
        """Whether anything can be measured at all."""
        return all(remark.severity != "unusable" for remark in self.remarks)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader of the review must know of the footage."""
        return tuple(r.sentence for r in self.remarks if r.severity != "fine" or r.kind == "side")

    def lacks(self, *kinds: str) -> bool:
        """Whether a remark of one of these kinds asks for better footage."""
        return any(remark.kind in kinds and remark.severity != "fine" for remark in self.remarks)

    def hides(self, quantity: str, column: str = "") -> str | None:
        """Why a quantity (in one column of the comparison) is not to be reported; None where it may be."""
        keys = {quantity, f"{quantity} at {column}"}
        return next((remark.sentence for remark in self.remarks if keys & remark.gates), None)

    def can_time(self, gap: float) -> bool:
        """Whether two moments ``gap`` seconds apart can be told apart: a gap within one frame is never reported."""
        return self.slow.sure and bool(gap * self.rate > 1.0)


def unusable(kind: str, sentence: str) -> Footage:
    """What is said of a clip in which there is nothing to measure."""
    return Footage((Remark(kind, "unusable", sentence, _ALL),))


def check(
    clip: Clip,
    track: Track,
    onsets: Onsets | None,
    picture: Picture | None = None,
    *,
    people: int | None = None,
    azimuth: float = float("nan"),
    azimuth_told: str = "told from the movement",
    azimuth_within: float | None = None,
    hand: Hand | None = None,
    heard: bool | None = None,
    contact_within: float | None = None,
    slow: SlowMotion = REAL_TIME,
) -> Footage:
    """Remarks on the footage of one clip.

    Parameters
    ----------
    clip, track, onsets : at real speed (see ``slow_motion``); ``onsets`` None without sound.
    picture : see ``picture.look``; nothing is said of light, blur and movement where None.
    people : most people in view at once; the track's own count where None.
    azimuth : of the camera in degrees, NaN where it is not known yet; ``azimuth_told`` says how it was found,
        ``azimuth_within`` is half the width of its 90 % interval, degrees.
    hand : the hitting hand, None where it is not known yet.
    heard : every contact was told by sound; taken as False where None.
    contact_within : half-width, seconds, of the widest 90 % interval of the contacts; None before they are known.
    slow : what is known of slow motion.
    """
    picture = picture or Picture()
    rate = clip.measured_rate
    remarks = [
        *(Remark("file", "limits", note) for note in clip.notes),
        _rate(rate, bool(heard)),
        _slow(slow),
        _varies(clip),
        _portrait(clip),
        _sound(onsets, heard, contact_within),
        _size(track, clip),
        *_in_view(track, hand or "right"),
        _found(track),
        _upright(track),
        _people(people if people is not None else int(getattr(track, "people", 1))),
        _light(picture),
        *_blur(picture, track, clip),
        _movement(picture),
        _cuts(picture),
        _side(azimuth, azimuth_told, azimuth_within, hand or "right"),
    ]
    kept = [remark for remark in remarks if remark is not None]
    order = {"unusable": 0, "limits": 1, "fine": 2}
    return Footage(tuple(sorted(kept, key=lambda remark: order[remark.severity])), rate, slow, hand)


def too_slow(rate: float, *, heard: bool) -> frozenset[str]:
    """Gates of every measure that needs more pictures a second than ``rate``."""
    return frozenset(
        f"{quantity} at {column}"
        for quantity in (*QUANTITIES, "duration")
        for column in COLUMNS
        if needs.least_rate(quantity, column, heard=heard) > rate
    )


def _rate(rate: float, heard: bool) -> Remark:
    gates = too_slow(rate, heard=heard)
    about = f"{rate:.0f} pictures a second: moments are known to about ±{500 / rate:.0f} ms"
    if rate < _LEAST_RATE:
        return Remark(
            "rate",
            "unusable",
            f"{rate:.0f} pictures a second are too few: a stroke passes between three or four of them.",
            _ALL,
        )
    if rate >= _GOOD_RATE:
        return Remark("rate", "fine", f"{about}.", gates)
    lost = _labels(key.split(" at ")[0] for key in sorted(gates) if key.endswith(" at contact"))
    without = f"; not told at contact: {', '.join(lost)}" if lost else ""
    return Remark("rate", "limits", f"{about}{without}; 60 or more would be better.", gates)


def _slow(slow: SlowMotion) -> Remark | None:
    if slow.question:
        tail = "" if slow.sure else " Durations are left out until then."
        gates = frozenset() if slow.sure else frozenset({"duration"})
        return Remark("slow", "limits", f"{slow.question}{tail}", gates)
    if slow.factor != 1.0:
        return Remark("slow", "fine", f"{slow.why} All times are given at real speed.")
    return None


def _varies(clip: Clip) -> Remark | None:
    if len(clip.times) > 2 and clip.varies:
        return Remark("varies", "fine", "The frame rate varies; every picture counts at its own time.")
    return None


def _portrait(clip: Clip) -> Remark | None:
    if clip.height <= clip.width:
        return None
    return Remark(
        "portrait", "fine", "The phone was held upright; held sideways it leaves more room for the swing."
    )


def _sound(onsets: Onsets | None, heard: bool | None, within: float | None) -> Remark:
    sure = "" if within is None else f", nine times in ten to ±{1000.0 * within:.0f} ms"
    if onsets is None:
        return Remark(
            "sound",
            "limits",
            f"The clip has no sound, so contact is told from the hand and, where it is seen, the ball{sure}.",
        )
    if heard is False or len(onsets.times) == 0:
        return Remark(
            "sound",
            "limits",
            f"Not every strike was heard; then contact is told from the hand and, where it is seen, the ball{sure}.",
        )
    return Remark("sound", "fine", "The sound tells the moment of contact.")


def _height(track: Track) -> float:
    """Height of the player in pixels, from the whole of the body that was seen; NaN where nothing was."""
    seen = track.image[track.found]
    if len(seen) == 0:
        return float("nan")
    return (
        float(np.nanpercentile(np.nanmax(seen[..., 1], axis=1) - np.nanmin(seen[..., 1], axis=1), 75)) / 0.95
    )


def _size(track: Track, clip: Clip) -> Remark | None:
    # The track may be of a smaller copy of the picture; what counts is what the camera took.
    tall = _height(track) * clip.height / track.size[1]
    if not np.isfinite(tall):
        return None
    if tall < _TINY:
        return Remark(
            "size", "unusable", f"The player is only {tall:.0f} pixels tall; film from nearer.", _ALL
        )
    if tall < _SMALL:
        return Remark(
            "size",
            "limits",
            f"The player is only {tall:.0f} pixels tall, so everything is less certain; film from nearer.",
        )
    return Remark("size", "fine", f"The player is {tall:.0f} pixels tall.")


def cut_off(track: Track) -> NDArray[np.float64]:
    """(K,) share of the frames with the player in which each keypoint lies beyond the picture."""
    seen = track.image[track.found]
    if len(seen) == 0:
        return np.zeros(len(KEYPOINTS))
    size = np.array(track.size, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        out = ((seen < _BORDER * size) | (seen > (1.0 - _BORDER) * size)).any(axis=2)
    return np.asarray(out.mean(axis=0), dtype=np.float64)


def _in_view(track: Track, hand: Hand) -> list[Remark]:
    shares = cut_off(track)
    lost = {name for name in KEYPOINTS if shares[INDEX[name]] > CUT_OFF}
    if not lost:
        return [Remark("in view", "fine", "The whole body is in view.")]
    parts = [part for part, ends in _PARTS if any(name.split("_")[-1] in ends for name in lost)]
    own = {_own(name, hand) for name in lost}
    gates = frozenset(key for key, points in needs.MADE_OF.items() if own & set(points))
    share = max(float(shares[INDEX[name]]) for name in lost)
    verb = "is" if parts == ["head"] else "are"
    sentence = f"The {_and(parts)} {verb} out of the picture in {100 * share:.0f} % of the frames"
    labels = _labels(sorted(gates))
    sentence += f"; not told: {', '.join(labels)}." if labels else "."
    return [Remark("in view", "limits", sentence, gates)]


def _own(name: str, hand: Hand) -> str:
    """A keypoint's name as a right-hander has it."""
    if hand == "right":
        return name
    return name.replace("left", "#").replace("right", "left").replace("#", "right")


def _found(track: Track) -> Remark:
    skipped = getattr(track, "skipped", np.zeros(len(track.times), dtype=bool))
    share = float(track.found[~skipped].mean()) if not skipped.all() else float("nan")
    sentence = f"The player was found in {100 * share:.0f} % of the frames."
    if not share >= _TOO_FEW:
        return Remark("found", "unusable", sentence, _ALL)
    return Remark("found", "fine" if share >= _FOUND else "limits", sentence)


def _upright(track: Track) -> Remark | None:
    feet = np.nanmean(
        track.image[track.found][:, [INDEX[f"{side}_ankle"] for side in ("left", "right")], 1], axis=1
    )
    below = track.image[track.found][:, INDEX["nose"], 1] > feet
    if len(below) and below.mean() > _UPSIDE_DOWN:
        return Remark("upside down", "unusable", UPSIDE_DOWN, _ALL)
    return None


UPSIDE_DOWN = "The picture is upside down; please turn the clip on the phone and send it again."


def _people(people: int) -> Remark | None:
    if people <= 1:
        return None
    return Remark(
        "people",
        "limits",
        f"{_count(people)} people are in view and one is taken for the player; "
        "film the player alone, or say who it is.",
    )


def _count(number: int) -> str:
    words = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")
    return words[number] if number < len(words) else str(number)


def _light(picture: Picture) -> Remark | None:
    if not np.isfinite(picture.blown):
        return None
    if picture.black > _LIGHT:
        return Remark(
            "light", "limits", "The player is too dark to be seen well; film with the light behind you."
        )
    if picture.blown > _LIGHT:
        return Remark(
            "light",
            "limits",
            "The player is overexposed; tap on the player to set the light, or turn it down.",
        )
    return Remark("light", "fine", "The light is good.")


def _blur(picture: Picture, track: Track, clip: Clip) -> list[Remark]:
    out = []
    tall = _height(track) * clip.height / track.size[1]
    if picture.smear > _SMEAR * tall:
        out.append(
            Remark(
                "blur",
                "limits",
                "The hand is smeared while it is fast; more light or a faster shutter would show it better.",
            )
        )
    if picture.edge > _SOFT * tall:
        out.append(Remark("soft", "limits", "The picture is soft; clean the lens and focus on the player."))
    return out


def _movement(picture: Picture) -> Remark | None:
    if not np.isfinite(picture.travel):
        return None
    if picture.travel > _TRAVEL:
        return Remark(
            "camera moves",
            "limits",
            "The camera moves, which makes the way of the feet and the body uncertain; rest the phone on something.",
            frozenset({"base_width", "hip_drop"}),
        )
    return Remark("camera moves", "fine", "The camera is still.")


def _cuts(picture: Picture) -> Remark | None:
    if not picture.cuts:
        return None
    at = _and([f"{cut:.1f}" for cut in picture.cuts[:5]])
    more = " and more" if len(picture.cuts) > 5 else ""
    return Remark(
        "cuts", "limits", f"The film is cut at {at} s{more}; swings across a cut are left out, send it uncut."
    )


def crosses_cut(start: float, stop: float, picture: Picture | None) -> bool:
    """Whether a cut lies within a stretch of the clip, seconds."""
    if picture is None:
        return False
    return any(start < cut and cut - picture.cut_margin < stop for cut in picture.cuts)


def shown_from(azimuth: float) -> float:
    """Share of all measures and columns that a camera at ``azimuth`` (right-handed) shows, against the best side."""

    def count(side: float) -> int:
        return sum(
            can_be_seen(quantity.floor, error_of(key, column, side))
            for key, quantity in QUANTITIES.items()
            for column in COLUMNS
        )

    return count(azimuth) / max(max(count(side) for side, _ in SIDES), 1)


def _side(azimuth: float, told: str, within: float | None, hand: Hand) -> Remark | None:
    if not np.isfinite(azimuth):
        return None
    how = told if not within else f"{told}, to about ±{within:.0f}°"
    own = azimuth if hand == "right" else -azimuth
    sentence = f"The camera looks from the {side_name(azimuth)} ({how})."
    if shown_from(own) < _POOR_VIEW:
        best = max((place for place, _ in SIDES), key=shown_from)
        better = side_name(best if hand == "right" else -best)
        return Remark("side", "limits", f"{sentence[:-1]}; the {better} shows more.")
    return Remark("side", "fine", sentence)


def _labels(keys: Iterable[str]) -> list[str]:
    return [
        QUANTITIES[key].label.split(",")[0].lower() if key in QUANTITIES else key
        for key in dict.fromkeys(keys)
    ]


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
