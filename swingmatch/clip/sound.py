"""Hearing the strike: sudden rises of high-frequency sound, on the clip's own clock.

The sound is high-passed, its level taken every 2 ms, and the rise over the mean of the 8 ms before counted
in median absolute deviations of the clip's own rises, so that a noisy court asks for a louder strike. A clear
rise against the recent level is the usual detection function for percussive onsets (Bello et al. 2005, IEEE
Trans. Speech Audio Process. 13(5), 1035-1047, doi:10.1109/TSA.2005.851998; from memory).
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import butter, sosfilt

from swingmatch.clip.check import check_file
from swingmatch.clip.child import DecoderLost, borrowed
from swingmatch.clip.clip import Clip

RATE = 16_000  # samples a second after resampling; keeps all below 8 kHz
HOP = 32  # samples between two levels: 2 ms
HIGH_PASS = 1500.0  # Hz; wind, steps and voices lie mostly below (common practice, no source)
LOOK_BACK = 4  # hops whose mean a rise is taken against: 8 ms
REFRACTORY = 0.06  # seconds about an onset in which only the strongest counts
#: Least strength, in median absolute deviations. Of Gaussian noise 4 in a million rises reach 6.2.
THRESHOLD = 10.0
#: A sound's level is a quarter of its loudest when it counts as died down; looked for so many seconds.
DIED_DOWN, LONGEST_DECAY = 0.25, 0.25
_QUIET = 1e-4  # level of full scale under which nothing is heard; keeps digital silence from counting
_GAP = 0.02  # seconds of disagreement between sound clock and sample count that mean a hole


@dataclass(frozen=True, eq=False)
class Onsets:
    """Sudden sounds of a clip.

    Attributes
    ----------
    times : (N,) seconds from the clip's first picture, rising; a sound from before it is negative.
    strengths : (N,) size of the rise in median absolute deviations of all rises of the clip.
    decays : (N,) seconds in which each has died down to a quarter of its loudest, NaN where it does not within
        ``LONGEST_DECAY``; None where that was not measured.
    """

    times: NDArray[np.float64]
    strengths: NDArray[np.float64]
    decays: NDArray[np.float64] | None = None


def strike_onsets(clip: Clip, threshold: float = THRESHOLD) -> Onsets | None:
    """Sudden high-frequency sounds, a strike among them; None when the clip has no sound that can be read.

    Sound that crashes or hangs its decoder counts as none.

    The microphone hears a strike 2.9 ms late for each metre between it and the player; that is not
    taken off here. Sound is streamed from the process that decodes it: 2 ms levels are kept, samples are not.

    Raises
    ------
    ClipError
        When the file has gone.
    """
    if not clip.has_sound:
        return None
    times: list[NDArray[np.float64]] = []
    levels: list[NDArray[np.float64]] = []
    try:
        for start, level in _levels(clip):
            times.append(start)
            levels.append(level)
    except DecoderLost:
        return None  # the pictures are worth reading all the same
    if not levels:
        return None
    return find_onsets(np.concatenate(levels), np.concatenate(times), threshold)


def find_onsets(
    level: NDArray[np.float64], times: NDArray[np.float64], threshold: float = THRESHOLD
) -> Onsets:
    """Peaks in the rise of a level.

    Parameters
    ----------
    level : (H,) level of each 2 ms hop, full scale 1.
    times : (H,) seconds at which the hop first gets loud.
    threshold : least strength in median absolute deviations.
    """
    if len(level) <= LOOK_BACK:
        return Onsets(np.zeros(0), np.zeros(0), np.zeros(0))
    before = np.convolve(level, np.ones(LOOK_BACK) / LOOK_BACK, mode="full")[: len(level)]
    rise = np.zeros_like(level)
    rise[LOOK_BACK:] = level[LOOK_BACK:] - before[LOOK_BACK - 1 : -1]
    middle = np.median(rise)
    deviation = max(float(np.median(np.abs(rise - middle))), _QUIET)
    strength = (rise - middle) / deviation
    reach = round(REFRACTORY * RATE / HOP)
    peaks = np.flatnonzero((strength >= threshold) & (strength == maximum_filter1d(strength, 2 * reach + 1)))
    peaks = peaks[np.diff(peaks, prepend=-reach - 1) > reach]
    # A strike late in a hop lifts that hop a little and the next one more: it began in the first.
    first = np.array(
        [p - 1 if strength[p - 1] > max(0.5 * strength[p], 5.0) else p for p in peaks], dtype=int
    )
    decays = np.array([_decay(level, int(p)) for p in first], dtype=np.float64)
    return Onsets(times[first], strength[peaks], decays)


def _decay(level: NDArray[np.float64], first: int) -> float:
    """Seconds from the loudest hop of a sound that begins in hop ``first`` until it has died down; see ``Onsets``."""
    hops = round(LONGEST_DECAY * RATE / HOP)
    # What goes on all the time is no part of the sound.
    sound = level[first : first + hops] - np.median(level[max(first - 50, 0) : first + 1])
    # The loudest is soon after the start, however slowly the clip plays.
    loudest = int(np.argmax(sound[: hops // 4]))
    quiet = np.flatnonzero(sound[loudest:] < DIED_DOWN * sound[loudest])
    if len(quiet) == 0:
        return float("nan")
    # Between two hops a decay is a straight line, near enough.
    after, before = sound[loudest + quiet[0]], sound[loudest + quiet[0] - 1]
    part = (before - DIED_DOWN * sound[loudest]) / (before - after)
    return float((quiet[0] - 1 + part) * HOP / RATE)


def _levels(clip: Clip) -> Generator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """(times at which each hop first gets loud, levels) of successive stretches, seconds and full scale."""
    yield from levels_of(_samples(clip))


def levels_of(
    blocks: Iterable[tuple[float, NDArray[np.float64]]],
) -> Generator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """The same for successive blocks: (seconds of the first sample, mono samples at ``RATE``)."""
    sos = butter(4, HIGH_PASS, "highpass", fs=RATE, output="sos")
    state = np.zeros((len(sos), 2))
    rest = np.zeros(0)
    start: float | None = None  # seconds of rest[0]
    for time, samples in blocks:
        if start is None or abs(time - (start + len(rest) / RATE)) > _GAP:
            rest, start, state = np.zeros(0), time, np.zeros_like(state)
        filtered, state = sosfilt(sos, samples, zi=state)
        rest = np.concatenate([rest, filtered])
        count = len(rest) // HOP
        if count:
            hops = np.abs(rest[: count * HOP].reshape(count, HOP))
            loud = np.argmax(hops >= 0.5 * hops.max(axis=1, keepdims=True), axis=1)
            yield start + (np.arange(count) * HOP + loud) / RATE, np.sqrt((hops**2).mean(axis=1))
            rest = rest[count * HOP :]
            start += count * HOP / RATE


def _samples(clip: Clip) -> Generator[tuple[float, NDArray[np.float64]]]:
    """(seconds on the clip's clock, mono samples at ``RATE``) of successive blocks; damaged ones left out."""
    check_file(clip.path)
    with borrowed() as child:
        child.ask({"do": "sound", "path": str(clip.path.absolute()), "origin": clip.origin, "rate": RATE})
        while True:
            header, block = child.answer(clip.path.name)
            if header["kind"] == "done":
                return
            child.tell({"do": "free"})
            yield header["time"], np.frombuffer(block, np.float32).astype(np.float64)
