"""``python -m swingmatch.study.choosing --clips FOLDER [--mocap FOLDER]``: how often the intended model is chosen.

Generated players are of known style (``families``). Each is set before a library of as many others, one time with exact
keypoints and then as filmed from five sides (``as_filmed``): is a model of the player's own family first, and is it the
same model from every side? With ``--mocap`` recorded players are set before each other, one left out at a time.

``--clips`` holds clips of the study with their tracks; what is not there is rendered and tracked. Reports take players,
models and errors of the seeds ``HELD_OUT``; with ``--tuning`` of those that anything may be tuned on.
"""

from __future__ import annotations

import argparse
import itertools
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import partial
from operator import attrgetter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.interpolate import CubicSpline

from swingmatch.body.skeleton import mirror
from swingmatch.errors import StrokeError
from swingmatch.library.choose import choose
from swingmatch.library.choosing.traits import traits
from swingmatch.library.folder import Library, load_library
from swingmatch.library.format import Volunteer
from swingmatch.progress import Bar
from swingmatch.series import resample
from swingmatch.stroke.contact import WRIST_PEAK_BEFORE_CONTACT
from swingmatch.stroke.direction import azimuth_of, camera_to_court, side_name, wrap
from swingmatch.stroke.strokes import STROKES
from swingmatch.stroke.swing import Swing
from swingmatch.study import recorded
from swingmatch.study.as_filmed import FilmErrors, film_errors, filmed_swing
from swingmatch.study.families import Family, Known, as_models, known_players
from swingmatch.study.learn.examples import MOMENTS
from swingmatch.study.run import processes
from swingmatch.study.sample import shots
from swingmatch.synth.cast import HELD_OUT, TUNING
from swingmatch.synth.faults import FAULTS
from swingmatch.synth.volunteers import swings_of

#: From where students are filmed: half of the circle, on the hitting side.
FIVE = ("front", "front right", "right side", "back right", "back")
#: Those of them from which the hitting hand is in view throughout the take-back.
HITTING_SIDE = ("front right", "right side", "back right")
#: Students and models of each family, and the place among the seeds of the first student and the first model.
_EACH, _STUDENTS, _MODELS = 2, 100, 200
#: Size of the planted faults: clear, not gross.
_FAULT = 0.7
#: Clips whose errors are laid on, four for each of the study's eight camera places.
_CLIPS = 32
#: Least seconds of a recorded stroke and its surroundings.
_SHORTEST = 1.6


@dataclass(frozen=True)
class Student:
    """One player's stroke, exact and as filmed: camera side -> swing; left out where no swing was found."""

    known: Known | None
    exact: Swing
    film: Mapping[str, Swing] = field(default_factory=dict)


class Picked(NamedTuple):
    """Labels of the chosen model and of the first by style alone."""

    label: str
    style: str


class Picks(NamedTuple):
    """What was chosen for a student with exact keypoints, and from each camera side."""

    exact: Picked
    film: dict[str, Picked]


class Rates(NamedTuple):
    """What came of some choices, in counts.

    ``exact`` : whether each student's intended model was first with exact keypoints. ``sides`` : camera side -> the
    same as filmed from there. ``same`` : of pairs of sides of one student, whether both gave the same model.
    ``usual`` : of sides, whether it gave the model that most sides of the student give.
    """

    exact: list[bool]
    sides: dict[str, list[bool]]
    same: list[bool]
    usual: list[bool]


def as_filmed(
    body: np.ndarray, errors: Mapping[str, Sequence[FilmErrors]], seed: Sequence[int]
) -> dict[str, Swing]:
    """A forehand (T, K, 3) at ``MOMENTS`` as filmed from each side, with errors drawn from those of the side."""
    film = {}
    for side, some in errors.items():
        rng = np.random.default_rng(seed)
        try:
            film[side] = filmed_swing(body, some[int(rng.integers(len(some)))], "forehand", rng)
        except StrokeError:
            continue
    return film


