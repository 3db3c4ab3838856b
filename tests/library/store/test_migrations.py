"""Older stores go forwards with all that is in them; newer ones are refused in a sentence."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from swingmatch.errors import LibraryError
from swingmatch.library.home import database_url
from swingmatch.library.store import database, open_store
from swingmatch.library.store.tables import Base


def test_the_revisions_named_are_those_there_are():
    config = Config()
    config.set_main_option("script_location", "swingmatch.library.store:migrations")
    found = [revision.revision for revision in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(reversed(found)) == database.REVISIONS


def test_migrated_tables_are_those_that_the_program_knows(store):
    with store.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []


def test_an_old_store_goes_forwards_with_its_data(place, samples):
    home, url = place
    with open_store(home, url) as store:
        listed = store.add(samples.model("A"), samples.consent("A"), [samples.clip("one")], on=samples.DAY)
        store.tag("a-0", ["kept"])
        with store.engine.connect() as connection:
            kept = {
                name: connection.execute(text(f"SELECT * FROM {name}")).mappings().all()
                for name in ("settings", "consents", "models", "tags")
            }
        with store.engine.begin() as connection:
            for table in reversed(Base.metadata.sorted_tables):
                connection.execute(text(f"DROP TABLE {table.name}"))
            connection.execute(text("DROP TABLE alembic_version"))
    # A store as the first revision left it, with the rows put back.
    engine = database.open_engine(database_url(url, home))
    database.migrate(engine, "0001")
    assert database.revision_of(engine) == "0001"
    with engine.begin() as connection:
        connection.execute(text("DELETE FROM settings"))
        for name, rows in kept.items():
            for row in rows:
                values = dict(row)
                if engine.dialect.name == "postgresql" and "facts" in values:
                    import json

                    values["facts"] = json.dumps(values["facts"])
                columns = ", ".join(values)
                places = ", ".join(f":{column}" for column in values)
                connection.execute(text(f"INSERT INTO {name} ({columns}) VALUES ({places})"), values)
        for media in listed.media:
            connection.execute(
                text("INSERT INTO media (model_id, kind, sha256, size, name) VALUES ('a-0', :k, :h, :s, :n)"),
                {"k": media.kind, "h": media.sha256, "s": media.size, "n": media.name},
            )
    engine.dispose()
    with open_store(home, url) as store:
        assert database.revision_of(store.engine) == database.REVISIONS[-1]
        (found,) = store.models(samples.DAY)
        assert found.contains == ("A",)
        assert found.media == listed.media
        assert found.tags == {"kept"}
        assert store.check() == []
        store.forget("A")
        assert store.check() == []


def test_a_newer_store_is_refused(place):
    with open_store(*place) as store, store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(LibraryError, match="written by a newer swingmatch"):
        open_store(*place)


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("mysql://x/y", "SQLite or PostgreSQL"),
        ("no address", "no address"),
        ("sqlite:////proc/x/y", "cannot be used"),
    ],
)
def test_an_address_that_cannot_be_used(tmp_path, url, says):
    with pytest.raises(LibraryError, match=says):
        open_store(tmp_path, url)


def test_a_folder_that_cannot_be_used(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(LibraryError, match="cannot be used"):
        open_store(tmp_path / "file")
