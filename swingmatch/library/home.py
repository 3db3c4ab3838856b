"""Where the library lies: one folder, which can be copied as a whole while swingmatch is not running."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from platformdirs import user_data_path

#: The folder of the library, where it is not the usual one.
HOME_VARIABLE = "SWINGMATCH_HOME"
#: The address of a PostgreSQL database ("postgresql://..."), where the records are not kept in the folder.
URL_VARIABLE = "SWINGMATCH_DATABASE"


def home_folder(given: Path | str | None = None, environment: Mapping[str, str] = os.environ) -> Path:
    """The folder given, else the one that ``SWINGMATCH_HOME`` names, else the platform's folder for data."""
    if given is not None:
        return Path(given).expanduser()
    named = environment.get(HOME_VARIABLE, "").strip()
    return Path(named).expanduser() if named else user_data_path("swingmatch", appauthor=False)


def database_url(given: str | None, home: Path, environment: Mapping[str, str] = os.environ) -> str:
    """The address given, else the one that ``SWINGMATCH_DATABASE`` names, else a SQLite file in the folder.

    A PostgreSQL address gets the driver that swingmatch uses, where it names none.
    """
    url = given or environment.get(URL_VARIABLE, "").strip()
    if not url:
        return f"sqlite:///{(home / 'library.sqlite').absolute()}"
    for short in ("postgresql://", "postgres://"):
        if url.startswith(short):
            return "postgresql+psycopg://" + url[len(short) :]
    return url


def exists(given: Path | str | None = None, environment: Mapping[str, str] = os.environ) -> bool:
    """Whether there is a private library: its folder is made when something is first put on record."""
    home = home_folder(given, environment)
    return (home / "media").is_dir() and (home / "pending").is_dir()