def student_of(known: Known, errors: Mapping[str, Sequence[FilmErrors]]) -> Student:
    """One stroke of a player, and as filmed from each side."""
    motion = known.player.perform(swings=1)
    contact = motion.swings[0].events["contact"]
    body = resample(motion.points, motion.times, contact + MOMENTS) / motion.stature
    return Student(known, swings_of(motion)[0], as_filmed(body, errors, [known.player.seed, 5]))


def by_side(errors: Sequence[FilmErrors], sides: Sequence[str]) -> dict[str, list[FilmErrors]]:
    """Errors by the named camera side that they are of."""
    found = {side: [e for e in errors if side_name(wrap(e.azimuth)) == side] for side in sides}
    return {side: some for side, some in found.items() if some}


def picks_of(students: Sequence[Student], library: Library, executor: Executor | None = None) -> list[Picks]:
    """Choose for every student from every side, spread over the executor's processes."""
    return list((executor.map if executor else map)(partial(_picks, library=library), students))


def _picks(student: Student, library: Library) -> Picks:
    def picked(swing: Swing) -> Picked:
        choice = choose([swing], library)
        return Picked(choice.volunteer.label, choice.by("style")[0].label)

    return Picks(picked(student.exact), {side: picked(swing) for side, swing in student.film.items()})


def rates(
    students: Sequence[Student],
    picks: Sequence[Picks],
    right: Callable[[Student, str], bool],
    what: Callable[[Picked], str] = attrgetter("label"),
) -> Rates:
    """Count what was chosen; ``right`` says whether a label is the intended one, ``what`` which label is counted."""
    out = Rates([], {}, [], [])
    for student, pick in zip(students, picks, strict=True):
        out.exact.append(right(student, what(pick.exact)))
        labels = []
        for side, picked in pick.film.items():
            labels.append(what(picked))
            out.sides.setdefault(side, []).append(right(student, labels[-1]))
        out.same.extend(a == b for a, b in itertools.combinations(labels, 2))
        most = Counter(labels).most_common(1)[0][0] if labels else ""
        out.usual.extend(label == most for label in labels)
    return out


def only(picks: Sequence[Picks], sides: Collection[str]) -> list[Picks]:
    """The same from some camera sides only."""
    return [
        Picks(pick.exact, {side: one for side, one in pick.film.items() if side in sides}) for pick in picks
    ]


def fault_rates(
    players: Sequence[Known], library: Library, families: Mapping[str, Family], executor: Executor
) -> dict[str, list[bool]]:
    """Fault -> of each player, whether the model with it is of the same style family as the model without it.

    Keypoints are exact, so that nothing but the fault moves the choice.
    """
    faults: list[str | None] = [None, *sorted(FAULTS)]
    jobs = [(known, fault) for fault in faults for known in players]
    chosen = [families[label] for label in executor.map(partial(_with_fault, library=library), jobs)]
    count = len(players)
    sound = chosen[:count]
    return {
        str(fault): [a == b for a, b in zip(chosen[n * count : (n + 1) * count], sound, strict=True)]
        for n, fault in enumerate(faults)
        if fault is not None
    }


def _with_fault(job: tuple[Known, str | None], library: Library) -> str:
    known, fault = job
    motion = replace(known.player, faults={} if fault is None else {fault: _FAULT}).perform(swings=1)
    return choose(swings_of(motion), library).volunteer.label


def recorded_forehands(folder: Path) -> dict[str, list[np.ndarray]]:
    """Player -> forehands (T, K, 3) at ``MOMENTS``: right-handed, court axes, statures; what is made up is said in
    ``recorded``. The body is held still where a neighbouring stroke is near."""
    rows = [row for row in recorded._index(folder) if row["stroke"] == "forehand"]
    out: dict[str, list[np.ndarray]] = {}
    for row in rows:
        body = recorded._read(folder / row["file"])
        bodies = {row["file"]: body}
        hand = recorded._hand([row], bodies, row["player"])
        target = recorded._forehand_target([row], bodies, row["player"], hand)
        court = CubicSpline(body.times, body.points @ camera_to_court(azimuth_of(target)).T / body.stature)
        for hit in recorded._hits(body, hand):
            start = hit.peak - min(hit.before - recorded.FROM_NEIGHBOUR, recorded.AROUND)
            stop = hit.peak + min(hit.after - recorded.FROM_NEIGHBOUR, recorded.AROUND)
            if stop - start >= _SHORTEST:
                points = court(np.clip(hit.peak + WRIST_PEAK_BEFORE_CONTACT + MOMENTS, start, stop))
                out.setdefault(row["player"], []).append(points if hand == "right" else mirror(points))
    return out


