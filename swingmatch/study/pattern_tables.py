"""Tables of the study of fault patterns, in Markdown, each with its counts."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np

from swingmatch.study.planted import MENTION
from swingmatch.study.said import Outcome, View

#: Limits between the sizes of planted faults, and between the stated probabilities of the calibration.
SIZE_BINS = (0.3, 0.45, MENTION, 0.8, 1.0)
SURE_BINS = (0.05, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 1.0)
#: Aims of the work: recall, precision, false alarms and the same first finding from two sides.
RECALL, PRECISION, ALARMS, AGREEMENT = 0.85, 0.8, 0.1, 0.85


def share(hits: Iterable[bool]) -> str:
    """ "61 % (11 of 18)"."""
    some = list(hits)
    return f"{100.0 * np.mean(some):.0f} % ({sum(some)} of {len(some)})" if some else "-"


def _views(outcomes: Sequence[Outcome]) -> list[tuple[Outcome, str, View]]:
    return [(one, side, view) for one in outcomes for side, view in one.views.items()]


def recalled(
    outcomes: Sequence[Outcome],
    keep: Callable[[str, float], bool] = lambda fault, size: True,
    alone: bool = False,
) -> list[bool]:
    """Of every planted fault that a side can show: whether it is named in the top three; ``alone``: by itself, not only
    under its cause."""
    return [
        fault in (frozenset(s.fault for s in view.top if not s.under) if alone else view.names)
        for one, _, view in _views(outcomes)
        for fault, size in one.planted.items()
        if fault in view.seeable and keep(fault, size)
    ]


def precise(outcomes: Sequence[Outcome], fault: str | None = None, alone: bool = False) -> list[bool]:
    """Of everything that is named in the top three: whether it was planted."""
    return [
        said.fault in one.planted
        for one, _, view in _views(outcomes)
        for said in view.top
        if (fault is None or said.fault == fault) and not (alone and said.under)
    ]


def alarms(outcomes: Sequence[Outcome], swing: bool = False) -> list[bool]:
    """Of every sound player and side: whether anything is named; with ``swing`` of the first swing alone."""
    return [bool(view.swing if swing else view.top) for one, _, view in _views(outcomes) if not one.planted]


def agreement(outcomes: Sequence[Outcome], loose: bool = False) -> list[bool]:
    """Of pairs of sides of one player with a fault that a coach would mention, where each side can see what the other
    puts first: whether both put the same first. Where one says nothing of what it can see, they disagree; where both
    say nothing the pair is left out. ``loose`` : whether one side's first is among the other's top three."""
    out = []
    for one in outcomes:
        if not any(size >= MENTION for size in one.planted.values()):
            continue
        for a, b in itertools.combinations(one.views.values(), 2):
            firsts = {a.first, b.first} - {""}
            if not firsts or not all(f in a.seeable and f in b.seeable for f in firsts):
                continue
            same = a.first in b.names or b.first in a.names
            out.append(same if loose else a.first == b.first)
    return out


def summary(outcomes: Sequence[Outcome]) -> str:
    """The aims beside what came out."""
    rows: list[tuple[str, list[bool], float, bool]] = [
        (f"top-three recall, size {MENTION:g} and more", recalled(outcomes, _mentioned), RECALL, True),
        ("the same, by itself only", recalled(outcomes, _mentioned, alone=True), RECALL, True),
        ("precision", precise(outcomes), PRECISION, True),
        ("the same, without what is listed under a cause", precise(outcomes, alone=True), PRECISION, True),
        ("false alarms, sound players (three swings)", alarms(outcomes), ALARMS, False),
        ("false alarms, single sound swings", alarms(outcomes, swing=True), ALARMS, False),
        ("same first finding, pairs of sides", agreement(outcomes), AGREEMENT, True),
        ("first finding in the other side's top three", agreement(outcomes, loose=True), AGREEMENT, True),
    ]
    lines = ["| | found | aim | |", "|---|---|---|---|"]
    for name, hits, aim, more in rows:
        met = (
            "-"
            if not hits
            else "met"
            if (np.mean(hits) >= aim if more else np.mean(hits) <= aim)
            else "not met"
        )
        lines.append(
            f"| {name} | {share(hits)} | {'at least' if more else 'at most'} {100 * aim:.0f} % | {met} |"
        )
    return "\n".join(lines)


def _mentioned(fault: str, size: float) -> bool:
    return size >= MENTION


def _within(low: float, high: float, only: str | None = None) -> Callable[[str, float], bool]:
    """Whether a size is in a bin, the last of which holds its upper end, and the fault is ``only``."""
    return lambda fault, size: (
        (only is None or fault == only) and (low <= size < high or size == high == SIZE_BINS[-1])
    )


def by_fault(outcomes: Sequence[Outcome], faults: Sequence[str]) -> str:
    """Recall of each fault by size, how often a side could not show it, and precision where it is named."""
    bins = list(itertools.pairwise(SIZE_BINS))
    lines = [
        "| fault | " + " | ".join(f"{a:g} to {b:g}" for a, b in bins) + " | not to be seen | precision |",
        "|---" * (len(bins) + 3) + "|",
    ]
    for fault in faults:
        cells = [share(recalled(outcomes, _within(a, b, fault))) for a, b in bins]
        hidden = [fault not in view.seeable for one, _, view in _views(outcomes) if fault in one.planted]
        lines.append(
            f"| {fault.replace('_', ' ')} | {' | '.join(cells)} | {share(hidden)} | {share(precise(outcomes, fault))} |"
        )
    cells = [share(recalled(outcomes, _within(a, b))) for a, b in bins]
    return "\n".join([*lines, f"| all | {' | '.join(cells)} | | {share(precise(outcomes))} |"])


def by_side(outcomes: Sequence[Outcome]) -> str:
    """Recall of faults that a coach would mention, precision and false alarms of each camera side."""
    lines = ["| side | recall | precision | false alarms |", "|---|---|---|---|"]
    for side in dict.fromkeys(side for _, side, _ in _views(outcomes)):
        some = [Outcome(o.seed, o.planted, {side: o.views[side]}) for o in outcomes if side in o.views]
        lines.append(
            f"| {side} | {share(recalled(some, _mentioned))} | {share(precise(some))} | {share(alarms(some))} |"
        )
    return "\n".join(lines)


def calibration(outcomes: Sequence[Outcome]) -> str:
    """Stated probability beside the share that was planted."""
    pairs = [(s.sure, s.fault in one.planted) for one, _, view in _views(outcomes) for s in view.every]
    lines = ["| stated | mean stated | planted |", "|---|---|---|"]
    for low, high in itertools.pairwise(SURE_BINS):
        some = [(sure, true) for sure, true in pairs if low <= sure < high + (high == 1.0)]
        if some:
            mean = np.mean([sure for sure, _ in some])
            lines.append(
                f"| {100 * low:.0f} to {100 * high:.0f} % | {100 * mean:.0f} % | {share(t for _, t in some)} |"
            )
    return "\n".join(lines)


def confusion(outcomes: Sequence[Outcome], most: int = 3) -> str:
    """Of planted faults that a coach would mention and that were missed: what was named falsely instead."""
    missed: Counter[str] = Counter()
    instead: dict[str, Counter[str]] = {}
    for one, _, view in _views(outcomes):
        wrong = view.names - set(one.planted)
        for fault, size in one.planted.items():
            if _mentioned(fault, size) and fault in view.seeable and fault not in view.names:
                missed[fault] += 1
                instead.setdefault(fault, Counter()).update(wrong)
    lines = ["| missed | times | named instead |", "|---|---|---|"]
    for fault, times in missed.most_common():
        words = ", ".join(f"{name} {count}" for name, count in instead[fault].most_common(most))
        lines.append(f"| {fault} | {times} | {words or 'nothing'} |".replace("_", " "))
    return "\n".join(lines)


def halves(found: Mapping[str, Sequence[tuple[View, View]]]) -> str:
    """Recorded players: whether both halves of a player's swings, seen from one side, say the same.

    ``found`` : camera side -> pairs of views, one of each player.
    """
    lines = ["| side | same first | first in the other's top three | nothing in both |", "|---|---|---|---|"]

    def row(name: str, pairs: Sequence[tuple[View, View]]) -> str:
        some = [(a, b) for a, b in pairs if a.first or b.first]
        return (
            f"| {name} | {share(a.first == b.first for a, b in some)} | "
            f"{share(a.first in b.names or b.first in a.names for a, b in some)} | {len(pairs) - len(some)} |"
        )

    lines += [row(side, pairs) for side, pairs in found.items()]
    return "\n".join([*lines, row("all", [pair for pairs in found.values() for pair in pairs])])


def text(outcomes: Sequence[Outcome], faults: Sequence[str]) -> str:
    """All tables of generated players."""
    sound = sum(not one.planted for one in outcomes)
    parts = (
        (f"{len(outcomes)} players, {sound} of them sound", summary(outcomes)),
        ("By fault and size: named in the top three, all sides that can show it", by_fault(outcomes, faults)),
        ("By camera side", by_side(outcomes)),
        ("Stated probability", calibration(outcomes)),
        ("Missed", confusion(outcomes)),
    )
    return "\n\n".join(f"## {title}\n\n{table}" for title, table in parts)
