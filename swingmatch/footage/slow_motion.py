"""Slow motion: by how much a clip plays slower than life, how sure that is, and how to bring its times back.

Where the phone left its capture rate the answer is known. Otherwise each candidate factor is tried: the track is
brought to the speed it would have had, and these things are weighed against what people do in real time:

- *tempo*: how fast the hitting hand gets, and for how long it is that fast;
- *gravity*: how fast the hips are pulled down when the player sinks or hops; nobody falls faster than gravity;
- *sound*: the strike is heard some 50 ms after the hand is fastest; phones often leave sound out of slow motion;
- *strike*: it dies down within milliseconds (``clip.sound``);
- *ball*: it falls with gravity (``ball_fall``). It is looked for where the rest leaves doubt, as that takes seconds.

Slowing a clip by ``f`` divides speeds by ``f`` and accelerations by ``f ** 2``, while lengths in the picture stay, so
no scale is needed but the player's own height.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks, peak_widths, savgol_filter
from scipy.stats import norm

from swingmatch.body.skeleton import INDEX, SIDES, middle
from swingmatch.body.smooth import low_pass
from swingmatch.body.track import Track
from swingmatch.clip.clip import Clip, Frame
from swingmatch.clip.reader import frames
from swingmatch.clip.sound import Onsets
from swingmatch.errors import StrokeError, SwingmatchError
from swingmatch.footage.ball_fall import Fall, see_fall
from swingmatch.series import resample
from swingmatch.stroke.contact import SPEED_OF_SOUND, WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.cut import CLOSEST, body_height, hand_speed

Array = NDArray[np.float64]
#: Looks for the ball: hitting hand, when it is fastest (s of the clip), and by how much the clip may be slowed.
Falls = Callable[[str, float, float], Fall | None]

#: Factors that are tried without metadata: 60, 120 and 240 pictures a second played at 30, and 240 at 60 or 120.
FACTORS: tuple[float, ...] = (1.0, 2.0, 4.0, 8.0)
#: How often a player's clip plays at each of them, before it is looked at (*common practice, no source*).
PRIOR: tuple[float, ...] = (0.82, 0.06, 0.06, 0.06)
#: From this confidence on the factor is taken as it is; below it durations and speeds are not reported.
SURE = 0.9
#: Low-pass cutoffs in Hz of the keypoints that are looked at: 6-10 for body points, more for the arms' ends (E15).
_CUTOFFS = {
    **dict.fromkeys(("nose", "left_ankle", "right_ankle", "left_hip", "right_hip"), 8.0),
    **dict.fromkeys(("left_wrist", "right_wrist"), 12.0),
}
#: While real speed has this chance or more, the clip is left as it is, and the coach asked.
_REAL = 0.15
#: A coach may say that a clip is slowed by up to this much.
MOST = 64.0

#: Fastest hand of a stroke against the hips in the picture, statures a second, and for how long it is faster than half
#: of that, seconds: means, standard deviations and correlation of the logarithms. Generated forehands of the tuning
#: seeds give 4.6 and 0.14, real strokes of four league players (motion capture of Pulgarin-Giraldo et al. 2017, P1-P4)
#: 3.3 and 0.25; the figures lie between, with room for both.
_SPEED, _WIDTH = 3.9, 0.19
_SPEED_SD, _WIDTH_SD, _RELATED = 0.33, 0.42, -0.55
#: Hardest pull-down of the hips over ``_FALL`` seconds, in gravities: median, and spread of the logarithm, likewise
#: (generated 0.25, real 0.55).
_PULL, _PULL_SD = 0.45, 0.65
_FALL = 0.35
#: The hips are not the centre of mass, and are seen with noise: this much over gravity is nothing strange.
_OVER = 0.25
#: Gravity over the height of an adult, statures a second squared.
_GRAVITY = 9.81 / 1.75
#: Chance that a clip comes with sound, at each factor: phones often leave it out of slow motion (*common practice*).
_SOUND: tuple[float, ...] = (0.85, 0.6, 0.6, 0.6)
#: The strike is heard this long after the hand is fastest, seconds of real time: 38 ms to contact
#: (``stroke.contact``) and 6 m of air. The spread is wide, as in some views the finish looks faster than the hit.
_LAG, _LAG_SD = WRIST_PEAK_BEFORE_CONTACT + 6.0 / SPEED_OF_SOUND, 0.09
#: A strike is at least this loud against the loudest sound; where none is at its time, that counts as two spreads.
_LOUD, _UNHEARD = 0.3, -2.0
#: A strike heard above ``clip.sound.HIGH_PASS`` has died down to a quarter after so many seconds. Ball and strings
#: part after 4-5 ms (D2, Brody; Cross); generated sounds give 4-8 ms. Slower it lasts longer, yet only the higher
#: part, which dies first, is heard: about the root of the factor (generated: 6, 9, 12 ms at 1, 2 and 4 times). The
#: spread of the logarithm is twice the generated one, as courts and microphones are of many kinds (*own choice*).
_DECAY, _DECAY_POWER, _DECAY_SD = 0.0065, 0.5, 0.45
#: Fall of a ball in flight, gravities: topspin and drag pull it down further than a fall in a vacuum, slice less
#: (*from memory*); mean and standard deviation, and how often what was seen is not a ball.
_BALL_FALL, _BALL_FALL_SD, _NO_BALL = 1.1, 0.35, 0.1
#: Acceleration of what is not a ball, gravities, as a standard deviation about zero.
_ANY_FALL = 2.0
#: The ball is looked for where no factor has this chance, as if the clip were slowed by those that have the other one.
_CLEAR, _WORTH_A_LOOK = 0.98, 0.05
#: No single clue may speak louder than this (natural logarithm): each rests on a rough picture of people.
_LOUDEST = 8.0


@dataclass(frozen=True)
class SlowMotion:
    """By how much a clip plays slower than life.

    Attributes
    ----------
    factor : seconds of the clip for each second of life; 1 for real time.
    confidence : 0..1. why : one sentence on what it rests on.
    question : what to ask the coach; empty where nothing needs asking.
    chances : of each of ``FACTORS``, from the evidence; empty where it was not needed.
    """

    factor: float
    confidence: float
    why: str
    question: str = ""
    chances: tuple[float, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether times and speeds can be reported."""
        return self.confidence >= SURE


