"""Keeping what was said of players, in the library's own database; a kill leaves the old state or the new.

Every function takes the open ``Store``. Forgetting a person is the store's: it removes all of a code at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from swingmatch.errors import LibraryError
from swingmatch.library.store import Store
from swingmatch.library.store.removal import Gone
from swingmatch.library.store.tables import DecisionRow, PlayerRow, ReviewRow
from swingmatch.players.numbers import from_json, plain, to_json
from swingmatch.players.records import ACTIONS, Decision, KeptReview, Player

_PLAYER = tuple(part.name for part in fields(Player))
_REVIEW = tuple(part.name for part in fields(KeptReview) if part.name not in ("numbers", "document"))
_DECISION = ("player", "stroke", "fault", "action", "place_before", "place_after", "made_at")


def own_catalogue(store: Store) -> Path:
    """Where the coach's own fault patterns lie, the names given to unnamed ones among them."""
    return store.home / "catalogue.toml"


# Players ------------------------------------------------------------------------------------------------


def write_player(store: Store, player: Player, on: date | None = None) -> None:
    """Put a player on record, or replace what is written of one; the reviews stay.

    Raises
    ------
    LibraryError
        Where the code cannot be one, a minor has no guardian, or the person has withdrawn.
    """
    _check_player(player)
    with store.changing() as session:
        store.check_code(session, player.code, on or date.today())
        session.merge(PlayerRow(**{name: getattr(player, name) for name in _PLAYER}))


def players(store: Store) -> tuple[Player, ...]:
    """All players on record, by what is shown for them."""
    with store.reading() as session:
        found = [_player(row) for row in session.scalars(select(PlayerRow))]
    return tuple(sorted(found, key=lambda player: (player.label.casefold(), player.code)))


def find_player(store: Store, name: str) -> Player:
    """The player with that code or name, whatever its case.

    Raises
    ------
    LibraryError : there is none, or there are several with that name.
    """
    everybody = players(store)
    exact = [player for player in everybody if player.code == name]
    wanted = name.strip().casefold()
    found = exact or [p for p in everybody if wanted in (p.code.casefold(), (p.name or "").casefold())]
    if not found:
        known = ", ".join(player.label for player in everybody) or "nobody yet"
        raise LibraryError(f"There is no player {name}; on record: {known}.")
    if len(found) > 1:
        raise LibraryError(
            f"There are several players {name}; please give the code: {', '.join(p.code for p in found)}."
        )
    return found[0]


# Reviews ------------------------------------------------------------------------------------------------


def keep(store: Store, review: KeptReview, on: date | None = None) -> KeptReview:
    """Keep a review; a player who is not on record yet is put on it, with what a consent of that code says.

    The same clip and stroke again replaces what was said of it before, with the decisions on that.

    Returns
    -------
    KeptReview
        As it is kept: under the code of the player, where ``review.player`` was a name.

    Raises
    ------
    LibraryError
        Where the person has withdrawn, or what was agreed with them has ended.
    """
    on = on or date.today()
    known = {name: p.code for p in players(store) for name in (p.name, p.code) if name}
    review = replace(review, player=known.get(review.player, review.player))
    new = Player(code=review.player, hand=review.hand, keep_until=review.keep_until)
    _check_player(new)
    with store.changing() as session:
        agreed = store.check_code(session, review.player, on)
        if agreed is not None:
            new = replace(new, name=agreed.name, minor=agreed.minor, guardian=agreed.guardian)
        row = session.get(PlayerRow, review.player)
        if row is None:
            session.add(PlayerRow(**{name: getattr(new, name) for name in _PLAYER}))
        else:
            row.keep_until = max(row.keep_until, review.keep_until)
        session.flush()
        session.execute(
            delete(ReviewRow).where(
                ReviewRow.player == review.player,
                ReviewRow.stroke == review.stroke,
                ReviewRow.clip_sha256 == review.clip_sha256,
            )
        )
        session.add(_review_row(review))
    return review


