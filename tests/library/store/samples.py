"""Invented models, consents and files for the tests of the store; no person stands behind them."""

import zlib
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone

import numpy as np

from swingmatch.body.skeleton import K
from swingmatch.findings.deviation import Deviation
from swingmatch.library.folder import load_library
from swingmatch.library.records import Consent, Model, NewMedia
from swingmatch.players import Decision, Player, decide, keep, review_of, write_player
from swingmatch.stroke.swing import Swing

DAY = date(2026, 3, 1)
LONG_AGO = datetime(2026, 3, 1, 12, tzinfo=timezone.utc)
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


def review_marks(mark):
    """What stands in the review of ``keep_review`` that belongs to its player alone."""
    return [
        f"{word}-{mark}"
        for word in ("NOTE", "GUARDIAN", "NAME", "CLIP", "DOCUMENT", "TARGET", "KEY", "FAULT")
    ]


def review(code, mark="", day=DAY):
    """What was said of a clip of the player with that code."""
    deviation = Deviation(f"KEY-{mark}", "", "ms", 60.0, 0.0, 10.0, 12.0, 15.0, 30.0, 6, 0.0, visible=True)
    made = review_of(
        player=code,
        clip=f"CLIP-{mark}.mp4",
        clip_sha256=f"{zlib.crc32(f'{code} {mark}'.encode()):064x}",
        stroke="forehand",
        hand="right",
        camera_side="right side",
        azimuth=90.0,
        model="Anders",
        filmed_on=day,
        document={"changes": [f"DOCUMENT-{mark}"] * 200},
        deviations=[deviation],
        targets={f"KEY-{mark}": f"TARGET-{mark}"},
    )
    # The new one after the old one, however fast both were made.
    return replace(made, reviewed_at=LONG_AGO + timedelta(hours=mark == "new"))


def keep_review(store, code, mark):
    """Keep a player with a review and a decision on it."""
    words = {"guardian": f"GUARDIAN-{mark}", "notes": f"NOTE-{mark}", "name": f"NAME-{mark}-{code}"}
    person = Player(code=code, keep_until=DAY, minor=True, added_at=LONG_AGO, **words)
    write_player(store, person, on=DAY)
    kept = keep(store, review(code, mark), on=DAY)
    what = Decision(
        player=code,
        stroke="forehand",
        fault=f"FAULT-{mark}",
        action="dropped",
        review=kept.id,
        made_at=LONG_AGO,
    )
    decide(store, [what])