REAL_TIME = SlowMotion(1.0, 1.0, "The clip plays at the speed of life.")


def said(factor: float) -> SlowMotion:
    """What the coach says. Raises ``SwingmatchError`` for a factor below 1 or above ``MOST``."""
    if not 1.0 <= factor <= MOST:
        raise SwingmatchError(
            f"A clip can be slowed 1 to {MOST:.0f} times, not {factor:g} times; say another number with --slow."
        )
    return SlowMotion(float(factor), 1.0, f"The coach says that the clip is {_words(factor)}.")


def detect(clip: Clip, track: Track, onsets: Onsets | None) -> SlowMotion:
    """By how much a clip is slowed: from its metadata, otherwise from what it shows.

    Parameters
    ----------
    clip : for the capture rate, where the phone left one, and whether there is sound.
    track : on the clip's own times. onsets : sudden sounds on the clip's own times, None without sound.
    """
    known = known_slow(clip)
    return known if known is not None else from_evidence(track, onsets, ball_falls(clip, track))


def known_slow(clip: Clip) -> SlowMotion | None:
    """What the clip's metadata tells, None where that is nothing."""
    return from_metadata(clip.capture_rate, clip.measured_rate)


def from_metadata(capture_rate: float, shown_rate: float) -> SlowMotion | None:
    """Factor from the rate at which the phone took its pictures; None where that is not known.

    Parameters
    ----------
    capture_rate : pictures a second taken, NaN where unknown. shown_rate : pictures a second of the clip's times.
    """
    if not (np.isfinite(capture_rate) and capture_rate > 0 and np.isfinite(shown_rate) and shown_rate > 0):
        return None
    factor = capture_rate / shown_rate
    if (
        factor < 1.25
    ):  # filmed at the rate it is shown, give or take a varying rate; or a time lapse, which is no stroke
        return replace(
            REAL_TIME, why=f"The phone filmed {capture_rate:.0f} pictures a second and shows as many."
        )
    nearest = float(np.round(factor))
    factor = nearest if abs(factor - nearest) < 0.06 * factor else factor
    return SlowMotion(
        factor,
        1.0,
        f"The phone filmed {capture_rate:.0f} pictures a second and shows {shown_rate:.0f}: "
        f"the clip is {_words(factor)}.",
    )


