"""Hashing of passphrases, slow on purpose: on a thread of its own, with a bounded queue, never in a transaction.

argon2 takes about 45 ms of a core and 19 MiB of memory each time, and releases the interpreter lock. One thread uses at
most one core, however many people sign in at once, and the threads of all other requests never wait for it. If the
queue is full, a request is refused with 503; devices that signed in before have places of their own.
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Lock
from typing import TypeVar

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from service.kit.problems import Busy

T = TypeVar("T")

# OWASP ASVS 5.0 appendix C and RFC 9106 name these as enough: 19 MiB, two passes, one lane.
_HASHER = PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
# Of random characters that nobody kept, by the same rule; kept here, since hashing at import would hold up each start.
_NOBODY = "$argon2id$v=19$m=19456,t=2,p=1$Wv7O/HqkGRlZmdWHv3kV7g$fHGdE3sKw1ZPxPXwRfrQ+wYo4hYbl8e6kB5CW7beFRc"

QUEUE_MOST = 8
"""How many hashes wait or run at once: the last one waits for about 0.4 s."""
KNOWN_MOST = 2 * QUEUE_MOST
"""The same for devices that signed in before, so that strangers never fill their places."""


def hash_passphrase(passphrase: str) -> str:
    """What is stored of a passphrase."""
    return _HASHER.hash(passphrase)


def passphrase_matches(stored: str | None, typed: str) -> bool:
    """Whether the passphrase is right; takes the same time if there is nobody of that name."""
    try:
        _HASHER.verify(stored or _NOBODY, typed)
    except VerifyMismatchError:
        return False
    return stored is not None


class HashingQueue:
    """A queue that runs hashes one at a time, first in first out."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "hashing")
        self._lock = Lock()
        self.waiting = 0
        """How many wait or run now."""

    def submit(self, work: Callable[[], T], *, known: bool) -> Future[T]:
        """Run `work`, which hashes, in its turn. `known`: it comes from a device that signed in before.

        Raises:
            Busy: too many wait already.
        """
        with self._lock:
            if self.waiting >= (KNOWN_MOST if known else QUEUE_MOST):
                raise Busy("Many sign in right now. Try again in a moment.")
            turn = self._thread.submit(work)  # where this fails, nobody waits
            self.waiting += 1
        turn.add_done_callback(self._done)
        return turn

    def close(self) -> None:
        """Accept no more work and drop what waits."""
        self._thread.shutdown(cancel_futures=True)

    def _done(self, _turn: object) -> None:
        with self._lock:
            self.waiting -= 1
