"""Starting the service: what is checked first, what is printed, and the server itself."""

import gc
import os
import resource
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from threading import Timer

import uvicorn
from fastapi import FastAPI

from service import clock
from service.app import create_app
from service.crew import actions, queries
from service.crew.actions import NewPass
from service.crew.core import FIRST_NAME
from service.kit.problems import Problem
from service.settings import Settings, read_settings
from service.store.disk_space import CannotSave
from service.store.engine import is_sqlite, sqlite_driver, wal_is_safe
from service.store.migrate import opened
from service.store.sessions import Store, retry_on_conflict
from service.testers.tables import Tables, in_use
from service.web.greeting import greeting
from service.web.middleware.request_log import start_request_log
from service.web.middleware.slow_requests import SlowRequestProtocol
from service.web.network import addresses, refuse_taken_port
from service.web.render import ENVIRONMENT

CONNECTIONS = 500
"""At once, for each worker: eighty phones, with the six that a browser opens to one server."""
KEEP_ALIVE = 5
"""Seconds that an idle connection stays open; the proxy in front lets its own go sooner (deploy/Caddyfile)."""
FINISHED_WITHIN = 1
"""Seconds that requests get to be finished once the service is told to stop; phones send again what was not."""
CLOSED_WITHIN = 0.8
"""Seconds that all else then gets to end by itself. What is being written is whole or not there at all."""
CODE = Path(__file__).parent
LOOPBACK = ("127.0.0.1", "::1", "localhost")


def serve(settings: Settings, host: str, port: int, workers: int, reload: bool = False) -> int:
    """Serve until stopped. With `reload`, a changed Python file starts the service anew, and templates are read anew.

    Raises:
        Problem: settings and options do not go together, or the port is taken.
    """
    _check(settings, host, workers, reload=reload)
    refuse_taken_port(host, port)
    here = addresses(host, port) + ([settings.base_url] if settings.base_url else [])
    with opened(settings) as store:
        try:
            link = first_link(store, settings.base_url or here[0], datetime.now(UTC))
        except CannotSave as refusal:  # what is there can be read, and pages tell the rest
            print(refusal.detail, flush=True)
            link = None
        with store.reading() as db:
            wirings = in_use(db)
    print(
        greeting(here, link, colors=sys.stdout.isatty()) if link else f"Coilbook is running at {here[0]}",
        flush=True,
    )
    _raise_file_limit(2 * CONNECTIONS)
    Tables(settings.tables).make_ahead(wirings)
    # Of several workers none is special, so the clock is then a process of its own: `coilbook clock`, or a timer.
    uvicorn.run(
        _factory(workers, reload),
        factory=True,
        host=host,
        port=port,
        workers=workers,
        reload=reload,
        reload_dirs=[str(CODE)] if reload else None,
        http=SlowRequestProtocol,
        limit_concurrency=CONNECTIONS,
        timeout_keep_alive=KEEP_ALIVE,
        timeout_graceful_shutdown=FINISHED_WITHIN,
        server_header=False,
        forwarded_allow_ips=settings.proxy,
        access_log=False,
        log_config=None,
        log_level="warning",
    )
    return 0


def _factory(workers: int, reload: bool) -> str:
    """What makes the application in the process that serves it."""
    if reload:
        return "service.serving:for_contributors"
    return "service.serving:with_clock" if workers == 1 else "service.serving:from_environment"


def _raise_file_limit(files: int) -> None:
    """Let this process and its workers have so many files open; some systems give a terminal 256."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < files and (hard >= files or hard == resource.RLIM_INFINITY):
        resource.setrlimit(resource.RLIMIT_NOFILE, (files, hard))


def from_environment() -> FastAPI:
    """The application as a worker process makes it."""
    start_request_log()
    return _frozen(create_app(read_settings(os.environ), beside=_ends_in_time))


def with_clock() -> FastAPI:
    """The application as the only worker makes it: with the clock beside it."""
    start_request_log()
    settings = read_settings(os.environ)

    @contextmanager
    def beside(store: Store) -> Iterator[None]:
        with clock.running(store, settings), _ends_in_time(store):
            yield

    return _frozen(create_app(settings, beside=beside))


@contextmanager
def _ends_in_time(_store: Store) -> Iterator[None]:
    """See to it that the process ends soon after the service does, whatever a thread of it still reckons."""
    ending = Timer(CLOSED_WITHIN, os._exit, (0,))
    ending.daemon = True
    try:
        yield
    finally:
        ending.start()


def for_contributors() -> FastAPI:
    """The application as `--reload` makes it: templates are read again when they change."""
    ENVIRONMENT.auto_reload = True
    return with_clock()


def _frozen(app: FastAPI) -> FastAPI:
    """The application, with all that was made so far out of the garbage collector's sight: it stays, and going through
    it would hold up whoever asks at that moment by about 0.1 s.
    """
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)  # a page makes some thousands of objects that are gone with it
    gc.enable()
    return app


def first_link(store: Store, base: str, now: datetime) -> str | None:
    """A one-time link for the lead, as long as no lead could sign in by a passphrase."""

    with store.reading() as db:  # so that a start writes nothing that it can do without
        if queries.program_facts(db) is not None and queries.a_lead_can_sign_in(db):
            return None

    def make_link() -> NewPass | None:
        with store.writing() as db:
            actions.found_program(db, FIRST_NAME, "UTC", now)
            return actions.first_link(db, now) if not queries.a_lead_can_sign_in(db) else None

    made = retry_on_conflict(make_link)  # of several hosts that start on an empty database, one founds the program
    return f"{base}/join#{made.secret}" if made else None


def _check(settings: Settings, host: str, workers: int, *, reload: bool) -> None:
    if reload and workers != 1:
        raise Problem(f"--reload goes with one worker only, and --workers is {workers}. Leave one of the two out.")
    if not settings.limits and host not in LOOPBACK:
        raise Problem("COILBOOK_LIMITS=off is for measuring on this computer only; use --host 127.0.0.1 with it.")
    if workers < 1:
        raise Problem(f"--workers is {workers}; it must be 1 or more.")
    if workers > 1 and is_sqlite(settings.database_url) and not wal_is_safe(sqlite_driver().sqlite_version_info):
        raise Problem(
            f"This SQLite library, {sqlite_driver().sqlite_version}, can corrupt a database that several processes "
            "write. Use --workers 1, or a newer library (3.51.3), or PostgreSQL."
        )
