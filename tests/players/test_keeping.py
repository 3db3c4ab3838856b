"""What was said of players comes back as it was kept, and goes when it should."""

from dataclasses import replace
from datetime import date, datetime, timezone

import pytest

from swingmatch.errors import ClipError, LibraryError
from swingmatch.findings.catalogue.fault import Drill, Fault, Sign
from swingmatch.findings.change import BETTER, GONE, compare_reviews
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.library.records import Consent
from swingmatch.players import (
    Decision,
    Player,
    decide,
    decisions,
    filmed_on,
    find_player,
    forget,
    keep,
    last_review,
    own_catalogue,
    players,
    reviews,
    write_player,
)
from swingmatch.players.keeping import counts
from swingmatch.stroke.repeats import Scatter, spread_of

DAY, LATER = date(2026, 3, 1), date(2026, 5, 1)


def a_fault(id):
    words = {"title": id.title(), "costs": "", "cause": "", "cue": "", "caution": "", "source": "a test"}
    return Fault(
        id=id,
        stroke="forehand",
        signs=(Sign("shift", ("contact",), 2.0),),
        causes=(),
        confused={},
        drill=Drill("", (), ""),
        consequence=1.0,
        teachable=1.0,
        order=0.5,
        **words,
    )


def a_scatter():
    import numpy as np

    from swingmatch.stroke.kinematics import ellipsoid

    rng = np.random.default_rng(0)
    points = rng.normal(0.0, 0.1, (6, 3))
    one = spread_of(points, np.zeros((3, 3)), rng)
    unknown = spread_of(points[:1], np.zeros((3, 3)), rng)
    return Scatter("hitting hand", points, 0.3, ellipsoid(points), one, None, one, unknown, "varies")


def test_a_review_comes_back_as_it_was_kept(store, make_review):
    late = Pattern(
        a_fault("late"), 1.2, 0.3, 0.9, (), 5, 6, explains=(Pattern(a_fault("jam"), 1.0, 0.3, 0.7, (), 4, 6),)
    )
    unnamed = Pattern(None, 1.0, 0.3, 0.8, (), 5, 6)
    kept = keep(store, make_review(patterns=[late, unnamed], scatter=a_scatter()), on=DAY)
    (found,) = reviews(store, "V07")
    assert repr(found.numbers) == repr(kept.numbers)  # as text, because NaN does not equal itself
    assert set(found.numbers.faults) == {"late", "jam"}
    assert found.numbers.faults["late"].weights == {"shift@contact": 2.0}
    assert found.clip == "V07 2026-03-01.mp4"
    assert found.document == {"changes": [{"title": "Contact is late", "evidence": None}]}
    for name in ("id", "player", "clip_sha256", "keep_until", "reviewed_at", "stroke", "camera_side"):
        assert getattr(found, name) == getattr(kept, name), name
    (player,) = players(store)
    assert (player.code, player.hand, player.keep_until) == ("V07", "right", date(2028, 2, 29))


def test_the_last_review_is_of_the_same_player_and_stroke_and_of_other_footage(store, make_review):
    assert last_review(store, make_review()) is None
    keep(store, make_review(), on=DAY)
    keep(store, make_review("V08"), on=DAY)
    keep(store, make_review(day=date(2026, 3, 2), stroke="serve"), on=DAY)
    keep(store, make_review(day=date(2026, 6, 1)), on=DAY)
    now = make_review(day=LATER, late=-3.0)
    before = last_review(store, now)
    assert (before.player, before.stroke, before.filmed_on) == ("V07", "forehand", DAY)
    keep(store, now, on=DAY)
    assert last_review(store, now).filmed_on == DAY
    (change,) = compare_reviews(before.numbers, now.numbers).targets
    assert (change.title, change.verdict) == ("Contact is late", BETTER)


def test_the_same_clip_again_replaces_what_was_said(store, make_review):
    keep(store, make_review(), on=DAY)
    keep(store, make_review(late=20.0), on=DAY)
    (found,) = reviews(store, "V07")
    assert found.numbers.told["shift@contact"].player == 20.0
    # Another stroke of the same clip is another review.
    keep(store, make_review(stroke="serve"), on=DAY)
    assert len(reviews(store, "V07")) == 2
    assert counts(store) == {"V07": (2, DAY)}


def test_a_name_finds_its_player(store, make_review):
    write_player(store, Player(code="V07", name="Mia", keep_until=DAY, notes="left knee sore"), on=DAY)
    kept = keep(store, make_review("Mia"), on=DAY)
    assert kept.player == "V07"
    assert last_review(store, make_review("Mia", LATER)).id == kept.id
    assert find_player(store, "mia").notes == "left knee sore"
    assert find_player(store, "MIA").keep_until == date(2028, 2, 29)
    with pytest.raises(LibraryError, match="no player Tom; on record: Mia"):
        find_player(store, "Tom")
    write_player(store, Player(code="V08", name="Mia", keep_until=DAY), on=DAY)
    with pytest.raises(LibraryError, match=r"several players Mia.*V07, V08"):
        find_player(store, "Mia")
    # What is written of a player anew leaves the reviews.
    write_player(store, replace(find_player(store, "V07"), notes=""), on=DAY)
    assert len(reviews(store, "V07")) == 1