def from_evidence(track: Track, onsets: Onsets | None, falls: Falls | None = None) -> SlowMotion:
    """The likeliest of ``FACTORS`` for a track on the clip's own times, real speed in doubt; see the module's text.

    ``falls`` looks for the ball: see ``ball_falls``; without it the ball is no evidence.
    """
    clues = [_clues(track, onsets, i) for i in range(len(FACTORS))]
    if not any(any(np.isfinite(clue)) for clue in clues):
        return replace(REAL_TIME, confidence=PRIOR[0], why="No movement tells whether the clip is slowed.")
    table = np.array(clues)  # (F, clues)
    # A clue that is missing for one factor says nothing about any.
    table = np.where(np.isfinite(table).all(axis=0), table, 0.0)
    chances = _chances(table)
    if falls is not None and chances.max() < _CLEAR:
        table = np.column_stack([table, _ball_fits(_look_for_ball(track, chances, falls))])
        chances = _chances(table)
    table = _bounded(table)
    # A clip at real speed that is taken for slow is the worse mistake: it needs more than the better chance.
    best = int(np.argmax(chances)) if chances[0] < _REAL else 0
    factor, confidence = FACTORS[best], float(chances[best])
    return SlowMotion(
        factor,
        confidence,
        _why(table, best),
        _question(chances, best) if factor != 1.0 or confidence < SURE else "",
        tuple(float(chance) for chance in chances),
    )


def _bounded(table: Array) -> Array:
    return np.maximum(table - table.max(axis=0), -_LOUDEST)


def _chances(table: Array) -> Array:
    """(F,) chances of ``FACTORS`` from log-likelihoods (F, clues)."""
    weight = np.log(PRIOR) + _bounded(table).sum(axis=1)
    chances = np.exp(weight - weight.max())
    return np.asarray(chances / chances.sum())


def _clues(track: Track, onsets: Onsets | None, i: int) -> tuple[float, float, float, float]:
    """Log-likelihoods of tempo, gravity, sound and strike if the clip were slowed by ``FACTORS[i]``; NaN where none."""
    real = _settled(at_real_speed(track, FACTORS[i]))
    hit = _tempo(real)
    if hit is None:
        return float("nan"), float("nan"), float("nan"), float("nan")
    return (
        _tempo_fits(hit.speed, hit.width),
        _pull_fits(_pull(real)),
        _sound_fits(hit.moments, onsets, i),
        _decay_fits(onsets, FACTORS[i]),
    )


def ball_falls(clip: Clip, track: Track) -> Falls:
    """What looks for the ball of a clip, for ``from_evidence``; ``track`` on the clip's own times."""
    height = body_height(track)

    def read(start: float, stop: float) -> Iterable[Frame]:
        return frames(clip, start, stop, max_height=track.size[1])

    def falls(hand: str, fastest: float, factor: float) -> Fall | None:
        return see_fall(read, track, hand, fastest, factor, height)

    return falls


def _look_for_ball(track: Track, chances: Array, falls: Falls) -> Fall | None:
    """The ball's fall, looked for at each of the likelier factors; None where it is not seen at any.

    The surest counts: taken for faster than it is, a ball is followed for a part of its way only.
    """
    found = []
    for i in np.flatnonzero(chances >= _WORTH_A_LOOK):
        hit = _tempo(_settled(at_real_speed(track, FACTORS[i])))
        if hit is not None:
            found.append(falls(hit.hand, float(hit.moments[hit.fastest]) * FACTORS[i], FACTORS[i]))
    return min((fall for fall in found if fall is not None), key=lambda fall: fall.sd, default=None)


