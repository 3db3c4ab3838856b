"""Clicks at known instants in noise, through a real AAC film."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.clip import sound
from swingmatch.clip.reader import open_clip
from swingmatch.clip.sound import find_onsets, strike_onsets
from swingmatch.clip.writer import FilmWriter

TIMES = np.array([0.61, 1.234, 1.9, 3.3333, 4.05, 5.5])


def strikes(
    rng: np.random.Generator, rate: int, seconds: float, times: np.ndarray, size: float
) -> np.ndarray:
    """Noise at -40 dB with decaying bursts, each beginning at the first sample at or after its time."""
    samples = rng.normal(0, 0.01, round(rate * seconds))
    for time in times:
        begin = int(np.ceil(time * rate))
        t = np.arange(min(rate // 20, len(samples) - begin)) / rate
        samples[begin : begin + len(t)] += size * np.exp(-t / 0.006) * rng.normal(0, 1, len(t))
    return samples.astype(np.float32)


def film(path: Path, samples: np.ndarray, rate: int, seconds: float) -> Path:
    with FilmWriter(path, (32, 32), 10, sound=(samples, rate), preset="ultrafast") as writer:
        for _ in range(round(10 * seconds)):
            writer.write(np.zeros((32, 32, 3), np.uint8))
    return path


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000])
def test_strikes_are_heard_within_3_ms(tmp_path: Path, rate: int, seed: int) -> None:
    samples = strikes(np.random.default_rng(seed), rate, 6, TIMES, 0.3)
    heard = strike_onsets(open_clip(film(tmp_path / "a.mp4", samples, rate, 6)))
    assert heard is not None
    assert len(heard.times) == len(TIMES)
    assert np.abs(heard.times - TIMES).max() < 0.003
    assert heard.strengths.min() > 5 * sound.THRESHOLD


@pytest.mark.parametrize("seed", [1, 2])
def test_plain_noise_and_silence_hold_no_strike(tmp_path: Path, seed: int) -> None:
    noise = strikes(np.random.default_rng(seed), 48_000, 20, np.zeros(0), 0)
    for samples in (noise, 0 * noise):
        heard = strike_onsets(open_clip(film(tmp_path / "a.mp4", samples, 48_000, 20)))
        assert heard is not None
        assert len(heard.times) == 0


def test_a_louder_strike_is_stronger(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    samples = strikes(rng, 16_000, 6, TIMES[:2], 0.1) + strikes(rng, 16_000, 6, TIMES[2:], 0.5)
    heard = strike_onsets(open_clip(film(tmp_path / "a.mp4", samples, 16_000, 6)))
    assert heard is not None
    assert len(heard.times) == len(TIMES)
    assert heard.strengths[:2].max() < heard.strengths[2:].min()


def test_no_sound_is_none(tmp_path: Path) -> None:
    with FilmWriter(tmp_path / "a.mp4", (32, 32), 10) as writer:
        for _ in range(3):
            writer.write(np.zeros((32, 32, 3), np.uint8))
    assert strike_onsets(open_clip(tmp_path / "a.mp4")) is None


@pytest.mark.parametrize("late", [-0.4, 0.0, 0.75])
def test_sound_that_does_not_start_with_the_pictures(tmp_path: Path, late: float) -> None:
    """The sound stream starts ``late`` seconds after the first picture, on a clock that starts at 2 s."""
    rate, path = 16_000, tmp_path / "a.mkv"
    samples = strikes(np.random.default_rng(5), rate, 6, TIMES, 0.3)
    with av.open(str(path), "w") as container:
        video = container.add_stream("libx264", rate=10, options={"preset": "ultrafast"})
        video.width = video.height = 32
        video.pix_fmt = "yuv420p"
        audio = container.add_stream("pcm_s16le", rate=rate, layout="mono")
        for i in range(60):
            picture = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), "rgb24")
            picture.pts, picture.time_base = 20 + i, Fraction(1, 10)
            container.mux(video.encode(picture))
        container.mux(video.encode(None))
        for begin in range(0, len(samples), 1600):
            block = (32767 * np.clip(samples[None, begin : begin + 1600], -1, 1)).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(block, "s16", "mono")
            frame.sample_rate, frame.time_base = rate, Fraction(1, rate)
            frame.pts = round((2 + late) * rate) + begin
            container.mux(audio.encode(frame))
        container.mux(audio.encode(None))
    heard = strike_onsets(open_clip(path))
    assert heard is not None
    assert len(heard.times) == len(TIMES)
    assert np.abs(heard.times - (TIMES + late)).max() < 0.003


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 100.0), st.integers(0, 2**31))
def test_strength_does_not_depend_on_the_microphone_gain(gain: float, seed: int) -> None:
    level = np.abs(np.random.default_rng(seed).normal(0.2, 0.02, 600))
    level[300:304] += 0.5
    times = np.arange(600) * 0.002
    one, other = find_onsets(level, times), find_onsets(level * gain, times)
    # Nothing is changed as long as the deviation stays above what counts as silence.
    np.testing.assert_array_equal(one.times, other.times)
    np.testing.assert_allclose(one.strengths, other.strengths, rtol=1e-9)


def test_a_stretch_too_short_to_judge() -> None:
    assert len(find_onsets(np.ones(3), np.arange(3) * 0.002).times) == 0


def test_sound_whose_form_changes_on_the_way(tmp_path: Path) -> None:
    """Two recordings glued together, as a transport stream allows: mono at 16 kHz, then stereo at 48 kHz."""
    parts = []
    for rate, layout in ((16_000, "mono"), (48_000, "stereo")):
        samples = strikes(np.random.default_rng(rate), rate, 3, np.array([1.5]), 0.3)
        with av.open(str(tmp_path / "a.ts"), "w") as container:
            video = container.add_stream("libx264", rate=10, options={"preset": "ultrafast"})
            video.width, video.height, video.pix_fmt = 32, 32, "yuv420p"
            audio = container.add_stream("aac", rate=rate, layout=layout)
            for _ in range(30):
                picture = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), "rgb24")
                container.mux(video.encode(picture.reformat(format="yuv420p")))
            container.mux(video.encode(None))
            for begin in range(0, len(samples) - 1023, 1024):
                planes = np.tile(samples[begin : begin + 1024], (len(audio.layout.channels), 1))
                frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(planes), "fltp", layout)
                frame.sample_rate, frame.time_base, frame.pts = rate, Fraction(1, rate), begin
                container.mux(audio.encode(frame))
            container.mux(audio.encode(None))
        parts.append((tmp_path / "a.ts").read_bytes())
    (tmp_path / "b.ts").write_bytes(b"".join(parts))
    heard = strike_onsets(open_clip(tmp_path / "b.ts"))
    assert heard is not None
    assert len(heard.times) == 2


@pytest.mark.parametrize("decay", [0.004, 0.008, 0.02])
def test_how_fast_a_sound_dies_down(decay: float) -> None:
    """Noise that decays exponentially is down to a quarter after ln 4 times its time constant.

    Its level is rough, so the first hop that is so quiet comes somewhat early.
    """
    rng = np.random.default_rng(7)
    samples = rng.normal(0.0, 0.001, 3 * sound.RATE)
    starts = 0.2 + 0.3 * np.arange(9)
    for start in starts:
        t = np.arange(round(0.25 * sound.RATE)) / sound.RATE
        first = round(start * sound.RATE)
        samples[first : first + len(t)] += 0.5 * np.exp(-t / decay) * rng.normal(0.0, 1.0, len(t))
    times, levels = zip(*sound.levels_of([(0.0, samples)]), strict=True)
    heard = find_onsets(np.concatenate(levels), np.concatenate(times))
    assert len(heard.times) == len(starts)
    assert heard.decays is not None
    assert np.median(heard.decays) == pytest.approx(np.log(4.0) * decay, rel=0.2)


def test_a_sound_that_goes_on_has_not_died_down() -> None:
    level = np.full(500, 0.001)
    level[200:] = 0.5
    heard = find_onsets(level, np.arange(500) * sound.HOP / sound.RATE)
    assert len(heard.times) == 1
    assert heard.decays is not None
    assert np.isnan(heard.decays[0])
