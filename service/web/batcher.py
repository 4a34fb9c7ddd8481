"""Entries that are written together: what comes in while others are written waits, and goes with all that then waits.

Nobody waits for more to come: what comes alone goes at once. The busier it is, the more of them share one transaction,
its statements and its wait for the disk.
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
"""How many go together: the first one's answer waits for the last one's."""


@dataclass(frozen=True)
class _Waiting(Generic[E, A]):
    entry: E
    touches: frozenset[object]
    answer: Future[A] = field(default_factory=Future)
    since: float = field(default_factory=time.monotonic)


class WriteBatcher(Generic[E, A]):
    """Writes entries in a thread of its own, one turn after the other.

    `write` takes the entries of a turn and gives the outcome of each, an exception where it was refused. `touches`
    names what an entry writes to: two that touch the same are never in one turn, and keep their order.
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
        """The answer to an entry, once it is written.

        Raises:
            Busy: its turn did not come in time.
            Exception: what it was refused by.
        """
        waiting = _Waiting[E, A](entry, frozenset(self._touches(entry)))
        with self._lock:
            self._waiting.append(waiting)
        # A turn for each entry: where an earlier one took it along, nothing is left for its own.
        self._thread.submit(self._take_turn)
        return await asyncio.wrap_future(waiting.answer)

    def close(self) -> None:
        """Take no more; what was added is written first."""
        self._thread.shutdown()

    def _take_turn(self) -> None:
        with self._lock:
            turn = self._next()
        # Whoever has gone by now hears no answer and sends it again, so it is not written either.
        turn = [one for one in turn if one.answer.set_running_or_notify_cancel()]
        asked_since = time.monotonic() - WAIT
        for one in turn:
            if one.since < asked_since:
                one.answer.set_exception(Busy(OTHERS_WRITE))
        in_time = [one for one in turn if one.since >= asked_since]
        for one, outcome in zip(in_time, self._outcomes([one.entry for one in in_time]), strict=True):
            if isinstance(outcome, Exception):
                one.answer.set_exception(outcome)
            else:
                one.answer.set_result(outcome)

    def _outcomes(self, entries: Sequence[E]) -> Sequence[A | Exception]:
        try:
            return self._write(entries) if entries else []
        except Exception as error:  # each of those who wait is told
            return [error] * len(entries)

    def _next(self) -> list[_Waiting[E, A]]:
        """The next turn: those who wait, in their order, but for those who touch what one before them does."""
        turn, left, touched = list[_Waiting[E, A]](), list[_Waiting[E, A]](), set[object]()
        for one in self._waiting:
            goes = len(turn) < MOST and one.touches.isdisjoint(touched)
            touched |= one.touches
            (turn if goes else left).append(one)
        self._waiting = left
        return turn