def _ball_fits(fall: Fall | None) -> Array:
    """(F,) log-likelihoods of the ball's fall; 0 where it was not seen."""
    if fall is None:
        return np.zeros(len(FACTORS))
    g = _GRAVITY / np.square(FACTORS)
    ball = norm.pdf(fall.acceleration, _BALL_FALL * g, np.hypot(fall.sd, _BALL_FALL_SD * g))
    other = norm.pdf(fall.acceleration, 0.0, np.hypot(fall.sd, _ANY_FALL * g))
    return np.asarray(np.log((1.0 - _NO_BALL) * ball + _NO_BALL * other))


def _settled(track: Track) -> Track:
    """The track with the noise off that movement at its speed cannot hold; the same filter whatever was done before.

    A slowed clip that was smoothed as it plays is still rough at its real speed.
    """
    if len(track.times) < 2:
        return track
    rate = 1.0 / float(np.median(np.diff(track.times)))
    even = np.arange(track.times[0], track.times[-1] + 0.5 / rate, 1.0 / rate)
    image = track.image.copy()
    for keypoint, cutoff in _CUTOFFS.items():
        for column in image[:, INDEX[keypoint]].T:
            seen = np.isfinite(column)
            if seen.sum() >= 2:
                filled = np.interp(even, track.times[seen], column[seen])
                calm = low_pass(filled[:, None], rate, cutoff)[:, 0]
                column[seen] = np.interp(track.times[seen], even, calm)
    return replace(track, image=image)


@dataclass(frozen=True)
class _Tempo:
    """The faster hand, its speed (statures a second), time above half of it (s), and moments (s) of fast movements.

    ``fastest`` : which of the moments is the fastest.
    """

    hand: str
    speed: float
    width: float
    moments: Array
    fastest: int


def _tempo(track: Track) -> _Tempo | None:
    """The clip's fast movements; None where there are none."""
    if len(track.times) < 8:
        return None
    try:
        speeds = {side: hand_speed(track, side) for side in SIDES}
    except StrokeError:
        return None
    hand, values = max(speeds.items(), key=lambda pair: float(pair[1].max()))
    # Evenly and finely sampled, so that widths do not hang on the frame rate.
    step = min(1.0 / 120.0, float(np.median(np.diff(track.times))))
    even = np.arange(track.times[0], track.times[-1], step)
    fine = resample(values, track.times, even)
    if fine.max() <= 0.0:
        return None
    # A still frame at either end makes a peak of a fastest moment at the border, too.
    framed = np.concatenate([[0.0], fine, [0.0]])
    peaks, _ = find_peaks(framed, height=0.6 * framed.max(), distance=max(1, round(CLOSEST / step)))
    widths = peak_widths(framed, peaks, rel_height=0.5)[0] * step
    top = int(np.argmax(framed[peaks]))
    return _Tempo(hand, float(np.median(framed[peaks])), float(np.median(widths)), even[peaks - 1], top)


def _tempo_fits(speed: float, width: float) -> float:
    """Logarithm of the normal density of both logarithms, but for a constant."""
    if speed <= 0 or width <= 0:
        return float("nan")
    a, b = np.log(speed / _SPEED) / _SPEED_SD, np.log(width / _WIDTH) / _WIDTH_SD
    return float(-0.5 * (a * a - 2 * _RELATED * a * b + b * b) / (1 - _RELATED**2))


