"""``Store``: the coach's own library. See the package's words for what lies where.

Nothing of a person enters without a consent that allows the coach's own use, and what is listed is limited to what was
agreed. A kill at any moment leaves the old state or the new; several processes may use one store at once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path

from sqlalchemy import Engine, delete, select, text
from sqlalchemy.exc import IntegrityError, SQLAlchemyError
from sqlalchemy.orm import Session, sessionmaker

from swingmatch.errors import LibraryError, StrokeError
from swingmatch.library import consent as rules
from swingmatch.library.folder import Library
from swingmatch.library.home import database_url, home_folder
from swingmatch.library.records import (
    Consent,
    Entry,
    Footage,
    Kind,
    Media,
    Model,
    NewMedia,
    Purpose,
    Withdrawal,
)
from swingmatch.library.search.feature_file import FeatureFile
from swingmatch.library.search.features import swing_features
from swingmatch.library.store import arrays, check, database, disk, reading, removal, rows
from swingmatch.library.store.journal import Intent, Journal
from swingmatch.library.store.reading import Filter
from swingmatch.library.store.tables import (
    ConsentRow,
    MediaRow,
    ModelRow,
    SettingRow,
    TagRow,
    WithdrawalRow,
)
from swingmatch.library.store.volunteers import to_library

#: The file of a model's arrays, beside those that were given.
SWINGS = "swings.npz"


def open_store(home: Path | str | None = None, url: str | None = None) -> Store:
    """Open the library, make it where there is none, and bring an older one to the present tables.

    Parameters
    ----------
    home : its folder; by default ``SWINGMATCH_HOME``, else the platform's folder for data.
    url : of a PostgreSQL database for the records; by default ``SWINGMATCH_DATABASE``, else a SQLite file in the
        folder. Media and search always lie in the folder.

    Raises
    ------
    LibraryError
        Where the folder or the database cannot be used, or the library is newer than this swingmatch.
    """
    folder = home_folder(home)
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)  # what it holds is other people's
        for part in ("media", "pending"):
            (folder / part).mkdir(exist_ok=True, mode=0o700)
    except OSError as error:
        raise LibraryError(f"The library's folder {folder} cannot be used ({error.strerror}).") from error
    engine = database.open_engine(database_url(url, folder))
    store = Store(folder, engine)
    try:
        if not database.is_current(engine):
            with store.writing():
                if not database.is_current(engine):
                    database.migrate(engine)
        store.settle(wait=False)
    except SQLAlchemyError as error:
        raise LibraryError(f"The library's database cannot be used: {_reason(error)}.") from error
    return store


class Store:
    """The library in one folder. Made by :func:`open_store`; ``close`` it, or use it in a ``with``.

    Attributes
    ----------
    home : its folder. media : its files. engine : of the database.
    """

    def __init__(self, home: Path, engine: Engine) -> None:
        self.home, self.engine = home, engine
        self.journal = Journal(home / "pending")
        self.media = disk.MediaFolder(home / "media", home / "pending")
        self._sessions = sessionmaker(engine, expire_on_commit=False)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    # Consent

    def record_consent(self, consent: Consent) -> None:
        """Put a consent on record; one of the same code and day is replaced.

        Raises
        ------
        LibraryError
            Where the record cannot be one, or the person has withdrawn since that day.
        """
        with self.writing(), self._sessions.begin() as session:
            self._record(session, consent)

    def consents(self) -> tuple[Consent, ...]:
        """All consents on record, by code and day; of several with one code the last counts."""
        with self._sessions() as session:
            return tuple(reading.consents(session))

    def consent(self, code: str) -> Consent | None:
        """The consent that counts for a person."""
        return rules.in_force(self.consents()).get(code)

    def warnings(self, on: date | None = None) -> list[str]:
        """Sentences on consents that have ended or soon will, and on footage that is due for removal."""
        on = on or date.today()
        with self._sessions() as session:
            due = [f for f in reading.footage(session) if f.keep_until < on]
            said = removal.past(session, on).reviews
            found = rules.warnings(reading.consents(session), on)
        if due:
            found.append(
                f"Footage of {len({f.player for f in due})} player(s) is past the time it is kept for."
            )
        if said:
            found.append(f"{len(said)} review(s) are past the time they are kept for.")
        return found

    def withdrawals(self) -> tuple[Withdrawal, ...]:
        """What is kept of withdrawals: a hash of the code, and the day."""
        with self._sessions() as session:
            found = session.scalars(select(WithdrawalRow).order_by(WithdrawalRow.code_hash))
            return tuple(Withdrawal(code_hash=r.code_hash, withdrawn_on=r.withdrawn_on) for r in found)

    def withdraw(self, code: str, on: date | None = None) -> removal.Gone:
        """Remove all of a person, and keep no more than that somebody withdrew and when.

        Video, pictures, tracks, swings, averages that contain them, search rows, thumbnails and the consents themselves
        go. What was exported before lies with whoever has it; copies of the folder and backups are the coach's to
        clear. A consent that is older than the withdrawal is not taken in again.
        """
        return self._remove_person(code, on or date.today())

    def forget(self, code: str) -> removal.Gone:
        """The same, without keeping that there was anything."""
        return self._remove_person(code, None)

    # Models

    def add(
        self,
        model: Model,
        consent: Consent | None = None,
        media: Sequence[NewMedia] = (),
        replaces: str | None = None,
        on: date | None = None,
    ) -> Entry:
        """Take in a model and its files; it is there as a whole or not at all.

        Parameters
        ----------
        consent : of the volunteer, put on record with the model; not needed where one is on record or the model is
            generated. media : files by names unique within the model.
        replaces : id of a model that goes in the same moment, for instance the one of fewer repeats.
        on : today, unless said otherwise.

        Returns
        -------
        Entry
            The model as it is now listed.

        Raises
        ------
        LibraryError
            Without a consent, where a file cannot be read, or where the id is there already.
        """
        on = on or date.today()
        swings = arrays.to_bytes(model)
        files = [*_known(media), (NewMedia(kind="swings", name=SWINGS, source=swings), *disk.hash_of(swings))]
        listed = tuple(Media(kind=n.kind, name=n.name, sha256=h, size=s) for n, h, s in files)
        try:
            matrix = swing_features(model.mean or model.swings[0])
        except StrokeError:
            matrix = None
        with self.writing():
            with self._sessions() as session:
                self._check_people(session, model, consent, on)
                if session.get(ModelRow, model.id) is not None:
                    raise LibraryError(f'The model "{model.label}" ({model.id}) is in the library already.')
                old = removal.of_items(session, [] if replaces is None else [replaces])
                if replaces is not None and not old.models:
                    raise LibraryError(f"There is no model {replaces} that could be replaced.")
            hashes = tuple(sorted({m.sha256 for m in listed} | set(old.hashes)))
            intent = Intent(hashes, (model.id, *old.models), bool(old))
            with self._intending(intent):
                for new, sha256, _ in files:
                    self.media.put(new.source, sha256)
                if matrix is not None:
                    self.features().append([model.id], matrix[None])
                with self._sessions.begin() as session:
                    if consent is not None:
                        self._record(session, consent)
                    removal.delete_rows(session, replace(old, hashes=()))
                    session.add_all(rows.model_rows(model, matrix is not None))
                    session.flush()
                    session.add_all([rows.media_row(m, model_id=model.id) for m in listed])
        return Entry(**reading.own_fields(model) | {"media": listed})

    def models(
        self, on: date | None = None, purpose: Purpose = "own_use", wanted: Filter | None = None
    ) -> tuple[Entry, ...]:
        """What may be used for the purpose on that day, today by default, without loading arrays."""
        with self._sessions() as session:
            found = reading.entries(session, wanted or Filter())
            return tuple(reading.allowed(found, reading.consents(session), on or date.today(), purpose))

    def model(self, id: str, on: date | None = None, purpose: Purpose = "own_use") -> Model:
        """A model with its arrays; a LibraryError where there is none or the consent does not allow it."""
        with self._sessions() as session:
            found = reading.entries(session, Filter(ids=[id]))
            if not found:
                raise LibraryError(f"There is no model {id} in the library.")
            consents = reading.consents(session)
        if not reading.allowed(found, consents, on or date.today(), purpose):
            raise LibraryError(_forbidden(found[0], consents, on or date.today(), purpose))
        return self.load(found[0])

    def load(self, entry: Entry) -> Model:
        """The arrays of a listed model; a LibraryError where its file is missing or damaged."""
        file = next((m for m in entry.media if m.kind == "swings"), None)
        if file is None:
            raise LibraryError(f'The model "{entry.label}" has no file of swings.')
        own = reading.own_fields(entry)
        return Model(**own, **arrays.from_bytes(self.media.read(file.sha256), f'"{entry.label}"'))

    def library(
        self,
        on: date | None = None,
        purpose: Purpose = "own_use",
        stroke: str | None = None,
        ids: Collection[str] | None = None,
    ) -> Library:
        """The models that may be used, as the choice of a model takes them; a damaged one is named in ``problems``."""
        models, problems = [], []
        for entry in self.models(on, purpose, Filter(stroke=stroke, ids=ids)):
            try:
                models.append(self.load(entry))
            except LibraryError as error:
                problems.append(str(error))
        return to_library(models, rules.in_force(self.consents()), problems)

    def tag(self, id: str, add: Iterable[str] = (), remove: Iterable[str] = ()) -> frozenset[str]:
        """Give a model tags, take others away, and return those it has then."""
        added = {tag.strip() for tag in add}
        if any(not tag or len(tag) > 200 for tag in added):
            raise LibraryError("A tag is a word or a few, at most 200 letters.")
        with self.writing(), self._sessions.begin() as session:
            if session.get(ModelRow, id) is None:
                raise LibraryError(f"There is no model {id} in the library.")
            there = set(session.scalars(select(TagRow.tag).where(TagRow.model_id == id)))
            gone = {tag.strip() for tag in remove} - added
            session.execute(delete(TagRow).where(TagRow.model_id == id, TagRow.tag.in_(gone)))
            session.add_all([TagRow(model_id=id, tag=tag) for tag in sorted(added - there)])
            return frozenset((there - gone) | added)

    def remove(self, ids: Collection[str]) -> removal.Gone:
        """Take single models out; their volunteers' consents stay."""
        with self.writing():
            with self._sessions() as session:
                gone = removal.of_items(session, list(ids))
            self._delete(gone)
        return gone

    def path_of(self, media: Media) -> Path:
        """Where a file of the library lies; to be read only."""
        return self.media.path(media.sha256)

    def holding(self, sha256: str, kind: Kind | None = None) -> tuple[str, ...]:
        """Ids of models that hold a file with this content: whether a clip was added before."""
        query = select(MediaRow.model_id).where(MediaRow.sha256 == sha256, MediaRow.model_id.is_not(None))
        if kind is not None:
            query = query.where(MediaRow.kind == kind)
        with self._sessions() as session:
            return tuple(sorted({id for id in session.scalars(query) if id is not None}))

    # Players' footage

    def add_footage(
        self,
        footage: Footage,
        consent: Consent | None = None,
        media: Sequence[NewMedia] = (),
        on: date | None = None,
    ) -> Footage:
        """Keep what was filmed of a player, with the consent that a volunteer needs too; errors as in ``add``."""
        on = on or date.today()
        files = _known(media)
        listed = tuple(Media(kind=n.kind, name=n.name, sha256=h, size=s) for n, h, s in files)
        with self.writing():
            with self._sessions() as session:
                self._check_consent(session, footage.player, consent, on)
            with self._intending(Intent(tuple(sorted({m.sha256 for m in listed})))):
                for new, sha256, _ in files:
                    self.media.put(new.source, sha256)
                try:
                    with self._sessions.begin() as session:
                        if consent is not None:
                            self._record(session, consent)
                        session.add(rows.footage_row(footage))
                        session.flush()
                        session.add_all([rows.media_row(m, footage_id=footage.id) for m in listed])
                except IntegrityError as error:
                    raise LibraryError(f"The footage {footage.id} is in the library already.") from error
        return replace(footage, media=listed)

    def footage(
        self, on: date | None = None, purpose: Purpose = "own_use", player: str | None = None
    ) -> tuple[Footage, ...]:
        """Footage that may be used for the purpose on that day; what is past its time is not listed."""
        on = on or date.today()
        with self._sessions() as session:
            latest = rules.in_force(reading.consents(session))
            return tuple(
                piece
                for piece in reading.footage(session, player)
                if piece.keep_until >= on and rules.may(latest.get(piece.player), purpose, on)
            )

    def expire(self, today: date | None = None) -> removal.Gone:
        """Remove footage, reviews and players that are past the time they are kept for."""
        with self.writing():
            with self._sessions() as session:
                gone = removal.past(session, today or date.today())
            self._delete(gone)
        return gone

    # What was said of players

    def reading(self) -> Session:
        """A session to read with; use it in a ``with``."""
        return self._sessions()

    @contextmanager
    def changing(self) -> Iterator[Session]:
        """A session whose changes are kept as a whole or not at all, alone among writers."""
        with self.writing(), self._sessions.begin() as session:
            yield session

    def remove_reviews(self, ids: Collection[str]) -> removal.Gone:
        """Take single reviews out, with the coach's decisions on them; the players stay."""
        with self.writing():
            with self._sessions() as session:
                gone = removal.of_reviews(session, ids)
            self._delete(gone)
        return gone

    def check_code(self, session: Session, code: str, on: date) -> Consent | None:
        """The consent of that code that counts; a LibraryError where what was agreed forbids to keep anything.

        What the coach writes down of a player needs no record of a consent, unlike footage; but a withdrawal, a
        consent that has ended and a minor's without a guardian are respected.
        """
        latest = rules.in_force(reading.consents(session)).get(code)
        withdrawn = session.get(WithdrawalRow, self._hash(session, code))
        if latest is None and withdrawn is not None:
            raise LibraryError(
                f"{code} withdrew on {withdrawn.withdrawn_on}; nothing is kept of {code} without a new consent."
            )
        why = None if latest is None else rules.why_not(latest, "own_use", on)
        if why is not None:
            raise LibraryError(f"Nothing of {code} can be kept: {why}")
        return latest

    # Upkeep

    def features(self) -> FeatureFile:
        """The models' features, mapped from the disk; an empty file is made where there is none."""
        path = self.home / "features.swf"
        return FeatureFile(path) if path.exists() else FeatureFile.create(path)

    def rebuild_features(self) -> int:
        """Make the file of features anew from the swings and return how many models are in it."""
        with self.writing():
            path = self.home / "features.swf"
            disk.remove_file(path)
            features = self.features()
            with self._sessions() as session:
                found = [e for e in reading.entries(session, Filter()) if e.id in self._searchable(session)]
            for entry in found:
                model = self.load(entry)
                features.append([entry.id], swing_features(model.mean or model.swings[0])[None])
            return len(found)

    def check(self) -> list[str]:
        """A sentence for everything that is not as it should be; reads every byte of the library."""
        found = []
        with self.writing(), self._sessions() as session:
            if database.is_sqlite(self.engine):
                said = session.scalars(text("PRAGMA integrity_check")).all()
                found += [f"The database is damaged: {line}." for line in said if line != "ok"]
            searchable = self._searchable(session)
            contents = check.Contents(
                reading.entries(session, Filter()),
                reading.footage(session),
                searchable,
                {c.code for c in reading.consents(session)},
            )
            found += check.problems(contents, self.media)
            try:
                features = self.features()
            except LibraryError as error:
                return [*found, str(error)]
            known = set(features.ids)
            found += [f"The search lacks the model {id}." for id in sorted(searchable - known)]
            found += [f"The search knows a model {id} that is gone." for id in sorted(known - searchable)]
            found += [f"The features of the model {id} are damaged." for id in sorted(features.damaged())]
            if not self.journal.empty:
                found.append("Something that was cut off has not been tidied up.")
        return found

    def settle(self, wait: bool = True) -> None:
        """Finish what a process that was killed has left behind; with ``wait`` False, not while another one writes."""
        if self.journal.empty:
            return
        with disk.alone(self.home / "lock", wait) as held:
            if held:
                with database.writers_lock(self.engine):
                    self._settle()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Alone to write, with nothing left over from writers before."""
        try:
            with disk.alone(self.home / "lock"), database.writers_lock(self.engine):
                self._settle()
                yield
        except OSError as error:
            raise LibraryError(f"The library in {self.home} cannot be written ({error.strerror}).") from error
        except SQLAlchemyError as error:
            raise LibraryError(f"The library's database refuses: {_reason(error)}.") from error

    @contextmanager
    def _intending(self, intent: Intent) -> Iterator[None]:
        """Do what is intended, and tidy up after it whether it worked or not."""
        path = self.journal.write(intent)
        try:
            yield
        finally:
            self._finish(path, intent)

    def _settle(self) -> None:
        if self.journal.empty:
            return
        self.journal.clear_parts()
        for path, intent in self.journal:
            self._finish(path, intent)

    def _finish(self, path: Path, intent: Intent) -> None:
        """Delete what no row wants of an intention, then strike it out. May be done any number of times."""
        if intent.hashes or intent.models:
            with self._sessions() as session:
                wanted = set(
                    session.scalars(select(MediaRow.sha256).where(MediaRow.sha256.in_(intent.hashes)))
                )
                there = set(session.scalars(select(ModelRow.id).where(ModelRow.id.in_(intent.models))))
            if (self.home / "features.swf").exists():
                self.features().remove(set(intent.models) - there)
            for sha256 in intent.hashes:
                if sha256 not in wanted:
                    self.media.remove(sha256)
        # What a reader holds up stays in the journal, and is tried again by the next writer.
        if not intent.scrub or database.scrub(self.engine):
            self.journal.done(path)

    def _remove_person(self, code: str, withdrawn_on: date | None) -> removal.Gone:
        with self.writing():
            with self._sessions() as session:
                gone = removal.of_person(session, code)
                if not gone:
                    raise LibraryError(f"Nothing of {code} is in the library.")
            self._delete(gone, code, withdrawn_on)
        return gone

    def _delete(self, gone: removal.Gone, code: str | None = None, withdrawn_on: date | None = None) -> None:
        """Rows first, then search and files, then what is left of them in the database's file."""
        if not gone:
            return
        with (
            self._intending(Intent(gone.hashes, gone.models, scrub=True)),
            self._sessions.begin() as session,
        ):
            removal.delete_rows(session, gone, code)
            if code is not None and withdrawn_on is not None:
                session.merge(WithdrawalRow(code_hash=self._hash(session, code), withdrawn_on=withdrawn_on))

    def _record(self, session: Session, consent: Consent) -> None:
        rules.check_consent(consent)
        if consent.withdrawn_on is not None:
            raise LibraryError(
                f"{consent.code} withdrew on {consent.withdrawn_on}; nothing can be added with it."
            )
        withdrawn = session.get(WithdrawalRow, self._hash(session, consent.code))
        if withdrawn is not None and withdrawn.withdrawn_on >= consent.agreed_on:
            raise LibraryError(
                f"{consent.code} withdrew on {withdrawn.withdrawn_on}, so a consent of {consent.agreed_on} no longer"
                " counts; a new one has to be of a later day."
            )
        session.execute(
            delete(ConsentRow).where(
                ConsentRow.code == consent.code, ConsentRow.agreed_on == consent.agreed_on
            )
        )
        session.add(rows.consent_row(consent))

    def _check_people(self, session: Session, model: Model, consent: Consent | None, on: date) -> None:
        if model.generated:
            if consent is not None:
                raise LibraryError(f'"{model.label}" is generated: there is nobody who could consent.')
            return
        if consent is not None and consent.code != model.volunteer:
            raise LibraryError(
                f'The consent is of {consent.code}, but "{model.label}" is of {model.volunteer}.'
            )
        for code in model.contains:
            self._check_consent(session, code, consent if code == model.volunteer else None, on)

    def _check_consent(self, session: Session, code: str, given: Consent | None, on: date) -> None:
        if given is not None:
            if given.code != code:
                raise LibraryError(f"The consent is of {given.code}, but the footage is of {code}.")
            rules.check_consent(given)
        latest = rules.in_force([*reading.consents(session), *([] if given is None else [given])]).get(code)
        if latest is None:
            raise LibraryError(f"Nothing of {code} can be added, because no consent of {code} is on record.")
        why = rules.why_not(latest, "own_use", on)
        if why is not None:
            raise LibraryError(f"Nothing of {code} can be added: {why}")

    def _hash(self, session: Session, code: str) -> str:
        return rows.code_hash(session.get_one(SettingRow, "salt").value, code)

    def _searchable(self, session: Session) -> set[str]:
        return set(session.scalars(select(ModelRow.id).where(ModelRow.searchable)))


def _known(media: Sequence[NewMedia]) -> list[tuple[NewMedia, str, int]]:
    """Files with their hashes and sizes."""
    names = [new.name for new in media]
    if len(set(names)) != len(names) or SWINGS in names:
        raise LibraryError(f"Files of one model need different names, and none may be called {SWINGS}.")
    return [(new, *disk.hash_of(new.source)) for new in media]


def _forbidden(entry: Entry, consents: Sequence[Consent], on: date, purpose: Purpose) -> str:
    latest = rules.in_force(consents)
    for code in entry.contains:
        if code not in latest:
            return f'"{entry.label}" cannot be used: no consent of {code} is on record.'
        why = rules.why_not(latest[code], purpose, on)
        if why is not None:
            return f'"{entry.label}" cannot be used: {why}'
    raise AssertionError("it is allowed")


def _reason(error: SQLAlchemyError) -> str:
    """The first line of what the database says."""
    said = str(getattr(error, "orig", None) or error).strip().splitlines()
    return said[0].rstrip(".") if said else type(error).__name__
