"""Entries that come at once go together, and each gets its own answer."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from threading import Event
from typing import TypeVar

import pytest
from anyio.from_thread import start_blocking_portal
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Busy, Conflict
from service.web import batcher
from service.web.batcher import MOST, WriteBatcher

T = TypeVar("T")


@dataclass(frozen=True)
class Entry:
    """What is written, and what it touches; some are refused."""

    number: int
    touches: frozenset[int]
    refused: bool = False


@dataclass
class Book:
    """Writes entries down, turn by turn; the first turn waits until all have come."""

    turns: list[list[Entry]] = field(default_factory=list)
    all_here: Event = field(default_factory=Event)

    def write(self, entries: Sequence[Entry]) -> Sequence[int | Exception]:
        assert self.all_here.wait(30)
        self.turns.append(list(entries))
        return [Conflict(str(one.number)) if one.refused else one.number for one in entries]


def in_a_loop(send: Callable[[], Awaitable[T]]) -> T:
    """What comes of `send` in an event loop of another thread: a browser's may run in this one."""
    with start_blocking_portal() as portal:
        return portal.call(send)


def sent(book: Book, entries: Sequence[Entry]) -> list[int | BaseException]:
    """The answers to entries that come while the first of them is written."""

    async def send() -> list[int | BaseException]:
        with closing(WriteBatcher(book.write, lambda entry: entry.touches)) as gathered:
            answers = [asyncio.ensure_future(gathered.add(entry)) for entry in entries]
            await asyncio.sleep(0)  # each begins, up to where it waits for its answer
            book.all_here.set()
            return await asyncio.gather(*answers, return_exceptions=True)

    return in_a_loop(send)


ENTRIES = st.lists(st.tuples(st.frozensets(st.integers(0, 5), max_size=3), st.booleans()), min_size=1, max_size=80).map(
    lambda told: [Entry(number, touches, refused) for number, (touches, refused) in enumerate(told)]
)


@given(ENTRIES)
def test_each_gets_its_own_answer_and_what_touches_the_same_goes_one_after_the_other(
    entries: list[Entry],
) -> None:
    book = Book()
    answers = sent(book, entries)
    assert [str(answer) for answer in answers] == [str(entry.number) for entry in entries]
    assert [isinstance(answer, Conflict) for answer in answers] == [entry.refused for entry in entries]
    written = [entry for turn in book.turns for entry in turn]
    assert sorted(entry.number for entry in written) == [entry.number for entry in entries]
    for turn in book.turns:
        assert len(turn) <= MOST
        touched = [each for entry in turn for each in entry.touches]
        assert len(touched) == len(set(touched))
    for each in range(6):
        numbers = [entry.number for entry in written if each in entry.touches]
        assert numbers == sorted(numbers)


def test_waiting_entries_are_written_in_one_batch() -> None:
    book = Book()
    sent(book, [Entry(number, frozenset([number])) for number in range(MOST)])
    assert len(book.turns) <= 2  # the first was taken while they came


def test_an_error_of_a_batch_is_reported_to_all_of_its_entries() -> None:
    def write(entries: Sequence[int]) -> Sequence[int]:
        raise ZeroDivisionError(len(entries))

    async def send() -> list[int | BaseException]:
        with closing(WriteBatcher(write, lambda _: ())) as gathered:
            return await asyncio.gather(*(gathered.add(one) for one in range(5)), return_exceptions=True)

    assert all(isinstance(answer, ZeroDivisionError) for answer in in_a_loop(send))


def test_who_has_gone_is_not_written_and_the_others_are() -> None:
    book = Book()

    async def send() -> list[int | BaseException]:
        with closing(WriteBatcher(book.write, lambda entry: entry.touches)) as gathered:
            one, two, three = [
                asyncio.ensure_future(gathered.add(Entry(number, frozenset([1])))) for number in (1, 2, 3)
            ]
            await asyncio.sleep(0)
            two.cancel()
            await asyncio.sleep(0)  # the cancellation arrives
            book.all_here.set()
            return [*await asyncio.gather(one, two, three, return_exceptions=True)]

    first, second, third = in_a_loop(send)
    assert (first, third) == (1, 3)
    assert isinstance(second, asyncio.CancelledError)
    assert [entry.number for turn in book.turns for entry in turn] == [1, 3]


def test_who_waited_too_long_is_told_that_others_write(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batcher, "WAIT", -1.0)
    book = Book()
    (answer,) = sent(book, [Entry(1, frozenset())])
    assert isinstance(answer, Busy)
    assert book.turns == []
