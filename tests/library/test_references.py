"""The model swings that ship: enough of them, of different kinds, marked as generated, and made by their seeds."""

from pathlib import Path

import numpy as np
import pytest

from swingmatch.library.build import AVERAGE, segment_lengths
from swingmatch.library.choose import stance_name, traits
from swingmatch.library.folder import load_library, shipped_library_path, slug
from swingmatch.library.format import GENERATED
from swingmatch.synth.cast import VOLUNTEERS
from swingmatch.synth.volunteers import volunteer_of


@pytest.fixture(scope="module")
def library():
    return load_library()


def test_the_folder_is_found_and_small():
    folder = shipped_library_path()
    assert (folder / "README.md").is_file()
    assert sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) < 3_000_000
    assert {path.name for path in folder.iterdir() if path.is_dir()} == {slug(p.name) for p in VOLUNTEERS}


def test_enough_volunteers_of_clearly_different_kinds(library):
    assert not library.problems
    assert len(library) >= 8
    assert all(len(v.swings) >= 3 for v in library)
    assert {v.hand for v in library} == {"left", "right"}
    tastes = [traits(v.swings).tastes for v in library]
    assert len({stance_name(t["stance"]) for t in tastes}) >= 3
    tempo = [t["tempo"] for t in tastes]
    assert max(tempo) > 1.2 * min(
        tempo
    )  # a fifth longer from the first turn to the ball: seen with the naked eye
    statures = [v.stature for v in library]
    assert max(statures) - min(statures) > 0.2


def test_all_are_marked_as_generated(library):
    for volunteer in library:
        assert volunteer.generated
        assert volunteer.source == GENERATED == "generated; no person was recorded"
        assert volunteer.consent is None
        assert volunteer.licence


def test_bodies_keep_to_the_published_table(library):
    """Row C1 (Drillis & Contini): within the 6 % that the cast may depart from it, and constant over a swing."""
    for volunteer in library:
        for swing in volunteer.swings:
            for name, length in segment_lengths(swing.points).items():
                assert length == pytest.approx(AVERAGE[name], rel=0.061), (volunteer.label, name)


def test_times_and_events(library):
    for volunteer in library:
        for swing in volunteer.swings:
            assert swing.contact == 0.0
            np.testing.assert_allclose(np.diff(swing.times), 1 / 120, atol=1e-6)
            assert swing.times[0] <= swing.events["ready"]
            assert swing.times[-1] >= swing.events["end_of_follow_through"]
            assert np.isfinite(swing.points).all()
            assert swing.racket is not None


@pytest.mark.parametrize("player", VOLUNTEERS[::4], ids=lambda p: p.name)
def test_the_seeds_make_the_same_numbers(library, player):
    """float32 metres: 24 bits of at most 4 m, and the last bit may differ between processors."""
    stored = next(v for v in library if v.label == player.name)
    made = volunteer_of(player)
    for old, new in zip(stored.swings, made.swings, strict=True):
        np.testing.assert_allclose(old.times, new.times, atol=1e-6)
        np.testing.assert_allclose(old.points, new.points, atol=1e-6)
        np.testing.assert_allclose(old.racket, new.racket, atol=1e-6)
        assert old.events == pytest.approx(new.events, abs=1e-4)


def test_the_wheel_takes_the_folder_along():
    text = (Path(__file__).parents[2] / "pyproject.toml").read_text()
    assert '"references" = "swingmatch/references"' in text
