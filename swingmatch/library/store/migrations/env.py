"""Runs revisions on the connection that ``database.migrate`` hands over."""

from alembic import context

from swingmatch.library.store.tables import Base

connection = context.config.attributes["connection"]
# One transaction for all, on SQLite too: a kill in the middle leaves the old tables.
context.configure(connection=connection, target_metadata=Base.metadata, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
