"""Recorded people against published studies: what agrees, what does not.

How each value is taken (``published``) and when it counts as agreeing was written down before any was compared. The
rules for a serve's contact and for one or two hands were chosen by looking at the wrists' paths. One rule was changed
after a first look: the check for markers that jump had thrown out all serves of two players and now leaves the
hitting shoulder alone. As many values agreed before as after.

When a value agrees: the mean over players (each by the median of the own strokes) lies within a published group's
mean ± 2 SD; where no SD is known, within a quarter of the mean and no less than 24 ms; where groups or studies
differ, between the lowest and the highest of these bounds. Angles that depend on the target get 15 degrees more on
either side. A band that wide says "plausible", no more; n is small on both sides. How far the mean is from the
nearest group's, in that group's SD, is told too.

What the recordings cannot show costs something (see ``captured``):

- the time of the wrist's peak is no check, since contact is put by it, and all other times from contact stand on that
  one number; gaps between peaks do not;
- racket and ball are not there: A4, A14, A15, A17, A19-A23, B2-B5, B15, B16, B26, B30 cannot be checked;
- 100 Hz and the low-pass lower peak velocities;
- one player of eight hits one-handed backhands, and two of eight are of the higher level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swingmatch.study.captured import Stroke
from swingmatch.study.published import ROWS, Row


@dataclass(frozen=True)
class Line:
    """One row's answer: ``mean`` and ``sd`` over ``players`` (each by the median of the own strokes, ``count`` in
    all)."""

    row: Row
    players: int
    count: int
    mean: float
    sd: float

    @property
    def agrees(self) -> bool | None:
        """Whether the mean is within the band; None where there is no value."""
        low, high = self.row.band
        return bool(low <= self.mean <= high) if np.isfinite(self.mean) else None

    @property
    def sds_off(self) -> float:
        """Distance to the mean of the nearest group whose SD is known, in its SD; NaN where there is none."""
        return min(
            (abs(self.mean - mean) / sd for mean, sd in self.row.published if sd), default=float("nan")
        )


def compare(taken: Sequence[Stroke], rows: Sequence[Row] = ROWS) -> list[Line]:
    """Every row of ``rows`` on the strokes ``taken`` of its kind."""
    out = []
    for row in rows:
        values: dict[str, list[float]] = {}
        for stroke in taken:
            if stroke.kind == row.kind:
                values.setdefault(stroke.player, []).append(row.of(stroke))
        known = {player: [v for v in many if np.isfinite(v)] for player, many in values.items()}
        # A share is a mean; for all else one odd stroke should not count.
        mine = [float(np.mean(v) if row.share else np.median(v)) for v in known.values() if v]
        mean = float(np.mean(mine)) if mine else float("nan")
        sd = float(np.std(mine, ddof=1)) if len(mine) > 1 else float("nan")
        out.append(Line(row, len(mine), sum(map(len, known.values())), mean, sd))
    return out


def text(lines: Sequence[Line]) -> str:
    """The answers as a table in Markdown, then how many agree."""
    heads = [
        *("rows", "stroke", "what", "unit", "here: mean ± SD (players, strokes)", "published: mean ± SD"),
        *("SDs off", "plausible", "agrees", "sample", "note"),
    ]
    out = [f"| {' | '.join(heads)} |", "|---" * len(heads) + "|"]
    for line in lines:
        row, (low, high) = line.row, line.row.band
        digits = {"s": 3, "": 2, "m/s": 1}.get(row.unit, 0)

        def number(value: float, digits: int = digits) -> str:
            return "–" if not np.isfinite(value) else f"{value:.{digits}f}"

        published = "; ".join(
            number(mean) + ("" if sd is None else f" ± {number(sd)}") for mean, sd in row.published
        )
        here = f"{number(line.mean)} ± {number(line.sd)} ({line.players}, {line.count})"
        agrees = {True: "yes", False: "**no**", None: "–"}[line.agrees]
        out.append(
            f"| {row.ids} | {row.kind} | {row.what} | {row.unit} | {here} | {published} "
            f"| {number(line.sds_off, 1)} | {number(low)} to {number(high)} | {agrees} | {row.sample} | {row.note} |"
        )
    known = [line for line in lines if line.agrees is not None]
    yes = sum(bool(line.agrees) for line in known)
    out += ["", f"{yes} of {len(known)} agree; contact and target are inferred, see the module's docstring."]
    return "\n".join(out)