def exact_swing(points: np.ndarray) -> Swing:
    """A forehand (T, K, 3) at ``MOMENTS`` as a swing, with the events that the tool finds in it."""
    return Swing(MOMENTS, points, STROKES["forehand"].find_events(MOMENTS, points, 0.0), "right")


def recorded_halves(
    forehands: Mapping[str, Sequence[np.ndarray]], errors: Mapping[str, Sequence[FilmErrors]], each: int = 2
) -> tuple[Library, dict[str, list[Student]]]:
    """Every other stroke of each player as that player's model, and up to ``each`` of the others as students."""
    volunteers, students = [], {}
    for number, (player, points) in enumerate(sorted(forehands.items())):
        model = tuple(exact_swing(one) for one in points[::2][:3])
        # Nothing of this is written anywhere: the words stand where a library's would.
        volunteers.append(
            Volunteer(player, "right", model, 1.75, False, "as recorded", consent="as recorded")
        )
        students[player] = [
            Student(None, exact_swing(one), as_filmed(one, errors, [number, place]))
            for place, one in enumerate(points[1::2][:each])
        ]
    return Library(tuple(volunteers)), students


def style_classes(library: Library) -> dict[str, tuple[bool, bool, bool]]:
    """The style family of recorded players: stance more closed, tempo slower, hand higher than the middle player's."""
    tastes = {v.label: traits(v.swings).tastes for v in library}
    middle = {
        name: float(np.median([t[name] for t in tastes.values()])) for name in tastes[next(iter(tastes))]
    }
    return {
        label: (
            t["stance"] > middle["stance"],
            t["tempo"] > middle["tempo"],
            t["take_back_height"] > middle["take_back_height"],
        )
        for label, t in tastes.items()
    }


def recorded_rates(
    folder: Path, errors: Mapping[str, Sequence[FilmErrors]], executor: Executor | None = None
) -> str:
    """Recorded players before each other, in Markdown: each among all, and each family with the player left out."""
    library, students = recorded_halves(recorded_forehands(folder), errors)
    who = {id(student): player for player, own in students.items() for student in own}
    everyone = [student for own in students.values() for student in own]
    themselves = rates(
        everyone, picks_of(everyone, library, executor), lambda student, label: label == who[id(student)]
    )
    lines = [
        "Recorded players: the model is the player's own other strokes (by chance 1 in 8)", text_of(themselves), ""
    ]  # fmt: skip
    classes = style_classes(library)
    shared = [np.zeros(2, dtype=int) for _ in range(3)]
    out = Rates([], {}, [], [])
    alone = []
    for player, own in students.items():
        others = Library(tuple(v for v in library if v.label != player))
        # The best that can be had: as many of the three as any of the others shares.
        best = max(_shared(classes[player], classes[v.label]) for v in others)
        alone.append(best < 3)

        def right(student: Student, label: str, player: str = player, best: int = best) -> bool:
            mine, theirs = classes[player], classes[label]
            for count, a, b in zip(shared, mine, theirs, strict=True):
                count += (a == b, 1)
            return _shared(mine, theirs) == best

        found = rates(own, picks_of(own, others, executor), right)
        out.exact.extend(found.exact)
        out.same.extend(found.same)
        out.usual.extend(found.usual)
        for side, some in found.sides.items():
            out.sides.setdefault(side, []).extend(some)
    names = ("stance", "tempo", "take-back height")
    lines += [
        f"Left out: a model of the nearest family ({sum(alone)} of {len(alone)} players have none of their own)",
        text_of(out),
        "Same half: "
        + ", ".join(f"{n} {100 * c[0] / c[1]:.0f} %" for n, c in zip(names, shared, strict=True))
        + ".",
    ]
    return "\n".join(lines)


