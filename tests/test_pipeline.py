"""The whole way for one short generated clip, from its pixels to the page and the film."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest

from swingmatch import pipeline
from swingmatch.body.estimator import make_estimator
from swingmatch.body.skeleton import INDEX, K
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.sound import strike_onsets
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import LibraryError, SwingmatchError
from swingmatch.footage.picture import Picture, Watcher
from swingmatch.footage.slow_motion import REAL_TIME, SlowMotion
from swingmatch.library.folder import load_library
from swingmatch.pipeline import Options, review_clip, track_clip
from swingmatch.report.folder import check_folder, write_review
from swingmatch.stroke.contact import Contact
from swingmatch.stroke.reconstruct import Strokes, find_swings
from swingmatch.stroke.swing import Swing


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture(scope="module")
def steps():
    return []


@pytest.fixture(scope="module")
def review(rendered, library, steps):
    path, _ = rendered
    return review_clip(path, library, progress=lambda step, share: steps.append((step, share)))


@pytest.fixture(scope="module")
def written(rendered, review, tmp_path_factory):
    return write_review(review, rendered[0], tmp_path_factory.mktemp("reviews") / "new" / "folder")


def test_one_swing_of_the_right_hand_is_found(rendered, review):
    _, truth = rendered
    assert len(review.pairs) == 1
    assert review.best == 0
    player = review.pairs[0].player
    assert player.hand == "right"
    assert review.camera_side == "right side"
    # Contact comes from the sound of the strike; a frame of this clip is 17 ms long.
    assert player.contact == pytest.approx(truth.swings[0].events["contact"], abs=0.015)
    assert review.track.found.mean() > 0.95


def test_a_model_is_chosen_with_reasons(review, library):
    assert review.model_name in [v.label for v in library]
    assert review.model_generated
    assert review.model_reasons
    assert all(reason.endswith(".") for reason in review.model_reasons)


def test_the_pair_meets_at_contact(review):
    pair = review.pairs[0]
    clock = pair.alignment
    at = int(np.flatnonzero(clock.player_times == 0.0)[0])
    assert clock.model_times[at] == pytest.approx(0.0, abs=1e-12)
    assert pair.events["contact"] == pytest.approx(pair.player.contact)
    assert pair.differences.shape[0] == len(clock.player_times)
    # The warp reaches from the preparation to the follow-through.
    assert clock.player_times[0] < -0.6
    assert clock.player_times[-1] > 0.2


def test_what_is_said_keeps_its_promises(review):
    assert review.deviations
    assert len(review.changes) <= 3
    assert len(review.strengths) <= 4
    told = review.explanation
    assert [finding.title for finding in review.changes] == [change.title for change in told.priorities]
    assert all(finding.deviation.visible and finding.cue for finding in review.changes)
    assert told.swings == len(review.pairs)
    assert review.evidence is not None
    assert all(np.isfinite(d.value) for d in review.deviations)
    assert any("told from the court's lines" in note for note in review.notes)
    assert not any("no sound" in note for note in review.notes)


def test_progress_names_each_step_and_reaches_the_end(review, steps):
    names = list(dict.fromkeys(step for step, _ in steps))
    assert names == ["following the player", "reading the swings", "measuring", "comparing"]
    for name in names:
        shares = [share for step, share in steps if step == name]
        assert shares == sorted(shares)
        assert shares[-1] == 1.0


def test_page_and_film_are_written_whole(review, written):
    folder = written.page.parent
    assert sorted(p.name for p in folder.iterdir()) == ["one-forehand.html", "one-forehand.mp4"]
    page = written.page.read_text(encoding="utf-8")
    assert "One forehand" in page
    assert review.model_name in page
    with av.open(str(written.film)) as film:
        video = film.streams.video[0]
        assert video.codec_context.name == "h264"
        assert sum(1 for _ in film.decode(video)) > 60


@pytest.fixture(scope="module")
def followed(rendered, review):
    """What was seen, and its swings, so that options can be tried without following the player again."""
    clip = open_clip(rendered[0])
    onsets = strike_onsets(clip)
    seen = pipeline.Seen(clip, review.track, onsets, Picture(), REAL_TIME)
    return seen, find_swings(review.track, onsets)


def test_the_coach_chooses_the_model(followed, library):
    seen, strokes = followed
    options = Options(model="tova", player="Ann")
    footage = pipeline._footage(seen, strokes, options)
    chosen = pipeline._compare(seen, strokes, footage, library, options)
    assert chosen.model_name == "Tova"
    assert chosen.player == "Ann"
    assert chosen.model_reasons[0] == "You chose Tova."
    # Tova is left-handed; beside a right-hander she is shown as one.
    assert chosen.pairs[0].model.hand == "right"
    with pytest.raises(LibraryError, match="no model"):
        pipeline._compare(seen, strokes, footage, library, Options(model="Nobody"))


def test_the_coach_says_hand_and_camera(rendered, review, library, monkeypatch):
    monkeypatch.setattr(pipeline, "track_clip", lambda *_, **__: review.track)
    own = review_clip(rendered[0], library, Options(hand="right", azimuth=70.0), estimator=object())
    # The clip was filmed from 80 degrees; the lines bring what the coach says nearer to it.
    assert 70.0 < own.pairs[0].player.camera_azimuth < 82.0
    assert any("as the coach says and the court's lines show" in note for note in own.notes)
    monkeypatch.setattr(pipeline, "see_court", lambda *_: None)
    alone = review_clip(rendered[0], library, Options(hand="right", azimuth=70.0), estimator=object())
    assert (alone.pairs[0].player.camera_azimuth, alone.pairs[0].player.azimuth_sd) == (70.0, 13.0)
    assert any("(as the coach says, to about ±21°)" in note for note in alone.notes)
    asked = {}

    def find(track, onsets, **options):
        asked.update(options)
        return find_swings(track, onsets)

    monkeypatch.setattr(pipeline, "find_swings", find)
    review_clip(rendered[0], library, Options(hand="left", azimuth=-30.0), estimator=object())
    assert (asked["hand"], asked["azimuth"]) == ("left", -30.0)


def test_a_left_handers_model_is_mirrored_and_back(library):
    model = library.volunteers[0].swings[0]
    left = pipeline._same_hand(model, "left")
    assert left.hand == "left"
    assert np.array_equal(left.as_right_handed().points, model.as_right_handed().points, equal_nan=True)
    assert np.array_equal(
        left.points[:, INDEX["left_hand"], 2], -model.as_right_handed().points[:, INDEX["right_hand"], 2]
    )
    assert pipeline._same_hand(model, "right").hand == "right"


def test_the_most_typical_swing_is_shown_first(library):
    one, two, three = library.volunteers[0].swings[:3]
    other = library.volunteers[-1].swings[0].as_right_handed()
    best = pipeline._most_typical([other, one, two, three])
    assert best != 0
    assert pipeline._most_typical([other, one]) == 0


@pytest.mark.parametrize(
    ("file", "name"),
    [("anna_lena-2.mp4", "Anna lena 2"), ("IMG_1234.MOV", "IMG 1234"), ("__.mp4", "__.mp4"), ("é.mp4", "É")],
)
def test_a_name_from_the_file(file, name):
    assert pipeline._name_of(Path(file)) == name


def test_notes_on_the_footage(followed, library):
    seen, strokes = followed
    poor = replace(seen, clip=replace(seen.clip, measured_rate=30.0), onsets=None)
    by_hand = replace(
        strokes, contacts=tuple(replace(c, source="hand", sources=("hand",)) for c in strokes.contacts)
    )
    footage = pipeline._footage(poor, by_hand, Options())
    review = pipeline._compare(poor, by_hand, footage, library, Options())
    notes = " ".join(review.notes)
    assert "30 pictures a second: moments are known to about ±17 ms" in notes
    assert "no sound" in notes
    # What the footage cannot show is not reported.
    hand = [d for d in review.deviations if d.quantity == "hand_in_front" and d.phase == "contact"]
    assert hand
    assert not any(d.visible for d in hand)
    assert all(footage.hides(f.deviation.quantity, f.deviation.phase) is None for f in review.changes)


def test_a_swing_that_the_film_is_cut_in_is_left_out(followed):
    seen, strokes = followed
    contact = strokes.swings[0].contact
    cut = replace(seen, picture=Picture(cuts=(contact - 0.2,), cut_margin=0.05))
    with pytest.raises(SwingmatchError, match="cut within every swing"):
        pipeline._strokes(cut, Options(), lambda *_: None)
    early = replace(seen, picture=Picture(cuts=(0.01,), cut_margin=0.01))
    assert len(pipeline._strokes(early, Options(), lambda *_: None).swings) == 1


def test_slow_motion_by_the_coachs_word_scales_every_time(rendered, review, library, monkeypatch):
    """The same pictures, shown four times as slowly, give the same swing and the same review."""
    real = open_clip(rendered[0])
    stretched = replace(
        real, times=4 * real.times, duration=4 * real.duration, measured_rate=15.0, nominal_rate=15.0
    )
    monkeypatch.setattr(pipeline, "open_clip", lambda path: stretched)
    monkeypatch.setattr(pipeline, "strike_onsets", lambda clip: None)
    asked = {}

    def track(*_, slow, **__):
        asked["slow"] = slow
        return replace(review.track, times=4 * review.track.times / slow)

    monkeypatch.setattr(pipeline, "track_clip", track)
    again = review_clip(rendered[0], library, Options(slow=4.0, hand="right"), estimator=object())
    assert again.slow == asked["slow"] == 4.0
    assert again.track.times[-1] == pytest.approx(review.track.times[-1])
    # Both from the hand: without sound the strike is not heard in either.
    silent = find_swings(review.track, None, hand="right").swings[0]
    assert again.pairs[0].player.contact == pytest.approx(silent.contact, abs=1.5 / 60)


def test_a_slowed_clip_is_followed_on_real_times(rendered, review, monkeypatch):
    clip = open_clip(rendered[0])
    told = {}

    def watch(read, times, estimator, **options):
        told["all"] = times
        told["some"] = [frame.time for frame in read(0.05, 0.1, 360)]
        return review.track

    monkeypatch.setattr(pipeline, "watch", watch)
    watcher = Watcher(every=1)
    track_clip(clip, SimpleNamespace(restart=lambda: None), watcher=watcher, slow=4.0)
    assert np.allclose(told["all"] * 4, clip.times)
    shown = clip.times[(clip.times >= 0.2) & (clip.times < 0.4)]
    assert np.allclose(np.array(told["some"]) * 4, shown)
    assert np.allclose(watcher.watched().times * 4, shown)


@pytest.mark.parametrize("skipped", [False, True])
def test_a_long_clip_that_turns_out_slow_is_followed_again(rendered, review, library, monkeypatch, skipped):
    """Its coarse pass looked for hands as fast as the clip plays, so swings may have been passed over."""
    asked = []

    def track(*_, slow, **__):
        asked.append(slow)
        holes = np.zeros(len(review.track.times), dtype=bool)
        holes[-1] = skipped
        return replace(review.track, times=4 * review.track.times / slow, skipped=holes)

    guess = SlowMotion(4.0, 0.95, "The clip looks slowed 4 times.", "Was this filmed in slow motion?")
    monkeypatch.setattr(pipeline, "track_clip", track)
    monkeypatch.setattr(pipeline, "from_evidence", lambda *_: guess)
    monkeypatch.setattr(pipeline, "strike_onsets", lambda clip: None)
    again = review_clip(rendered[0], library, Options(hand="right"), estimator=object())
    assert asked == ([1.0, 4.0] if skipped else [1.0])
    assert again.track.times[-1] == pytest.approx(review.track.times[-1])
    assert any("slow motion?" in note for note in again.notes)


def test_a_clip_without_a_player_is_one_sentence(tmp_path, library):
    path = tmp_path / "empty.mp4"
    with FilmWriter(path, (320, 180), 60) as film:
        for _ in range(30):
            film.write(np.full((180, 320, 3), 90, np.uint8))
    with pytest.raises(SwingmatchError) as caught:
        review_clip(path, library)
    assert str(caught.value).count("\n") == 0
    assert str(caught.value).endswith(".")


class Counted:
    """Counts how often the true model was closed."""

    def __init__(self):
        self.model, self.closed = make_estimator(), 0

    def estimate(self, picture, time):
        return self.model.estimate(picture, time)

    def restart(self):
        self.model.restart()

    def close(self):
        self.closed += 1
        self.model.close()


def test_an_estimator_is_closed_by_whoever_made_it(rendered, library, monkeypatch):
    def fails(*_, **__):
        raise SwingmatchError("Enough.")

    monkeypatch.setattr(pipeline, "track_clip", fails)
    given, own = Counted(), Counted()
    monkeypatch.setattr(pipeline, "make_estimator", lambda: own)
    for estimator in (given, None):
        with pytest.raises(SwingmatchError):
            review_clip(rendered[0], library, estimator=estimator)
    assert (given.closed, own.closed) == (0, 1)
    given.close()


def test_one_estimator_follows_clip_after_clip_alike(rendered, review):
    """What it remembers of one clip must not reach into the next."""
    clip = open_clip(rendered[0])
    head = [frame for frame, _ in zip(frames(clip), range(20), strict=False)]
    estimator = make_estimator()
    try:
        tracks = []
        for _ in range(2):
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(pipeline, "frames", lambda *_, **__: iter(head))
                tracks.append(track_clip(clip, estimator))
    finally:
        estimator.close()
    assert np.allclose(tracks[0].image, tracks[1].image, atol=0.5, equal_nan=True)


# --- files of a review ------------------------------------------------------------------------------------------------


@pytest.fixture
def quick(monkeypatch):
    """Film and page in a word each: what is under test is where they go."""

    def word(review, second, third, *rest, **named):
        path = second if isinstance(second, Path) else third
        path.write_text("written")

    monkeypatch.setattr("swingmatch.report.folder.write_film", word)
    monkeypatch.setattr("swingmatch.report.folder.write_page", word)


def test_the_coachs_own_clip_is_never_replaced(rendered, review, quick, tmp_path):
    clip = tmp_path / "one-forehand.mp4"
    shutil.copy(rendered[0], clip)
    before = clip.read_bytes()
    written = write_review(review, clip, tmp_path)
    assert clip.read_bytes() == before
    assert (written.page.name, written.film.name) == ("one-forehand-2.html", "one-forehand-2.mp4")


def test_pictures_of_a_slowed_clip_come_at_the_reviews_times(rendered, review, quick, tmp_path, monkeypatch):
    shown = {}

    def film(review, clip_frames, path, **_):
        shown.update({frame.time: frame.image for frame in clip_frames(0.1, 0.2)})
        path.write_text("written")

    monkeypatch.setattr("swingmatch.report.folder.write_film", film)
    write_review(replace(review, slow=2.0), rendered[0], tmp_path)
    clip = open_clip(rendered[0])
    meant = list(frames(clip, 0.2, 0.4))
    assert np.allclose(list(shown), [frame.time / 2 for frame in meant])
    assert all(np.array_equal(a, b.image) for a, b in zip(shown.values(), meant, strict=True))


def test_files_to_keep_are_kept_and_others_replaced(rendered, review, quick, tmp_path):
    first = write_review(review, rendered[0], tmp_path)
    again = write_review(review, rendered[0], tmp_path)
    assert first == again
    second = write_review(review, rendered[0], tmp_path, keep=[first.page, first.film])
    assert second.page.name == "one-forehand-2.html"
    third = write_review(review, rendered[0], tmp_path, keep=[first.film, second.page])
    assert third.page.name == "one-forehand-3.html"


@pytest.mark.parametrize(("player", "file"), [("José Ğ.", "josé-ğ"), ("!!!", "review"), ("../../x", "x")])
def test_any_name_of_a_player_gives_a_file_in_the_folder(rendered, review, quick, tmp_path, player, file):
    written = write_review(replace(review, player=player), rendered[0], tmp_path)
    assert written.page == tmp_path / f"{file}.html"
    assert written.page.exists()


def test_a_stopped_review_leaves_nothing_half_written(rendered, review, tmp_path):
    def stop(step, share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_review(review, rendered[0], tmp_path, stop)
    assert list(tmp_path.iterdir()) == []


def test_a_page_stopped_while_written_leaves_nothing(review, tmp_path, monkeypatch):
    from swingmatch.report.page import write_page

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("swingmatch.report.page.page_html", lambda *a, **k: "half")
    monkeypatch.setattr("swingmatch.report.page.os.replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_page(review, tmp_path / "a.html")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_only_looked_at_by_the_check(tmp_path):
    check_folder(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "file").write_text("")
    with pytest.raises(SwingmatchError, match="not a folder"):
        check_folder(tmp_path / "file")


def test_the_review_carries_every_measure_of_each_swing(review):
    from swingmatch.stroke.strokes import definition_of

    (pair,), (measures,) = review.pairs, review.measures
    assert [m.row.key for m in measures] == [row.key for row in definition_of(pair.player).measures]
    assert all(m.visible or m.why_not for m in measures)


def test_measuring_a_clip_needs_no_model_swing(rendered, review, monkeypatch):
    monkeypatch.setattr(pipeline, "track_clip", lambda *_, **__: review.track)
    measured = pipeline.measure_clip(rendered[0], Options(stature=1.8), estimator=object())
    assert measured.clip == rendered[0].name
    assert measured.camera_side == review.camera_side
    assert len(measured.measures) == len(measured.strokes.swings) == 1
    for with_height, without in zip(measured.measures[0], review.measures[0], strict=True):
        assert with_height.value == pytest.approx(without.value, nan_ok=True)
        assert without.metres is None
        if with_height.row.unit == "statures":
            assert with_height.metres == pytest.approx(1.8 * with_height.value)


def test_the_coach_says_the_stroke(followed, monkeypatch):
    seen, strokes = followed
    asked = []

    def find(track, onsets, **options):
        asked.append(options.get("stroke"))
        return strokes

    monkeypatch.setattr(pipeline, "find_swings", find)
    pipeline._strokes(seen, Options(), lambda *_: None)
    pipeline._strokes(seen, Options(stroke="serve"), lambda *_: None)
    assert asked == [None, "serve"]


def kinds(*names: str) -> Strokes:
    """Swings of the named strokes, in order, with nothing in them but contact."""
    swings = [
        Swing(np.array([float(i)]), np.zeros((1, K, 3)), {"contact": float(i)}, "right", stroke=name)
        for i, name in enumerate(names)
    ]
    contacts = tuple(Contact(swing.contact, 0.01, "hand", ("hand",)) for swing in swings)
    return Strokes("right", 0.0, tuple(swings), contacts, ("a note",))


def test_only_the_stroke_that_was_played_most_is_compared():
    found = pipeline.one_kind(kinds("serve", "forehand", "forehand", "two-handed backhand"))
    assert [swing.contact for swing in found.swings] == [1.0, 2.0]
    assert [contact.time for contact in found.contacts] == [1.0, 2.0]
    assert found.notes[0] == "a note"
    assert found.notes[1] == (
        "Only swings of the forehand are compared; left out were serve: 1 and two-handed backhand: 1."
    )


def test_a_clip_of_one_stroke_is_compared_as_it_is():
    all_forehands = kinds("forehand", "forehand")
    assert pipeline.one_kind(all_forehands) is all_forehands
