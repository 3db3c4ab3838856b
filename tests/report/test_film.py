"""The film: both halves at the same moment of the stroke, and a file that plays."""

from dataclasses import replace
from itertools import pairwise

import av
import cv2
import numpy as np
import pytest

from swingmatch.body.skeleton import INDEX
from swingmatch.clip.reader import frames, open_clip
from swingmatch.clip.writer import FilmWriter
from swingmatch.errors import ClipError
from swingmatch.report.clock import FPS, HALF, SLOW, moments, progress, shown_span
from swingmatch.report.film import SIZE, write_film
from swingmatch.report.framing import frame_swing, pixels_a_stature
from swingmatch.report.stills import stills


@pytest.fixture(scope="module")
def plan(scene):
    return moments(scene.review)


def test_best_swing_first_then_the_others(scene, plan):
    order = list(dict.fromkeys(m.pair for m in plan))
    assert order == [1, 0, 2]
    assert {m.speed for m in plan if m.pair == 1} == {0.0, SLOW, HALF}
    assert {m.speed for m in plan if m.pair != 1} == {0.0, HALF}


def test_output_clock_is_even_and_time_never_goes_back(plan):
    np.testing.assert_allclose(np.diff([m.output for m in plan]), 1 / FPS)
    for a, b in pairwise(plan):
        assert b.pair != a.pair or b.frame >= a.frame


def test_when_the_player_is_at_contact_so_is_the_model(scene, plan):
    held = [m for m in plan if m.hold == "Contact"]
    assert {m.pair for m in held} == {0, 1, 2}
    assert all(m.player == 0.0 and m.model == 0.0 for m in held)
    gap = 1 / 60 / 2 + 1e-9
    for m in held:
        pair = scene.review.pairs[m.pair]
        assert abs(scene.review.track.times[m.frame] - pair.player.contact) <= gap


def test_model_is_at_the_moment_of_the_picture_that_is_shown(scene, plan):
    # The made-up model is 1.25 times slower than the player throughout.
    for m in plan:
        assert m.model == pytest.approx(1.25 * m.player, abs=1e-9)
        if not m.hold:
            shown = scene.review.track.times[m.frame] - scene.review.pairs[m.pair].player.contact
            assert m.player == pytest.approx(shown, abs=1e-9)


def test_film_stands_still_for_a_second_at_the_two_events(plan):
    for caption in ("End of take-back", "Contact"):
        held = [m for m in plan if m.pair == 1 and m.hold == caption]
        assert 0.9 <= len(held) / FPS <= 1.5
        assert len({(m.frame, m.model) for m in held}) == 1


def test_clock_gives_every_phase_the_same_room_and_ends_a_phase_at_its_event(scene):
    events = scene.review.pairs[0].player.events
    assert progress(events, events["ready"]) == (0.0, "preparation")
    place, phase = progress(events, events["contact"])
    assert (place, phase) == (pytest.approx(4 / 6), "forward swing")
    assert progress(events, events["contact"] + 1e-3)[1] == "follow-through"
    assert progress(events, events["ready"] - 1.0) == (0.0, "")
    assert progress({"contact": 0.0}, 0.0) == (0.5, "")


def test_swing_with_contact_alone_still_has_a_film_plan(scene):
    pair = scene.review.pairs[0]
    bare = replace(
        pair,
        player=replace(pair.player, events={"contact": pair.player.contact}),
        model=replace(pair.model, events={"contact": pair.model.contact}),
    )
    start, stop = shown_span(bare)
    assert start < -0.5
    assert stop > 0.5
    plan = moments(replace(scene.review, pairs=(bare,), best=0))
    assert {m.hold for m in plan} == {"", "Contact"}


def test_model_is_as_large_in_the_picture_as_the_player(scene, clip_scale):
    pair = scene.review.pairs[0]
    contact = pair.player.contact
    found = pixels_a_stature(scene.review.track, pair.player, contact - 1, contact + 0.5)
    assert found == pytest.approx(clip_scale, rel=0.01)
    framing = frame_swing(scene.review.track, pair, (636, 616), contact - 1, contact + 0.5)
    assert framing.view.scale == pytest.approx(clip_scale * framing.zoom, rel=0.01)
    # Player and model stand on one spot of the pane at contact.
    frame = int(np.argmin(np.abs(scene.review.track.times - contact)))
    own = framing.to_pane(scene.review.track.image[frame])
    body = framing.view.project(pair.model.at(np.array([pair.model.contact]))[0])
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    assert own[hips, 0].mean() == pytest.approx(body[hips, 0].mean(), abs=2.0)
    assert np.abs(own[INDEX["right_ankle"], 1] - body[INDEX["right_ankle"], 1]) < 0.08 * framing.view.scale


