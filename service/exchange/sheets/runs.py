"""Imports that run in the background of a service, one after the other, and their progress."""

import logging
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from typing import Any
from uuid import UUID

from service.kit.problems import Busy, Problem
from service.store.drafts import OnProgress
from service.store.receipts import reused
from service.web.problems import Unexpected

LOG = logging.getLogger("coilbook")

TIMEOUT = 2.0
"""Seconds that the request of an import waits for its result; after that it shows the progress."""
_KEPT = 5
"""How many imports a process remembers; the result of an older one is in its receipt in the database."""
_FAILED = "Nothing of this sheet was brought in. Why is written to the log of the service."


@dataclass
class ImportRun:
    """An import, requested by a form with these `fields`: `done` of `many` follow-ups are done; 0 of 0 while its rows
    are read.
    """

    id: UUID
    digest: str
    fields: Mapping[str, str]
    waits: bool = True
    done: int = 0
    many: int = 0
    answer: Future[Any] = field(default_factory=Future)


class ImportRuns:
    """The imports of one process."""

    def __init__(self, timeout: float = TIMEOUT) -> None:
        self.timeout = timeout
        self._runs: dict[UUID, ImportRun] = {}
        self._lock, self._turn = Lock(), Lock()
        self._stopped = Event()

    def start(self, op: UUID, digest: str, fields: Mapping[str, str], work: Callable[[OnProgress], Any]) -> ImportRun:
        """Start an import, or return the one that already runs under its id.

        Raises:
            Reused: another import runs under this id.
        """
        with self._lock:
            run = self._runs.get(op)
            if run is not None and not run.answer.done():
                if run.digest != digest:
                    raise reused(op)
                return run
            run = self._runs[op] = ImportRun(op, digest, fields)
            over = [each for each, one in self._runs.items() if one.answer.done()]
            for each in over[: max(0, len(self._runs) - _KEPT)]:
                del self._runs[each]
        # A daemon thread: it does not delay a stop, and its write is one transaction.
        Thread(target=self._run, args=(run, work), name="import", daemon=True).start()
        return run

    def find(self, op: UUID) -> ImportRun | None:
        """The import under an id, if this process knows it."""
        return self._runs.get(op)

    def running(self) -> list[ImportRun]:
        """The imports that are not finished."""
        return [run for run in list(self._runs.values()) if not run.answer.done()]

    def close(self) -> None:
        """Stop all imports."""
        self._stopped.set()

    def _run(self, run: ImportRun, work: Callable[[OnProgress], Any]) -> None:
        def on_progress(done: int, many: int) -> None:
            if self._stopped.is_set():
                raise Busy("The service was stopped. Nothing of this sheet was brought in; bring it in once more.")
            run.done, run.many = done, many

        try:
            with self._turn:
                run.waits = False
                on_progress(0, 0)
                answer = work(on_progress)
        except Problem as refusal:
            run.answer.set_exception(refusal)
        except Exception:  # the page of the import shows it
            LOG.exception("An import broke.")
            run.answer.set_exception(Unexpected(_FAILED))
        else:
            run.answer.set_result(answer)