def test_what_was_agreed_is_respected(store, make_review):
    store.record_consent(
        Consent(code="V07", agreed_on=DAY, until=LATER, minor=True, guardian="G7", name="Mia")
    )
    keep(store, make_review(), on=DAY)
    (player,) = players(store)
    assert (player.name, player.minor, player.guardian) == ("Mia", True, "G7")
    with pytest.raises(LibraryError, match="ended on 2026-05-01"):
        keep(store, make_review(day=LATER), on=date(2026, 6, 1))
    store.withdraw("V07", on=LATER)
    assert players(store) == ()
    assert reviews(store, "V07") == ()
    with pytest.raises(LibraryError, match="withdrew on 2026-05-01"):
        keep(store, make_review(), on=LATER)
    with pytest.raises(LibraryError, match="minor"):
        write_player(store, Player(code="V09", minor=True, keep_until=DAY), on=DAY)
    with pytest.raises(LibraryError, match="code or a name"):
        keep(store, make_review(" "), on=DAY)


def test_decisions(store, make_review):
    kept = keep(store, make_review(), on=DAY)
    at = datetime(2026, 3, 1, 12, tzinfo=timezone.utc)
    made = [
        Decision(
            player="V07", stroke="forehand", fault="late", action="moved", review=kept.id,
            place_before=1, place_after=3, made_at=at,
        ),
        Decision(player="V07", stroke="serve", fault="low_toss", action="added", place_after=1, made_at=at),
    ]  # fmt: skip
    decide(store, made)
    assert decisions(store) == tuple(made)
    assert decisions(store, "serve") == tuple(made[1:])
    with pytest.raises(LibraryError, match="no player V99"):
        decide(store, [made[1], replace(made[1], player="V99")])
    assert len(decisions(store)) == 2
    gone = forget(store, "V07")
    assert (gone.players, gone.reviews) == (("V07",), (kept.id,))
    assert decisions(store) == ()
    with pytest.raises(LibraryError, match="Nothing of V07"):
        forget(store, "V07")


def test_what_is_past_its_time_goes(store, make_review):
    keep(store, make_review(keep_months=1), on=DAY)
    keep(store, make_review(day=LATER, keep_months=2), on=DAY)
    keep(store, make_review("V08", keep_months=1), on=DAY)
    assert "2 review(s) are past the time they are kept for." in store.warnings(LATER)
    store.expire(LATER)
    assert [one.filmed_on for one in reviews(store, "V07")] == [LATER]
    assert [player.code for player in players(store)] == ["V07"]
    assert store.check() == []


def test_the_own_catalogue_lies_beside_the_library(store):
    assert own_catalogue(store) == store.home / "catalogue.toml"


def test_a_fault_that_is_gone(store, make_review):
    keep(store, make_review(patterns=[Pattern(a_fault("late"), 1.2, 0.3, 0.9, (), 5, 6)]), on=DAY)
    now = make_review(day=LATER, late=0.0)
    (fault,) = compare_reviews(last_review(store, now).numbers, now.numbers).faults
    assert (fault.fault, fault.verdict) == ("late", GONE)


def test_the_day_of_a_file(tmp_path):
    import os

    import av
    import numpy as np

    def film(name, **words):
        path = tmp_path / name
        with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
            out.metadata.update(words)
            stream = out.add_stream("mpeg4", rate=30)
            stream.width = stream.height = 32
            picture = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
            out.mux(stream.encode(picture))
            out.mux(stream.encode(None))
        os.utime(path, (1_760_000_000, 1_760_000_000))
        return path

    file_day = date.fromtimestamp(1_760_000_000)
    assert filmed_on(film("said.mov", creation_time="2025-06-02T12:00:00Z")) == (date(2025, 6, 2), True)
    zoned = film("zoned.mov", **{"a.maker.creationdate": "2025-06-03T23:30:00+1000"})
    assert filmed_on(zoned) == (date(2025, 6, 3), True)
    assert filmed_on(film("never_set.mov", creation_time="1970-01-01T00:00:00Z")) == (file_day, False)
    assert filmed_on(film("silent.mov")) == (file_day, False)
    (tmp_path / "no film.mp4").write_bytes(b"text")
    assert filmed_on(tmp_path / "no film.mp4")[1] is False
    with pytest.raises(ClipError, match="cannot be read"):
        filmed_on(tmp_path / "missing.mp4")
