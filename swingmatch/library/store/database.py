"""Opening the database, SQLite or PostgreSQL, and bringing an older one to the present tables."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from swingmatch.errors import LibraryError
from swingmatch.library.store import disk
from swingmatch.library.store.tables import Base

#: Revisions of the tables, oldest first; the last is the present one.
REVISIONS = ("0001", "0002", "0003")
#: Milliseconds to wait for another process that is writing.
_PATIENCE = 60_000
#: The number of the lock that writers of one PostgreSQL database share; any number does.
_LOCK = 7_947_464_628


def open_engine(url: str) -> Engine:
    """An engine for the address; a LibraryError where it cannot be one."""
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() not in ("sqlite", "postgresql"):
            raise LibraryError(
                f"The library can be kept in SQLite or PostgreSQL, not in {parsed.get_backend_name()}."
            )
        engine = create_engine(parsed, pool_pre_ping=parsed.get_backend_name() == "postgresql")
    except ImportError as error:
        raise LibraryError(
            "A library in PostgreSQL needs its driver; please run: pip install 'swingmatch[postgres]'"
        ) from error
    except (ArgumentError, NoSuchModuleError) as error:
        raise LibraryError(f"{url!r} is no address of a database.") from error
    event.listen(engine, "commit", lambda connection: disk.before_step("commit"))
    event.listen(engine, "before_cursor_execute", _step)
    if is_sqlite(engine):
        event.listen(engine, "connect", _prepare_sqlite)
        # The driver would start transactions late and end them early; SQLAlchemy starts them itself.
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
    return engine


def is_sqlite(engine: Engine) -> bool:
    """Whether the database is a SQLite file."""
    return engine.dialect.name == "sqlite"


def revision_of(engine: Engine) -> str | None:
    """The revision of the tables in a database; None where there are none yet."""
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def is_current(engine: Engine) -> bool:
    """Whether the tables are the present ones; a LibraryError where they are newer than this swingmatch."""
    revision = revision_of(engine)
    if revision is not None and revision not in REVISIONS:
        raise LibraryError(
            f"This library was written by a newer swingmatch (tables {revision}, known here up to {REVISIONS[-1]});"
            " please update swingmatch."
        )
    return revision == REVISIONS[-1]


def migrate(engine: Engine, to: str = "head") -> None:
    """Bring the tables to a revision, in one transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, to)


@contextmanager
def writers_lock(engine: Engine) -> Iterator[None]:
    """On PostgreSQL, keep writers on other machines out as well; freed by the server when this process dies."""
    if is_sqlite(engine):
        yield
        return
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("SELECT pg_advisory_lock(:n)"), {"n": _LOCK})
        try:
            yield
        finally:
            connection.execute(text("SELECT pg_advisory_unlock(:n)"), {"n": _LOCK})


def scrub(engine: Engine) -> bool:
    """Write the database anew, so that nothing deleted is left in its files; False where a reader stood in the way.

    SQLite overwrites what is deleted (``secure_delete``); writing the file anew also clears what pages keep when rows
    move between them, and emptying the log clears that. PostgreSQL keeps deleted rows in its own log, and in backups,
    for as long as its administrator has set; tables and indexes are cleared.
    """
    try:
        if is_sqlite(engine):
            return _scrub_sqlite(engine)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            for table in Base.metadata.sorted_tables:
                connection.exec_driver_sql(f"VACUUM (FULL, ANALYZE) {table.name}")
        return True
    except (SQLAlchemyError, sqlite3.Error):
        return False


def _scrub_sqlite(engine: Engine) -> bool:
    # The driver's own connection, because VACUUM runs outside of transactions and SQLAlchemy would begin one.
    connection = engine.raw_connection()
    try:
        cursor = connection.cursor()
        # A reader may be long at it; the next writer tries again.
        cursor.execute("PRAGMA busy_timeout = 2000")
        disk.before_step("vacuum")
        cursor.execute("VACUUM")
        disk.before_step("checkpoint")
        busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        return not busy
    finally:
        connection.cursor().execute(f"PRAGMA busy_timeout = {_PATIENCE}")
        connection.close()


def _step(connection: Connection, cursor: Any, statement: str, *_: Any) -> None:
    if not statement.lstrip().upper().startswith(("SELECT", "PRAGMA TABLE", "BEGIN")):
        disk.before_step(statement.split(None, 1)[0])


def _prepare_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {_PATIENCE}")
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA secure_delete = ON")
    cursor.close()
