"""How often a passphrase may be guessed. Pure.

Leads choose their passphrases, so they can be guessed, unlike passes and links. A wrong try counts for an hour; a
right one does not count.

| wrong tries | most |
|---|---|
| one name from one network, on devices that never signed in under it | 5 a minute, 20 an hour |
| one name from everywhere, on such devices | 60 an hour |
| all names from one network, on such devices | 30 a minute |
| one name from one device that signed in under it before | 5 a minute, 30 an hour, counted by itself |

So somebody who guesses from one network uses up a third of a name's hour and keeps nobody out elsewhere; from three
networks on they keep new devices from signing in under that name, but no device that did before, and nobody who
comes by a link. From however many networks, a name takes 60 guesses an hour: 525,600 a year, fewer than the 1.5
million common passphrases that are refused when one is set. A device that was stolen takes 30 an hour on top, under
the names that signed in on it. The numbers are ours (common practice, no source).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.web.limits import Limit, refuse_beyond

COUNTED = timedelta(hours=1)
"""For how long a try counts."""
AHEAD = timedelta(minutes=1)
"""Clocks of several hosts may differ by so much; what is dated later was written before a clock was set back."""

_LINK = "A link lets you in at once: another lead makes one, or coilbook pass where Coilbook runs."
_NAME = "This name was tried too often."
_HERE = "Too many sign-ins came from your network."

HERE_MINUTE = Limit("name from a network, a minute", 5, 60, _NAME, _LINK)
HERE_HOUR = Limit("name from a network, an hour", 20, 3600, _NAME, _LINK)
NAME_HOUR = Limit("name from everywhere, an hour", 60, 3600, _NAME, _LINK)
NETWORK_MINUTE = Limit("all names from a network, a minute", 30, 60, _HERE, _LINK)
DEVICE_MINUTE = Limit("name from a known device, a minute", 5, 60, _NAME, _LINK)
DEVICE_HOUR = Limit("name from a known device, an hour", 30, 3600, _NAME, _LINK)


@dataclass(frozen=True)
class PassphraseTry:
    """A try: fingerprints of the name and of where it came from, and whether that is a device known under this name."""

    name: str
    source: str
    known: bool


def refuse_too_many(now: datetime, wanted: PassphraseTry, earlier: Iterable[tuple[datetime, PassphraseTry]]) -> None:
    """Refuse a try where the limits are used up; `earlier` are those that may count.

    Raises:
        TooFast: with when there is room again.
    """
    counted = [(at, each) for at, each in sorted(earlier, key=lambda one: one[0]) if now - COUNTED < at <= now + AHEAD]

    def moments(*, name: bool = True, source: bool = True) -> Sequence[datetime]:
        return [
            at
            for at, each in counted
            if each.known == wanted.known
            and (not name or each.name == wanted.name)
            and (not source or each.source == wanted.source)
        ]

    if wanted.known:
        refuse_beyond(DEVICE_MINUTE, moments(), now)
        refuse_beyond(DEVICE_HOUR, moments(), now)
        return
    refuse_beyond(NETWORK_MINUTE, moments(name=False), now)
    refuse_beyond(HERE_MINUTE, moments(), now)
    refuse_beyond(HERE_HOUR, moments(), now)
    refuse_beyond(NAME_HOUR, moments(source=False), now)
