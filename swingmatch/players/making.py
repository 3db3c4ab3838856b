"""A review to keep, made of what the analysis gave."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timezone
from pathlib import Path
from typing import Any

from swingmatch.errors import ClipError
from swingmatch.findings.change import FaultTold, Reviewed, told
from swingmatch.findings.deviation import Deviation
from swingmatch.findings.patterns.pattern import Pattern
from swingmatch.findings.repeatability import repeatability
from swingmatch.library.consent import KEEP_MONTHS, keep_until
from swingmatch.players.records import KeptReview
from swingmatch.stroke.repeats import Scatter

#: A date before this is a camera's that never was told the day (they start at 1904, 1970 or 2000).
_FIRST_DAY = date(2001, 1, 1)


def review_of(
    *,
    player: str,
    clip: Path | str,
    clip_sha256: str,
    stroke: str,
    hand: str,
    camera_side: str,
    azimuth: float,
    model: str,
    filmed_on: date,
    document: Mapping[str, Any],
    deviations: Sequence[Deviation],
    patterns: Sequence[Pattern] = (),
    targets: Mapping[str, str] | None = None,
    scatter: Scatter | None = None,
    date_known: bool = True,
    keep_months: int = KEEP_MONTHS,
) -> KeptReview:
    """A review to keep.

    Parameters
    ----------
    player : code, or a name that is on record. clip : its name alone is kept. azimuth : of the right-handed swing.
    document : the explanation as JSON. deviations : all of them, visible or not.
    patterns : those found, with what was left out; what they explain is kept with them.
    targets : key of a deviation -> title, of what the player is asked to change.
    keep_months : for how long it is kept, from the day of filming.
    """
    found = [one for pattern in patterns for one in (pattern, *pattern.explains) if one.fault is not None]
    faults = {
        one.fault.id: FaultTold(one.fault.id, one.fault.title, one.sure, one.size, dict(one.fault.weights))
        for one in found
        if one.fault is not None
    }
    numbers = Reviewed(
        day=filmed_on,
        azimuth=azimuth,
        model=model,
        told={deviation.key: told(deviation) for deviation in deviations},
        faults=faults,
        targets=dict(targets or {}),
        contact=None if scatter is None else repeatability(scatter),
    )
    return KeptReview(
        player=player,
        clip=Path(clip).name,
        clip_sha256=clip_sha256,
        date_known=date_known,
        keep_until=keep_until(filmed_on, keep_months),
        stroke=stroke,
        hand=hand,
        camera_side=camera_side,
        document=document,
        numbers=numbers,
    )


def filmed_on(clip: Path) -> tuple[date, bool]:
    """The day a clip was filmed, and whether the clip itself says so; else the day its file was last changed.

    Raises
    ------
    ClipError : the file is not there.
    """
    try:
        changed = datetime.fromtimestamp(clip.stat().st_mtime).date()
    except OSError as error:
        raise ClipError(f"The clip {clip} cannot be read ({error.strerror}).") from error
    said = _said_day(clip)
    if said is None or not _FIRST_DAY <= said <= max(changed, date.today()):
        return changed, False
    return said, True


def _said_day(clip: Path) -> date | None:
    """The day in the container's own words, local time of this machine."""
    import av

    try:
        with av.open(str(clip)) as container:
            words = container.metadata
    except (av.error.FFmpegError, OSError, ValueError):
        return None
    # Some phones name the zone they filmed in; the usual word is in UTC.
    with_zone = [name for name in words if name.endswith(".creationdate")]
    for name in (*with_zone, "creation_time"):
        try:
            moment = datetime.fromisoformat(_readable(words[name]))
        except (KeyError, ValueError):
            continue
        return moment.date() if name in with_zone else _utc(moment).astimezone().date()
    return None


def _readable(moment: str) -> str:
    """An ISO 8601 moment as Python 3.10 reads it: no Z, a colon in the zone."""
    moment = moment.strip().replace("Z", "+00:00")
    return f"{moment[:-2]}:{moment[-2:]}" if re.search(r"[+-]\d{4}$", moment) and "T" in moment else moment


def _utc(moment: datetime) -> datetime:
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=timezone.utc)
