"""Imports that run beside the requests of a service, one after the other, and how far each of them is."""

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

LOG = logging.getLogger("coilbook")

TIMEOUT = 2.0
"""Seconds that whoever brings in a sheet waits for it; after that they see how far it is."""
_KEPT = 5
"""How many are remembered by a process; what was brought in has its receipt in the database."""


@dataclass
class ImportRun:
    """An import, sent by a form with these `fields`: `done` of `many` parts of what follows from its rows; 0 of 0 as
    long as it looks at those.
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
        """Let an import run. What runs already under its id is joined.

        Raises:
            Reused: something else runs under this id.
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
        # A daemon: whatever it reckons holds up no stop, and what it writes is whole or not there at all.
        Thread(target=self._run, args=(run, work), name="import", daemon=True).start()
        return run

    def find(self, op: UUID) -> ImportRun | None:
        """The import under an id, if this process knows it."""
        return self._runs.get(op)

    def running(self) -> list[ImportRun]:
        """Those that are not over."""
        return [run for run in list(self._runs.values()) if not run.answer.done()]

    def close(self) -> None:
        """Let none go on."""
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
        except Exception as error:  # whoever looks is told
            LOG.exception("An import broke.")
            run.answer.set_exception(error)
        else:
            run.answer.set_result(answer)
