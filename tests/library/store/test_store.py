"""What goes into the store comes out, for as long and as far as was agreed; on SQLite and on PostgreSQL."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from sqlalchemy import event, text

from swingmatch.errors import LibraryError
from swingmatch.library.model import make_model
from swingmatch.library.records import Footage
from swingmatch.library.store import open_store
from swingmatch.library.store.reading import Filter


def test_a_model_comes_back_as_it_went_in(store, place, samples):
    repeats = tuple(replace(samples.swing(n), camera_azimuth=90.0 + n, azimuth_sd=2.5) for n in (1, 2, 3))
    repeats = (replace(repeats[0], racket=np.full((len(repeats[0].times), 5, 3), 0.25)), *repeats[1:])
    typical = make_model(repeats)
    model = samples.model(
        "V07",
        swings=repeats,
        mean=typical.swing,
        spread=typical.spread,
        apart=typical.apart,
        stance="open",
        grip="eastern",
        tempo=0.81,
        level="club",
        build={"arm_for_height": 0.33, "leg_for_trunk": float("nan")},
        traits={"stance": 31.5},
        style={"stance": "open", "degrees": 31.5},
        style_words=("Loose arm.",),
        tags=frozenset({"low ball", "2026"}),
        notes=("Left foot hidden at times.",),
    )
    listed = store.add(model, samples.consent("V07"), [samples.clip("film")], on=samples.DAY)
    store.close()
    with open_store(*place) as again:
        (entry,) = again.models(samples.DAY)
        assert entry.tags == listed.tags
        # As text, because NaN does not equal itself.
        assert repr(replace(entry, tags=frozenset())) == repr(replace(listed, tags=frozenset()))
        found = again.model(model.id, samples.DAY)
        assert found.media == listed.media
        assert again.path_of(found.media[0]).read_bytes() == samples.clip("film").source
        assert again.check() == []
    for name in (
        "id",
        "label",
        "stance",
        "grip",
        "take_back",
        "tempo",
        "style",
        "style_words",
        "tags",
        "notes",
    ):
        assert getattr(found, name) == getattr(model, name), name
    assert found.contains == ("V07",)
    assert found.added_at == model.added_at
    assert found.build["arm_for_height"] == 0.33
    assert np.isnan(found.build["leg_for_trunk"])
    assert np.isnan(found.stature)
    for one, two in zip((*model.swings, model.mean), (*found.swings, found.mean), strict=True):
        samples.same_swing(one, two)
    assert found.apart == model.apart
    assert found.spread.phases == model.spread.phases
    np.testing.assert_array_equal(found.spread.degrees, model.spread.degrees)
    np.testing.assert_array_equal(found.spread.counts, model.spread.counts)
    np.testing.assert_equal(dict(found.spread.milliseconds), dict(model.spread.milliseconds))


def test_nothing_enters_without_consent(store, samples):
    model = samples.model("V07")
    with pytest.raises(LibraryError, match="no consent of V07 is on record"):
        store.add(model, media=[samples.clip("film")], on=samples.DAY)
    with pytest.raises(LibraryError, match="consent is of V08"):
        store.add(model, samples.consent("V08"), on=samples.DAY)
    ended = samples.consent("V07", until=date(2026, 2, 1))
    with pytest.raises(LibraryError, match="ended on 2026-02-01"):
        store.add(model, ended, on=samples.DAY)
    with pytest.raises(LibraryError, match="guardian"):
        store.add(model, samples.consent("V07", minor=True), on=samples.DAY)
    with pytest.raises(LibraryError, match="own use"):
        store.add(model, samples.consent("V07", own_use=False), on=samples.DAY)
    mixed = replace(model, contains=("V07", "V09"))
    with pytest.raises(LibraryError, match="no consent of V09"):
        store.add(mixed, samples.consent("V07"), on=samples.DAY)
    assert store.models(samples.DAY) == ()
    assert store.consents() == ()
    assert not list(store.media.hashes())
    assert store.check() == []

    made = replace(model, generated=True)
    with pytest.raises(LibraryError, match="nobody who could consent"):
        store.add(made, samples.consent("V07"))
    store.add(made)
    assert [m.generated for m in store.models(samples.DAY, "shared_set")] == [True]


def test_what_is_shown_is_what_was_agreed_for_as_long_as_agreed(store, samples):
    store.add(samples.model("A"), samples.consent("A", until=date(2026, 6, 30)), on=samples.DAY)
    store.add(samples.model("B"), samples.consent("B", show_students=True, shared_set=True), on=samples.DAY)

    def shown(purpose, on=samples.DAY):
        return [m.volunteer for m in store.models(on, purpose)]

    assert shown("own_use") == ["A", "B"]
    assert shown("show_students") == ["B"]
    assert shown("show_face") == []
    assert shown("own_use", date(2026, 6, 30)) == ["A", "B"]
    assert shown("own_use", date(2026, 7, 1)) == ["B"]
    with pytest.raises(LibraryError, match="did not agree to showing to students"):
        store.model("a-0", samples.DAY, "show_students")
    with pytest.raises(LibraryError, match="ended on 2026-06-30"):
        store.model("a-0", date(2026, 7, 1))
    assert store.warnings(date(2026, 5, 30)) == []
    assert "ends in 30 days" in store.warnings(date(2026, 5, 31))[0]
    assert "ended on 2026-06-30" in store.warnings(date(2026, 7, 1))[0]
    # The latest record counts, narrower or wider.
    store.record_consent(samples.consent("A", agreed_on=date(2026, 7, 2)))
    assert shown("own_use", date(2026, 7, 2)) == ["A", "B"]
    store.record_consent(samples.consent("B", agreed_on=date(2026, 7, 2)))
    assert shown("show_students", date(2026, 7, 2)) == []


def test_a_withdrawal_takes_all_and_an_old_consent_no_longer_counts(store, samples):
    shared = samples.clip("both of them in one film")
    store.add(samples.model("A"), samples.consent("A"), [samples.clip("a"), shared], on=samples.DAY)
    store.add(samples.model("B"), samples.consent("B"), [samples.clip("b"), shared], on=samples.DAY)
    both = samples.model("B", 1, label="Average", contains=("A",))
    store.add(both, on=samples.DAY)
    gone = store.withdraw("A", samples.DAY)
    assert set(gone.models) == {"a-0", "b-1"}
    (left,) = store.models(samples.DAY)
    assert (left.id, [m.name for m in left.media]) == ("b-0", ["b.mp4", "swings.npz"])
    assert store.features().ids == ["b-0"]
    assert [c.code for c in store.consents()] == ["B"]
    assert len(list(store.media.hashes())) == 2
    assert store.check() == []
    (kept,) = store.withdrawals()
    assert kept.withdrawn_on == samples.DAY
    assert kept.code_hash != "A"
    assert len(kept.code_hash) == 64
    with pytest.raises(LibraryError, match="withdrew on 2026-03-01"):
        store.add(samples.model("A"), samples.consent("A"), on=samples.DAY)
    with pytest.raises(LibraryError, match="Nothing of A"):
        store.withdraw("A")
    later = samples.DAY + timedelta(days=1)
    store.add(samples.model("A"), samples.consent("A", agreed_on=later), on=later)
    store.forget("A")
    assert [m.id for m in store.models(later)] == ["b-0"]


def test_footage_of_players_is_kept_for_a_time_and_no_longer(store, samples):
    piece = Footage(player="P1", filmed_on=samples.DAY, keep_until=date(2026, 12, 31), stroke="serve")
    with pytest.raises(LibraryError, match="no consent of P1"):
        store.add_footage(piece, media=[samples.clip("p")], on=samples.DAY)
    kept = store.add_footage(piece, samples.consent("P1"), [samples.clip("p")], on=samples.DAY)
    assert store.footage(samples.DAY) == (kept,)
    assert store.footage(samples.DAY, "show_students") == ()
    assert not store.expire(date(2026, 12, 31))
    assert store.footage(date(2027, 1, 1)) == ()
    assert "past the time" in store.warnings(date(2027, 1, 1))[0]
    assert store.expire(date(2027, 1, 1)).footage == (piece.id,)
    assert not list(store.media.hashes())
    assert store.check() == []


def test_one_model_replaces_another_in_one_moment(store, samples):
    store.add(samples.model("A"), samples.consent("A"), [samples.clip("one")], on=samples.DAY)
    more = samples.model("A", 1, swings=(samples.swing(1), samples.swing(2)))
    store.add(more, media=[samples.clip("one"), samples.clip("two")], replaces="a-0", on=samples.DAY)
    (left,) = store.models(samples.DAY)
    assert (left.id, left.repeats) == ("a-1", 2)
    assert len(list(store.media.hashes())) == 3
    assert store.features().ids == ["a-1"]
    assert store.check() == []
    with pytest.raises(LibraryError, match="in the library already"):
        store.add(more, on=samples.DAY)
    with pytest.raises(LibraryError, match="no model a-0"):
        store.add(samples.model("A", 2), replaces="a-0", on=samples.DAY)
    assert store.holding(left.media[0].sha256, "clip") == ("a-1",)
    store.remove(["a-1"])
    assert not list(store.media.hashes())
    assert [c.code for c in store.consents()] == ["A"]


def test_tags_and_filters(store, samples):
    for code, stroke in (("A", "forehand"), ("B", "serve")):
        store.add(samples.model(code, stroke=stroke), samples.consent(code), on=samples.DAY)
    assert store.tag("a-0", ["low ball", " slow "]) == {"low ball", "slow"}
    assert store.tag("a-0", ["2026"], ["slow"]) == {"low ball", "2026"}

    def found(**wanted):
        return [m.id for m in store.models(samples.DAY, wanted=Filter(**wanted))]

    assert found(tags=["low ball", "2026"]) == ["a-0"]
    assert found(tags=["slow"]) == []
    assert found(stroke="serve") == ["b-0"]
    assert found(ids=["b-0", "c"]) == ["b-0"]
    assert found(generated=True) == []
    for wrong in ("", "x" * 201):
        with pytest.raises(LibraryError, match="tag"):
            store.tag("a-0", [wrong])
    library = store.library(samples.DAY, stroke="serve")
    assert [v.label for v in library] == ["Label of B"]
    assert "own use" in library.volunteers[0].consent


def test_listing_takes_the_same_few_queries_however_many_models(store, samples):
    counts = []

    def count():
        asked = []
        event.listen(store.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
        assert len(store.models(samples.DAY)) == len(store.features().ids)
        counts.append(len([q for q in asked if q.lstrip().startswith("SELECT")]))

    for number in range(3):
        store.add(samples.model(f"P{number}"), samples.consent(f"P{number}"), on=samples.DAY)
        count()
    assert counts[0] <= 6
    assert counts == [counts[0]] * 3


def test_damage_is_found(store, samples):
    listed = store.add(samples.model("A"), samples.consent("A"), [samples.clip("one")], on=samples.DAY)
    clip, swings = (store.path_of(file) for file in listed.media)
    whole = clip.read_bytes()
    clip.write_bytes(b"?" + whole[1:])
    assert "damaged" in " ".join(store.check())
    clip.unlink()
    assert "missing" in " ".join(store.check())
    clip.parent.mkdir(exist_ok=True)
    clip.write_bytes(whole)
    (store.media.folder / "stray").write_bytes(b"x")
    assert "belongs to nothing" in " ".join(store.check())
    (store.media.folder / "stray").unlink()
    store.features().remove(["a-0"])
    assert "search lacks" in " ".join(store.check())
    assert store.rebuild_features() == 1
    assert store.check() == []
    swings.write_bytes(b"no longer an archive")
    assert store.library(samples.DAY).problems
    with store.engine.begin() as connection:
        connection.execute(text("DELETE FROM consents"))
    assert "without a consent" in " ".join(store.check())
