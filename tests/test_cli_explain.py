"""The command ``explain``: words into calls, text or JSON out. The analysis itself is a stub here."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import jsonschema
import pytest

from swingmatch import cli
from swingmatch.errors import ClipError
from swingmatch.findings.explain import About, explain
from swingmatch.findings.explanation_json import schema_text
from swingmatch.words.language import speaking


@pytest.fixture
def asked(monkeypatch, tmp_path):
    """What the pipeline was asked; it fails for a clip named "bad"."""
    calls = []

    def review_clip(path, library, options, *, estimator, progress):
        calls.append((path, options))
        if path.stem == "bad":
            raise ClipError("The file bad.mp4 is not a video.")
        with speaking(options.language):
            about = About(options.player or path.stem, "Bram", True, "forehand", "front", 2)
            return SimpleNamespace(explanation=explain(about, [], [], []))

    monkeypatch.setenv("SWINGMATCH_HOME", str(tmp_path / "home"))
    for name in ("SWINGMATCH_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("swingmatch.pipeline.review_clip", review_clip)
    monkeypatch.setattr(
        "swingmatch.body.estimator.make_estimator", lambda model=None: SimpleNamespace(close=lambda: None)
    )
    return calls


def test_text_goes_past_a_bad_clip(asked, capsys):
    assert cli.main(["explain", "bad.mp4", "good.mp4"]) == 1
    out, err = capsys.readouterr()
    assert "swingmatch: The file bad.mp4 is not a video." in err
    assert "good: 2 forehands, seen from the front, beside Bram" in out
    assert out.index("What already works") < out.index("What to change")


def test_json_is_one_valid_line_a_clip_and_nothing_else(asked, capsys):
    assert cli.main(["explain", "a.mp4", "b.mp4", "--json", "--language", "de"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = [json.loads(line) for line in out.splitlines()]
    for line in lines:
        jsonschema.validate(line, json.loads(schema_text()))
    assert [(line["player"], line["language"]) for line in lines] == [("a", "de"), ("b", "de")]


def test_the_language_of_the_environment(asked, capsys, monkeypatch):
    monkeypatch.setenv("SWINGMATCH_LANGUAGE", "de")
    assert cli.main(["explain", "a.mp4"]) == 0
    assert "Was schon gelingt" in capsys.readouterr().out
    monkeypatch.setenv("SWINGMATCH_LANGUAGE", "xx")
    assert cli.main(["explain", "a.mp4"]) == 1
    assert 'The language "xx" is not there' in capsys.readouterr().err


def test_the_schema_is_printed_without_a_clip(asked, capsys):
    assert cli.main(["explain", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(schema_text())
    assert asked == []
    assert cli.main(["explain"]) == 1
    assert "at least one clip" in capsys.readouterr().err


def test_what_the_coach_says_is_passed_on(asked, capsys):
    words = ["explain", "a.mp4", "--hand", "left", "--stroke", "serve", "--player", "Ann", "--no-keep"]
    assert cli.main([*words, "--model", "bram"]) == 0
    ((_, options),) = asked
    assert (options.hand, options.stroke, options.player, options.model) == ("left", "serve", "Ann", "bram")


def test_a_players_last_review_is_set_beside_and_only_then_kept(asked, capsys, monkeypatch):
    seen = []

    def beside(review, clip, player):
        seen.append(player)
        return replace(review.explanation, since=("Better than last time.",))

    monkeypatch.setattr("swingmatch.explain_command.beside_the_last", beside)
    assert cli.main(["explain", "a.mp4", "--player", "Ann"]) == 0
    assert "Better than last time." in capsys.readouterr().out
    cli.main(["explain", "a.mp4", "--player", "Ann", "--no-keep"])
    cli.main(["explain", "a.mp4"])
    assert seen == ["Ann"]


def test_the_coachs_own_catalogue_goes_into_every_review(asked, monkeypatch):
    from swingmatch.library.store import open_store
    from swingmatch.players import own_catalogue

    reviewed = []
    monkeypatch.setattr(cli, "_review_all", lambda jobs, *rest: reviewed.extend(jobs) or 0)
    assert cli.main(["compare", "a.mp4"]) == 0
    with open_store() as store:
        own = own_catalogue(store)
    assert cli.main(["compare", "a.mp4"]) == 0
    assert cli.main(["explain", "a.mp4"]) == 0
    assert [options.catalogue for _, options in (*reviewed, *asked)] == [None, own, own]
