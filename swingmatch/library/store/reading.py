"""Reading models without their arrays: a handful of queries, however many models there are."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from swingmatch.library.consent import in_force, may
from swingmatch.library.records import Consent, Entry, Footage, Media, Purpose
from swingmatch.library.store import rows
from swingmatch.library.store.tables import (
    ConsentRow,
    FootageRow,
    MediaRow,
    ModelRow,
    PersonRow,
    TagRow,
)


@dataclass(frozen=True, kw_only=True)
class Filter:
    """Which models are wanted; None, or an empty collection of tags, asks for nothing."""

    ids: Collection[str] | None = None
    volunteer: str | None = None
    stroke: str | None = None
    hand: str | None = None
    tags: Collection[str] = ()
    generated: bool | None = None
    level: str | None = None
    sex: str | None = None

    def of(self, query: Select[Any]) -> Select[Any]:
        """The query, narrowed to the models wanted."""
        for name in ("volunteer", "stroke", "hand", "generated", "level", "sex"):
            wanted = getattr(self, name)
            if wanted is not None:
                query = query.where(getattr(ModelRow, name) == wanted)
        for tag in self.tags:
            query = query.where(
                select(TagRow.tag).where(TagRow.model_id == ModelRow.id, TagRow.tag == tag).exists()
            )
        return query if self.ids is None else query.where(ModelRow.id.in_(list(self.ids)))


def entries(session: Session, wanted: Filter) -> list[Entry]:
    """The models wanted, by label and then by id, whatever their consent."""
    own = select(*ModelRow.__table__.columns).order_by(ModelRow.label, ModelRow.id)
    found = session.execute(wanted.of(own)).all()
    ids = wanted.of(select(ModelRow.id))
    codes = select(PersonRow.model_id, PersonRow.code).where(PersonRow.model_id.in_(ids))
    people = rows.by_owner((row.model_id, row.code) for row in session.execute(codes))
    words = select(TagRow.model_id, TagRow.tag).where(TagRow.model_id.in_(ids))
    tags = rows.by_owner((row.model_id, row.tag) for row in session.execute(words))
    files = select(MediaRow.model_id, MediaRow.kind, MediaRow.sha256, MediaRow.size, MediaRow.name)
    media = rows.by_owner(
        (row.model_id, rows.to_media(row))
        for row in session.execute(files.where(MediaRow.model_id.in_(ids)).order_by(MediaRow.id))
    )
    return [
        Entry(**rows.entry_fields(row, people.get(row.id, ()), tags.get(row.id, ()), media.get(row.id, ())))
        for row in found
    ]


def own_fields(entry: Entry) -> dict[str, Any]:
    """All fields of an entry, to make a ``Model`` from."""
    return {part.name: getattr(entry, part.name) for part in fields(Entry)}


def consents(session: Session) -> list[Consent]:
    """All consents on record, by code and day."""
    found = session.scalars(select(ConsentRow).order_by(ConsentRow.code, ConsentRow.agreed_on))
    return [rows.to_consent(row) for row in found]


def allowed(
    found: Collection[Entry], consents: Collection[Consent], on: date, purpose: Purpose
) -> list[Entry]:
    """The models that may be used for the purpose: generated ones, and those of whom everybody in them agreed."""
    latest = in_force(consents)
    fine: Mapping[str, bool] = {code: may(consent, purpose, on) for code, consent in latest.items()}
    return [entry for entry in found if entry.generated or all(fine.get(c, False) for c in entry.contains)]


def footage(session: Session, player: str | None = None) -> list[Footage]:
    """Footage of one player or of all, oldest first."""
    query = select(FootageRow).order_by(FootageRow.filmed_on, FootageRow.id)
    if player is not None:
        query = query.where(FootageRow.player == player)
    found = list(session.scalars(query))
    files = select(MediaRow).where(MediaRow.footage_id.in_([row.id for row in found])).order_by(MediaRow.id)
    media: Mapping[str, list[Media]] = rows.by_owner(
        (row.footage_id or "", rows.to_media(row)) for row in session.scalars(files)
    )
    return [rows.to_footage(row, media.get(row.id, ())) for row in found]
