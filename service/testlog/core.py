"""Tests and histories of items: verdicts, times, faults, and the resulting states. Pure."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.crew.core import Who
from service.gear.core import USABLE, End, ItemState
from service.kit.dates import local_date
from service.kit.problems import invalid
from service.season.core import HistoryEntry, What, open_fault
from service.testlog.reach import NONE, ONE_LINE, Reach
from service.wiring.faults import EvidenceClass, FaultClass

AHEAD_MOST = timedelta(minutes=10)
"""How far in the future the time of a test may be: clocks differ a little."""
CLOCK_ERROR_LEAST = timedelta(minutes=2)
"""How wrong a phone's clock has to be before it is corrected: a smaller difference may be transmission time."""
APART = timedelta(milliseconds=1)
"""The distance that two tests of one phone get if their transmission had changed their order."""
TOGETHER = AHEAD_MOST + 2 * CLOCK_ERROR_LEAST
"""Tests further apart than this keep their order under any correction."""

SCANNED = "scanned"
"""A field of URLs and forms: the item's tag was scanned, so somebody holds the item."""


class Method(StrEnum):
    """How a test was done."""

    TWO_ENDED = "two_ended"
    PHANTOM = "phantom"
    METER = "meter"
    LISTENING = "listening"


class Verdict(StrEnum):
    """The result of a test."""

    PASS = "pass"  # noqa: S105
    FAIL = "fail"
    PARTIAL = "partial"


@dataclass(frozen=True)
class Evidence:
    """One finding; `end` None if it is unknown."""

    kind: EvidenceClass
    end: End | None = None
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        """The finding as it is stored."""
        return {"class": self.kind.value, "end": self.end, "note": self.note}


@dataclass(frozen=True)
class NewTest:
    """A test as it is sent by a form, a phone or a program; `id` is made by the client.

    `item` and `through` are codes, which a retag may have ended. `wiring` None means the item's own. `joined` has
    groups of contacts, None if nothing was read (a listening test). `tested_at` and `sent_at` are the client's times;
    without `tested_at` it was done just now. `here_at` is when the first bytes of the request arrived, which is long
    before the last ones of a slow upload. `tester` is the program's own tester that was used. `lane` is the lane that a
    single channel took through pieces with several; None if unknown.
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
    lane: str | None = None


@dataclass(frozen=True)
class SubmittedTest:
    """A test with who sent it (None: the service itself), and when it arrived."""

    test: NewTest
    by: Who | None
    at: datetime


@dataclass(frozen=True)
class NewRepair:
    """A repair as it is sent: what was done, at which end (None: in between), the new length if it was cut, cost."""

    id: UUID
    item: str
    what: str
    end: End | None = None
    length_mm: int | None = None
    cost_cents: int | None = None


@dataclass(frozen=True, slots=True)
class LogEntry:
    """An entry of an item's history: a test that was not voided, or a repair; `entry` is its id.

    `alone`: the test was of this item only; a fail through several proves nothing about one of them. `flexed`: both
    ends were bent while it was watched. `lanes` are all lanes of the item, `proves` those that the test proved, `hits`
    those on which it failed (empty if unknown); `what` is a pass only if all lanes were proven. `doubted`: its own
    tester marked it as wrong, and no lead has decided yet.
    """

    at: datetime
    what: What
    entry: UUID
    alone: bool = True
    flexed: bool = False
    lanes: tuple[str, ...] = ONE_LINE
    proves: frozenset[str] = frozenset()
    hits: frozenset[str] = frozenset()
    doubted: bool = False

    def proved(self, lane: str) -> bool:
        """Whether it is a test that proved this lane of the item."""
        return self.what is What.PASS or lane in self.proves

    def failed_on(self, lanes: Collection[str]) -> bool:
        """Whether it is a fail of the item alone on one of these lanes, or on unknown ones."""
        shows = self.what is What.FAIL and not self.doubted
        return shows and (not self.hits or not self.hits.isdisjoint(lanes))


_AT_ONCE = (What.FAIL, What.REPAIR, What.PARTIAL, What.PASS)


def in_time_order(history: Sequence[LogEntry]) -> list[LogEntry]:
    """The history sorted by time.

    Entries with the same time are ordered as a fail, its repair and the pass after it.
    """
    return sorted(history, key=lambda event: (event.at, _AT_ONCE.index(event.what), event.entry))


def with_evidence(from_readings: Verdict, evidence: Sequence[Evidence]) -> Verdict:
    """The verdict by readings and evidence: any evidence of a fault makes it a fail."""
    shows_fault = any(one.kind is not FaultClass.FLEXED for one in evidence)
    return Verdict.FAIL if shows_fault else from_readings


def flexed(evidence: Sequence[Evidence]) -> bool:
    """Whether the item was bent at both ends while it was tested."""
    return any(one.kind is FaultClass.FLEXED for one in evidence)


@dataclass(frozen=True)
class Way:
    """The times of an entry from a phone: when it was done by the phone's clock (`phone_at`), when it was `sent` (None
    if unknown), when it arrived `here`, and when it was done by the service's clock (`at`).
    """

    phone_at: datetime
    sent: datetime | None
    here: datetime
    at: datetime

    @property
    def late(self) -> timedelta | None:
        """The service's clock minus the phone's when it arrived, the transmission time included."""
        return None if self.sent is None else self.here - self.sent


def corrected(
    phone_at: datetime | None,
    sent: datetime | None,
    here: datetime,
    field: str = "tested_at",
    what: str = "test",
    earlier: Iterable[timedelta] = (),
) -> datetime:
    """When something was done, by the service's clock; `here` without a time from the phone.

    A phone's clock may be wrong by years. The difference between `sent`, the phone's time of sending, and `here` is its
    error; `earlier` is how late (`Way.late`) its entries before were.

    Raises:
        Invalid: it would still be more than ten minutes in the future.
    """
    if phone_at is None:
        return here
    done = phone_at + (clock_error(here - sent, earlier) if sent is not None else timedelta())
    if done > here + AHEAD_MOST:
        raise invalid(
            field,
            f"The {what} is dated {phone_at.isoformat()}, which is in the future. "
            "Check the clock, or leave the time out.",
        )
    return min(done, here)


def clock_error(late: timedelta, earlier: Iterable[timedelta] = ()) -> timedelta:
    """By how much a phone's clock is behind the service's; 0 if the difference may be transmission time.

    The least late of the entries sent with the same setting of the clock is the best estimate, as transmission only
    adds to it.
    """
    best = min((one for one in earlier if alike(one, late)), default=late)
    best = min(best, late)
    return best if abs(best) > CLOCK_ERROR_LEAST else timedelta()


def alike(one: timedelta | None, other: timedelta | None) -> bool:
    """Whether two entries may have been sent with the same setting of the clock, by how late they were."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= CLOCK_ERROR_LEAST


