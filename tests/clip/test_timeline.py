"""Times from timestamps that are wrong: plain lists in, seconds out."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swingmatch.clip.timeline import PAUSE, Packets, timeline

MS = Fraction(1, 1000)
GRID = list(range(0, 400, 40))


def stream(base: Fraction = MS, rate: float | None = 25.0) -> SimpleNamespace:
    return SimpleNamespace(time_base=base, guessed_rate=rate, average_rate=rate)


def test_a_single_time_far_from_its_decoding_is_not_believed() -> None:
    notes: list[str] = []
    pts = [*GRID[:4], 30_000_000, *GRID[5:]]
    ticks, times = timeline(Packets(list(pts), list(GRID), 0, False), stream(), notes)
    assert ticks is not None
    assert ticks.tolist() == GRID[:4] + GRID[5:]
    np.testing.assert_allclose(times, ticks / 1000)
    assert notes == ["1 of 10 pictures carry no time of their own and was left out."]


@pytest.mark.parametrize("rate", [25.0, None, 0.0, 90_000.0])
def test_times_closer_together_than_any_camera_films_are_no_times(rate: float | None) -> None:
    notes: list[str] = []
    packets = Packets(list(range(10)), list(range(10)), 0, False)
    ticks, times = timeline(packets, stream(Fraction(1, 90_000), rate), notes)
    assert ticks is None
    assumed = rate if rate == 25.0 else 30.0
    np.testing.assert_allclose(times, np.arange(10) / assumed)
    assert len(notes) == 1
    assert f"{assumed:g} pictures a second were taken for granted" in notes[0]


stamps = st.none() | st.integers(-(2**63), 2**63 - 1) | st.integers(-1000, 1000)


@settings(max_examples=400)
@given(
    st.lists(st.tuples(stamps, stamps), min_size=2, max_size=30),
    st.fractions(min_value=Fraction(1, 2**31), max_value=1000),
    st.none() | st.floats(0, 1e9),
)
def test_any_timestamps_give_times_that_rise_from_zero(
    pairs: list[tuple[int | None, int | None]], base: Fraction, rate: float | None
) -> None:
    packets = Packets([p for p, _ in pairs], [d for _, d in pairs], 0, False)
    ticks, times = timeline(packets, stream(base, rate), [])
    assert len(times) <= len(pairs)
    assert np.isfinite(times).all()
    assert (np.diff(times) > 0).all()
    assert (np.diff(times) <= PAUSE).all()
    assert len(times) == 0 or times[0] == 0
    if ticks is not None:
        assert len(ticks) == len(times)
