"""Training of the network of ``body.reading``: what may be learnt from, that examples agree with their truth, and,
where PyTorch is installed, that the network in training is the network that is run."""

from __future__ import annotations

import importlib.util
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from swingmatch.body import reading
from swingmatch.body.reading import LIMBS, RATE, STRETCH
from swingmatch.body.skeleton import BONES, INDEX, K, middle
from swingmatch.errors import SetupError, TrackError
from swingmatch.series import resample
from swingmatch.stroke.direction import camera_to_court
from swingmatch.study import recorded
from swingmatch.study.learn import __main__ as command
from swingmatch.study.learn import examples
from swingmatch.study.learn.examples import CONTACT, MOMENTS, SAMPLES, Examples, beside, fold_of, gather
from swingmatch.study.learn.settings import LearnSettings
from swingmatch.synth.cast import TUNING
from swingmatch.synth.truth import ClipTruth

HAS_TORCH = importlib.util.find_spec("torch") is not None
needs_torch = pytest.mark.skipif(not HAS_TORCH, reason="PyTorch is not installed")
SMALL = LearnSettings(clips=3, motions=4, steps=30, batch=8, channels=16)


def truth_of(motion, azimuth, rate=60.0):
    times = np.arange(0.0, motion.times[-1], 1 / rate)
    t = len(times)
    nowhere = {"racket": 3, "racket_image": 2}
    return ClipTruth(
        times,
        resample(motion.points, motion.times, times),
        np.zeros((t, K, 2)),
        np.ones((t, K), dtype=bool),
        **{name: np.zeros((t, 5, axes)) for name, axes in nowhere.items()},
        ball=np.zeros((t, 3)),
        ball_image=np.zeros((t, 2)),
        hand=motion.hand,
        stature=motion.stature,
        swings=motion.swings,
        camera={"azimuth": azimuth, "fps": rate},
        scene={},
        look={},
    )


@pytest.fixture
def some(motion, left_motion, see):
    """Four examples as a nearly perfect camera gives them, and their own movements to learn from."""
    found = [
        beside(see(m, azimuth, noise=1.0, seed=i), truth_of(m, azimuth), recorded=i == 3)
        for i, (m, azimuth) in enumerate(
            ((motion, 80.0), (left_motion, -60.0), (motion, 10.0), (left_motion, 170.0))
        )
    ]
    columns = {
        name: np.array([getattr(e, name) for e in found]) for name in examples.Example.__dataclass_fields__
    }
    bodies = columns["body"]
    return Examples(
        **columns,
        generated_motions=bodies[:2],
        recorded_motions=bodies[2:],
        recorded_forehands=np.array([True, False]),
    )


def test_an_example_covers_the_stretch_that_is_read():
    assert len(MOMENTS) == SAMPLES == 181
    assert MOMENTS[CONTACT] == 0.0
    assert MOMENTS[-1] - MOMENTS[0] == pytest.approx(STRETCH)
    np.testing.assert_allclose(np.diff(MOMENTS), 1 / RATE)


@pytest.mark.parametrize("who", ["right", "left"])
@pytest.mark.parametrize("azimuth", [80.0, -35.0, 180.0])
def test_track_and_truth_of_an_example_are_the_same_body(motion, left_motion, see, who, azimuth):
    """Perfect tracks: the world is the truth turned to the camera, for a left-hander after mirroring, too."""
    made = motion if who == "right" else left_motion
    found = beside(see(made, azimuth), truth_of(made, azimuth))
    assert found.azimuth == (azimuth if who == "right" else -azimuth)
    seen = found.body @ camera_to_court(found.azimuth)
    want = (seen - middle(seen, "hip")[:, None])[found.covered]
    world = found.world[found.covered] / made.stature
    np.testing.assert_allclose(world - middle(world, "hip")[:, None], want, atol=2e-3)
    # In the picture, too: what is to the right is at larger x, what is up at smaller y.
    picture = (found.image - middle(found.image, "hip")[:, None])[found.covered] * [1.0, -1.0]
    for axis in (0, 1):
        assert np.corrcoef(picture[..., axis].ravel(), want[..., axis].ravel())[0, 1] > 0.98
    # The hitting hand is the right one now, and the faster.
    speed = {
        side: np.abs(np.diff(found.body[:, INDEX[f"{side}_wrist"]], axis=0)).max()
        for side in ("left", "right")
    }
    assert speed["right"] > speed["left"]