def _pull(track: Track) -> float:
    """Hardest pull-down of the hips, in gravities: parabolas fitted over ``_FALL`` seconds; NaN for a short track."""
    height = -middle(track.image, "hip")[:, 1]
    seen = np.isfinite(height)
    if seen.sum() < 8:
        return float("nan")
    times = track.times[seen]
    step = float(np.median(np.diff(times)))
    count = round(_FALL / step) // 2 * 2 + 1
    even = np.arange(times[0], times[-1], step)
    if count < 5 or len(even) < count:
        return float("nan")
    bend = savgol_filter(
        resample(height[seen] / body_height(track), times, even), count, 2, deriv=2, delta=step, mode="interp"
    )
    # Gaps are bridged by straight lines; their corners would pull without end.
    whole = np.interp(even, times[:-1], np.diff(times)) < 0.5 * _FALL
    pull = -bend[whole][count // 2 : -(count // 2)]
    return float(pull.max()) / _GRAVITY if len(pull) else float("nan")


def _pull_fits(pull: float) -> float:
    if not np.isfinite(pull):
        return float("nan")
    usual = -0.5 * (np.log(max(pull, 1e-3) / _PULL) / _PULL_SD) ** 2
    return float(usual - 0.5 * (max(pull - 1.0, 0.0) / _OVER) ** 2)


def _sound_fits(moments: Array, onsets: Onsets | None, i: int) -> float:
    """``moments`` of the fastest hand in seconds of real time; ``onsets`` on the clip's own times."""
    if onsets is None:
        return float(np.log(1.0 - _SOUND[i]))
    loud = onsets.times[onsets.strengths >= _LOUD * onsets.strengths.max(initial=0.0)] / FACTORS[i]
    if len(loud) == 0:
        return float(np.log(_SOUND[i]))
    off = (loud[:, None] - moments[None, :] - _LAG) / _LAG_SD
    # The best of the moments: the fastest movement of a clip need not be a hit each time.
    return float(np.log(_SOUND[i]) + max(-0.5 * float((off**2).min()), _UNHEARD))


def _decay_fits(onsets: Onsets | None, factor: float) -> float:
    """Of the loudest sound's decay on the clip's own times."""
    if onsets is None or onsets.decays is None or len(onsets.times) == 0:
        return 0.0
    decay = float(onsets.decays[int(np.argmax(onsets.strengths))])
    if not np.isfinite(decay):
        return 0.0
    return float(-0.5 * (np.log(max(decay, 1e-3) / (_DECAY * factor**_DECAY_POWER)) / _DECAY_SD) ** 2)


_CLUES = (
    "the tempo of the swing",
    "how fast the player sinks",
    "the time of the sound",
    "how the strike dies down",
    "the ball's fall",
)


def _why(table: Array, best: int) -> str:
    """One sentence on the clues that speak for the factor chosen against its strongest rival."""
    factor = FACTORS[best]
    others = np.delete(table, best, axis=0)
    gains = table[best] - others[int(np.argmax(others.sum(axis=1)))]
    spoken = [name for name, gain in zip(_CLUES, gains, strict=False) if gain > 0.5]
    words = "The clip plays at the speed of life" if factor == 1.0 else f"The clip looks {_words(factor)}"
    return (
        f"{words}, as {_listed(spoken)} {'tells' if len(spoken) == 1 else 'tell'}." if spoken else f"{words}."
    )


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def _words(factor: float) -> str:
    return "at real speed" if factor == 1.0 else f"slowed {factor:.3g} times"


def _question(chances: Array, best: int) -> str:
    """What to ask the coach, with the likeliest factor named."""
    if best == 0:
        other = FACTORS[1 + int(np.argmax(chances[1:]))]
        return (
            f"Was this filmed in slow motion? It may be slowed {other:g} times; say --slow {other:g}, "
            "or --slow 1 if it was not."
        )
    return (
        f"Was this filmed in slow motion? It looks slowed {FACTORS[best]:g} times "
        f"({100 * chances[best]:.0f} % sure); say --slow {FACTORS[best]:g}, another number, or --slow 1 if it was not."
    )


def at_real_speed(track: Track, factor: float) -> Track:
    """The track on real times: every time divided by ``factor``, so that all speeds and durations scale."""
    return track if factor == 1.0 else replace(track, times=track.times / factor)


def sound_at_real_speed(onsets: Onsets | None, factor: float) -> Onsets | None:
    """Sudden sounds on real times."""
    if onsets is None or factor == 1.0:
        return onsets
    decays = None if onsets.decays is None else onsets.decays / factor
    return replace(onsets, times=onsets.times / factor, decays=decays)


def clip_at_real_speed(clip: Clip, factor: float) -> Clip:
    """The clip's times, duration and rates as they were when it was filmed.

    For what is said and checked about the clip; pictures are read with the clip as it was opened.
    """
    if factor == 1.0:
        return clip
    return replace(
        clip,
        times=clip.times / factor,
        duration=clip.duration / factor,
        nominal_rate=clip.nominal_rate * factor,
        measured_rate=clip.measured_rate * factor,
    )
