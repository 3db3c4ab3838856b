"""Taking people, models and footage out: what goes with what, decided in one transaction."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date

from sqlalchemy import delete, or_, select
from sqlalchemy.orm import Session

from swingmatch.library.store.tables import (
    ConsentRow,
    FootageRow,
    MediaRow,
    ModelRow,
    PersonRow,
    PlayerRow,
    ReviewRow,
)


@dataclass(frozen=True)
class Gone:
    """What a removal takes away.

    Attributes
    ----------
    models, footage : ids. hashes : of files that nothing wants afterwards. consents : how many.
    reviews : ids of what was said of players. players : codes; their reviews and the coach's decisions go with them.
    """

    models: tuple[str, ...] = ()
    footage: tuple[str, ...] = ()
    hashes: tuple[str, ...] = ()
    consents: int = 0
    reviews: tuple[str, ...] = ()
    players: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any((self.models, self.footage, self.hashes, self.consents, self.reviews, self.players))


def of_person(session: Session, code: str) -> Gone:
    """All of one person: models, averages that contain them, footage, consents, reviews, and every file of those.

    A file shows whoever is in it whichever model it lies with, so other models lose a file that they share; a model
    whose swings are in such a file goes altogether.
    """
    models = set(session.scalars(select(PersonRow.model_id).where(PersonRow.code == code)))
    models |= set(session.scalars(select(ModelRow.id).where(ModelRow.volunteer == code)))
    footage = set(session.scalars(select(FootageRow.id).where(FootageRow.player == code)))
    hashes = _hashes(session, models, footage)
    models |= {
        owner
        for owner in session.scalars(
            select(MediaRow.model_id).where(MediaRow.sha256.in_(hashes), MediaRow.kind == "swings")
        )
        if owner is not None
    }
    consents = len(list(session.scalars(select(ConsentRow.id).where(ConsentRow.code == code))))
    hashes |= _hashes(session, models, footage)
    return Gone(
        tuple(sorted(models)),
        tuple(sorted(footage)),
        tuple(sorted(hashes)),
        consents,
        tuple(sorted(session.scalars(select(ReviewRow.id).where(ReviewRow.player == code)))),
        tuple(session.scalars(select(PlayerRow.code).where(PlayerRow.code == code))),
    )


def of_reviews(session: Session, ids: Collection[str]) -> Gone:
    """Single reviews, those of them that there are."""
    found = session.scalars(select(ReviewRow.id).where(ReviewRow.id.in_(ids)))
    return Gone(reviews=tuple(sorted(found)))


def past(session: Session, today: date) -> Gone:
    """Footage, reviews and players that are past the time they are kept for."""
    footage = session.scalars(select(FootageRow.id).where(FootageRow.keep_until < today)).all()
    reviews = session.scalars(select(ReviewRow.id).where(ReviewRow.keep_until < today)).all()
    players = session.scalars(select(PlayerRow.code).where(PlayerRow.keep_until < today)).all()
    return replace(
        of_items(session, footage=footage), reviews=tuple(sorted(reviews)), players=tuple(sorted(players))
    )


def of_items(session: Session, models: Collection[str] = (), footage: Collection[str] = ()) -> Gone:
    """Single models and pieces of footage; files that others share stay."""
    there = set(session.scalars(select(ModelRow.id).where(ModelRow.id.in_(models))))
    filmed = set(session.scalars(select(FootageRow.id).where(FootageRow.id.in_(footage))))
    hashes = _hashes(session, there, filmed)
    kept = session.scalars(
        select(MediaRow.sha256).where(
            MediaRow.sha256.in_(hashes),
            or_(MediaRow.model_id.is_(None), MediaRow.model_id.not_in(there)),
            or_(MediaRow.footage_id.is_(None), MediaRow.footage_id.not_in(filmed)),
        )
    )
    return Gone(tuple(sorted(there)), tuple(sorted(filmed)), tuple(sorted(hashes - set(kept))))


def delete_rows(session: Session, gone: Gone, code: str | None = None) -> None:
    """Delete the rows; tags, people and files of a model go with it. ``code``: whose consents go too."""
    session.execute(delete(MediaRow).where(MediaRow.sha256.in_(gone.hashes)))
    session.execute(delete(ModelRow).where(ModelRow.id.in_(gone.models)))
    session.execute(delete(FootageRow).where(FootageRow.id.in_(gone.footage)))
    session.execute(delete(ReviewRow).where(ReviewRow.id.in_(gone.reviews)))
    session.execute(delete(PlayerRow).where(PlayerRow.code.in_(gone.players)))
    if code is not None:
        session.execute(delete(ConsentRow).where(ConsentRow.code == code))


def _hashes(session: Session, models: Collection[str], footage: Collection[str]) -> set[str]:
    return set(
        session.scalars(
            select(MediaRow.sha256).where(
                or_(MediaRow.model_id.in_(models), MediaRow.footage_id.in_(footage))
            )
        )
    )
