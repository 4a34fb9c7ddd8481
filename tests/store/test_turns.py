"""Turns at writing: whoever is told to stop while they wait leaves the turn to the others."""

import os
import signal
from threading import Thread
from time import monotonic
from types import FrameType

import pytest

from service.store.sessions import Turns
from tests.support.waiting import PATIENCE


class Stopped(BaseException):
    """What the signal's handler raises."""


def test_who_is_stopped_while_waiting_takes_no_turn_along() -> None:
    turns, give_up = Turns(), monotonic() + PATIENCE

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise Stopped

    def send() -> None:
        while not turns.waiting:
            assert monotonic() < give_up, "nobody came to wait"
        os.kill(os.getpid(), signal.SIGUSR1)

    before = signal.signal(signal.SIGUSR1, stop)
    sender = Thread(target=send)
    try:
        assert turns.acquire(0)
        sender.start()
        with pytest.raises(Stopped):
            turns.acquire(PATIENCE)
        sender.join()
        turns.release()
        assert turns.acquire(0)  # nobody who has gone was given it
        turns.release()
    finally:
        signal.signal(signal.SIGUSR1, before)
