"""Roles, secrets and the few rules about people. Pure."""

import hashlib
import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Protocol
from uuid import UUID
from zoneinfo import ZoneInfo

from service.kit.dates import local_date
from service.kit.problems import invalid
from service.kit.text import can_be_shown

NAME_MOST = 24
FIRST_NAME = "Our band program"
"""What a program is called until its lead names it."""
FIRST_LEAD = "First lead"
"""The label of the link of the first lead, who has no name yet."""
HANDED_OVER = "hand_over.taken"
"""The action in the audit trail when the next lead has taken over: `{"from": id of the one before}`."""
NAMED = "name.changed"
"""The action in the audit trail when somebody changes their name: `{"name": [before, after]}`."""
PASSPHRASE_LEAST = 12
ADDRESS_MOST = 254
"""Octets that a mail server takes (RFC 5321, 4.5.3.1, less the brackets)."""
PASS_LETTERS = 10  # 27^10, 47 bits: typed by hand, guessed never, behind a limit of tries
LINK_LETTERS = 28  # 27^28, 133 bits: opens everything, so beyond guessing by itself
LEAD_LONGEST = timedelta(days=7)
LINK_LASTS = timedelta(hours=24)
JUST_CAME = timedelta(minutes=15)
"""How long a new sign-in is proof enough of identity to set a passphrase without the old one."""

_FULL_NAME = re.compile(r"[^\W\d_][\w'’.-]+(?: [^\W\d_][\w'’.-]+)+")
_NEVER_IN_ADDRESS = set(' "(),:;<>[]\\')
_ALPHABET = "234679ACDEFGHJKMNPQRTUVWXYZ"


class Role(StrEnum):
    """What a person may do; each role includes those before it."""

    STRANGER = "stranger"
    VIEWER = "viewer"
    CREW = "crew"
    LEAD = "lead"

    def reaches(self, needed: "Role") -> bool:
        """Whether this role may do what `needed` may."""
        order = list(Role)
        return order.index(self) >= order.index(needed)


@dataclass(frozen=True)
class Who:
    """The person behind a request."""

    id: UUID
    display_name: str
    role: Role


@dataclass(frozen=True)
class Actor:
    """Who does something, and when: `now` is aware UTC, `zone` the program's. The argument of actions that write."""

    who: Who
    now: datetime
    zone: ZoneInfo

    @property
    def today(self) -> date:
        """The day of `now` in the program's zone."""
        return local_date(self.now, self.zone)


@dataclass(frozen=True)
class ProgramFacts:
    """The program's own settings: `unit` is "feet" or "meters", `zone` an IANA name; `end_a` and `end_b` are what the
    ends of its items are called, empty if they have no names of their own.
    """

    name: str
    zone: str
    unit: str
    return_note: str
    housekept_on: date | None
    end_a: str = ""
    end_b: str = ""

    def end(self, letter: str) -> str:
        """What an end is called: "red end", or "end A" where it has no name of its own."""
        return {"A": self.end_a, "B": self.end_b}[letter] or f"end {letter}"


class RandomSource(Protocol):
    """The part of a random source that is used (`random.SystemRandom`, or a seeded one in the demo)."""

    def choice(self, seq: str) -> str:
        """One of the letters."""


def secret(random: RandomSource, letters: int) -> str:
    """A secret of letters without look-alikes, so that it can be read aloud and typed."""
    return "".join(random.choice(_ALPHABET) for _ in range(letters))


def spelled(secret: str) -> str:
    """A secret in groups of five, to be read aloud and typed."""
    return "-".join(secret[at : at + 5] for at in range(0, len(secret), 5))


def tidy_secret(typed: str) -> str:
    """A typed secret without spaces, dashes and case."""
    return "".join(typed.split()).replace("-", "").upper()


def fingerprint(text: str) -> str:
    """The stored form of a secret: a hash."""
    return hashlib.sha256(text.encode()).hexdigest()


def unnamed(role: Role) -> str:
    """The label of a pass or a link that was made without a name."""
    return f"{role.value.title()} pass"


def invited(label: str) -> str:
    """The name of whom a link of one use was made for; empty where it was made for nobody by name.

    >>> invited("Robin"), invited(unnamed(Role.LEAD))
    ('Robin', '')
    """
    return "" if label in (FIRST_LEAD, *map(unnamed, Role)) else label


def tidy_name(typed: str) -> str:
    """A display name, trimmed.

    Raises:
        Invalid: empty, too long, or with characters that cannot be read.
    """
    name = " ".join(typed.split())
    if not name:
        raise invalid("name", "Enter a name that the others know you by.")
    if len(name) > NAME_MOST:
        raise invalid(
            "name", f"This name has {len(name)} characters; {NAME_MOST} are the most. A first name is enough."
        )
    if not can_be_shown(name):
        raise invalid("name", "This name has characters that cannot be shown. Type it again.")
    return name


def looks_full(name: str) -> bool:
    """Whether a display name looks like a first and a last name: two words or more, of letters."""
    return _FULL_NAME.fullmatch(name) is not None


def tidy_address(typed: str) -> str | None:
    """An address for mail; None where nothing was typed.

    Raises:
        Invalid: it cannot be one.
    """
    address = typed.strip()
    if not address:
        return None
    name, at, host = address.partition("@")
    fits = len(address) <= ADDRESS_MOST and address.isascii() and address.isprintable()
    if not (at and name and "." in host.strip(".") and "@" not in host and fits) or _NEVER_IN_ADDRESS & set(address):
        raise invalid("address", f"“{address[:60]}” is not an address for mail; write it like kit@example.org.")
    return address


def read_passphrase(typed: str, name: str, program: str) -> str:
    """A passphrase that is fit for a lead: long, and not the name of anything on the page.

    Raises:
        Invalid: with the reason.
    """
    if len(typed) < PASSPHRASE_LEAST:
        raise invalid(
            "passphrase",
            f"A passphrase needs {PASSPHRASE_LEAST} characters or more; four random words do well.",
        )
    if len(set(typed)) < 5 or typed.casefold() in (name.casefold(), program.casefold()):
        raise invalid("passphrase", "This passphrase is too easy to guess. Four random words do well.")
    return typed