def _shared(one: Sequence[bool], other: Sequence[bool]) -> int:
    return sum(a == b for a, b in zip(one, other, strict=True))


def text_of(found: Rates) -> str:
    """The rates in Markdown."""

    def share(of: Sequence[bool]) -> str:
        return f"{100.0 * np.mean(of):.0f} % of {len(of)}" if of else "-"

    every = [right for some in found.sides.values() for right in some]
    lines = [
        "| exact | "
        + " | ".join(found.sides)
        + " | all sides | same model, pairs of sides | the usual model |"
    ]
    lines += ["|---" * (len(found.sides) + 4) + "|"]
    cells = [
        share(found.exact),
        *map(share, found.sides.values()),
        share(every),
        share(found.same),
        share(found.usual),
    ]
    return "\n".join([*lines, "| " + " | ".join(cells) + " |"])


def fault_text(found: Mapping[str, Sequence[bool]]) -> str:
    """The rates of each fault in Markdown."""
    lines = ["| fault | same style family as without it |", "|---|---|"]
    lines += [f"| {fault.replace('_', ' ')} | {sum(same)} of {len(same)} |" for fault, same in found.items()]
    every = [one for same in found.values() for one in same]
    return "\n".join([*lines, f"| all | {sum(every)} of {len(every)} ({100 * np.mean(every):.0f} %) |"])


def generated_text(
    students: Sequence[Student],
    models: Library,
    families: Mapping[str, Family],
    executor: Executor | None = None,
) -> str:
    """The rates of generated players, in Markdown: the chosen model's family, the first by style, the shipped."""

    def family(student: Student, label: str) -> bool:
        assert student.known is not None
        return families[label] == student.known.family

    picks = picks_of(students, models, executor)
    shipped = picks_of(students, load_library(), executor)
    exactly = {id(student): pick.exact.label for student, pick in zip(students, shipped, strict=True)}

    def as_exact(student: Student, label: str) -> bool:
        return label == exactly[id(student)]

    chance = 100.0 / len(set(families.values()))
    return "\n\n".join(
        f"{title}\n\n{text_of(found)}"
        for title, found in (
            (
                f"Family of the chosen model (by chance {chance:.0f} %), of {len(models)} models",
                rates(students, picks, family),
            ),
            ("The same from the hitting side only", rates(students, only(picks, HITTING_SIDE), family)),
            ("Family of the first model by style alone", rates(students, picks, family, attrgetter("style"))),
            ("The shipped models: the one that exact keypoints choose", rates(students, shipped, as_exact)),
            (
                "The shipped models from the hitting side only",
                rates(students, only(shipped, HITTING_SIDE), as_exact),
            ),
        )
    )


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.choosing", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, required=True, help="folder of the study's clips, made where missing"
    )
    parser.add_argument("--mocap", type=Path, help="folder of motion capture")
    parser.add_argument("--tuning", action="store_true", help="use the seeds that anything may be tuned on")
    parser.add_argument(
        "--each", type=int, default=_EACH, help="students of each family (default: %(default)s)"
    )
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    words = parser.parse_args()
    seeds = TUNING if words.tuning else HELD_OUT
    with processes(words.workers) as executor:
        errors = by_side(film_errors(shots(seeds, _CLIPS), words.clips, executor, Bar()), FIVE)
        known = known_players(seeds[_STUDENTS:], words.each)
        students = list(executor.map(student_of, known, [errors] * len(known)))
        models = known_players(seeds[_MODELS:], _EACH)
        library = Library(as_models(models))
        families = {model.player.name: model.family for model in models}
        print(generated_text(students, library, families, executor))
        print("\n" + fault_text(fault_rates(known[: len(known) // words.each], library, families, executor)))
        if words.mocap:
            print("\n" + recorded_rates(words.mocap, errors, executor))


if __name__ == "__main__":
    main()
