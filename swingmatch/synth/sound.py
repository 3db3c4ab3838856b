"""The sound of a rally as the camera's microphone hears it, made from noise and decaying tones."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from swingmatch.body.skeleton import INDEX
from swingmatch.synth.camera import Camera
from swingmatch.synth.motion import Motion

Floats = NDArray[np.float64]

RATE = 48_000
SPEED_OF_SOUND = 343.0  # m/s in air at 20 degrees Celsius
#: The opponent hits from the other baseline about this long before the player does; own choice.
OPPONENT_BEFORE, OPPONENT_AWAY = 1.15, 24.0


def soundtrack(
    motion: Motion, camera: Camera, duration: float, *, background: float = 0.004, seed: int = 0
) -> Floats:
    """Mono sound at ``RATE``: strikes, bounces, steps, the opponent's distant strikes, wind.

    Every noise arrives late by its distance from the camera over the speed of sound.

    Parameters
    ----------
    motion : gives contact times, the ball's way and the feet.
    camera : where the microphone is.
    duration : seconds, from the motion's time 0.
    background : root mean square of the background noise, 0..1.
    seed : of all the noise.

    Returns
    -------
    (N,) samples in -1..1.
    """
    rng = np.random.default_rng([seed, 13])
    out = _background(rng, round(duration * RATE), background)
    lens = camera.position
    for swing in motion.swings:
        contact = swing.events["contact"]
        at = motion.racket[int(np.argmin(np.abs(motion.times - contact))), 1:3].mean(axis=0)
        _mix(out, _strike(rng), contact, _gap(at, lens), 0.85)
        _mix(out, _strike(rng), contact - OPPONENT_BEFORE, OPPONENT_AWAY, 0.10)
    for time, at in bounces(motion):
        _mix(out, _thump(rng, 240.0, 0.030), time, _gap(at, lens), 0.16)
    for time, at, size in footfalls(motion):
        _mix(out, _scuff(rng), time, _gap(at, lens), 0.05 * size)
    return np.clip(out, -1.0, 1.0)


def _gap(a: Floats, b: Floats) -> float:
    """Distance in metres between two points."""
    return float(np.linalg.norm(a - b))


def _mix(out: Floats, sound: Floats, time: float, away: float, level: float) -> None:
    """Add a sound made at ``time`` seconds ``away`` metres from the microphone, in place; its peak is ``level``."""
    first = round((time + away / SPEED_OF_SOUND) * RATE)
    start, stop = max(first, 0), min(first + len(sound), len(out))
    if start < stop:
        out[start:stop] += level * sound[start - first : stop - first]


def _loudest(sound: Floats) -> Floats:
    """The sound with a peak of 1."""
    return sound / np.max(np.abs(sound))


def _strike(rng: np.random.Generator) -> Floats:
    """Ball on strings: a click of a few milliseconds, then the strings and the frame ringing down.

    The contact lasts 4-5 ms (sources row D2, Brody; Cross); string and frame tones are *from memory*.
    """
    t = np.arange(int(0.16 * RATE)) / RATE
    click = sosfilt(butter(2, [700, 6000], "bandpass", fs=RATE, output="sos"), rng.standard_normal(len(t)))
    sound = 1.3 * click * np.exp(-t / 0.0035)
    for hertz, decay, level in ((520, 0.022, 0.8), (1150, 0.010, 0.5), (145, 0.035, 0.35)):
        sound += level * np.cos(2 * np.pi * hertz * rng.uniform(0.96, 1.04) * t) * np.exp(-t / decay)
    return _loudest(sound)


def _thump(rng: np.random.Generator, hertz: float, decay: float) -> Floats:
    """Ball on the ground: lower and duller than a strike."""
    t = np.arange(int(0.12 * RATE)) / RATE
    dull = sosfilt(butter(2, 1400, "lowpass", fs=RATE, output="sos"), rng.standard_normal(len(t)))
    return _loudest(np.cos(2 * np.pi * hertz * t) * np.exp(-t / decay) + 0.8 * dull * np.exp(-t / 0.006))


def _scuff(rng: np.random.Generator) -> Floats:
    """A shoe on the court: a soft burst of high noise."""
    t = np.arange(int(0.09 * RATE)) / RATE
    hiss = sosfilt(butter(2, [900, 5000], "bandpass", fs=RATE, output="sos"), rng.standard_normal(len(t)))
    return _loudest(hiss * (1 - np.exp(-t / 0.006)) * np.exp(-t / 0.022))


def _background(rng: np.random.Generator, count: int, level: float) -> Floats:
    """Wind and far traffic: low noise that swells slowly, root mean square ``level``."""
    if count == 0:
        return np.zeros(0)
    noise = sosfilt(butter(1, 500, "lowpass", fs=RATE, output="sos"), rng.standard_normal(count))
    swell = 1 + 0.4 * np.sin(2 * np.pi * (0.23 * np.arange(count) / RATE + rng.uniform()))
    noise = noise * swell + 0.02 * rng.standard_normal(count)
    return level * noise / max(float(np.sqrt(np.mean(noise**2))), 1e-12)


def bounces(motion: Motion) -> list[tuple[float, Floats]]:
    """Times (s) and places (3,) where the ball turns from falling to rising near the ground."""
    y = motion.ball[:, 1]
    with np.errstate(invalid="ignore"):
        low = (y[1:-1] < 0.12) & (y[1:-1] <= y[:-2]) & (y[1:-1] < y[2:])
    return [(float(motion.times[i]), motion.ball[i]) for i in np.flatnonzero(low) + 1]


def footfalls(motion: Motion) -> list[tuple[float, Floats, float]]:
    """Times (s), places (3,) and sizes 0..1 of the feet landing: the foot's lower end stops sinking within 4 cm."""
    found: list[tuple[float, Floats, float]] = []
    dt = float(motion.times[1] - motion.times[0])
    for side in ("left", "right"):
        foot = motion.points[:, [INDEX[f"{side}_toe"], INDEX[f"{side}_heel"]]]
        height = foot[..., 1].min(axis=1)
        rate = np.gradient(height, dt)
        falling = rate < -0.15
        for i in np.flatnonzero(falling[:-1] & ~falling[1:]):
            if height[i] < 0.04 and (not found or motion.times[i] - found[-1][0] > 0.05):
                size = min(float(-rate[max(i - int(0.03 / dt), 0) : i + 1].min()) / 1.5, 1.0)
                found.append((float(motion.times[i]), foot[i].mean(axis=0), size))
    return sorted(found, key=lambda f: f[0])
