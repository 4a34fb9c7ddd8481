"""Writing entries in batches: entries that arrive while a batch is written wait, and form the next batch.

An entry that arrives while nothing is written is written at once. The busier the service, the more entries share one
transaction, its statements and its wait for the disk.
"""

import asyncio
import time
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Lock
from typing import Generic, TypeVar

from service.kit.problems import Busy
from service.store.engine import WAIT
from service.store.sessions import OTHERS_WRITE

E = TypeVar("E")
A = TypeVar("A")

MOST = 32
"""The most entries in a batch: the answer to the first waits until the last is written."""


@dataclass(frozen=True)
class _Waiting(Generic[E, A]):
    entry: E
    touches: frozenset[object]
    answer: Future[A] = field(default_factory=Future)
    since: float = field(default_factory=time.monotonic)


class WriteBatcher(Generic[E, A]):
    """Writes entries in a thread of its own, one batch after the other.

    `write` takes the entries of a batch and gives the outcome of each: its answer, or the exception that refused it.
    `touches` gives the keys of what an entry writes to: two entries with a common key are never in the same batch, and
    keep their order.
    """

    def __init__(
        self,
        write: Callable[[Sequence[E]], Sequence[A | Exception]],
        touches: Callable[[E], Collection[object]],
    ) -> None:
        self._write = write
        self._touches = touches
        self._waiting: list[_Waiting[E, A]] = []
        self._lock = Lock()
        self._thread = ThreadPoolExecutor(1, "batcher")

    async def add(self, entry: E) -> A:
        """Wait until an entry is written, and return its answer.

        Raises:
            Busy: it was not written in time.
            Exception: the refusal of this entry.
        """
        waiting = _Waiting[E, A](entry, frozenset(self._touches(entry)))
        with self._lock:
            self._waiting.append(waiting)
        # Each entry asks for a batch: if an earlier batch wrote it already, its own is empty.
        self._thread.submit(self._write_batch)
        return await asyncio.wrap_future(waiting.answer)

    def close(self) -> None:
        """Accept no more entries; those that were added are written first."""
        self._thread.shutdown()

    def _write_batch(self) -> None:
        with self._lock:
            batch = self._next()
        # A sender that has given up gets no answer and sends the entry again, so it is not written now.
        batch = [one for one in batch if one.answer.set_running_or_notify_cancel()]
        earliest = time.monotonic() - WAIT
        for one in batch:
            if one.since < earliest:
                one.answer.set_exception(Busy(OTHERS_WRITE))
        in_time = [one for one in batch if one.since >= earliest]
        for one, outcome in zip(in_time, self._outcomes([one.entry for one in in_time]), strict=True):
            if isinstance(outcome, Exception):
                one.answer.set_exception(outcome)
            else:
                one.answer.set_result(outcome)

    def _outcomes(self, entries: Sequence[E]) -> Sequence[A | Exception]:
        try:
            return self._write(entries) if entries else []
        except Exception as error:  # every waiting sender gets the error
            return [error] * len(entries)

    def _next(self) -> list[_Waiting[E, A]]:
        """The next batch: the waiting entries in their order, without those that share a key with an earlier one."""
        batch, rest, keys = list[_Waiting[E, A]](), list[_Waiting[E, A]](), set[object]()
        for one in self._waiting:
            fits = len(batch) < MOST and one.touches.isdisjoint(keys)
            keys |= one.touches
            (batch if fits else rest).append(one)
        self._waiting = rest
        return batch
