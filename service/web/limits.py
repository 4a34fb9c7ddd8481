"""Rate limits for one sign-in or one network: sliding windows in memory, with the time as an argument.

A limit is on what somebody could abuse, never on how many people use one address: a whole crew shares one hotspot.
So writes and photos are counted for each sign-in, and only wrong tries for each network.

| limit | counted for | most |
|---|---|---|
| passes that do not exist | one sign-in, or one network | 10 in ten minutes; a right one is always let in |
| writes | one sign-in | 120 in a minute |
| photos to read | one sign-in | 12 in a minute, and two at once in the service (`tags.photo`) |
| wrong passphrases | one name, one network, one device | see `crew.passphrases.core` |

A pass has 47 bits, a link 133. Somebody who tries 1,000 passes a second, which is more than a service with one worker
answers, while 20 are open, finds one in 300 years on average. So passes need no protection against guessing, and this
limit only tells a program that floods the service to stop. The numbers are our own (common practice, no source); OWASP
ASVS 5.0 asks that limits are documented and lock nobody out (2.4.1, 6.1.1, 6.3.1).

Each worker process counts for itself, so N workers allow N times as much. That is harmless: passes still cannot be
guessed, and writes and photos are limited to keep one device from using all of a worker. Wrong passphrases, which can
be guessed, are counted in the database, for all workers and hosts together.
"""

import ipaddress
import math
from collections import OrderedDict, deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Lock

from service.kit.problems import Problem

KEYS_MOST = 10_000
"""The most keys in memory, about 10 MB at the worst; the key that was used least recently is removed first."""


class TooFast(Problem):
    """Too many requests; the next one is accepted after `wait` seconds."""

    status = 429
    title = "Too fast"


@dataclass(frozen=True)
class Limit:
    """At most `most` in any `seconds`. `what` begins the sentence of a refusal; `out` says what else can be done."""

    name: str
    most: int
    seconds: int
    what: str
    out: str = ""

    @property
    def window(self) -> timedelta:
        """How long each request counts."""
        return timedelta(seconds=self.seconds)


PASSES = Limit(
    "passes",
    10,
    600,
    "This pass is wrong, and many wrong ones came from your network.",
    "The right one lets you in at once: scan it, or look again at what you typed.",
)
WRITES = Limit("writes", 120, 60, "This device saves faster than anybody can test.")
PHOTOS = Limit("photos", 12, 60, "This device sends photos too fast.")


class Limiter:
    """Counts exactly in sliding windows. Threads may share it."""

    def __init__(self, keys_most: int = KEYS_MOST) -> None:
        self._seen: OrderedDict[tuple[str, str], deque[float]] = OrderedDict()
        self._keys_most = keys_most
        self._lock = Lock()

    def __len__(self) -> int:
        """How many keys are in memory."""
        return len(self._seen)

    def take(self, limit: Limit, key: str, now: datetime) -> None:
        """Count one more, if the limit allows it.

        Raises:
            TooFast: the limit is used up; nothing was counted.
        """
        at = now.timestamp()
        with self._lock:
            seen = self._seen.setdefault((limit.name, key), deque())
            self._seen.move_to_end((limit.name, key))
            # If the clock was set back, instants of the future remain; they are dropped like old ones.
            while seen and not at - limit.seconds < seen[0] <= at:
                seen.popleft()
            if len(seen) >= limit.most:
                raise _refusal(limit, seen[0] + limit.seconds - at)
            seen.append(at)
            if len(self._seen) > self._keys_most:
                self._seen.popitem(last=False)


def refuse_beyond(limit: Limit, moments: Sequence[datetime], now: datetime) -> None:
    """Refuse one more request if a limit is used up; `moments` are the instants of the earlier ones, in order.

    Raises:
        TooFast: the limit is used up.
    """
    within = [at for at in moments if at > now - limit.window]
    if len(within) >= limit.most:
        raise _refusal(limit, (within[-limit.most] + limit.window - now).total_seconds())


def network(host: str) -> str:
    """The network that an address belongs to: an IPv4 address itself, for IPv6 the /64 prefix that one customer has.

    >>> network("2001:db8:1:2:3:4:5:6")
    '2001:db8:1:2::/64'
    """
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if isinstance(address, ipaddress.IPv4Address):
        return host
    if address.ipv4_mapped is not None:
        return str(address.ipv4_mapped)
    return str(ipaddress.ip_network((int(address) >> 64 << 64, 64)))


def _refusal(limit: Limit, wait: float) -> TooFast:
    seconds = max(1, math.ceil(wait))
    until = f"{seconds} seconds" if seconds < 120 else f"{math.ceil(seconds / 60)} minutes"
    refusal = TooFast(f"{limit.what} {limit.out or f'Wait {until}, then send it again; nothing is lost.'}")
    refusal.wait = seconds
    return refusal
