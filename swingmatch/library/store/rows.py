"""Records to rows of the tables and back. A value that is not known is NaN in a record and NULL in a row."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from swingmatch.library.records import Consent, Entry, Footage, Media
from swingmatch.library.store.tables import ConsentRow, FootageRow, MediaRow, ModelRow, PersonRow, TagRow

_CONSENT = tuple(f.name for f in fields(Consent) if f.name != "withdrawn_on")
_FOOTAGE = tuple(f.name for f in fields(Footage) if f.name != "media")
_MODEL = (
    *("id", "volunteer", "label", "stroke", "hand", "generated", "licence", "source", "stance", "grip"),
    *("take_back", "level", "sex", "repeats", "added_at"),
)
_NUMBERS = ("tempo", "stature")
_MAPPINGS = ("build", "proportions", "traits", "style")
_TEXTS = ("style_words", "notes")


def consent_row(consent: Consent) -> ConsentRow:
    """A consent as a row."""
    return ConsentRow(**{name: getattr(consent, name) for name in _CONSENT})


def to_consent(row: ConsentRow) -> Consent:
    """A consent from its row."""
    return Consent(**{name: getattr(row, name) for name in _CONSENT})


def model_rows(entry: Entry, searchable: bool) -> list[ModelRow | PersonRow | TagRow]:
    """A model's own row, and those of its people and tags; its media are rows by themselves."""
    facts: dict[str, Any] = {
        name: {k: _null(v) for k, v in getattr(entry, name).items()} for name in _MAPPINGS
    }
    facts |= {name: list(getattr(entry, name)) for name in _TEXTS}
    row = ModelRow(
        **{name: getattr(entry, name) for name in _MODEL},
        **{name: _null(getattr(entry, name)) for name in _NUMBERS},
        facts=facts,
        searchable=searchable,
    )
    people = [PersonRow(model_id=entry.id, code=code) for code in entry.contains]
    return [row, *people, *(TagRow(model_id=entry.id, tag=tag) for tag in sorted(entry.tags))]


def entry_fields(
    row: Any, people: Iterable[str], tags: Iterable[str], media: Iterable[Media]
) -> dict[str, Any]:
    """The fields of ``Entry`` from a row and what belongs to it."""
    others = sorted(code for code in people if code != row.volunteer)
    found: dict[str, Any] = {name: getattr(row, name) for name in _MODEL}
    found |= {name: _nan(getattr(row, name)) for name in _NUMBERS}
    found |= {name: {k: _nan(v) for k, v in row.facts[name].items()} for name in _MAPPINGS}
    found |= {name: tuple(row.facts[name]) for name in _TEXTS}
    return found | {
        "contains": (row.volunteer, *others),
        "tags": frozenset(tags),
        "media": tuple(media),
    }


def media_row(media: Media, model_id: str | None = None, footage_id: str | None = None) -> MediaRow:
    """A file as a row of its owner."""
    return MediaRow(
        model_id=model_id,
        footage_id=footage_id,
        kind=media.kind,
        sha256=media.sha256,
        size=media.size,
        name=media.name,
    )


def to_media(row: Any) -> Media:
    """A file from its row."""
    return Media(kind=row.kind, sha256=row.sha256, size=row.size, name=row.name)


def footage_row(footage: Footage) -> FootageRow:
    """Footage as a row, without its media."""
    return FootageRow(**{name: getattr(footage, name) for name in _FOOTAGE})


def to_footage(row: FootageRow, media: Iterable[Media]) -> Footage:
    """Footage from its row and its media."""
    return Footage(**{name: getattr(row, name) for name in _FOOTAGE}, media=tuple(media))


def code_hash(salt: str, code: str) -> str:
    """What is kept of the code of somebody who withdrew."""
    return hashlib.sha256(f"{salt}:{code}".encode()).hexdigest()


def by_owner(pairs: Iterable[tuple[str, Any]]) -> Mapping[str, list[Any]]:
    """Pairs of owner and thing, gathered by owner."""
    found: dict[str, list[Any]] = {}
    for owner, thing in pairs:
        found.setdefault(owner, []).append(thing)
    return found


def _null(value: Any) -> Any:
    return None if isinstance(value, float) and math.isnan(value) else value


def _nan(value: Any) -> Any:
    return float("nan") if value is None else value
