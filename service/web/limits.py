"""How fast one phone or one network may go on: sliding windows in memory, the clock as an argument.

A limit is on what somebody could abuse, and never on how many people stand behind one address: a whole crew comes
through one hotspot. So writes and photos are counted by sign-in, and by network only what was wrong.

| limit | of | most |
|---|---|---|
| passes that do not exist | one sign-in, or one network | 10 in ten minutes; a right one is always let in |
| writes | one sign-in | 120 in a minute |
| photos to read | one sign-in | 12 in a minute, and two at once in the service (`tags.photo`) |
| wrong passphrases | one name, one network, one device | see `crew.passphrases.core` |

A pass has 47 bits, a link 133. Whoever tries 1,000 passes a second, which is more than a service with one worker
answers, while 20 are open, finds one in 300 years on average: so a wrong one needs no more than to be told apart
from a right one, and the limit only tells a program that floods to stop. The numbers are ours (common practice, no
source); that they are written down and lock nobody out is what OWASP ASVS 5.0 asks for (2.4.1, 6.1.1, 6.3.1).

Each worker process counts these for itself, so several let through that many times more: of passes that is still
nothing, and writes and photos are limited to keep one device from taking a whole worker. Wrong passphrases, which can
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
"""Keys that are remembered, about 10 MB at the worst; the one that was quiet the longest is forgotten first."""


class TooFast(Problem):
    """Too many requests; `wait` is how many seconds until the next one is accepted."""

    status = 429
    title = "Too fast"


@dataclass(frozen=True)
class Limit:
    """At most `most` of something in any `seconds`; `what` begins the sentence of a refusal, `out` is another way."""

    name: str
    most: int
    seconds: int
    what: str
    out: str = ""

    @property
    def window(self) -> timedelta:
        """For so long each of them counts."""
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
    """Counts in sliding windows, exactly. Safe to share between threads."""

    def __init__(self, keys_most: int = KEYS_MOST) -> None:
        self._seen: OrderedDict[tuple[str, str], deque[float]] = OrderedDict()
        self._keys_most = keys_most
        self._lock = Lock()

    def __len__(self) -> int:
        """How many keys are remembered."""
        return len(self._seen)

    def take(self, limit: Limit, key: str, now: datetime) -> None:
        """Count one more, if the limit allows it.

        Raises:
            TooFast: there is none; nothing was counted.
        """
        at = now.timestamp()
        with self._lock:
            seen = self._seen.setdefault((limit.name, key), deque())
            self._seen.move_to_end((limit.name, key))
            # A clock that was set back leaves moments of the future behind: they count no more than old ones.
            while seen and not at - limit.seconds < seen[0] <= at:
                seen.popleft()
            if len(seen) >= limit.most:
                raise _refusal(limit, seen[0] + limit.seconds - at)
            seen.append(at)
            if len(self._seen) > self._keys_most:
                self._seen.popitem(last=False)


def refuse_beyond(limit: Limit, moments: Sequence[datetime], now: datetime) -> None:
    """Refuse one more where a limit is used up; `moments` are when the others came, in order.

    Raises:
        TooFast: there is no room.
    """
    within = [at for at in moments if at > now - limit.window]
    if len(within) >= limit.most:
        raise _refusal(limit, (within[-limit.most] + limit.window - now).total_seconds())


def network(host: str) -> str:
    """The network that an address counts for: an IPv4 address by itself, of IPv6 the /64 that one customer has.

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
