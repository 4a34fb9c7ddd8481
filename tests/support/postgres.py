"""A PostgreSQL server for the tests: in a folder of its own, reached by its socket, and deleted afterwards.

The server refuses to run as root. If the tests run as root, it runs as the system's `postgres` user or, if there is
none, as `nobody`; that user owns the folder, so it cannot be one of pytest's.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql
from sqlalchemy import make_url

ROLE = "coilbook"


class Cluster:
    """A PostgreSQL server and the databases made in it.

    `fsync=False` is fast and loses data if the machine (not just the server) crashes, so the caller has to choose: a
    test of what survives a crash needs `True`.
    """

    def __init__(self, folder: Path, *, fsync: bool) -> None:
        self._folder = folder
        self._data = folder / "data"
        self._numbers = count(1)
        run_as: dict[str, Any] = {"cwd": folder}
        if os.geteuid() == 0:
            user = _unprivileged_user()
            os.chown(folder, user.pw_uid, user.pw_gid)
            run_as |= {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
        self._run_as = run_as
        self._run(
            "initdb",
            "--pgdata",
            self._data,
            "--username",
            ROLE,
            "--auth",
            "trust",
            "--encoding",
            "UTF8",
            "--locale",
            "C.UTF-8",
            "--no-sync",
        )
        settings = {
            "listen_addresses": "''",
            "unix_socket_directories": f"'{folder}'",
            "fsync": "on" if fsync else "off",
            "max_connections": "200",
        }
        if not fsync:  # then nothing has to be durable
            settings |= {"full_page_writes": "off", "autovacuum": "off", "max_wal_size": "'8GB'"}
        with (self._data / "postgresql.auto.conf").open("a") as file:
            file.writelines(f"{name} = {value}\n" for name, value in settings.items())

    def start(self) -> None:
        """Start the server, with recovery if it was stopped in the middle; returns when it is ready."""
        self._run("pg_ctl", "start", "--wait", "--silent", "--pgdata", self._data, "--log", self._log)

    def stop(self, mode: str = "fast") -> None:
        """Stop the server: `fast` cleanly, `immediate` as a crash would."""
        self._run("pg_ctl", "stop", "--wait", "--silent", "--mode", mode, "--pgdata", self._data)

    def url(self, database: str) -> str:
        """The SQLAlchemy form of a database's address."""
        return f"postgresql+psycopg://{ROLE}@/{database}?host={self._folder}"

    @contextmanager
    def fresh_database(self, template: str = "template1") -> Iterator[str]:
        """The name of a new database made from `template`; it is dropped at the end even if somebody is connected."""
        name = f"fresh_{next(self._numbers)}"
        self._administer("CREATE DATABASE {} TEMPLATE {}", name, template)
        try:
            yield name
        finally:
            self._administer("DROP DATABASE {} WITH (FORCE)", name)

    @contextmanager
    def name(self) -> Iterator[str]:
        """A name for a new database that `copied` makes; it is dropped at the end like the others."""
        name = f"fresh_{next(self._numbers)}"
        try:
            yield name
        finally:
            self._administer("DROP DATABASE IF EXISTS {} WITH (FORCE)", name)

    @property
    def _log(self) -> Path:
        return self._folder / "server.log"

    def _administer(self, statement: str, *names: str) -> None:
        with psycopg.connect(host=str(self._folder), user=ROLE, dbname="postgres", autocommit=True) as connection:
            connection.execute(sql.SQL(statement).format(*map(sql.Identifier, names)))

    def _run(self, program: str, *arguments: str | Path) -> None:
        done = subprocess.run(
            [_program(program), *map(str, arguments)],
            **self._run_as,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,  # not a pipe: the server inherits it and would hold it open
            stderr=subprocess.PIPE if program == "initdb" else subprocess.DEVNULL,
            text=True,
            check=False,
        )
        if done.returncode:
            said = done.stderr or (self._log.read_text() if self._log.exists() else "")
            raise RuntimeError(f"{program} failed with code {done.returncode}:\n{said[-2000:]}")


@contextmanager
def running_cluster(*, fsync: bool) -> Iterator[Cluster]:
    """A started cluster in a new folder under the system's temporary one; both are deleted at the end."""
    folder = Path(tempfile.mkdtemp(prefix="coilbook-pg-"))
    try:
        cluster = Cluster(folder, fsync=fsync)
        cluster.start()
        try:
            yield cluster
        finally:
            cluster.stop("immediate")
    finally:
        shutil.rmtree(folder)


def copied(url: str, template: str, make: Callable[[str], None]) -> None:
    """Make the database at `url` again as a copy of `template`, which `make` fills once in each cluster."""
    address = make_url(url)
    folder = str(address.query["host"])
    with psycopg.connect(host=folder, user=ROLE, dbname="postgres", autocommit=True) as connection:
        if not connection.execute("SELECT true FROM pg_database WHERE datname = %s", [template]).fetchone():
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(template)))
            make(address.set(database=template).render_as_string(hide_password=False))
        name, made = sql.Identifier(str(address.database)), sql.Identifier(template)
        connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(name))
        connection.execute(sql.SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY FILE_COPY").format(name, made))


def _unprivileged_user() -> pwd.struct_passwd:
    try:
        return pwd.getpwnam("postgres")
    except KeyError:
        return pwd.getpwnam("nobody")


def _program(name: str) -> str:
    """The path of a server program: Debian has them outside of the search path, by version."""
    debian = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: int(path.parts[4]))
    found = str(debian[-1]) if debian else shutil.which(name)
    if found is None:
        raise RuntimeError(f"{name} is missing: install PostgreSQL (Debian: apt-get install postgresql)")
    return found