def reviews(store: Store, player: str, stroke: str | None = None) -> tuple[KeptReview, ...]:
    """All that was said of a player, by code, the oldest footage first."""
    with store.reading() as session:
        return tuple(_reviews(session, player, stroke))


def last_review(store: Store, now: KeptReview) -> KeptReview | None:
    """The latest review of the same player and stroke, of other footage and not later; None where there is none."""
    codes = [p.code for p in players(store) if now.player in (p.code, p.name)]
    before = [
        one
        for code in codes[:1]
        for one in reviews(store, code, now.stroke)
        if one.clip_sha256 != now.clip_sha256 and one.filmed_on <= now.filmed_on
    ]
    return before[-1] if before else None


def counts(store: Store) -> dict[str, tuple[int, date]]:
    """Code -> how many reviews are kept, and the day of the latest footage."""
    query = select(ReviewRow.player, func.count(), func.max(ReviewRow.filmed_on)).group_by(ReviewRow.player)
    with store.reading() as session:
        return {code: (count, latest) for code, count, latest in session.execute(query)}


def forget(store: Store, code: str) -> Gone:
    """Remove all of a person: reviews, decisions, notes, and footage, consents and models under the same code."""
    return store.forget(code)


# Decisions ----------------------------------------------------------------------------------------------


def decide(store: Store, decisions: Sequence[Decision]) -> None:
    """Put on record what the coach did to proposals, all of it or nothing.

    Raises
    ------
    LibraryError : the player or the review is not on record.
    """
    with store.changing() as session:
        for one in decisions:
            if one.action not in ACTIONS:
                raise LibraryError(f"{one.action!r} is nothing a coach does to a proposal.")
            if session.get(PlayerRow, one.player) is None:
                raise LibraryError(f"There is no player {one.player} on record.")
            if one.review is not None and session.get(ReviewRow, one.review) is None:
                raise LibraryError(f"There is no review {one.review} on record.")
            values = {name: getattr(one, name) for name in _DECISION}
            session.add(DecisionRow(**values, review_id=one.review))


def decisions(store: Store, stroke: str | None = None) -> tuple[Decision, ...]:
    """What this coach did to proposals, of all players, the oldest first."""
    query = select(DecisionRow).order_by(DecisionRow.made_at, DecisionRow.id)
    if stroke is not None:
        query = query.where(DecisionRow.stroke == stroke)
    with store.reading() as session:
        return tuple(
            Decision(**{name: getattr(row, name) for name in _DECISION}, review=row.review_id)
            for row in session.scalars(query)
        )


# Rows ---------------------------------------------------------------------------------------------------


def _check_player(player: Player) -> None:
    code = player.code
    if not code.strip() or code != code.strip() or len(code) > 64:
        raise LibraryError("A player needs a code or a name, at most 64 letters without space around them.")
    if player.minor and not (player.guardian or "").strip():
        raise LibraryError(
            f"{code} is a minor: please record the guardian who agreed; local law and the club's rules say who has to."
        )


def _player(row: PlayerRow) -> Player:
    return Player(**{name: getattr(row, name) for name in _PLAYER})


def _review_row(review: KeptReview) -> ReviewRow:
    values: dict[str, Any] = {name: getattr(review, name) for name in _REVIEW}
    return ReviewRow(
        **values,
        filmed_on=review.filmed_on,
        azimuth=plain(float(review.numbers.azimuth)),
        model=review.numbers.model,
        document=plain(review.document),
        numbers=to_json(review.numbers),
    )


def _reviews(session: Session, player: str, stroke: str | None) -> list[KeptReview]:
    query = (
        select(ReviewRow)
        .where(ReviewRow.player == player)
        .order_by(ReviewRow.filmed_on, ReviewRow.reviewed_at, ReviewRow.id)
    )
    if stroke is not None:
        query = query.where(ReviewRow.stroke == stroke)
    return [
        KeptReview(
            **{name: getattr(row, name) for name in _REVIEW},
            document=row.document,
            numbers=from_json(row.numbers, row.filmed_on, row.azimuth, row.model),
        )
        for row in session.scalars(query)
    ]
