"""The cached offline tables of wirings, made before a phone requests them.

Computing one takes up to four seconds of processor time, so each is made once and cached as a file: by a process of its
own when the service starts and when a session is opened, or else by the first request. The file's name has the wiring's
key and a version, which changes with the wiring and with the code; computing it again gives the same bytes. A lock on
the folder lets only one process at a time compute a table.
"""

import fcntl
import gzip
import hashlib
import json
import logging
import os
import signal
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import cache, lru_cache
from multiprocessing import get_context, parent_process
from pathlib import Path
from uuid import uuid4

from sqlalchemy.orm import Session

from service.gear.wirings import find_wiring
from service.kit.problems import Busy
from service.store.files import put_in_place
from service.testers.queries import wirings_in_use
from service.testlog.phone_tables import MADE_BY, fault_tables
from service.wiring.wirings import Wiring

LOG = logging.getLogger("coilbook")
Named = tuple[str, Wiring]
"""A wiring and its key."""


class Tables:
    """The tables in a folder, which is made when the first of them is."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._asking = threading.Lock()

    def packed(self, key: str, wiring: Wiring) -> bytes:
        """The table of a wiring as gzipped JSON.

        Only one request at a time waits for a table that is being computed: threads are for phones that log tests.

        Raises:
            Busy: another request waits already.
        """
        kept = self._cached(key, wiring)
        if kept is not None:
            return kept
        if not self._asking.acquire(blocking=False):
            raise Busy("The faults of this wiring are being worked out. They are ready in a few seconds.")
        try:
            with _turn(self._folder):
                return self._cached(key, wiring) or keep(self._folder, key, wiring)
        finally:
            self._asking.release()

    def make_ahead(self, wirings: Iterable[Named]) -> None:
        """Start a process that makes the missing tables in this order; it ends with the service."""
        missing = [(key, wiring) for key, wiring in wirings if not _file(self._folder, key, wiring).exists()]
        if missing:
            # Not a fork: in a copy nobody would release locks that threads of the service hold.
            get_context("spawn").Process(target=write_missing, args=(self._folder, missing), daemon=True).start()

    def _cached(self, key: str, wiring: Wiring) -> bytes | None:
        return _read(_file(self._folder, key, wiring))


def write_missing(folder: Path, wirings: Iterable[Named]) -> None:
    """Make the tables that are missing, one after another; in a process of its own, which ends with its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C stops the service, which then ends this
    os.nice(10)  # requests go first
    for key, wiring in wirings:
        parent = parent_process()
        if parent is not None and not parent.is_alive():  # it was killed
            return
        with _turn(folder):
            if not _file(folder, key, wiring).exists():
                keep(folder, key, wiring)


def in_use(db: Session) -> list[Named]:
    """Every wiring of the program's gear, and those by which several pieces of it are tested together."""
    return [(key, find_wiring(db, key)) for key in wirings_in_use(db)]


@lru_cache(maxsize=256)
def version(key: str, wiring: Wiring) -> str:
    """A version that changes whenever the table of a wiring may."""
    return hashlib.sha256(f"{key}\0{wiring!r}\0{_code()}".encode()).hexdigest()[:20]


def worked_out(key: str, wiring: Wiring) -> bytes:
    """The table of a wiring as gzipped JSON, computed now."""
    plain = json.dumps({"key": key} | fault_tables(wiring), separators=(",", ":"), ensure_ascii=False).encode()
    return gzip.compress(plain, mtime=0)


def keep(folder: Path, key: str, wiring: Wiring) -> bytes:
    """Compute a table and save it in place of older versions; if it cannot be saved, it is still returned."""
    packed, path = worked_out(key, wiring), _file(folder, key, wiring)
    part = path.with_name(f"{path.name}.{uuid4().hex}.part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.write_bytes(packed)
        put_in_place(part, path)
        for older in folder.glob(f"{key}-????????????????????.json.gz"):
            if older != path:
                older.unlink(missing_ok=True)
    except OSError as error:
        LOG.warning("The faults of wiring %s could not be kept in %s: %s", key, folder, error.strerror)
        with suppress(OSError):  # it was never begun
            part.unlink()
    return packed


@contextmanager
def _turn(folder: Path) -> Iterator[None]:
    """Hold the lock on the folder while a table is computed; without a lock if the folder cannot be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = os.open(folder / ".lock", os.O_CREAT | os.O_RDWR, 0o600)
    except OSError:
        yield
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def _file(folder: Path, key: str, wiring: Wiring) -> Path:
    return folder / f"{key}-{version(key, wiring)}.json.gz"


@cache
def _code() -> str:
    """A digest of the code that computes tables."""
    digest = hashlib.sha256()
    for made_by in MADE_BY:
        for path in sorted(made_by.rglob("*.py")) if made_by.is_dir() else [made_by]:
            digest.update(path.read_bytes())
    return digest.hexdigest()
