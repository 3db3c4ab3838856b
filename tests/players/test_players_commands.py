"""``swingmatch players`` as a coach runs it."""

import argparse
import json
from datetime import date

import pytest

from swingmatch import players_commands
from swingmatch.errors import LibraryError, SwingmatchError
from swingmatch.library.store import open_store
from swingmatch.players import Player, keep, write_player

DAYS = (date(2026, 3, 1), date(2026, 4, 1), date(2026, 5, 1))


@pytest.fixture
def run(tmp_path, capsys):
    """Runs a command on a home; gives what it printed."""
    parser = argparse.ArgumentParser()
    players_commands.register(parser.add_subparsers(dest="command"))

    def command(*words):
        assert (
            players_commands.run(parser.parse_args(["players", *words, "--home", str(tmp_path / "home")]))
            == 0
        )
        return capsys.readouterr().out

    return command


@pytest.fixture
def home(tmp_path, make_review):
    with open_store(tmp_path / "home") as store:
        write_player(store, Player(code="V07", name="Mia", notes="Twice a week.", keep_until=DAYS[0]))
        for day, late in zip(DAYS, (120.0, 100.0, 5.0), strict=True):
            keep(store, make_review("V07", day, late), on=day)
        keep(store, make_review("V08", DAYS[0], date_known=False, azimuth=float("nan")), on=DAYS[0])
    return tmp_path


def test_nobody_yet(run):
    assert "No player is on record" in run("list")
    assert json.loads(run("list", "--json")) == []


def test_list(home, run):
    lines = run("list").splitlines()
    assert lines[0].split() == ["Mia", "(V07)", "3", "reviews", "last", "filmed", "2026-05-01"]
    assert lines[1].split() == ["V08", "right-handed", "1", "review", "last", "filmed", "2026-03-01"]
    assert [one["reviews"] for one in json.loads(run("list", "--json"))] == [3, 1]


def test_history(home, run):
    said = run("show", "mia")
    assert said.count("Asked for: Contact is late") == 3
    assert "no change that can be told" in said  # 120 to 100
    assert "nearer to the model" in said  # 100 to 5, and 120 to 5
    assert "Over the whole time" in said
    assert "day of the file" in run("show", "V08")
    told = json.loads(run("show", "Mia", "--json"))
    first, second, third = told["history"]
    assert first["changes"] is None
    assert second["changes"]["targets"][0]["verdict"] == "no change that can be told"
    (target,) = third["changes"]["targets"]
    assert (target["verdict"], target["difference"], target["title"]) == ("better", -95.0, "Contact is late")
    assert third["changes"]["since"] == "2026-04-01"


def test_chart(home, run):
    file = home / "chart.html"
    assert f"Charts: {file}" in run("show", "Mia", "--chart", str(file))
    page = file.read_text(encoding="utf-8")
    assert "Mia: forehand over time" in page
    assert "Contact is late" in page


def test_forget(home, run):
    assert run("forget", "Mia").startswith("All of Mia is removed (reviews: 3).")
    assert json.loads(run("forget", "V08", "--json"))["reviews"] == 1
    assert json.loads(run("list", "--json")) == []
    with pytest.raises(LibraryError, match="no player Mia"):
        run("forget", "Mia")


def test_nothing_to_draw(home, run):
    with pytest.raises(SwingmatchError, match="nothing to draw"):
        run("show", "Mia", "--stroke", "serve", "--chart", str(home / "chart.html"))
