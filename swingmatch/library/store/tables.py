"""The tables. A change here needs a revision in ``migrations/versions``, and its name in ``database.REVISIONS``."""

from __future__ import annotations

from datetime import date, datetime, timezone
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Utc(TypeDecorator):
    """A moment in UTC; stored without its zone, which SQLite could not keep."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(timezone.utc).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=timezone.utc)


class Base(DeclarativeBase):
    """Base of all tables."""


class SettingRow(Base):
    """What belongs to the store as a whole: the salt of the code hashes."""

    __tablename__ = "settings"
    name: Mapped[str] = mapped_column(String(64), primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class ConsentRow(Base):
    """A consent, as in ``records.Consent``; a withdrawn one is deleted and leaves a ``WithdrawalRow``."""

    __tablename__ = "consents"
    __table_args__ = (UniqueConstraint("code", "agreed_on"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str] = mapped_column(String(64), index=True)
    agreed_on: Mapped[date] = mapped_column(Date)
    own_use: Mapped[bool]
    show_students: Mapped[bool]
    show_face: Mapped[bool]
    shared_set: Mapped[bool]
    until: Mapped[date | None] = mapped_column(Date)
    minor: Mapped[bool]
    guardian: Mapped[str | None] = mapped_column(Text)
    paper_sha256: Mapped[str | None] = mapped_column(String(64))
    name: Mapped[str | None] = mapped_column(Text)


class WithdrawalRow(Base):
    """That somebody withdrew, and when."""

    __tablename__ = "withdrawals"
    code_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    withdrawn_on: Mapped[date] = mapped_column(Date)


class ModelRow(Base):
    """A model without its arrays, as in ``records.Entry``; ``facts`` holds what nothing is looked up by."""

    __tablename__ = "models"
    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    volunteer: Mapped[str] = mapped_column(String(64), index=True)
    label: Mapped[str] = mapped_column(Text)
    stroke: Mapped[str] = mapped_column(String(64), index=True)
    hand: Mapped[str] = mapped_column(String(8))
    generated: Mapped[bool]
    licence: Mapped[str] = mapped_column(Text)
    source: Mapped[str] = mapped_column(Text)
    stance: Mapped[str | None] = mapped_column(Text)
    grip: Mapped[str | None] = mapped_column(Text)
    take_back: Mapped[str | None] = mapped_column(Text)
    tempo: Mapped[float | None] = mapped_column(Float)
    level: Mapped[str] = mapped_column(Text)
    sex: Mapped[str | None] = mapped_column(Text)
    stature: Mapped[float | None] = mapped_column(Float)
    repeats: Mapped[int]
    searchable: Mapped[bool]
    facts: Mapped[dict[str, Any]] = mapped_column(JSON)
    added_at: Mapped[datetime] = mapped_column(Utc)


class PersonRow(Base):
    """Of whom something is in a model: its volunteer, and everybody else whose swings an average contains."""

    __tablename__ = "model_people"
    model_id: Mapped[str] = mapped_column(ForeignKey("models.id", ondelete="CASCADE"), primary_key=True)
    code: Mapped[str] = mapped_column(String(64), primary_key=True, index=True)


class TagRow(Base):
    """A coach's word for a model."""

    __tablename__ = "tags"
    model_id: Mapped[str] = mapped_column(ForeignKey("models.id", ondelete="CASCADE"), primary_key=True)
    tag: Mapped[str] = mapped_column(String(200), primary_key=True, index=True)


class FootageRow(Base):
    """What was filmed of a player, as in ``records.Footage``."""

    __tablename__ = "footage"
    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    player: Mapped[str] = mapped_column(String(64), index=True)
    filmed_on: Mapped[date] = mapped_column(Date)
    keep_until: Mapped[date] = mapped_column(Date, index=True)
    stroke: Mapped[str] = mapped_column(String(64))
    note: Mapped[str] = mapped_column(Text)
    added_at: Mapped[datetime] = mapped_column(Utc)


class MediaRow(Base):
    """A file of a model or of footage; the same file may belong to several."""

    __tablename__ = "media"
    __table_args__ = (
        UniqueConstraint("model_id", "name"),
        UniqueConstraint("footage_id", "name"),
        CheckConstraint("(model_id IS NULL) <> (footage_id IS NULL)", name="one_owner"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    model_id: Mapped[str | None] = mapped_column(ForeignKey("models.id", ondelete="CASCADE"))
    footage_id: Mapped[str | None] = mapped_column(ForeignKey("footage.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(String(16))
    sha256: Mapped[str] = mapped_column(String(64), index=True)
    size: Mapped[int] = mapped_column(BigInteger)
    name: Mapped[str] = mapped_column(String(200))


class PlayerRow(Base):
    """Somebody whose strokes are reviewed, as in ``players.records.Player``."""

    __tablename__ = "players"
    code: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str | None] = mapped_column(Text)
    hand: Mapped[str | None] = mapped_column(String(8))
    notes: Mapped[str] = mapped_column(Text)
    minor: Mapped[bool]
    guardian: Mapped[str | None] = mapped_column(Text)
    keep_until: Mapped[date] = mapped_column(Date, index=True)
    added_at: Mapped[datetime] = mapped_column(Utc)


class ReviewRow(Base):
    """What was said of one clip of a player; ``document`` is what was shown, ``numbers`` what is compared later."""

    __tablename__ = "reviews"
    __table_args__ = (UniqueConstraint("player", "stroke", "clip_sha256"),)
    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    player: Mapped[str] = mapped_column(ForeignKey("players.code", ondelete="CASCADE"), index=True)
    clip: Mapped[str] = mapped_column(Text)
    clip_sha256: Mapped[str] = mapped_column(String(64), index=True)
    filmed_on: Mapped[date] = mapped_column(Date)
    date_known: Mapped[bool]
    reviewed_at: Mapped[datetime] = mapped_column(Utc)
    keep_until: Mapped[date] = mapped_column(Date, index=True)
    stroke: Mapped[str] = mapped_column(String(64), index=True)
    hand: Mapped[str] = mapped_column(String(8))
    camera_side: Mapped[str] = mapped_column(Text)
    azimuth: Mapped[float | None] = mapped_column(Float)
    model: Mapped[str] = mapped_column(Text)
    document: Mapped[dict[str, Any]] = mapped_column(JSON)
    numbers: Mapped[dict[str, Any]] = mapped_column(JSON)


class DecisionRow(Base):
    """What the coach did to a proposal, as in ``players.records.Decision``."""

    __tablename__ = "decisions"
    id: Mapped[int] = mapped_column(primary_key=True)
    player: Mapped[str] = mapped_column(ForeignKey("players.code", ondelete="CASCADE"), index=True)
    review_id: Mapped[str | None] = mapped_column(ForeignKey("reviews.id", ondelete="CASCADE"), index=True)
    stroke: Mapped[str] = mapped_column(String(64))
    fault: Mapped[str] = mapped_column(String(200), index=True)
    action: Mapped[str] = mapped_column(String(16))
    place_before: Mapped[int | None]
    place_after: Mapped[int | None]
    made_at: Mapped[datetime] = mapped_column(Utc)
