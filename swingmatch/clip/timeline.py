"""When each picture of a film is shown, from the timestamps of its packets; nothing is decoded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swingmatch.clip.clip import Clip

#: Gaps in the times that are told, seconds: a swing's forward part may hide in them.
LONG_GAP = 0.25
#: Seconds by which a clock may leap between two pictures, or the time of showing differ from that of decoding.
LEAP = 10.0
#: Longest pause between two pictures that is believed, seconds.
PAUSE = 60.0
_FASTEST = 2000.0  # pictures a second; times closer together than this are no times


@dataclass
class Packets:
    """Timestamps of the packets in file order, ticks; None where one is missing.

    Attributes
    ----------
    pts, dts : when to show and when to decode each picture.
    last_duration : ticks that the picture shown last stays, 0 where the file says nothing.
    broken : the file ends in the middle of something.
    """

    pts: list[int | None]
    dts: list[int | None]
    last_duration: int
    broken: bool


def timeline(
    packets: Packets, video: Any, notes: list[str]
) -> tuple[NDArray[np.int64] | None, NDArray[np.float64]]:
    """Ticks that name the pictures (or None) and times in seconds, both in the order of showing.

    Whatever the timestamps, the times rise from 0 without a gap over ``PAUSE``. ``notes`` takes sentences.
    """
    base = float(video.time_base) if video.time_base else 1.0
    packets = _without_far_times(packets, base)
    count = len(packets.pts)
    known = [p for p in packets.pts if p is not None]
    rate = float(video.guessed_rate or video.average_rate or 30)
    if not 1 <= rate <= 1000:
        rate = 30.0
    if count == 0:
        return None, np.zeros(0)
    if len(known) < 0.9 * count:
        decode = [d for d in packets.dts if d is not None]
        if len(decode) == count and _credible(np.array(decode, dtype=float) * base):
            # Old AVI files know only when to decode; pictures are shown on the same grid.
            return None, (np.array(decode) - decode[0]) * base
        return None, _assumed(count, rate, notes)
    jumps = _jumps(packets, rate, base)
    joined = _join(packets, jumps, 1.0 / rate, base) if jumps else np.zeros(0)
    if jumps and not _credible(joined):
        return None, _assumed(count, rate, notes)
    if jumps:
        notes.append(
            f"The clip's clock jumps {'once' if len(jumps) == 1 else f'{len(jumps)} times'}; the parts were joined "
            "end to end, so times after a jump may be off."
        )
        return None, joined
    ticks = np.unique(np.array(known, dtype=np.int64))
    if not _credible(ticks.astype(float) * base):
        return None, _assumed(count, rate, notes)
    lost = count - len(ticks)
    if lost:
        notes.append(
            f"{lost} of {count} pictures carry no time of their own and {'was' if lost == 1 else 'were'} left out."
        )
    return ticks, (ticks - ticks[0]) * base


def _credible(times: NDArray[np.float64]) -> bool:
    """Whether a camera could have taken pictures at these times, seconds."""
    gaps = np.diff(times)
    return len(gaps) == 0 or bool(gaps.max() <= PAUSE and gaps.min() > 0 and np.median(gaps) * _FASTEST >= 1)


def _assumed(count: int, rate: float, notes: list[str]) -> NDArray[np.float64]:
    notes.append(
        f"The file does not say when each picture is shown; {rate:.4g} pictures a second were taken for granted."
    )
    return np.arange(count) / rate


def _without_far_times(packets: Packets, base: float) -> Packets:
    """Times of showing that lie far from the time of decoding are damage, and count as missing."""
    near = [
        p if p is None or d is None or abs(p - d) * base <= LEAP else None
        for p, d in zip(packets.pts, packets.dts, strict=True)
    ]
    return replace(packets, pts=near)


def usual_gap(times: NDArray[np.float64]) -> float:
    """Seconds between two pictures: the mean of the gaps near the median, as some files round to 1 ms."""
    gaps = np.diff(times)
    middle = np.median(gaps)
    return float(np.mean(gaps[(gaps > 0.5 * middle) & (gaps < 1.5 * middle)]))


def _jumps(packets: Packets, rate: float, base: float) -> list[int]:
    """File positions at which the decoding clock goes back, or leaps ahead by more than ``LEAP``."""
    jumps = []
    last: int | None = None
    for i, stamp in enumerate(packets.dts):
        if stamp is None:
            continue
        if last is not None and (stamp < last or (stamp - last) * base > LEAP):
            jumps.append(i)
        last = stamp
    return jumps


def _join(packets: Packets, jumps: list[int], gap: float, base: float) -> NDArray[np.float64]:
    """Times of parts whose clocks differ, each part begun one gap after the end of the part before it."""
    parts: list[NDArray[np.float64]] = []
    begin = 0.0
    for a, b in pairwise([0, *jumps, len(packets.pts)]):
        ticks = np.unique(np.array([p for p in packets.pts[a:b] if p is not None], dtype=np.int64))
        if len(ticks) == 0:
            continue
        parts.append(begin + (ticks - ticks[0]) * base)
        begin = float(parts[-1][-1]) + gap
    return np.concatenate(parts)


def notes_on_times(clip: Clip) -> list[str]:
    """What is odd about the times themselves."""
    notes = []
    gaps = np.diff(clip.times)
    if clip.varies:
        low, high = np.quantile(1.0 / gaps, (0.05, 0.95))
        notes.append(
            f"The frame rate varies between {low:.0f} and {high:.0f} pictures a second; real times are used."
        )
    longest = int(np.argmax(gaps))
    if gaps[longest] > max(LONG_GAP, 3 * float(np.median(gaps))):
        where = f"for {gaps[longest]:.1f} s at {clip.times[longest]:.1f} s"
        notes.append(f"There is no picture {where}; the phone paused or lost some.")
    return notes
