"""The coach's own models in a choice: who may be shown, labels, and a short list that changes nothing."""

from dataclasses import replace
from datetime import date

import pytest

from swingmatch import library_commands
from swingmatch.errors import LibraryError
from swingmatch.library import own as module
from swingmatch.library.adding import Facts, to_model
from swingmatch.library.choose import choose, find_label
from swingmatch.library.folder import Library, load_library
from swingmatch.library.own import OwnModels
from swingmatch.library.records import Consent
from swingmatch.library.store import open_store
from swingmatch.synth.cast import VOLUNTEERS
from swingmatch.synth.volunteers import swings_of


@pytest.fixture(scope="module")
def shipped():
    return load_library()


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("SWINGMATCH_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def put(store, volunteer, code, label=None, **facts):
    made = Facts(volunteer=code, label=label or volunteer.label, **{"generated": True, **facts})
    return store.add(to_model(volunteer.swings, [0.0] * len(volunteer.swings), made)[0])


def fresh(name):
    player = next(p for p in VOLUNTEERS if p.name == name)
    return swings_of(replace(player, seed=player.seed + 50).perform(swings=2))


@pytest.mark.parametrize("name", ["Wren", "Bram", "Suri"])
def test_a_short_list_gives_the_same_choice(home, shipped, monkeypatch, name):
    """Every model may be chosen from; of a library that is large for this test only some are read."""
    forehands = [v for v in shipped if v.stroke == "forehand"]
    with open_store() as store:
        for number, volunteer in enumerate(forehands):
            put(store, volunteer, f"V{number}")
        own = OwnModels(store)
        every = own.of(fresh(name))
        monkeypatch.setattr(module, "SHORTLIST", 3)
        few = own.of(fresh(name))
        assert len(every) == len(forehands)
        assert 3 <= len(few) <= 6
        best, same = choose(fresh(name), every), choose(fresh(name), few)
        assert (best.volunteer.label, best.volunteer.id) == (same.volunteer.label, same.volunteer.id)
        assert best.volunteer.label == name
        last = next(v.label for v in every if v.label not in few.names())
        assert choose(fresh(name), own.of(fresh(name), last), name=last).volunteer.label == last


def test_labels_are_the_same_however_many_are_read(home, shipped, monkeypatch):
    """Two of one label and one of a shipped model's are told apart, in a short list as in the whole."""
    wren, bram = (next(v for v in shipped if v.label == name) for name in ("Wren", "Bram"))
    with open_store() as store:
        put(store, wren, "V1", "Calm")
        put(store, bram, "V2", "Calm")
        put(store, wren, "V3", "Wren")
        own = OwnModels(store, shipped=shipped)
        names = own.names()
        assert len(names) == len({n.casefold() for n in names}) == len(shipped) + 3
        assert {"Calm", "Wren", "Wren (own)"} <= set(names)
        monkeypatch.setattr(module, "SHORTLIST", 1)
        labels = own.labels()
        for volunteer in own.of(fresh("Wren")):
            assert not volunteer.id or volunteer.label == labels[volunteer.id]


def test_a_review_takes_only_whom_students_may_see(home, shipped):
    wren = next(v for v in shipped if v.label == "Wren")
    with open_store() as store:
        store.record_consent(Consent(code="V1", agreed_on=date(2026, 1, 2)))
        store.record_consent(Consent(code="V2", agreed_on=date(2026, 1, 2), show_students=True))
        put(store, wren, "V1", "Hidden", generated=False)
        put(store, wren, "V2", "Seen", generated=False)
    with library_commands.models_of(None) as models:
        names = models.names()
        assert "Seen" in names
        assert "Hidden" not in names
        assert "Bram" in names
        assert {v.label for v in models.of(fresh("Wren"))} == {
            "Seen", *(v.label for v in shipped)
        }  # fmt: skip
    with library_commands.models_of("mine") as models:
        assert models.names() == ("Seen",)
        assert "Seen" in library_commands.model_lines(models)[0]
    with library_commands.models_of("shipped") as models:
        assert models.names() == shipped.names()


def test_without_a_library_of_ones_own_nothing_is_made(home):
    with library_commands.models_of(None) as models:
        assert isinstance(models, Library)
    with pytest.raises(LibraryError, match="no private library yet"), library_commands.models_of("mine"):
        pass
    assert not home.exists()
    with open_store():
        pass
    with pytest.raises(LibraryError, match="no model that may be shown"), library_commands.models_of("mine"):
        pass


def test_a_name_that_is_not_there_is_asked_about():
    assert find_label(["Calm", "Wren (own)"], " calm ") == "Calm"
    with pytest.raises(LibraryError, match='Did you mean "Calm"'):
        find_label(["Calm"], "calmm")
    with pytest.raises(LibraryError, match="and 60 more"):
        find_label([f"V{i}" for i in range(100)], "x")