def test_samples_beyond_the_clip_do_not_count(motion, see):
    whole, track = truth_of(motion, 80.0), see(motion, 80.0)
    contact = motion.swings[0].events["contact"]
    keep = (track.times > contact - 1.0) & (track.times < contact + 0.5)
    short = replace(
        track,
        **{name: getattr(track, name)[keep] for name in ("times", "image", "world", "visibility")},
        bridged=None,
        skipped=None,
    )
    covered = beside(short, whole).covered
    assert abs(covered.sum() - 1.5 * RATE) <= 3
    assert covered[CONTACT]
    assert not covered[0]
    assert not covered[-1]


def test_a_clip_without_enough_of_the_player_is_no_example(motion, see):
    track = see(motion, 80.0)
    track.image[len(track.times) // 4 :] = np.nan
    assert beside(track, truth_of(motion, 80.0)) is None


def test_only_tuning_seeds_are_learnt_from(monkeypatch, tmp_path):
    """Whatever the settings ask for, no other seed is drawn; too many are an error, not another range."""
    drawn = []

    def player(seed):
        drawn.append(seed)
        raise LookupError

    monkeypatch.setattr(examples, "random_player", player)
    for first, count in ((0, 5), (100, 800), (990, 10)):
        seeds = examples._motion_seeds(replace(SMALL, first_motion=first, motions=count))
        assert len(seeds) == count
        assert set(seeds) <= set(TUNING)
    for first, count in ((100, 1000), (1000, 1), (1_000_032, 5), (1_000_000, 1)):
        with pytest.raises(ValueError, match="seeds"):
            examples._motion_seeds(replace(SMALL, first_motion=first, motions=count))
    items = examples.tuning_shots(None, replace(SMALL, clips=64))
    assert {item.seed for item in items} <= set(TUNING)
    with pytest.raises(ValueError, match="seeds"):
        examples.tuning_shots(None, replace(SMALL, clips=len(TUNING) + 1))
    with pytest.raises(LookupError):
        examples.generated_motion(7)
    assert drawn == [7]


def test_only_tuning_players_are_learnt_from(monkeypatch, tmp_path):
    """Recordings of the other players are never opened."""
    players = [*recorded.TUNING_PLAYERS, *recorded.HELD_OUT_PLAYERS]
    rows = "".join(f"{p}.bvh,{p},forehand,F\n" for p in players)
    (tmp_path / "index.csv").write_text("file,player,stroke,sex\n" + rows, encoding="utf-8")
    opened = []
    rate, seconds, hits = 100, 9, (2.5, 6.5)

    def read(path):
        opened.append(path.stem)
        times = np.arange(rate * seconds) / rate
        points = np.random.default_rng(3).normal(size=(1, K, 3)).repeat(len(times), axis=0)
        for hit in hits:
            points[:, INDEX["right_wrist"], 0] += np.tanh((times - hit) / 0.08)
            points[:, INDEX["right_wrist"], 0] -= np.tanh((times - hit - 1.5) / 0.4)
        return recorded._Body(times, points, {}, 2.0)

    monkeypatch.setattr(recorded, "_read", read)
    strokes = examples.recorded_strokes(tmp_path, 1.6)
    assert set(opened) == set(recorded.TUNING_PLAYERS)
    assert len(strokes) == len(hits) * len(recorded.TUNING_PLAYERS)
    # Both waves of the arm are there, each fastest shortly before the moment taken for contact, towards the target.
    for stroke, _ in strokes:
        wrist = np.gradient(stroke[:, INDEX["right_wrist"], 0]) * RATE
        lead = MOMENTS[np.argmax(wrist)]
        assert lead == pytest.approx(-examples.WRIST_PEAK_BEFORE_CONTACT, abs=1.5 / RATE)
        # tanh(t / 0.08) rises by 1 / 0.08 a second at most; a stature is 2 metres.
        assert wrist.max() == pytest.approx(1 / 0.08 / 2.0, rel=0.1)
    assert examples.recorded_strokes(tmp_path, 10.0) == []


def test_everything_is_gathered_in_order(monkeypatch, tmp_path, some):
    one = examples.Example(*(getattr(some, name)[0] for name in examples.Example.__dataclass_fields__))
    monkeypatch.setattr(
        examples,
        "example_of",
        lambda item, folder: None if item.seed == 1 else replace(one, azimuth=float(item.seed)),
    )
    monkeypatch.setattr(examples, "generated_motion", lambda seed: np.full((SAMPLES, K, 3), float(seed)))
    with ThreadPoolExecutor(2) as executor:
        found = gather(tmp_path, None, SMALL, executor)
        assert found.azimuth.tolist() == [0.0, 2.0]
        assert found.generated_motions[:, 0, 0, 0].tolist() == [100.0, 101.0, 102.0, 103.0]
        assert found.recorded_motions.shape == (0, SAMPLES, K, 3)
        assert "2 clips, 0 of them" in examples.describe(found)
        monkeypatch.setattr(examples, "example_of", lambda item, folder: None)
        with pytest.raises(TrackError, match="any of the clips"):
            gather(tmp_path, None, SMALL, executor)


def test_folds_are_drawn_by_seed_and_all_there():
    fold = fold_of(73, LearnSettings())
    np.testing.assert_array_equal(fold, fold_of(73, LearnSettings()))
    assert set(fold) == {0, 1, 2, 3}


def test_without_pytorch_one_sentence_says_so(monkeypatch, tmp_path):
    monkeypatch.setattr(command, "find_spec", lambda name: None)
    with pytest.raises(SetupError, match="PyTorch"):
        command.need_torch()
    with pytest.raises(SystemExit, match=r"swingmatch\[learn\]"):
        command.main(["--clips", str(tmp_path)])


def test_convolution_is_the_plain_sum(monkeypatch):
    """The definition, by loops: out[t] = bias + sum over taps of W[:, :, tap] x[t + (tap - middle) * dilation]."""
    rng = np.random.default_rng(0)
    weights, bias = rng.normal(size=(4, 3, 5)), rng.normal(size=4)
    stored = {"c.weight": weights.astype(np.float32), "c.bias": bias.astype(np.float32)}
    monkeypatch.setattr(reading, "_weights", lambda: stored)
    x = rng.normal(size=(11, 3))
    for dilation in (1, 3):
        want = np.tile(bias, (11, 1))
        for t in range(11):
            for tap in range(5):
                at = t + (tap - 2) * dilation
                if 0 <= at < 11:
                    want[t] += weights[:, :, tap] @ x[at]
        found = reading._convolve(x.astype(np.float32), "c", dilation)
        np.testing.assert_allclose(found, want, atol=1e-5)


@needs_torch
def test_features_are_those_that_are_read(some):
    import torch

    from swingmatch.study.learn.network import IN, features_of

    upright = torch.as_tensor(some.image * [1.0, -1.0], dtype=torch.float32)
    world = torch.as_tensor(some.world / reading.WORLD_STATURE, dtype=torch.float32)
    found = features_of(upright, world, torch.as_tensor(some.visibility, dtype=torch.float32))
    assert found.shape == (len(some), IN, SAMPLES)
    for i in range(len(some)):
        want = reading._features(some.image[i], some.world[i], some.visibility[i])
        np.testing.assert_allclose(found[i].T.numpy(), want, atol=1e-4)


@needs_torch
def test_what_is_written_is_what_is_run(some, tmp_path, monkeypatch):
    """The file has the names and shapes of the shipped one, and NumPy computes with it what PyTorch does."""
    import torch

    from swingmatch.study.learn.network import Network, save

    torch.manual_seed(3)
    network = Network().eval()
    save(network, tmp_path / "reading.npz")
    shipped = {name: values.shape for name, values in reading._weights().items()}
    reading._weights.cache_clear()
    monkeypatch.setattr(reading, "files", lambda package: tmp_path)
    try:
        assert {name: values.shape for name, values in reading._weights().items()} == shipped
        with np.load(tmp_path / "reading.npz") as stored:
            assert {stored[name].dtype for name in stored.files} == {np.dtype(np.float16)}
        x = reading._features(some.image[0], some.world[0], some.visibility[0])
        with torch.no_grad():
            want = network.half().float()(torch.as_tensor(x.T[None]))[0].numpy()
        np.testing.assert_allclose(reading._network(x), want, atol=1e-4)
    finally:
        reading._weights.cache_clear()


@needs_torch
def test_the_limbs_told_apart_are_those_of_the_reading(some):
    import torch

    from swingmatch.study.learn.augment import TELLING, exchanged_limbs

    assert list(TELLING) == list(LIMBS)
    assert all(set(TELLING[limb]) <= set(LIMBS[limb]) for limb in LIMBS)
    true = torch.as_tensor(some.body @ camera_to_court(90.0), dtype=torch.float32)[..., :2]
    exchanged, told = exchanged_limbs(true, true)
    assert told.mean() > 0.5
    assert (exchanged * told).sum() == 0
    for number, parts in enumerate(LIMBS.values()):
        crossed = true.clone()
        left, right = ([INDEX[f"{side}_{part}"] for part in parts] for side in ("left", "right"))
        crossed[:, :, left + right] = true[:, :, right + left]
        exchanged, told = exchanged_limbs(crossed, true)
        share = (exchanged * told).sum(dim=(0, 1)) / told.sum(dim=(0, 1))
        assert share[number] == 1.0
        assert share.sum() == 1.0


@needs_torch
def test_camera_axes_and_depth_are_those_of_the_package(some):
    import torch

    from swingmatch.study.learn.augment import depth_of, to_camera

    seen = to_camera(torch.as_tensor(some.body), torch.as_tensor(some.azimuth))
    for i in range(len(some)):
        want = some.body[i] @ camera_to_court(some.azimuth[i])
        np.testing.assert_allclose(seen[i].numpy(), want, atol=1e-6)
        for number, (a, b, _) in enumerate(BONES):
            np.testing.assert_allclose(depth_of(seen)[i, :, number], want[:, a, 2] - want[:, b, 2], atol=1e-6)


def calm(**more):
    """Settings under which an example is a clip as it is."""
    return replace(
        SMALL,
        own=1.0,
        recorded=0.0,
        other_hand=0.0,
        exact=0.0,
        least_errors=1.0,
        most_errors=1.0,
        image_drift=0.0,
        world_drift=0.0,
        jitter=0.0,
        all_visible=0.0,
        turned_round=0.0,
        mirrored=0.0,
        **more,
    )


@needs_torch
def test_without_variation_a_batch_is_the_clips(some):
    import torch

    from swingmatch.study.learn.augment import Clips, Draws, draw_batch

    clips = Clips(some, "cpu")
    only = torch.tensor([2])
    batch, plain = draw_batch(clips, only, Draws(1, "cpu"), calm()), clips.as_they_are(only)
    for name, one, other in zip(batch._fields, batch, plain, strict=True):
        np.testing.assert_allclose(one[0].numpy(), other[0].numpy(), atol=1e-5, err_msg=name)


@needs_torch
def test_the_errors_of_a_clip_on_its_own_movement_give_the_clip(some):
    """The law of the residuals: error plus truth is the track."""
    import torch

    from swingmatch.study.learn.augment import Clips, Draws, draw_batch

    own = replace(
        some, generated_motions=some.body[2:3], recorded_motions=some.body[:0],
        recorded_forehands=some.recorded[:0],
    )  # fmt: skip
    clips = Clips(own, "cpu")
    only = torch.tensor([2])
    settings = replace(
        calm(slowest=1.0, fastest=1.0, azimuth_sd=0.0, pitch_sd=0.0, roll_sd=0.0), own=0.0, recorded=1.0
    )
    batch, plain = draw_batch(clips, only, Draws(1, "cpu"), settings), clips.as_they_are(only)
    # All but the path over the ground, which is the movement's, not the clip's; stature is read anew.
    np.testing.assert_allclose(batch.features[0, :-2].numpy(), plain.features[0, :-2].numpy(), atol=0.02)
    np.testing.assert_allclose(batch.depth[0].numpy(), plain.depth[0].numpy(), atol=1e-5)


@needs_torch
def test_the_hand_is_asked_of_forehands_only(some):
    """The second of the two recorded movements is none."""
    import torch

    from swingmatch.study.learn.augment import Clips, Draws, draw_batch

    settings = replace(SMALL, own=0.0, recorded=1.0, batch=64)
    asked = draw_batch(Clips(some, "cpu"), torch.arange(4), Draws(1, "cpu"), settings).asked
    assert 0.2 < asked.mean() < 0.8
    assert (
        draw_batch(Clips(some, "cpu"), torch.arange(4), Draws(1, "cpu"), replace(settings, own=1.0)).asked
        == 1
    ).all()


@needs_torch
def test_without_errors_the_picture_is_the_movements_own(some):
    import torch

    from swingmatch.study.learn.augment import Clips, Draws, draw_batch, to_camera

    settings = replace(
        calm(slowest=1.0, fastest=1.0, azimuth_sd=0.0, pitch_sd=0.0, roll_sd=0.0), own=0.0, recorded=0.0,
        exact=1.0, flattest=1.0, batch=1,
    )  # fmt: skip
    clips = Clips(replace(some, generated_motions=some.body[1:2]), "cpu")
    batch = draw_batch(clips, torch.tensor([1]), Draws(1, "cpu"), settings)
    seen = to_camera(clips.body[1:2], clips.azimuth[1:2])
    hips = seen[:, :, [INDEX["left_hip"], INDEX["right_hip"]]].mean(2, keepdim=True)
    want = (seen - hips)[0, :, :, :2].reshape(SAMPLES, -1).T
    got = batch.features[0, : 2 * K]
    # Stature is read from the picture, so the two differ by one factor.
    factor = float((got * want).sum() / (want * want).sum())
    np.testing.assert_allclose(got.numpy(), factor * want.numpy(), atol=1e-4)


@needs_torch
def test_a_mirrored_example_is_the_reading_of_a_mirrored_clip(some):
    import torch

    from swingmatch.body.skeleton import swap_sides
    from swingmatch.study.learn.augment import Clips, Draws, draw_batch

    clips = Clips(some, "cpu")
    batch = draw_batch(clips, torch.tensor([0]), Draws(1, "cpu"), replace(calm(), mirrored=1.0))
    flip = np.array([-1.0, 1.0, 1.0])
    want = reading._features(
        swap_sides(some.image[0]) * flip[:2],
        swap_sides(some.world[0]) * flip,
        swap_sides(some.visibility[0][..., None])[..., 0],
    )
    np.testing.assert_allclose(batch.features[0].T.numpy(), want, atol=1e-4)
    assert batch.left_handed.tolist() == [1.0] * SMALL.batch
    assert float(batch.azimuth[0]) == pytest.approx(-some.azimuth[0])
    plain = clips.as_they_are(torch.tensor([0])).depth[0].numpy()
    np.testing.assert_allclose(
        batch.depth[0].numpy(), plain[:, reading._BONE] * reading._BONE_SIGN, atol=1e-5
    )


@needs_torch
def test_a_body_turned_round_has_all_limbs_exchanged(some):
    import torch

    from swingmatch.study.learn.augment import Clips, Draws, draw_batch

    clips = Clips(some, "cpu")
    only = torch.tensor([0])
    turned = draw_batch(clips, only, Draws(1, "cpu"), replace(calm(), turned_round=1.0))
    plain = clips.as_they_are(only)
    np.testing.assert_array_equal(turned.exchanged[0].numpy(), 1.0 - plain.exchanged[0].numpy())
    # The truth stays: depth is that of the real limbs.
    np.testing.assert_allclose(turned.depth[0].numpy(), plain.depth[0].numpy(), atol=1e-6)


@needs_torch
def test_training_lowers_the_loss_and_repeats_itself(some):
    import torch

    from swingmatch.study.learn.augment import Clips
    from swingmatch.study.learn.quality import quality
    from swingmatch.study.learn.train import train

    clips, every = Clips(some, "cpu"), torch.arange(len(some))
    network, losses = train(clips, every, SMALL)
    assert np.mean(losses[-5:]) < 0.8 * np.mean(losses[:5])
    _, same = train(clips, every, SMALL)
    np.testing.assert_allclose(losses, same, rtol=1e-4)
    good = quality(network, clips, every, SMALL)
    assert good.clips == len(some)
    # Perfect 3-D: what is left of the estimator's own depth is the difference between a frame and a sample.
    assert good.own_depth < 0.02
    assert good.exchanged_before == pytest.approx(0.0, abs=0.01)
    assert f"{good.own_depth:.3f}" in str(good)
