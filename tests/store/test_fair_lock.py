"""The fair lock for writing: a thread that is interrupted while it waits leaves the lock to the others, and whoever
holds it does not keep others waiting for a garbage collection.
"""

import gc
import os
import signal
from threading import Thread
from time import monotonic
from types import FrameType

import pytest

from service.store.sessions import FairLock
from tests.support.program import running
from tests.support.waiting import PATIENCE


class Stopped(BaseException):
    """What the signal's handler raises."""


def test_a_thread_that_is_stopped_while_waiting_never_gets_the_lock() -> None:
    write_lock, give_up = FairLock(), monotonic() + PATIENCE

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise Stopped

    def send() -> None:
        while not write_lock.waiting:
            assert monotonic() < give_up, "nobody came to wait"
        os.kill(os.getpid(), signal.SIGUSR1)

    before = signal.signal(signal.SIGUSR1, stop)
    sender = Thread(target=send)
    try:
        assert write_lock.acquire(0)
        sender.start()
        with pytest.raises(Stopped):
            write_lock.acquire(PATIENCE)
        sender.join()
        write_lock.release()
        assert write_lock.acquire(0)  # nobody who has gone was given it
        write_lock.release()
    finally:
        signal.signal(signal.SIGUSR1, before)


def test_no_garbage_is_collected_while_it_is_held(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        store, before = program.store, gc.isenabled()
        gc.enable()
        try:
            with store.writing():
                assert not gc.isenabled()
            assert gc.isenabled()
            with pytest.raises(KeyError), store.writing():
                raise KeyError
            assert gc.isenabled()
            gc.disable()
            with store.writing():
                pass
            assert not gc.isenabled()
        finally:
            (gc.enable if before else gc.disable)()
