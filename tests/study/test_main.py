"""The study's command line and the steps it calls: who is studied, what is kept, what is timed."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from swingmatch import pipeline
from swingmatch.library.folder import load_library
from swingmatch.study import __main__ as command
from swingmatch.study import review_time
from swingmatch.study import run as running
from swingmatch.study.kept import kept_path, read_tracked
from swingmatch.study.measure import Errors, track_timed
from swingmatch.study.recorded import HELD_OUT_PLAYERS, TUNING_PLAYERS
from swingmatch.study.review_time import review_seconds
from swingmatch.synth.cast import HELD_OUT, TUNING


@pytest.fixture
def call(monkeypatch, capsys):
    """Run the command with the work left out; gives what would have been studied and what was printed."""

    def with_words(*words):
        seen = {}

        def run(items, folder, executor, *, keep, progress):
            seen.update(items=items, folder=folder, keep=keep)
            return [Errors("front", frames=10, found=10) for _ in items]

        monkeypatch.setattr(command, "run", run)
        monkeypatch.setattr(command, "recorded_shots", lambda folder, players: list(players))
        monkeypatch.setattr(command, "processes", ThreadPoolExecutor)
        monkeypatch.setattr(sys, "argv", ["study", *words])
        command.main()
        return seen, capsys.readouterr().out

    return with_words


def test_a_report_is_of_what_nothing_was_tuned_on(call):
    seen, text = call("report", "--clips", "3")
    assert {shot.seed for shot in seen["items"]} <= set(HELD_OUT)
    assert len(seen["items"]) == 3
    assert not seen["keep"]
    assert "| frames tracked | at least 98 % | 100.00 % | met |" in text
    seen, _ = call("report", "--tuning")
    assert {shot.seed for shot in seen["items"]} <= set(TUNING)


def test_recorded_players_are_parted_likewise_and_their_limits_said(call, tmp_path):
    seen, text = call("report", "--mocap", str(tmp_path))
    assert seen["items"] == list(HELD_OUT_PLAYERS)
    assert "Contact was not recorded" in text
    seen, _ = call("report", "--tuning", "--mocap", str(tmp_path))
    assert seen["items"] == list(TUNING_PLAYERS)


def test_kept_tracks_lie_with_the_clips(call, tmp_path):
    seen, _ = call("report", "--keep-tracks", "--folder", str(tmp_path))
    assert (seen["folder"], seen["keep"]) == (tmp_path, True)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("calibrate", "--mocap", "."), "calibrate uses generated clips"),
        (("calibrate", "--tuning"), "calibrate has seeds of its own"),
        (("report", "--keep-tracks"), "--keep-tracks needs --folder"),
    ],
)
def test_words_that_do_not_go_together_are_one_sentence(call, capsys, words, sentence):
    with pytest.raises(SystemExit):
        call(*words)
    assert sentence in capsys.readouterr().err


def test_results_come_in_the_order_of_the_shots(monkeypatch, tmp_path):
    monkeypatch.setattr(running, "_one", lambda item, folder, keep: (item, folder, keep))
    shares = []
    with ThreadPoolExecutor(3) as executor:
        found = running.run(
            list("abc"), tmp_path, executor, keep=True, progress=lambda step, share: shares.append(share)
        )
    assert found == [(item, tmp_path, True) for item in "abc"]
    assert shares == pytest.approx([1 / 3, 2 / 3, 1.0])


def test_reviews_are_timed_on_clips_that_could_be_used(monkeypatch, tmp_path):
    monkeypatch.setattr(running, "filmed", lambda item, folder: (folder / item, None))
    monkeypatch.setattr(running, "review_seconds", lambda path, library: {path.name: 1.0})
    all_errors = [Errors("front", failed="Dark."), Errors("front"), Errors("front"), Errors("front")]
    running.time_reviews(list("abcd"), all_errors, tmp_path, 2)
    assert [errors.seconds for errors in all_errors] == [{}, {"b": 1.0}, {"c": 1.0}, {}]


def test_every_step_of_a_review_is_timed(rendered, monkeypatch):
    path, _ = rendered
    track_timed(path, keep=True)
    kept = read_tracked(kept_path(path))
    monkeypatch.setattr(pipeline, "watch", lambda *words, **more: kept.track)
    # A film of few pictures, for the test's own time.
    monkeypatch.setattr(review_time, "write_film", partial(review_time.write_film, fps=5.0))
    seconds = review_seconds(path, load_library())
    assert set(seconds) == {"choose the model", "align", "compare", "film", "page"}
    assert all(value > 0.0 for value in seconds.values())
