"""The private library on disk: records in a database, media and arrays by the hash of their content."""

from swingmatch.library.store.store import Store, open_store

__all__ = ["Store", "open_store"]
