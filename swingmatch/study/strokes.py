"""How well strokes and hands are told, and the weights that ``stroke.recognise`` ships.

``python -m swingmatch.study.strokes --mocap FOLDER`` prints the confusion matrix on every stroke of every recorded
player, each told with weights fitted on the other players alone; with ``--write`` it fits the weights that are shipped
on the players kept for tuning, and writes them. Generated strokes of the seeds kept for tuning are in every fit beside
the recorded ones: only one of the players hits one-handed backhands, so that without them nothing is known of those
when that player is left out.

What the recordings say is taken like this: a stroke is where the faster of both wrists peaks, with room before and
after as the analysis itself asks for it; hand and stroke are those of ``study.recorded`` and its index. Whether a
player's backhands are one- or two-handed is not in the index: they are two-handed where the wrists are nearer than
``TWO_HANDED`` at most of the contacts. Nothing else is left out, so that what a player does between strokes counts as
an error where the hand is fast in it.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import find_peaks
from sklearn.linear_model import LogisticRegression

from swingmatch.body.skeleton import INDEX, SIDES, mirror
from swingmatch.series import resample
from swingmatch.stroke import recognise as asked
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.recognise import HANDS, KINDS, MIRRORED, QUESTIONS, Recognised, features
from swingmatch.stroke.swing import Hand
from swingmatch.study import recorded
from swingmatch.synth.backhand import random_backhand_player
from swingmatch.synth.cast import TUNING, random_player
from swingmatch.synth.motion import Motion
from swingmatch.synth.serve_cast import random_server

Array = NDArray[np.float64]
Weights = dict[str, tuple[Array, float]]

#: Wrists nearer than this at contact hold one racket, statures: two hands on a grip are 0.05 to 0.15 apart, those
#: of other strokes 0.2 and more.
TWO_HANDED = 0.18
#: Least room round a hit, seconds, as in ``reconstruct``.
_BEFORE, _AFTER = 0.5, 0.15
#: Moments kept of a stroke, seconds from contact.
_TIMES = np.arange(-60, 61) / 100.0
#: Place in ``TUNING`` of the first seed of generated strokes: not those of the clips that the study films.
_FIRST_GENERATED = 200
_WEIGHTS = Path(asked.__file__).with_suffix(".json")


@dataclass(frozen=True)
class Labelled:
    """One stroke of which hand and kind are known.

    ``times`` (T,) s from contact; ``points`` (T, K, 3) statures, y up, any turn about the vertical.
    """

    player: str
    hand: Hand
    stroke: str
    times: Array
    points: Array

    def mirrored(self) -> Labelled:
        """The same stroke by the other hand."""
        other: Hand = "left" if self.hand == "right" else "right"
        return replace(self, hand=other, points=mirror(self.points))


@dataclass(frozen=True)
class FitSettings:
    """How the weights are fitted.

    Attributes
    ----------
    copies : of each stroke, each with errors of its own, beside the exact one.
    contact_sd : of contact, seconds. drift : of every keypoint, statures, on every axis, in runs of ``run`` seconds.
    lost, lost_sd : share of copies in which a whole arm is astray, and by how much, statures. Two-handed strokes are
        where a film loses an arm most: each hides the other.
    strength : inverse strength of the pull of the weights to zero (scikit-learn's ``C``) with features on a common
        scale. seed : of the errors.
    """

    copies: int = 5
    contact_sd: float = 0.04
    drift: float = 0.03
    arm_drift: float = 0.06
    run: float = 0.3
    lost: float = 0.3
    lost_sd: float = 0.15
    strength: float = 0.3
    seed: int = 0


def recorded_swings(folder: Path, players: Sequence[str] | None = None) -> list[Labelled]:
    """Every stroke of every recording in ``folder``, or of some ``players``: see the module's docstring.

    Raises ``LibraryError`` where the index or a recording is missing or damaged.
    """
    rows = [row for row in recorded._index(folder) if players is None or row["player"] in players]
    bodies = {row["file"]: recorded._read(folder / row["file"]) for row in rows}
    out: list[Labelled] = []
    for player in dict.fromkeys(row["player"] for row in rows):
        mine = [row for row in rows if row["player"] == player]
        hand = recorded._hand(mine, bodies, player)
        swings = [
            Labelled(player, hand, row["stroke"], times, points)
            for row in mine
            for times, points in _strokes(bodies[row["file"]])
        ]
        backhand = _kind_of_backhand([s for s in swings if s.stroke == "backhand"])
        out += [replace(s, stroke=backhand) if s.stroke == "backhand" else s for s in swings]
    return out


def generated_swings(count: int = 20) -> list[Labelled]:
    """``count`` generated strokes of each kind, of seeds kept for tuning."""
    makers: dict[str, Callable[[int], Motion]] = {
        "forehand": lambda seed: random_player(seed).perform(swings=1),
        "two-handed backhand": lambda seed: random_backhand_player(seed, 2).perform(swings=1),
        "one-handed backhand": lambda seed: random_backhand_player(seed, 1).perform(swings=1),
        "serve": lambda seed: random_server(seed).perform(swings=1),
    }
    out = []
    for kind, make in makers.items():
        for seed in TUNING[_FIRST_GENERATED:][:count]:
            motion = make(seed)
            contact = motion.swings[0].events["contact"]
            points = resample(motion.points / motion.stature, motion.times, contact + _TIMES)
            out.append(Labelled(f"generated {seed}", motion.hand, kind, _TIMES, points))
    return out


def _strokes(body: recorded._Body) -> list[tuple[Array, Array]]:
    """Times from contact and points, statures, of every stroke of a recording."""
    step = float(body.times[1] - body.times[0])
    speed = np.maximum(*(recorded._wrist_speed(body, hand)[1] for hand in HANDS))
    least = recorded._SHARE * np.percentile(speed, 99.5)
    peaks, _ = find_peaks(speed, height=least, distance=round(recorded._APART / step))
    path = CubicSpline(body.times, body.points / body.stature)
    out = []
    for contact in body.times[peaks] + WRIST_PEAK_BEFORE_CONTACT:
        if body.times[0] + _BEFORE < contact < body.times[-1] - _AFTER:
            held = np.clip(contact + _TIMES, body.times[0], body.times[-1])
            out.append((_TIMES, path(held)))
    return out


def _kind_of_backhand(swings: Sequence[Labelled]) -> str:
    gaps = [
        np.linalg.norm(at[INDEX["right_wrist"]] - at[INDEX["left_wrist"]])
        for at in (resample(s.points, s.times, np.zeros(1))[0] for s in swings)
    ]
    return "two-handed backhand" if gaps and float(np.median(gaps)) < TWO_HANDED else "one-handed backhand"


def with_errors(swing: Labelled, settings: FitSettings, rng: np.random.Generator) -> tuple[Array, float]:
    """The points (T, K, 3) and the contact of a swing as a film might give them."""
    runs = round((swing.times[-1] - swing.times[0]) / settings.run) + 2
    knots = np.linspace(swing.times[0], swing.times[-1], runs)
    drift = settings.drift * rng.standard_normal((runs, *swing.points.shape[1:]))
    arms = {side: [INDEX[f"{side}_{part}"] for part in ("elbow", "wrist", "hand")] for side in SIDES}
    for arm in arms.values():
        drift[:, arm] *= settings.arm_drift / settings.drift
    if rng.random() < settings.lost:
        arm = arms[SIDES[rng.integers(2)]]
        drift[:, arm] += (
            settings.lost_sd * rng.standard_normal((runs, 1, 3)) * np.array([0.5, 1.0, 1.0])[:, None]
        )
    return swing.points + resample(drift, knots, swing.times), settings.contact_sd * rng.standard_normal()


def fit(swings: Iterable[Labelled], settings: FitSettings | None = None) -> Weights:
    """Weights for ``stroke.recognise`` from strokes whose hand and kind are known; each is mirrored as well."""
    settings = settings or FitSettings()
    rng = np.random.default_rng(settings.seed)
    seen: list[tuple[Hand, str, dict[str, float]]] = []
    for swing in swings:
        for one in (swing, swing.mirrored()):
            seen.append((one.hand, one.stroke, features(one.times, one.points, 0.0)))
            for _ in range(settings.copies):
                points, contact = with_errors(one, settings, rng)
                seen.append((one.hand, one.stroke, features(one.times, points, contact)))
    return {
        question: _fit_one(
            np.array(
                [[found[name] for name in QUESTIONS[question]] for hand, kind, found in seen if asks(kind)]
            ),
            np.array([yes(hand, kind) for hand, kind, _ in seen if asks(kind)]),
            odd=question in MIRRORED,
            strength=settings.strength,
        )
        for question, (asks, yes) in _TRUTHS.items()
    }


#: For every question: of which strokes it is asked, and when the answer is yes.
_TRUTHS: dict[str, tuple[Callable[[str], bool], Callable[[Hand, str], bool]]] = {
    "overhead": (lambda kind: True, lambda hand, kind: kind == "serve"),
    "serving": (lambda kind: kind == "serve", lambda hand, kind: hand == "right"),
    "turning": (
        lambda kind: kind != "serve",
        lambda hand, kind: (hand == "right") == (kind == "forehand"),
    ),
    "two hands": (lambda kind: kind != "serve", lambda hand, kind: kind == "two-handed backhand"),
    "leading": (
        lambda kind: kind in ("forehand", "one-handed backhand"),
        lambda hand, kind: hand == "right",
    ),
}


def _fit_one(x: Array, yes: NDArray[np.bool_], *, odd: bool, strength: float) -> tuple[Array, float]:
    """Logistic regression of (N, F) features, on a common scale; without a constant for an odd question."""
    centre = np.zeros(x.shape[1]) if odd else x.mean(axis=0)
    scale = np.sqrt(np.mean((x - centre) ** 2, axis=0))
    model = LogisticRegression(
        C=strength * 1000.0 / len(x), fit_intercept=not odd, class_weight="balanced", max_iter=1000
    ).fit((x - centre) / scale, yes)
    slopes = model.coef_[0] / scale
    return slopes, 0.0 if odd else float(model.intercept_[0] - slopes @ centre)


def told(swing: Labelled, weights: Weights) -> Recognised:
    """What a swing is taken for with some weights."""
    return asked.likeliest(asked.likelihoods(features(swing.times, swing.points, 0.0), weights))


def leave_one_out(
    swings: Sequence[Labelled], more: Sequence[Labelled] = (), settings: FitSettings | None = None
) -> list[tuple[Labelled, Recognised]]:
    """Every swing, as it is and mirrored, beside what it is taken for with weights fitted on the other players.

    ``more`` goes into every fit.
    """
    out = []
    for player in dict.fromkeys(s.player for s in swings):
        weights = fit([*(s for s in swings if s.player != player), *more], settings)
        mine = [s for s in swings if s.player == player]
        out += [(s, told(s, weights)) for s in (*mine, *(s.mirrored() for s in mine))]
    return out


def confusion(pairs: Iterable[tuple[Labelled, Recognised]]) -> str:
    """A Markdown table: rows are what the swings are, columns what they are taken for."""
    counts = Counter(((true.hand, true.stroke), (found.hand, found.stroke)) for true, found in pairs)
    names = [(hand, kind) for kind in KINDS for hand in HANDS]
    head = [f"{hand} {kind}" for hand, kind in names]
    lines = [f"| is \\ taken for | {' | '.join(head)} | right |", "|---" * (len(names) + 2) + "|"]
    for label, row in zip(head, names, strict=True):
        total = sum(counts[row, column] for column in names)
        share = f"{100.0 * counts[row, row] / total:.0f} %" if total else "–"
        cells = " | ".join(str(counts[row, column] or "") for column in names)
        lines.append(f"| {label} | {cells} | {share} of {total} |")
    right = sum(counts[name, name] for name in names)
    lines.append(f"\nHand and stroke are told rightly for {right} of {sum(counts.values())}.")
    return "\n".join(lines)


def as_json(weights: Weights, about: str) -> str:
    """The weights as ``recognise.from_json`` reads them."""
    questions = {
        question: {
            "weights": {
                name: round(float(w), 4) for name, w in zip(QUESTIONS[question], slopes, strict=True)
            },
            "constant": round(constant, 4),
        }
        for question, (slopes, constant) in weights.items()
    }
    return json.dumps({"about": about, "questions": questions}, indent=1) + "\n"


def main() -> None:
    """Print the confusion matrix; fit and write the shipped weights where asked to."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.strokes", description=__doc__)
    parser.add_argument("--mocap", type=Path, required=True, help="folder of motion capture")
    parser.add_argument("--write", action="store_true", help="fit the shipped weights and write them")
    words = parser.parse_args()
    generated = generated_swings()
    if words.write:
        swings = recorded_swings(words.mocap, recorded.TUNING_PLAYERS)
        about = (
            f"Weights of stroke.recognise, fitted on {len(swings)} strokes of recorded players kept for tuning and "
            f"{len(generated)} generated ones; written by: python -m swingmatch.study.strokes --write"
        )
        _WEIGHTS.write_text(as_json(fit([*swings, *generated]), about), encoding="utf-8")
    print(confusion(leave_one_out(recorded_swings(words.mocap), generated)))


if __name__ == "__main__":
    main()
