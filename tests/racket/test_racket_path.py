"""Speeds of the racket on either side of contact (row E18: nothing is smoothed across it)."""

from __future__ import annotations

import numpy as np
import pytest

from swingmatch.racket.path import at_contact, unseen, velocity

TIMES = np.arange(0.0, 0.4, 1 / 120)
CONTACT = 0.2


def kinked() -> np.ndarray:
    """A point that goes at 20 a second before contact and at 8 after it."""
    away = TIMES - CONTACT
    return np.where(away <= 0, 20.0 * away, 8.0 * away)[:, None] * np.array([1.0, 0.0, 0.0])


def test_a_jump_of_speed_at_contact_is_kept():
    speed = velocity(TIMES, kinked(), CONTACT)[:, 0]
    assert np.allclose(speed[TIMES <= CONTACT + 1e-9], 20.0)
    after = TIMES > CONTACT + 1e-9
    assert np.allclose(speed[after], 8.0)


def test_what_is_read_at_contact_comes_from_before_it():
    places = kinked()
    places[TIMES > CONTACT] += 5.0
    assert np.allclose(at_contact(TIMES, places, CONTACT), 0.0, atol=1e-9)
    speed = velocity(TIMES, places, CONTACT)
    assert at_contact(TIMES, speed, CONTACT)[0] == pytest.approx(20.0)


def test_frames_that_are_not_known_do_not_count():
    places = kinked()
    places[(TIMES > 0.17) & (TIMES < 0.19)] = np.nan
    assert np.allclose(at_contact(TIMES, places, CONTACT), 0.0, atol=1e-9)
    assert np.isnan(at_contact(TIMES, np.full_like(places, np.nan), CONTACT)).all()


def test_a_racket_that_was_not_seen_is_nan():
    path = unseen(TIMES, 3)
    assert path.draws.shape == (3, len(TIMES), 5, 3)
    assert not path.seen.any()
    assert np.isnan(path.points).all()
