"""Invented models, consents and files for the tests of the store; no person stands behind them."""

import zlib
from datetime import date, datetime, timezone

import numpy as np

from swingmatch.body.skeleton import K
from swingmatch.library.folder import load_library
from swingmatch.library.records import Consent, Model, NewMedia
from swingmatch.stroke.swing import Swing

DAY = date(2026, 3, 1)
SHIPPED = load_library().volunteers[0].swings


def swing(seed):
    """A shipped swing, thinned out and with the seed's own noise, so that no two have the same bytes."""
    base = SHIPPED[0]
    noise = np.random.default_rng(seed).normal(0.0, 1e-3, base.points[::2].shape)
    return Swing(base.times[::2], base.points[::2] + noise, dict(base.events), base.hand)


def model(code, number=0, **changes):
    """A model of the person with that code; the same arguments give the same model."""
    facts = {
        "id": f"{code}-{number}".lower(),
        "volunteer": code,
        "label": f"Label of {code}",
        "stroke": "forehand",
        "hand": "right",
        "generated": False,
        "licence": "for this test",
        "swings": (swing(zlib.crc32(f"{code} {number}".encode())),),
        "added_at": datetime(2026, 3, 1, 12, tzinfo=timezone.utc),
    }
    return Model(**(facts | changes))


def consent(code, **changes):
    return Consent(**({"code": code, "agreed_on": date(2026, 1, 1)} | changes))


def clip(text, size=40_000):
    """A file whose bytes hold a marker many times over."""
    data = (f"{text}|".encode() * (size // len(text) + 1))[:size]
    return NewMedia(kind="clip", name=f"{text}.mp4", source=data)


def same_swing(one, two):
    assert one.hand == two.hand
    assert one.stroke == two.stroke
    assert dict(one.events) == dict(two.events)
    for name in ("times", "points", "racket", "draws", "camera_azimuth", "azimuth_sd"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    assert one.points.shape[1] == K