def test_crop_holds_player_and_model(scene):
    pair = scene.review.pairs[2]
    start, stop = (pair.player.contact + t for t in shown_span(pair))
    framing = frame_swing(scene.review.track, pair, (636, 616), start, stop)
    inside = (scene.review.track.times >= start) & (scene.review.track.times <= stop)
    own = framing.to_pane(scene.review.track.image[inside])
    assert (own >= 0).all()
    assert (own <= (636, 616)).all()
    # A marked pixel of the clip lands where the mapping says.
    picture = np.zeros((360, 640, 3), np.uint8)
    cv2.circle(picture, (300, 200), 4, (255, 255, 255), -1)
    bright = np.argwhere(framing.crop(picture)[..., 0] > 128).mean(axis=0)[::-1]
    np.testing.assert_allclose(bright, framing.to_pane(np.array([300.0, 200.0])), atol=1.0)


def test_film_plays_and_both_halves_move(scene, film_path, film_fps):
    plan = moments(scene.review, film_fps)
    with av.open(str(film_path)) as container:
        video = container.streams.video[0]
        assert (video.width, video.height) == SIZE
        assert video.codec_context.name == "h264"
        wanted = {
            next(i for i, m in enumerate(plan) if m.hold == caption)
            for caption in ("End of take-back", "Contact")
        }
        pictures = {
            i: f.to_ndarray(format="rgb24") for i, f in enumerate(container.decode(video)) if i in wanted
        }
        assert float(video.duration * video.time_base) == pytest.approx(len(plan) / film_fps, abs=0.15)
    first, second = (pictures[i].astype(int) for i in sorted(wanted))
    half = SIZE[0] // 2
    for part in (np.s_[80:600, :half], np.s_[80:600, half:]):
        assert first[part].std() > 15
        assert (np.abs(first[part] - second[part]) > 40).mean() > 0.02


def test_clip_without_pictures_is_one_sentence(scene, tmp_path):
    with pytest.raises(ClipError, match=r"gave no pictures"):
        write_film(scene.review, lambda a, b: iter(()), tmp_path / "film.mp4")
    assert list(tmp_path.iterdir()) == []


def test_only_one_frame_is_asked_for_at_a_time(scene, tmp_path):
    """Frames stream by: never is the next but one asked for before the last was used."""
    review = replace(scene.review, pairs=scene.review.pairs[:1], best=0)
    alive: list[int] = []
    given: list[int] = []

    class Frame:
        def __init__(self, index, time):
            self.index, self.time, self.image = index, time, np.zeros((360, 640, 3), np.uint8)
            given.append(index)
            alive.append(index)

        def __del__(self):
            alive.remove(self.index)

    most = 0

    def given_frames(start, stop):
        nonlocal most
        for i, t in enumerate(review.track.times):
            if start <= t < stop:
                yield Frame(i, float(t))
                most = max(most, len(alive))

    write_film(review, given_frames, tmp_path / "film.mp4", fps=6)
    assert len(given) == len(set(given)) > 40
    assert most <= 3


def test_film_and_page_from_a_real_clip_file(make_scene, tmp_path):
    """Through the project's own writer and reader, with a player lost in part of the clip."""
    scene = make_scene(swings=1)
    times = scene.review.track.times
    with FilmWriter(tmp_path / "clip.mp4", (640, 360), 60) as clip:
        for i in range(len(times)):
            clip.write(scene.picture(i), float(times[i]))
    source = open_clip(tmp_path / "clip.mp4")
    image = scene.review.track.image.copy()
    image[60:75] = np.nan
    image[:, INDEX["left_wrist"]] = np.nan
    review = replace(scene.review, track=replace(scene.review.track, image=image))
    write_film(review, lambda a, b: frames(source, a, b), tmp_path / "film.mp4", fps=6)
    with av.open(str(tmp_path / "film.mp4")) as container:
        assert sum(1 for _ in container.decode(video=0)) == len(moments(review, 6))
    shot = stills(review, review.changes[0].deviation, lambda a, b: frames(source, a, b))
    bare = stills(review, review.changes[0].deviation, None)
    assert shot.player.shape == shot.model.shape == bare.player.shape
    assert (shot.model == bare.model).all()
    # The shirt of the made-up player is blue: it is there in the clip's picture, and not without it.
    blue = [((p[..., 2].astype(int) - p[..., 0]) > 50).mean() for p in (shot.player, bare.player)]
    assert blue[0] > 0.03 > blue[1]


def test_player_who_was_never_found_still_gives_a_film_plan_and_a_still(scene):
    track = replace(scene.review.track, image=np.full_like(scene.review.track.image, np.nan))
    review = replace(scene.review, track=track)
    shot = stills(review, review.changes[0].deviation, scene.frames)
    assert shot.time == pytest.approx(-0.42, abs=0.01)
    assert shot.player.std() > 1
