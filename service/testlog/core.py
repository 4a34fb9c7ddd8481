"""What a test says about an item: its verdict, its place in history, and the state that follows. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any
from uuid import UUID

from service.crew.core import Who
from service.gear.core import USABLE, End, ItemState
from service.kit.problems import invalid
from service.season.core import What, open_fault
from service.wiring.builtin import BUILTIN
from service.wiring.faults import FaultClass, Told
from service.wiring.wirings import Wiring

AHEAD_MOST = timedelta(minutes=10)
"""How far in the future a test may lie: clocks differ a little, and no test was done tomorrow."""
CLOCK_TOLD = timedelta(minutes=2)
"""How wrong a phone's clock has to be before it is corrected: less may be the way that an entry took."""
APART = timedelta(milliseconds=1)
"""How far two tests of one phone are put apart where the way here had changed their order."""
TOGETHER = AHEAD_MOST + 2 * CLOCK_TOLD
"""Tests further apart than this keep their order, whatever is corrected."""


class Method(StrEnum):
    """How a test was done."""

    TWO_ENDED = "two_ended"
    PHANTOM = "phantom"
    METER = "meter"
    LISTENING = "listening"


class Verdict(StrEnum):
    """What a test comes to."""

    PASS = "pass"  # noqa: S105
    FAIL = "fail"
    PARTIAL = "partial"


@dataclass(frozen=True)
class Evidence:
    """One finding; `end` None where it cannot be told."""

    kind: Told
    end: End | None = None
    note: str = ""


@dataclass(frozen=True)
class NewTest:
    """A test as it comes in from a form, a phone or a program; `id` is the client's own.

    `item` and `through` are codes, also such as a retag has ended. `wiring` is the item's own where None. `joined` is
    None where nothing was read (a listening test), else groups of contacts. `tested_at` and `sent_at` are the
    client's times; without the first it was done just now. `here_at` is when the service saw it coming: of a slow
    upload that is long before all of it was here. `tester` is the program's own tester that was used.
    """

    id: UUID
    item: str
    through: tuple[str, ...] = ()
    wiring: str | None = None
    method: Method = Method.TWO_ENDED
    joined: Sequence[Sequence[str]] | None = None
    probed: Any = "all"
    evidence: tuple[Evidence, ...] = ()
    note: str = ""
    tested_at: datetime | None = None
    sent_at: datetime | None = None
    here_at: datetime | None = None
    session: UUID | None = None
    tester: UUID | None = None


@dataclass(frozen=True)
class Said:
    """A test that somebody (None: the service itself) says was done, as it arrived `at` the service."""

    test: NewTest
    by: Who | None
    at: datetime


@dataclass(frozen=True)
class NewRepair:
    """What was done to an item: at which end (None: along it), its new length (mm) if it was cut, and the cost."""

    id: UUID
    item: str
    what: str
    end: End | None = None
    length_mm: int | None = None
    cost_cents: int | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """One line of an item's history: a test that stands, or a repair; `entry` is its id.

    `alone` says whether a test was of this item only: a fail through several proves nothing about one of them.
    `flexed` says whether both ends were bent while it was watched.
    """

    at: datetime
    what: What
    entry: UUID
    alone: bool = True
    flexed: bool = False


_AT_ONCE = (What.FAIL, What.REPAIR, What.PARTIAL, What.PASS)


def in_time_order(history: Sequence[Event]) -> list[Event]:
    """The history as it happened, whatever order it arrived in.

    What bears the same instant is taken as a fail, its repair and the pass after it would follow each other.
    """
    return sorted(history, key=lambda event: (event.at, _AT_ONCE.index(event.what), event.entry))


def with_evidence(from_readings: Verdict, evidence: Sequence[Evidence]) -> Verdict:
    """The verdict, once evidence has its word: any evidence of a fault makes it a fail."""
    found = any(one.kind is not FaultClass.FLEXED for one in evidence)
    return Verdict.FAIL if found else from_readings


def flexed(evidence: Sequence[Evidence]) -> bool:
    """Whether the item was bent at both ends while it was tested."""
    return any(one.kind is FaultClass.FLEXED for one in evidence)


def readable(text: str) -> str:
    """The text trimmed, if all of it can be shown and kept.

    Raises:
        Invalid: it has characters that no keyboard types.
    """
    if not all(character.isprintable() or character in "\n\r\t" for character in text):
        raise invalid("note", "This text has characters that cannot be shown. Type it again.")
    return text.strip()


def through_wiring(key: str, wiring: Wiring, items: int) -> str:
    """The wiring that a test is taken by where none is named: the item's own.

    A multicore tested through its hub and fan-out looks like three-contact lines side by side, one for each lane.
    """
    lanes = len(wiring.lanes) or len(wiring.pairs)
    side_by_side = f"xlr3x{lanes}"
    return side_by_side if items > 1 and side_by_side in BUILTIN else key


@dataclass(frozen=True)
class Way:
    """How an entry came from a phone: the phone's times of what was done and of when it `sent` it (None where it does
    not say), when it was `here`, and when it was done by the service's clock.
    """

    told: datetime
    sent: datetime | None
    here: datetime
    at: datetime

    @property
    def late(self) -> timedelta | None:
        """How far the service's clock was ahead of the phone's when it was here: the way to the service is in it."""
        return None if self.sent is None else self.here - self.sent


