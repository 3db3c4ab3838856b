"""A made-up review: a smooth figure that turns and swings an arm, seen by a made-up camera."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from swingmatch.align.alignment import Alignment
from swingmatch.body.skeleton import INDEX, K, mirror
from swingmatch.body.track import Track
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.review import Finding, Pair, Review
from swingmatch.report.figure import Clothes, View, draw_figure, draw_stage, turn
from swingmatch.stroke.swing import Swing

FPS = 60
FILM_FPS = 10  # of the film that the tests make: enough to see, quick to draw
SIZE = (640, 360)
SCALE = 215.0  # pixels a stature in the made-up clip
CONTACTS = (1.5, 4.0, 6.5)
SHIRT = Clothes(skin=(196, 150, 118), shirt=(60, 110, 170), shorts=(40, 40, 48))
EVENTS = {
    "ready": -1.15,
    "turn_start": -0.95,
    "hands_apart": -0.70,
    "end_of_take_back": -0.42,
    "lowest_hand": -0.20,
    "forward_start": -0.14,
    "contact": 0.0,
    "end_of_follow_through": 0.45,
    "recovery": 0.85,
}
SLOWER = {name: 1.25 * time for name, time in EVENTS.items()}


def body(times: NDArray[np.float64], events: dict[str, float], bend: float = 0.0):
    """A right-hander's made-up stroke, (T, K, 3) and racket (T, 5, 3), statures; ``times`` from contact.

    ``bend`` lowers the hips, in statures, so that the knees bend more.
    """
    names = [
        "ready",
        "hands_apart",
        "end_of_take_back",
        "forward_start",
        "contact",
        "end_of_follow_through",
        "recovery",
    ]
    knots = [events[n] for n in names]

    def curve(values: list[float]) -> NDArray[np.float64]:
        from scipy.interpolate import PchipInterpolator

        return PchipInterpolator(knots, values)(np.clip(times, knots[0], knots[-1]))

    twist = np.deg2rad(curve([0, 45, 85, 70, 0, -60, -10]))  # shoulders, positive turns to the right
    hips = np.deg2rad(curve([0, 25, 50, 25, -10, -50, -5]))
    drop = curve([0.02, 0.035, 0.06, 0.05, 0.02, 0.01, 0.02]) + bend
    raised = np.deg2rad(curve([-40, -10, 15, -35, -12, 40, -40]))
    swung = np.deg2rad(curve([-60, 0, 30, 40, -25, -110, -60]))  # arm about the trunk
    elbow = np.deg2rad(curve([80, 70, 50, 20, 25, 95, 80]))

    p = np.full((len(times), K, 3), np.nan)
    zero, one = np.zeros_like(times), np.ones_like(times)

    def facing(angle):  # unit vectors: to the body's right, forward
        return (
            np.stack([-np.sin(angle), zero, np.cos(angle)], 1),
            np.stack([np.cos(angle), zero, np.sin(angle)], 1),
        )

    up = np.stack([zero, one, zero], 1)
    hip_mid = np.stack([0.06 * np.tanh(3 * times), 0.53 - drop, zero], 1)
    neck = hip_mid + 0.29 * up + 0.03 * facing(twist)[1]
    hr, hf = facing(hips)
    sr, sf = facing(twist)
    for side, sign in (("left", -1), ("right", 1)):
        hip = hip_mid + sign * 0.055 * hr
        ankle = np.stack([0.10 * sign * -1 + zero, 0.04 + zero, sign * 0.16 + zero], 1)
        knee = (
            0.5 * (hip + ankle)
            + hf
            * np.sqrt(np.clip(0.245**2 - (np.linalg.norm(hip - ankle, axis=1) / 2) ** 2, 0.0, None))[:, None]
        )
        toe_way = facing(0.6 * hips + sign * 0.3)[1]
        p[:, INDEX[f"{side}_hip"]], p[:, INDEX[f"{side}_knee"]] = hip, knee
        p[:, INDEX[f"{side}_ankle"]] = ankle
        p[:, INDEX[f"{side}_heel"]] = ankle - 0.03 * toe_way - 0.03 * up
        p[:, INDEX[f"{side}_toe"]] = ankle + 0.11 * toe_way - 0.03 * up
        p[:, INDEX[f"{side}_shoulder"]] = neck + sign * 0.115 * sr
    aim = twist + swung
    r, f = facing(aim)
    arm = np.cos(raised)[:, None] * (0.6 * f + 0.8 * r) + np.sin(raised)[:, None] * up
    arm /= np.linalg.norm(arm, axis=1, keepdims=True)
    p[:, INDEX["right_elbow"]] = p[:, INDEX["right_shoulder"]] + 0.17 * (0.8 * arm - 0.6 * up)
    fore = np.cos(elbow)[:, None] * arm + np.sin(elbow)[:, None] * (f - r) * 0.7
    fore /= np.linalg.norm(fore, axis=1, keepdims=True)
    p[:, INDEX["right_wrist"]] = p[:, INDEX["right_elbow"]] + 0.146 * fore
    p[:, INDEX["right_hand"]] = p[:, INDEX["right_wrist"]] + 0.05 * fore
    p[:, INDEX["left_elbow"]] = p[:, INDEX["left_shoulder"]] + 0.17 * (0.6 * sf - 0.3 * sr - 0.6 * up)
    p[:, INDEX["left_wrist"]] = p[:, INDEX["left_elbow"]] + 0.146 * (0.8 * sf + 0.5 * sr)
    p[:, INDEX["left_hand"]] = p[:, INDEX["left_wrist"]] + 0.05 * (0.8 * sf + 0.5 * sr)
    head, (er, ef) = neck + 0.115 * up, facing(0.3 * twist)
    p[:, INDEX["left_ear"]], p[:, INDEX["right_ear"]] = head - 0.042 * er, head + 0.042 * er
    p[:, INDEX["nose"]] = head + 0.062 * ef
    butt = p[:, INDEX["right_hand"]] - 0.03 * fore
    along = 0.8 * fore + 0.45 * up
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(along, r)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    racket = np.stack(
        [
            butt,
            butt + 0.20 * along,
            butt + 0.39 * along,
            butt + 0.295 * along - 0.072 * across,
            butt + 0.295 * along + 0.072 * across,
        ],
        1,
    )
    return p, racket


def deviation(quantity: str, phase: str, player: float, model: float, **other) -> Deviation:
    values = {"unit": "deg", "spread": 2.0, "error": 3.0, "repeat": 2.0, "floor": 12.0, "swings": 3}
    values |= {"at": 0.0, "visible": True}
    return Deviation(quantity, phase, player=player, model=model, **{**values, **other})


@dataclass(frozen=True)
class FakeFrame:
    """A frame whose picture is drawn when it is looked at."""

    index: int
    time: float
    draw: Callable[[int], NDArray[np.uint8]]

    @property
    def image(self) -> NDArray[np.uint8]:
        return self.draw(self.index)


@dataclass(frozen=True)
class Scene:
    """A review and the clip that goes with it."""

    review: Review
    view: View
    points: NDArray[np.float64]
    racket: NDArray[np.float64]

    def picture(self, i: int) -> NDArray[np.uint8]:
        stage = draw_stage(SIZE, self.view) + np.uint8(30)
        return draw_figure(stage, self.points[i], self.view, racket=self.racket[i], clothes=SHIRT)

    def frames(self, start: float, stop: float):
        times = self.review.track.times
        for i in np.flatnonzero((times >= start) & (times < stop)):
            yield FakeFrame(int(i), float(times[i]), self.picture)


def build(player: str = "Ada Example", hand: str = "right", azimuth: float = 70.0, swings: int = 3) -> Scene:
    """A whole made-up review with ``swings`` swings seen from ``azimuth``."""
    contacts = CONTACTS[:swings]
    times = np.arange(0, contacts[-1] + 1.4, 1 / FPS)
    stroke = np.array([t - min(contacts, key=lambda c: abs(c - t)) for t in times])
    points, racket = body(stroke, EVENTS, bend=0.04)
    model_times = np.arange(-1.5, 1.2, 0.01)
    model_points, model_racket = body(model_times, SLOWER)
    if hand == "left":
        flip = np.array([1.0, 1.0, -1.0])
        points, model_points = mirror(points), mirror(model_points)
        racket, model_racket = racket[:, [0, 1, 2, 4, 3]] * flip, model_racket[:, [0, 1, 2, 4, 3]] * flip
    view = View(azimuth, SCALE, (0.0, 0.0), (280.0, 300.0), pitch=0.0)
    noise = np.random.default_rng(4).normal(0, 0.4, (len(times), K, 2))
    track = Track(
        times,
        view.project(points)[..., :2] + noise,
        turn(points, azimuth) * 1.8,
        np.ones((len(times), K)),
        SIZE,
    )

    pairs = []
    for contact in contacts:
        use = (times >= contact - 1.2) & (times <= contact + 0.9)
        own = Swing(
            times[use],
            points[use],
            {n: contact + t for n, t in EVENTS.items()},
            hand,
            azimuth,  # type: ignore[arg-type]
        )
        clock = np.linspace(-1.15, 0.85, 101)
        clock[np.argmin(np.abs(clock))] = 0.0
        differences = np.abs(np.random.default_rng(1).normal(0, 4, (101, K)))
        knee = "right_knee" if hand == "right" else "left_knee"
        differences[:, INDEX[knee]] = np.interp(clock, [-1, -0.4, 0, 0.8], [4, 28, 12, 3])
        differences[:, INDEX["right_elbow" if hand == "right" else "left_elbow"]] = 17.0
        differences[:, INDEX["left_wrist" if hand == "right" else "right_wrist"]] = np.nan
        model = Swing(model_times, model_points, SLOWER, hand, racket=model_racket)  # type: ignore[arg-type]
        pairs.append(Pair(own, model, Alignment(clock, 1.25 * clock, 6.0 + 0.4 * len(pairs)), differences))

    elbow = deviation("hitting_elbow_flexion", "drop", 61.0, 38.0, at=-0.25)
    knee = deviation("outside_knee_flexion", "take-back", 71.0, 44.0, at=-0.42)
    steady = deviation("trunk_side_lean", "contact", 9.0, 7.0, floor=10.0)
    hidden = deviation("shoulder_turn", "take-back", np.nan, 85.0, visible=False, at=-0.42)
    others = (
        deviation("outside_knee_flexion", "drop", 58.0, 46.0, at=-0.3),
        deviation("hitting_elbow_flexion", "contact", 24.0, 30.0),
        deviation("hand_in_front", "contact", 0.42, 0.61, unit="arm lengths", spread=0.03, error=0.05, repeat=0.02,
                  floor=0.15),
        deviation("contact_time", "forward swing", 140.0, 175.0, unit="ms", spread=8, error=9, floor=30.0),
        deviation("shoulder_turn", "contact", np.nan, 10.0, visible=False),
    )  # fmt: skip
    review = Review(
        player=player,
        clip="ada.mp4",
        track=track,
        camera_side="right side",
        model_name="Volunteer 3",
        model_reasons=(
            "Of the eight volunteers this one's build is nearest: long legs, short forearms.",
            "The stance is the same, half open, and so is the tempo from turn to contact.",
        ),
        model_generated=True,
        pairs=tuple(pairs),
        best=min(1, swings - 1),
        deviations=(knee, elbow, steady, hidden, *others),
        strengths=(
            Finding(
                "The trunk stays upright through contact",
                "At contact the trunk leans 9°, the model's 7°.",
                "",
                "",
                steady,
            ),
        ),
        changes=(
            Finding(
                "Outside knee bends more than the model's in the take-back",
                "At the end of the take-back the outside knee is bent 71°, the model's 44°.",
                "Sit into the hip, not onto the knee.",
                "Ten slow take-backs with a hand feed; stop at the end of each and feel the hip carry the weight.",
                knee,
            ),
            Finding(
                "Hitting elbow stays bent through the drop",
                "During the drop the hitting elbow is bent 61°, the model's 38°.",
                "Let the hand fall away from the body.",
                "Shadow swings with a long arm, five in a row, then five balls at half pace.",
                elbow,
            ),
        ),
        not_visible=("Shoulder turn", "Hip–shoulder separation"),
        notes=("The clip runs at 60 pictures a second: contact is known to within 8 ms.",),
    )
    return Scene(review, view, points, racket)


@pytest.fixture(scope="session")
def scene() -> Scene:
    return build()


@pytest.fixture(scope="session")
def clip_scale() -> float:
    """Clip pixels a stature."""
    return SCALE


@pytest.fixture(scope="session")
def film_fps() -> int:
    return FILM_FPS


@pytest.fixture(scope="session")
def make_scene() -> Callable[..., Scene]:
    return build


@pytest.fixture(scope="session")
def film_path(tmp_path_factory: pytest.TempPathFactory, scene: Scene) -> Path:
    """The film of the scene, made once."""
    from swingmatch.report.film import write_film

    path = tmp_path_factory.mktemp("film") / "film.mp4"
    write_film(scene.review, scene.frames, path, fps=FILM_FPS)
    return path


#: Camera sides that would show a measure, by the length of its key: two, this one alone, none.
OTHER_SIDES = (("front", "back"), ("front right",), ())


def measured_of(scene: Scene, stature: float | None = None):
    """Every measure of a made-up scene, with bodies drawn at random and a made-up table of certainty."""
    from swingmatch.findings.measured import Measured
    from swingmatch.stroke import measure as taking
    from swingmatch.stroke.contact import Contact
    from swingmatch.stroke.reconstruct import Strokes
    from swingmatch.stroke.repeats import contact_scatter

    rng = np.random.default_rng(2)
    swings = []
    for pair in scene.review.pairs:
        own = pair.player
        # Wrong by the same way all through a swing, and most along the camera's line of sight.
        off = (
            rng.normal(0.0, 1.0, (6, 1, K, 3)) * [0.004, 0.004, 0.03] @ turn(np.eye(3), own.camera_azimuth).T
        )
        swings.append(replace(own, draws=own.points + off))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(taking, "stated_sd", lambda stroke, key, spread: spread)
        patch.setattr(taking, "sides_that_show", lambda stroke, key, useful: OTHER_SIDES[len(key) % 3])
        measures = tuple(taking.measure(swing, contact_sd=0.004, stature=stature) for swing in swings)
    strokes = Strokes(
        hand=swings[0].hand,
        camera_azimuth=swings[0].camera_azimuth,
        swings=tuple(swings),
        contacts=tuple(Contact(swing.contact, 0.004, "sound") for swing in swings),
        notes=(),
    )
    scatter = contact_scatter(swings, stature, contact_sds=[0.004] * len(swings))
    notes = ("The camera looks from the side.",)
    return Measured("clip.mp4", strokes, measures, notes, scatters={"forehand": scatter})


@pytest.fixture(scope="session")
def measured(scene: Scene):
    """The measures of the scene."""
    return measured_of(scene)


@pytest.fixture(scope="session")
def measure_scene() -> Callable[..., object]:
    return measured_of
