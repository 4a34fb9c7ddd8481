"""How fast one phone, one account or one address may go on: sliding windows in memory, the clock as an argument.

A limit is on what somebody could abuse, and never on how many people stand behind one address: a whole crew comes
through one hotspot. So writes and photos are counted by sign-in, and by address only what failed (passes that were
never made) or what few people do (signing in by passphrase).

| limit | of | most |
|---|---|---|
| signing in by passphrase | one name | 5 in a minute |
| signing in by passphrase | one address | 30 in a minute |
| passes that do not exist | one address | 10 in ten minutes |
| writes | one sign-in | 120 in a minute |
| photos to read | one sign-in | 12 in a minute, and two at once in the service (`tags.photo`) |

The numbers are ours (common practice, no source); that they are written down and lock nobody out is what OWASP ASVS
5.0 asks for (2.4.1, 6.1.1, 6.3.1). A lead whose name somebody else keeps busy comes in by a link. Each worker process
counts for itself, so several let through that many times more.
"""

import ipaddress
import math
from collections import OrderedDict, deque
from dataclasses import dataclass
from datetime import datetime
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
    """At most `most` of something in any `seconds`; `what` begins the sentence of a refusal."""

    name: str
    most: int
    seconds: int
    what: str


BY_NAME = Limit("sign-in by name", 5, 60, "This name was tried too often.")
BY_ADDRESS = Limit("sign-in by address", 30, 60, "Too many sign-ins came from your network.")
PASSES = Limit("passes", 10, 600, "Too many wrong passes came from your network.")
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

    def give_back(self, limit: Limit, key: str) -> None:
        """Take back the last count, since the request is none of those that are limited."""
        with self._lock:
            seen = self._seen.get((limit.name, key))
            if seen:
                seen.pop()


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
    refusal = TooFast(f"{limit.what} Wait {until}, then send it again; nothing is lost.")
    refusal.wait = seconds
    return refusal