def corrected(
    told: datetime | None,
    sent: datetime | None,
    here: datetime,
    field: str = "tested_at",
    what: str = "test",
    earlier: Iterable[timedelta] = (),
) -> datetime:
    """When something was done, by the service's clock: just now, where nothing is told.

    A phone's clock may be wrong by years: `sent`, the phone's time when it sends, tells by how much, once the entry is
    `here`; `earlier` is how `late` those were that it sent before.

    Raises:
        Invalid: it would still lie more than ten minutes in the future.
    """
    if told is None:
        return here
    done = told + (clock_error(here - sent, earlier) if sent is not None else timedelta())
    if done > here + AHEAD_MOST:
        raise invalid(
            field,
            f"The {what} is dated {told.isoformat()}, which is in the future. Check the clock, or leave the time out.",
        )
    return min(done, here)


def clock_error(late: timedelta, earlier: Iterable[timedelta] = ()) -> timedelta:
    """By how much a phone's clock is behind the service's; nothing, where that may be the way that an entry took.

    What was least late among those that a clock set alike sent tells best: the way only ever adds to it.
    """
    best = min((one for one in earlier if alike(one, late)), default=late)
    best = min(best, late)
    return best if abs(best) > CLOCK_TOLD else timedelta()


def alike(one: timedelta | None, other: timedelta | None) -> bool:
    """Whether two entries were sent by a clock that was set alike, as far as how late they were can tell."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= CLOCK_TOLD


def in_phone_order(new: Way, others: Iterable[Way]) -> datetime:
    """When a test was done, moved by as little as keeps it where its phone had it among the others of its item."""
    others = [other for other in others if alike(other.late, new.late)]
    after = max((other.at for other in others if other.told < new.told), default=None)
    before = min((other.at for other in others if other.told > new.told), default=None)
    at = new.at
    if after is not None and at <= after:
        at = after + APART
    if before is not None and at >= before:
        at = before - APART
        if after is not None and at <= after:
            at = after + (before - after) / 2
    return at


def what_of(verdict: Verdict, alone: bool, doubted: bool = False) -> What:
    """How a test counts in the history of an item it went through: a fail of several proves nothing about one.

    `doubted`: its own tester says that it was wrong, and no lead has decided. A pass proves nothing then; a fail still
    keeps the item from use.
    """
    if verdict is Verdict.PASS and doubted:
        return What.PARTIAL
    if verdict is Verdict.FAIL and not alone:
        return What.PARTIAL
    return What(verdict.value)


class Fault(StrEnum):
    """How the open fault of an item stands. `SWAPPED`: none is known, but a spare took its place, untested since."""

    NONE = "none"
    OPEN = "open"
    REPAIRED = "repaired"
    SWAPPED = "swapped"


_FAULTS = {None: Fault.NONE, What.FAIL: Fault.OPEN, What.REPAIR: Fault.REPAIRED}


def fault_of(history: Sequence[Event], swapped_at: datetime | None = None) -> Fault:
    """Whether an item has an open fault, or a repaired one that waits for its pass; `history` in time order.

    `swapped_at` is when a spare last took its place: that it is bad was said then, and only a later pass, or a lead,
    says otherwise.
    """
    fault = _FAULTS[open_fault(event.what for event in history)]
    if fault is Fault.NONE and swapped_at is not None:
        passed_since = any(event.what is What.PASS and event.at > swapped_at for event in history)
        return Fault.NONE if passed_since else Fault.SWAPPED
    return fault


def state_after(current: ItemState, home: ItemState, before: Fault, after: Fault) -> ItemState:
    """The state of an item once its fault stands as `after`; `home` is where it goes back to.

    Retired and lost stay what they are: only a lead, or a count, brings them back.
    """
    if current in (ItemState.RETIRED, ItemState.LOST):
        return current
    if after is Fault.OPEN:
        return (
            ItemState.IN_REPAIR
            if current is ItemState.IN_REPAIR and before is after
            else ItemState.QUARANTINED
        )
    if after is Fault.REPAIRED:
        return ItemState.IN_REPAIR
    if after is Fault.SWAPPED:
        # What a lead has brought back since stays, as long as nothing new is known.
        return current if before is after else ItemState.QUARANTINED
    if before is not Fault.NONE and current not in USABLE:
        return home
    return current


def through_suspects(
    entry: UUID, at: datetime, items: Sequence[UUID], histories: Mapping[UUID, Sequence[Event]]
) -> set[UUID]:
    """Which items a failed test through several still leaves suspect.

    None once one of them is found: it fails alone afterwards, or had an open fault at the time. Otherwise those that
    have not passed since.
    """
    before = {
        item: [event for event in histories[item] if event.at <= at and event.entry != entry]
        for item in items
    }
    since = {item: [event for event in histories[item] if event.at > at] for item in items}
    found = any(
        fault_of(before[item]) is Fault.OPEN or any(event.what is What.FAIL for event in since[item])
        for item in items
    )
    return (
        set()
        if found
        else {item for item in items if not any(event.what is What.PASS for event in since[item])}
    )


def has_passed(since: datetime, history: Sequence[Event]) -> bool:
    """Whether an item has passed a test since then."""
    return any(event.what is What.PASS and event.at >= since for event in history)


def still_crackles(since: datetime, history: Sequence[Event]) -> bool:
    """Whether an item that was called suspect still is: only a pass with a flex test ends that."""
    return not any(event.what is What.PASS and event.flexed and event.at >= since for event in history)
