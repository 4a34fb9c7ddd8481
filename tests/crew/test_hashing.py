"""Hashing a passphrase holds up nobody: it has a thread and a bounded queue of its own, and no transaction open."""

import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event
from time import monotonic
from types import FrameType

import httpx2
import pytest
from argon2 import extract_parameters

from service.crew import hashing
from service.crew.hashing import KNOWN_MOST, QUEUE_MOST, HashingQueue, hash_passphrase, passphrase_matches
from service.kit.problems import Busy
from tests.support.program import Running
from tests.support.serving import served
from tests.support.waiting import PATIENCE


@contextmanager
def held_up(queue: HashingQueue) -> Iterator[Event]:
    """The queue, with something at its head that takes until the block ends."""
    go_on = Event()
    queue.submit(lambda: go_on.wait(PATIENCE), known=True)
    try:
        yield go_on
    finally:
        go_on.set()


def filled(queue: HashingQueue, *, known: bool) -> list[Future[int]]:
    """As many as the queue takes."""
    taken: list[Future[int]] = []
    while len(taken) <= KNOWN_MOST:
        try:
            taken.append(queue.submit(lambda: 7, known=known))
        except Busy:
            break
    return taken


def test_the_queue_is_bounded_and_known_devices_have_places_of_their_own() -> None:
    queue = HashingQueue()
    with held_up(queue):
        strangers = filled(queue, known=False)
        assert len(strangers) == QUEUE_MOST - 1
        known = filled(queue, known=True)
        assert len(known) == KNOWN_MOST - QUEUE_MOST
    assert [each.result(PATIENCE) for each in strangers + known] == [7] * (KNOWN_MOST - 1)
    assert queue.submit(lambda: 8, known=False).result(PATIENCE) == 8
    queue.close()


def test_no_place_is_lost_or_won_by_what_is_cancelled_or_comes_too_late() -> None:
    queue = HashingQueue()
    with held_up(queue):
        waiting = filled(queue, known=True)
        assert all(each.cancel() for each in waiting)
        assert queue.waiting == 1
        assert len(filled(queue, known=True)) == len(waiting)
    queue.close()
    assert queue.waiting == 0
    with pytest.raises(RuntimeError):
        queue.submit(lambda: 7, known=True)
    assert queue.waiting == 0


def test_a_name_that_nobody_has_costs_as_much_as_any_and_lets_nobody_in() -> None:
    assert extract_parameters(hashing._NOBODY) == extract_parameters(hash_passphrase("right"))
    assert not passphrase_matches(None, "right")


def test_while_sign_ins_wait_for_their_hash_all_else_goes_on(sqlite_url: str) -> None:
    with served(sqlite_url) as service, ThreadPoolExecutor(QUEUE_MOST) as phones:
        queue: HashingQueue = service.app.state.hashing

        def sign_in(number: int) -> httpx2.Response:
            told = {"name": f"N{number}", "passphrase": "x"}
            return httpx2.post(f"{service.base}/sign-in", data=told, headers={"Origin": service.base}, timeout=PATIENCE)

        with held_up(queue):
            waiting = [phones.submit(sign_in, number) for number in range(QUEUE_MOST - 1)]
            give_up = monotonic() + PATIENCE
            while queue.waiting < QUEUE_MOST:  # more than there are worker threads
                assert monotonic() < give_up, f"only {queue.waiting} of {QUEUE_MOST} sign-ins came to wait"
                assert httpx2.get(f"{service.base}/sign-in", timeout=PATIENCE).status_code == 200
            too_many = sign_in(99)
            assert (too_many.status_code, too_many.headers["retry-after"]) == (503, "2")
            assert "Many sign in right now" in too_many.text
            assert httpx2.get(f"{service.base}/sign-in", timeout=PATIENCE).status_code == 200
            with service.store.writing():  # none of them holds the database
                pass
        assert {each.result(PATIENCE).status_code for each in waiting} == {401}


def test_no_connection_is_held_while_hashing(program: Running) -> None:
    held: list[int] = []

    def watch(frame: FrameType, event: str, _arg: object) -> None:
        if event == "call" and frame.f_code.co_name in ("hash_secret", "verify_secret"):
            held.append(program.store.writer.pool.checkedout())  # type: ignore[attr-defined]

    in_its_thread: Callable[[], None] = lambda: sys.setprofile(watch)  # noqa: E731
    program.stranger.app.state.hashing.submit(in_its_thread, known=True).result(PATIENCE)  # type: ignore[attr-defined]
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    for name, passphrase in (("Lead", "copper river lantern"), ("Lead", "wrong"), ("Nobody", "wrong")):
        program.stranger.post("/sign-in", data={"name": name, "passphrase": passphrase})
    assert held == [0] * 4
