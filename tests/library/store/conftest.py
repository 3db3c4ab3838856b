"""Stores to test on: a SQLite file and a private PostgreSQL server, which the same tests run on."""

from __future__ import annotations

import importlib.util
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from pathlib import Path

import pytest

HERE = Path(__file__).parent
BIN = next(iter(sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)), None)


def _load(name):
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def samples():
    """Models, consents and files to put into a store."""
    return _load("samples")


@pytest.fixture(scope="session")
def server():
    """Runs a PostgreSQL server of its own for the session; gives (address without a database's name, its folder)."""
    programs = BIN or (Path(shutil.which("initdb")).parent if shutil.which("initdb") else None)
    if programs is None or importlib.util.find_spec("psycopg") is None:
        pytest.skip("PostgreSQL or its driver psycopg is not installed")
    user = []
    if os.name == "posix" and os.geteuid() == 0:  # the server refuses to be run by root
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            pytest.skip("PostgreSQL does not run as root, and there is no user postgres")
        user = ["runuser", "-u", "postgres", "--"]
    folder = Path(tempfile.mkdtemp(prefix="swingmatch-pg-", dir="/tmp"))
    if user:
        shutil.chown(folder, "postgres", "postgres")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = folder / "data"

    def run(*command):
        subprocess.run(
            [*user, *map(str, command)], check=True, cwd="/tmp", stdout=subprocess.DEVNULL, timeout=120
        )

    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    try:
        run(programs / "initdb", "-D", data, "-U", "swingmatch", "-A", "trust", "-E", "UTF8", "--no-sync")
        run(programs / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
        try:
            yield f"postgresql://swingmatch@127.0.0.1:{port}", data
        finally:
            run(programs / "pg_ctl", "-D", data, "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """Where a store lies: (folder, address of the database or None)."""
    if request.param == "sqlite":
        return tmp_path / "home", None
    address, _ = request.getfixturevalue("server")
    name = f"t{os.getpid()}_{abs(hash(request.node.nodeid)) % 10**12}"
    import psycopg

    with psycopg.connect(f"{address}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return tmp_path / "home", f"{address}/{name}"


@pytest.fixture
def store(place):
    """An empty store."""
    from swingmatch.library.store import open_store

    with open_store(*place) as opened:
        yield opened
