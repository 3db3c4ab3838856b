"""``Wishes``: what a coach wants the choice to look at, in a few words: "like her in build, ignore tempo"."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from swingmatch.errors import LibraryError
from swingmatch.library.choosing.traits import Feature
from swingmatch.stroke.definition import Definition

#: How much each part of a choice counts. Own judgement: style most, for a model of another style cannot be copied.
SHARES: Mapping[str, float] = {"build": 0.30, "style": 0.60, "view": 0.10}
#: What is liked counts so many times as much as it would.
LIKED = 4.0
#: Other words for what can be wished for.
_WORDS: Mapping[str, str] = {
    "body": "build",
    "movement": "view",
    "camera side": "view",
    "take back": "take_back_height",
    "hand height": "take_back_height",
    "arms": "arm_for_height",
    "legs": "leg_for_trunk",
    "shoulders": "shoulders_for_height",
    "hips": "hips_for_shoulders",
    "feet": "base",
}


@dataclass(frozen=True)
class Wishes:
    """What counts in a choice.

    Attributes
    ----------
    like : parts ("build", "style", "view") and features ("stance", "tempo", "arms") that count ``LIKED`` times as much.
    ignore : those that do not count.
    shares : how much each part counts, any positive numbers.
    grip : the player's, as models' are written ("eastern"), where the coach says it.
    """

    like: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()
    shares: Mapping[str, float] = field(default_factory=lambda: dict(SHARES))
    grip: str | None = None

    def __bool__(self) -> bool:
        """Whether anything is wished for."""
        return bool(self.like or self.ignore or self.grip) or dict(self.shares) != dict(SHARES)

    def __str__(self) -> str:
        """The wishes as they are written."""
        parts = [
            f"{verb} {_listed(name.replace('_', ' ') for name in names)}"
            for verb, names in (("like", self.like), ("ignore", self.ignore))
            if names
        ]
        return ", ".join([*parts, *([f"grip {self.grip}"] if self.grip else [])])


def read_wishes(text: str) -> Wishes:
    """Wishes from words: parts after commas, semicolons or "and"; each may start with "like" or "ignore".

    "like her in build, ignore tempo and arms" likes the build, and ignores tempo and arms.

    Raises
    ------
    LibraryError : the words say neither what to like nor what to ignore.
    """
    found: dict[str, list[str]] = {"like": [], "ignore": []}
    verb = ""
    grip = None
    for part in re.split(r"[,;]|\band\b|\bbut\b", text.casefold()):
        words = part.strip()
        if not words:
            continue
        said = re.match(
            r"(like|ignore|grip)\b\s*(?:(?:her|him|them|me)\b\s*)?(?:in\b\s*)?(?:the\b\s*)?(.*)", words
        )
        if said and said.group(1) == "grip":
            grip = said.group(2) or None
            continue
        if said:
            verb, words = said.group(1), said.group(2)
        if not verb:
            raise LibraryError(
                f'"{text}" says neither "like" nor "ignore"; write "like build, ignore tempo", say.'
            )
        if words:
            found[verb].append(words.removeprefix("the "))
    return Wishes(tuple(found["like"]), tuple(found["ignore"]), grip=grip)


def weights(
    wishes: Wishes, definition: Definition, features: Sequence[Feature]
) -> tuple[dict[str, float], dict[str, float]]:
    """How much each part counts (sum 1), and each feature within its part (sum 1, or 0 where all are ignored).

    Raises
    ------
    LibraryError : a name is unknown or of something that a model teaches, shares are below 0, or nothing is left.
    """
    if set(wishes.shares) - set(SHARES) or any(
        not 0.0 <= share < float("inf") for share in wishes.shares.values()
    ):
        raise LibraryError(f"Shares are numbers from 0 for {_listed(SHARES)}.")
    parts = {name: float(wishes.shares.get(name, 0.0)) for name in SHARES}
    own = {f.name: f.share for f in features}
    for names, factor in ((wishes.like, LIKED), (wishes.ignore, 0.0)):
        for name in names:
            key = _known(name, definition, features)
            if key in parts:
                parts[key] *= factor
            else:
                # A single feature that is liked lifts its part, too: it counts against all others.
                group = next(f.group for f in features if f.name == key)
                before = sum(own[f.name] for f in features if f.group == group)
                own[key] *= factor
                after = sum(own[f.name] for f in features if f.group == group)
                parts[group] *= after / before if before > 0.0 else 1.0
    total = sum(parts.values())
    if total <= 0.0:
        raise LibraryError("Nothing is left to choose a model by; ignore less.")
    sums = {group: sum(own[f.name] for f in features if f.group == group) for group in parts}
    return (
        {name: part / total for name, part in parts.items()},
        {f.name: own[f.name] / sums[f.group] if sums[f.group] > 0.0 else 0.0 for f in features},
    )


def _known(name: str, definition: Definition, features: Sequence[Feature]) -> str:
    """The part or feature that a name means."""
    plain = " ".join(name.casefold().replace("_", " ").replace("-", " ").split())
    names = {f.name.replace("_", " "): f.name for f in features}
    labels = {f.label.replace("-", " "): f.name for f in features}
    parts = {part: part for part in SHARES}
    words = {word: key for word, key in _WORDS.items() if key in parts or key in names.values()}
    every = words | labels | names | parts
    if plain in every:
        return every[plain]
    taught = {row.key.replace("_", " ") for row in definition.measures if row.key in definition.teaching}
    taught |= {
        row.label.casefold().replace("-", " ")
        for row in definition.measures
        if row.key in definition.teaching
    }
    if plain in taught:
        raise LibraryError(f'"{name}" is what a model teaches; a model is not chosen by it.')
    near = difflib.get_close_matches(plain, every, n=1)
    hint = f' Did you mean "{near[0]}"?' if near else ""
    known = _listed([*SHARES, *(f.name.replace("_", " ") for f in features)])
    raise LibraryError(f'A model cannot be chosen by "{name}"; there are {known}.{hint}')


def _listed(names: Iterable[str]) -> str:
    words = list(names)
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