def in_phone_order(new: Way, others: Iterable[Way]) -> datetime:
    """When a test was done, moved as little as possible to keep the phone's order among the tests of its item."""
    others = [other for other in others if alike(other.late, new.late)]
    after = max((other.at for other in others if other.phone_at < new.phone_at), default=None)
    before = min((other.at for other in others if other.phone_at > new.phone_at), default=None)
    at = new.at
    if after is not None and at <= after:
        at = after + APART
    if before is not None and at >= before:
        at = before - APART
        if after is not None and at <= after:
            at = after + (before - after) / 2
    return at


def event_of(
    at: datetime,
    verdict: Verdict,
    entry: UUID,
    lanes: tuple[str, ...],
    reach: Reach,
    *,
    alone: bool,
    flexed: bool,
    doubted: bool = False,
) -> LogEntry:
    """The history entry of a test, for an item with these `lanes`, of which the test reached those of `reach`.

    A fail through several items is no fail of one of them. A `doubted` test, which its own tester marked as wrong and
    no lead has decided about, proves nothing and clears no suspicion; a doubted fail still keeps the item out of use.
    """
    proves = NONE if doubted else reach.proves
    if verdict is Verdict.FAIL:
        what = What.FAIL if alone else What.PARTIAL
    else:
        what = What.PASS if proves.issuperset(lanes) else What.PARTIAL
    return LogEntry(at, what, entry, alone, flexed, lanes, proves, reach.fails, doubted)


def doubted(event: LogEntry) -> LogEntry:
    """The entry of a test once its own tester has marked it as wrong (see `event_of`)."""
    what = What.PARTIAL if event.what is What.PASS else event.what
    return replace(event, proves=NONE, what=what, doubted=True)


def lanes_of_item(history: Sequence[LogEntry]) -> tuple[str, ...]:
    """The lanes of the item whose history this is."""
    return next((event.lanes for event in history if len(event.lanes) > 1), ONE_LINE)


def by_lane(
    history: Sequence[LogEntry], suspected: Collection[tuple[UUID, str]] = ()
) -> list[Sequence[tuple[datetime, What]]]:
    """The history of each lane of an item: when, and what. Fails and repairs count for all lanes.

    `suspected` are failed tests through several items, each with a lane that it still leaves suspect: on that lane it
    counts as a fail until the lane is proven, or the bad piece is known.
    """
    return [[(event.at, _on_lane(event, lane, suspected)) for event in history] for lane in lanes_of_item(history)]


