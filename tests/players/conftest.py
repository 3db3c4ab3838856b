"""Invented reviews of invented players."""

from __future__ import annotations

from datetime import date

import pytest

from swingmatch.findings.deviation import Deviation
from swingmatch.library.store import open_store
from swingmatch.players import review_of


@pytest.fixture
def store(tmp_path):
    """An empty store in a SQLite file."""
    with open_store(tmp_path / "home") as opened:
        yield opened


def a_deviation(quantity="shift", phase="contact", player=60.0, **changes):
    facts = {"unit": "ms", "player": player, "model": 0.0, "spread": 10.0, "error": 12.0, "repeat": 15.0}
    facts |= {"floor": 30.0, "swings": 6, "at": 0.0, "visible": True}
    return Deviation(quantity, phase, **(facts | changes))


@pytest.fixture
def make_review():
    """Makes a review: of whom, on which day, and by how much contact was late."""

    def make(player="V07", day=date(2026, 3, 1), late=60.0, **changes):
        facts = {
            "clip": f"/clips/{player} {day}.mp4",
            "clip_sha256": f"{abs(hash((player, day))):064x}"[:64],
            "stroke": "forehand",
            "hand": "right",
            "camera_side": "right side",
            "azimuth": 88.0,
            "model": "Anders",
            "filmed_on": day,
            "document": {"changes": [{"title": "Contact is late", "evidence": float("nan")}]},
            "deviations": [
                a_deviation(player=late),
                a_deviation(
                    "outside_knee_flexion", "drop", -9.0, unit="deg", floor=8.0, error=5.0, repeat=4.0
                ),
                a_deviation("head_turn", "contact", float("nan"), visible=False),
            ],
            "targets": {"shift@contact": "Contact is late"},
        }
        return review_of(player=player, **(facts | changes))

    return make
