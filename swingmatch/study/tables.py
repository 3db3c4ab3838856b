"""Tables of the study, as text and as the accuracy file that the comparison reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np

from swingmatch.stroke.direction import SIDES
from swingmatch.stroke.swing import EVENTS
from swingmatch.study.measure import ANGLES, Errors


def spread(values: Iterable[float], digits: int = 1) -> str:
    """Median and 90th percentile of absolute values, or a dash."""
    size = np.abs(np.asarray(list(values), dtype=float))
    if size.size == 0:
        return "–"
    return f"{np.median(size):.{digits}f} / {np.percentile(size, 90):.{digits}f}"


def _pool(all_errors: Sequence[Errors], name: str) -> list[float]:
    return [value for errors in all_errors for value in getattr(errors, name)]


def summary(all_errors: Sequence[Errors]) -> str:
    """The study's report in Markdown: medians and 90th percentiles of absolute errors."""
    usable = [errors for errors in all_errors if not errors.failed]
    count = sum(errors.frames for errors in usable)
    swings, matched = sum(e.swings for e in all_errors), sum(e.matched for e in usable)
    lines = [
        f"{len(all_errors)} clips, {swings} swings, {count} frames at 60 per second; "
        f"{len(all_errors) - len(usable)} clips could not be used.",
        "Each cell: median / 90th percentile of the absolute error.",
        "",
        "| what | all clips |",
        "|---|---|",
        f"| frames tracked | {100 * sum(e.found for e in usable) / max(count, 1):.1f} % |",
        f"| swings found; false ones | {matched} of {swings}; {sum(e.extra for e in usable)} |",
        f"| hitting hand told rightly | {sum(e.hand_right for e in usable)} of {len(all_errors)} clips |",
        f"| 2-D, keypoint in view, % of stature | {spread(_pool(usable, 'image_seen'))} |",
        f"| 2-D, keypoint hidden, % of stature | {spread(_pool(usable, 'image_hidden'))} |",
        f"| camera azimuth, degrees | {spread(_pool(usable, 'azimuth'))} |",
        f"| contact with sound, ms | {spread(_pool(usable, 'contact_sound'))} |",
        f"| contact without sound, ms | {spread(_pool(usable, 'contact_hand'))} |",
    ]
    for event in EVENTS:
        values = [v for errors in usable for v in errors.events.get(event, [])]
        if values:
            lines.append(f"| {event.replace('_', ' ')}, ms | {spread(values, 0)} ({len(values)} found) |")
    lines += ["", _angles(usable, "angles", "Angles of the fitted body, degrees")]
    lines += ["", _angles(usable, "raw_angles", "The same angles from the pose model's own 3-D, degrees")]
    lines += ["", _times(usable)]
    lines += [f"- could not be used: {errors.failed}" for errors in all_errors if errors.failed]
    return "\n".join(lines)


def _angles(all_errors: Sequence[Errors], name: str, title: str) -> str:
    sides = [side for _, side in SIDES if any(errors.side == side for errors in all_errors)]
    rows = [f"{title}, by camera side (of the right-handed swing)", ""]
    rows += ["| angle | " + " | ".join(sides) + " | all |", "|---" * (len(sides) + 2) + "|"]
    for angle in ANGLES:
        cells = []
        for side in [*sides, None]:
            values = [
                v for e in all_errors if side in (None, e.side) for v in getattr(e, name).get(angle, [])
            ]
            cells.append(spread(values, 0))
        rows.append(f"| {angle} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def _times(all_errors: Sequence[Errors]) -> str:
    total: dict[str, float] = defaultdict(float)
    for errors in all_errors:
        for step, seconds in errors.seconds.items():
            total[step] += seconds
    bare = total.get("bare pose model", 0.0)
    rows = ["| step | time over the bare pose model on the same frames |", "|---|---|"]
    rows += [f"| {step} | {seconds / bare:.2f} |" for step, seconds in total.items() if bare > 0]
    return "\n".join(rows)


#: How many clips' worth of the other sides' errors a side's own figure is weighed with: few clips a side would
#: otherwise look better or worse than they are by luck.
_SHARED = 3.0


def accuracy(all_errors: Sequence[Errors]) -> dict[str, dict[str, dict[str, float]]]:
    """Root-mean-square error by quantity, column and camera side: what ``findings/accuracy.json`` holds.

    Each side's mean square is drawn towards that of all sides by ``_SHARED`` clips. A quantity that was measured on
    fewer than two clips of a side has no figure there, and is then not visible from it.
    """
    pool: dict[tuple[str, str], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for errors in all_errors:
        for key, values in errors.quantities.items():
            pool[key][errors.side] += values
    out: dict[str, dict[str, dict[str, float]]] = {}
    for (quantity, column), sides in sorted(pool.items()):
        overall = float(np.mean(np.square([v for values in sides.values() for v in values])))
        for side, values in sorted(sides.items()):
            if len(values) < 2:
                continue
            mean_square = (np.sum(np.square(values)) + _SHARED * overall) / (len(values) + _SHARED)
            out.setdefault(quantity, {}).setdefault(column, {})[side] = round(float(mean_square**0.5), 3)
    return out