def days_by_lane(
    history: Sequence[LogEntry], suspected: Collection[tuple[UUID, str]], zone: ZoneInfo
) -> list[list[HistoryEntry]]:
    """A history as input of the due rule: for each lane the entries by local day, in time order."""
    return [[HistoryEntry(local_date(at, zone), what) for at, what in lane] for lane in by_lane(history, suspected)]


def _on_lane(event: LogEntry, lane: str, suspected: Collection[tuple[UUID, str]]) -> What:
    if event.what in (What.FAIL, What.REPAIR):
        return event.what
    if event.proved(lane):
        return What.PASS
    return What.FAIL if (event.entry, lane) in suspected else What.PARTIAL


def as_one(history: Sequence[LogEntry]) -> Sequence[LogEntry]:
    """The history of the item as a whole: if its lanes are proven one by one, the test of the last one is its pass."""
    lanes = lanes_of_item(history)
    if len(lanes) == 1:
        return history
    missing, whole = set(lanes), []
    for event in history:
        if event.what in (What.FAIL, What.REPAIR):
            missing = set(lanes)
        else:
            missing -= {lane for lane in lanes if event.proved(lane)}
        if event.what is What.PARTIAL and not missing:
            event = replace(event, what=What.PASS)
        if not missing:
            missing = set(lanes)
        whole.append(event)
    return whole


class FaultStatus(StrEnum):
    """The status of an item's fault. `SWAPPED`: none is known, but a spare took its place, and no test came since."""

    NONE = "none"
    OPEN = "open"
    REPAIRED = "repaired"
    SWAPPED = "swapped"


_FAULTS = {What.FAIL: FaultStatus.OPEN, What.REPAIR: FaultStatus.REPAIRED}


def fault_of(history: Sequence[LogEntry], swapped_at: datetime | None = None) -> FaultStatus:
    """The status of an item's fault: open, repaired and waiting for its pass, or none; `history` is in time order.

    All lanes of an item have to pass. `swapped_at` is when a spare last took its place: it was reported as bad then,
    and only a later pass, or a lead, ends that.
    """
    waits = {open_fault(what for _, what in lane) for lane in by_lane(history)}
    fault = next((_FAULTS[what] for what in (What.FAIL, What.REPAIR) if what in waits), FaultStatus.NONE)
    if fault is FaultStatus.NONE and swapped_at is not None:
        since = [event for event in history if event.at > swapped_at]
        return FaultStatus.NONE if all_pass(history, since) else FaultStatus.SWAPPED
    return fault


def all_pass(history: Sequence[LogEntry], events: Sequence[LogEntry]) -> bool:
    """Whether these events of a history prove all lanes of the item. After a fail of the item alone all lanes have to
    pass again.
    """
    passed = [event for event in events if event.what is not What.FAIL]
    return all(any(event.proved(lane) for event in passed) for lane in lanes_of_item(history))


def ends_proven(history: Sequence[LogEntry], events: Sequence[LogEntry]) -> bool:
    """Whether all lanes of the item are proven after these events of a history, in time order. A fail undoes earlier
    passes; one through several items only on the lanes on which it failed.
    """
    every = set(lanes_of_item(history))
    left = every
    for event in events:
        proved = {lane for lane in every if event.proved(lane)}
        left = every if event.what is What.FAIL else (left | (event.hits & every)) - proved
    return not left


def state_after(current: ItemState, home: ItemState, before: FaultStatus, after: FaultStatus) -> ItemState:
    """The state of an item after its fault has gone from status `before` to `after`; `home` is its state when usable.

    Retired and lost items stay so: only a lead, or a count, brings them back.
    """
    if current in (ItemState.RETIRED, ItemState.LOST):
        return current
    if after is FaultStatus.OPEN:
        return ItemState.IN_REPAIR if current is ItemState.IN_REPAIR and before is after else ItemState.QUARANTINED
    if after is FaultStatus.REPAIRED:
        return ItemState.IN_REPAIR
    if after is FaultStatus.SWAPPED:
        # A lead may have brought it back since; that holds as long as nothing new is known.
        return current if before is after else ItemState.QUARANTINED
    if before is not FaultStatus.NONE and current not in USABLE:
        return home
    return current


def has_passed(since: datetime, history: Sequence[LogEntry]) -> bool:
    """Whether an item has passed a test since then, on every lane."""
    return all_pass(history, [event for event in history if event.at >= since])


def still_crackles(since: datetime, history: Sequence[LogEntry]) -> bool:
    """Whether an item is still suspect since then: only a pass with both ends flexed on every lane clears it."""
    return not all_pass(history, [event for event in history if event.flexed and event.at >= since])
