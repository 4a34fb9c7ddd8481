"""What a test says about an item: its verdict, its place in history, and the state that follows. Pure."""

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
"""How far in the future a test may lie: clocks differ a little, and no test was done tomorrow."""
CLOCK_ERROR_LEAST = timedelta(minutes=2)
"""How wrong a phone's clock has to be before it is corrected: less may be the way that an entry took."""
APART = timedelta(milliseconds=1)
"""How far two tests of one phone are put apart where the way here had changed their order."""
TOGETHER = AHEAD_MOST + 2 * CLOCK_ERROR_LEAST
"""Tests further apart than this keep their order, whatever is corrected."""

SCANNED = "scanned"
"""In addresses and forms: that the item's tag was read for it, so somebody holds the item."""


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
    """One finding; `end` None where it cannot be told."""

    kind: EvidenceClass
    end: End | None = None
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        """The finding as the log stores it."""
        return {"class": self.kind.value, "end": self.end, "note": self.note}


@dataclass(frozen=True)
class NewTest:
    """A test as it comes in from a form, a phone or a program; `id` is the client's own.

    `item` and `through` are codes, also such as a retag has ended. `wiring` is the item's own where None. `joined` is
    None where nothing was read (a listening test), else groups of contacts. `tested_at` and `sent_at` are the
    client's times; without the first it was done just now. `here_at` is when the service saw it coming: of a slow
    upload that is long before all of it was here. `tester` is the program's own tester that was used. `lane` is the
    lane that a single line took through pieces that have several; None where nobody said.
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
class LogEntry:
    """One line of an item's history: a test that stands, or a repair; `entry` is its id.

    `alone` says whether a test was of this item only: a fail through several proves nothing about one of them.
    `flexed` says whether both ends were bent while it was watched. `lanes` are all that the item has, `proves` those
    that the test proved, `hits` those that lie where it failed (empty where that was not told); `what` is a pass only
    where all lanes were proven. `doubted` is a test that its own tester marked as wrong, as long as no lead decided.
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
        """Whether it is a test that proved a lane of the item."""
        return self.what is What.PASS or lane in self.proves

    def failed_on(self, lanes: Collection[str]) -> bool:
        """Whether it shows that the item is bad on one of these lanes, as far as is told: a fail of it alone."""
        shows = self.what is What.FAIL and not self.doubted
        return shows and (not self.hits or not self.hits.isdisjoint(lanes))


_AT_ONCE = (What.FAIL, What.REPAIR, What.PARTIAL, What.PASS)


def in_time_order(history: Sequence[LogEntry]) -> list[LogEntry]:
    """The history sorted by time, whatever order it arrived in.

    What bears the same instant is taken as a fail, its repair and the pass after it would follow each other.
    """
    return sorted(history, key=lambda event: (event.at, _AT_ONCE.index(event.what), event.entry))


def with_evidence(from_readings: Verdict, evidence: Sequence[Evidence]) -> Verdict:
    """The verdict from readings and evidence together: any evidence of a fault makes it a fail."""
    shows_fault = any(one.kind is not FaultClass.FLEXED for one in evidence)
    return Verdict.FAIL if shows_fault else from_readings


def flexed(evidence: Sequence[Evidence]) -> bool:
    """Whether the item was bent at both ends while it was tested."""
    return any(one.kind is FaultClass.FLEXED for one in evidence)


@dataclass(frozen=True)
class Way:
    """How an entry came from a phone: the phone's times of what was done and of when it `sent` it (None where it does
    not say), when it was `here`, and when it was done by the service's clock.
    """

    phone_at: datetime
    sent: datetime | None
    here: datetime
    at: datetime

    @property
    def late(self) -> timedelta | None:
        """How far the service's clock was ahead of the phone's when it was here: the way to the service is in it."""
        return None if self.sent is None else self.here - self.sent


def corrected(
    phone_at: datetime | None,
    sent: datetime | None,
    here: datetime,
    field: str = "tested_at",
    what: str = "test",
    earlier: Iterable[timedelta] = (),
) -> datetime:
    """When something was done, by the service's clock. Without a time from the phone it was done just now.

    A phone's clock may be wrong by years: `sent`, the phone's time when it sends, tells by how much, once the entry is
    `here`; `earlier` is how `late` those were that it sent before.

    Raises:
        Invalid: it would still lie more than ten minutes in the future.
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
    """By how much a phone's clock is behind the service's; nothing, where that may be the way that an entry took.

    What was least late among those that a clock set alike sent tells best: the way only ever adds to it.
    """
    best = min((one for one in earlier if alike(one, late)), default=late)
    best = min(best, late)
    return best if abs(best) > CLOCK_ERROR_LEAST else timedelta()


def alike(one: timedelta | None, other: timedelta | None) -> bool:
    """Whether two entries were sent by a clock that was set alike, as far as how late they were can tell."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= CLOCK_ERROR_LEAST


def in_phone_order(new: Way, others: Iterable[Way]) -> datetime:
    """When a test was done, moved by as little as keeps it where its phone had it among the others of its item."""
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
    """A test as it counts in the history of an item with these lanes, of which it reached these.

    A fail through several is no fail of one of them. `doubted`: its own tester says that it was wrong, and no lead has
    decided. It proves nothing then, and clears nothing else of suspicion; a fail still keeps the item from use.
    """
    proves = NONE if doubted else reach.proves
    if verdict is Verdict.FAIL:
        what = What.FAIL if alone else What.PARTIAL
    else:
        what = What.PASS if proves.issuperset(lanes) else What.PARTIAL
    return LogEntry(at, what, entry, alone, flexed, lanes, proves, reach.fails, doubted)


def doubted(event: LogEntry) -> LogEntry:
    """The test as it counts once its own tester has marked it as wrong (see `event_of`)."""
    what = What.PARTIAL if event.what is What.PASS else event.what
    return replace(event, proves=NONE, what=what, doubted=True)


def lanes_of_item(history: Sequence[LogEntry]) -> tuple[str, ...]:
    """The lanes of the item whose history this is."""
    return next((event.lanes for event in history if len(event.lanes) > 1), ONE_LINE)


def by_lane(
    history: Sequence[LogEntry], suspected: Collection[tuple[UUID, str]] = ()
) -> list[Sequence[tuple[datetime, What]]]:
    """What happened to each lane of an item, and when. A fail and a repair are of all its lanes.

    `suspected` are failed tests through several, each with a lane that one of them still leaves suspect: there it
    counts as a fail until that lane is proven, or the bad piece is found.
    """
    return [[(event.at, _on_lane(event, lane, suspected)) for event in history] for lane in lanes_of_item(history)]


def days_by_lane(
    history: Sequence[LogEntry], suspected: Collection[tuple[UUID, str]], zone: ZoneInfo
) -> list[list[HistoryEntry]]:
    """A history as the due rule wants it, lane by lane: by local days, in the order it happened."""
    return [[HistoryEntry(local_date(at, zone), what) for at, what in lane] for lane in by_lane(history, suspected)]


def _on_lane(event: LogEntry, lane: str, suspected: Collection[tuple[UUID, str]]) -> What:
    if event.what in (What.FAIL, What.REPAIR):
        return event.what
    if event.proved(lane):
        return What.PASS
    return What.FAIL if (event.entry, lane) in suspected else What.PARTIAL


def as_one(history: Sequence[LogEntry]) -> Sequence[LogEntry]:
    """The same history where an item that is proven lane by lane passes with the test that proves its last lane."""
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
    """How the open fault of an item stands. `SWAPPED`: none is known, but a spare took its place, untested since."""

    NONE = "none"
    OPEN = "open"
    REPAIRED = "repaired"
    SWAPPED = "swapped"


_FAULTS = {What.FAIL: FaultStatus.OPEN, What.REPAIR: FaultStatus.REPAIRED}


def fault_of(history: Sequence[LogEntry], swapped_at: datetime | None = None) -> FaultStatus:
    """Whether an item has an open fault, or a repaired one that waits for its pass; `history` in time order.

    Of an item with several lanes every one has to pass. `swapped_at` is when a spare last took its place: that it is
    bad was said then, and only a later pass, or a lead, says otherwise.
    """
    waits = {open_fault(what for _, what in lane) for lane in by_lane(history)}
    fault = next((_FAULTS[what] for what in (What.FAIL, What.REPAIR) if what in waits), FaultStatus.NONE)
    if fault is FaultStatus.NONE and swapped_at is not None:
        since = [event for event in history if event.at > swapped_at]
        return FaultStatus.NONE if all_pass(history, since) else FaultStatus.SWAPPED
    return fault


def all_pass(history: Sequence[LogEntry], events: Sequence[LogEntry]) -> bool:
    """Whether these events of a history prove all lanes of the item. A fail of the item alone proves none of them: all
    have to pass once it is repaired.
    """
    passed = [event for event in events if event.what is not What.FAIL]
    return all(any(event.proved(lane) for event in passed) for lane in lanes_of_item(history))


def ends_proven(history: Sequence[LogEntry], events: Sequence[LogEntry]) -> bool:
    """Whether these events of a history, in time order, leave all lanes of the item proven: a later fail undoes what
    had passed, one through several on the lanes that lie where it failed.
    """
    every = set(lanes_of_item(history))
    left = every
    for event in events:
        proved = {lane for lane in every if event.proved(lane)}
        left = every if event.what is What.FAIL else (left | (event.hits & every)) - proved
    return not left


def state_after(current: ItemState, home: ItemState, before: FaultStatus, after: FaultStatus) -> ItemState:
    """The state of an item once its fault stands as `after`; `home` is where it goes back to.

    Retired and lost stay what they are: only a lead, or a count, brings them back.
    """
    if current in (ItemState.RETIRED, ItemState.LOST):
        return current
    if after is FaultStatus.OPEN:
        return ItemState.IN_REPAIR if current is ItemState.IN_REPAIR and before is after else ItemState.QUARANTINED
    if after is FaultStatus.REPAIRED:
        return ItemState.IN_REPAIR
    if after is FaultStatus.SWAPPED:
        # What a lead has brought back since stays, as long as nothing new is known.
        return current if before is after else ItemState.QUARANTINED
    if before is not FaultStatus.NONE and current not in USABLE:
        return home
    return current


def has_passed(since: datetime, history: Sequence[LogEntry]) -> bool:
    """Whether an item has passed a test since then, on every lane."""
    return all_pass(history, [event for event in history if event.at >= since])


def still_crackles(since: datetime, history: Sequence[LogEntry]) -> bool:
    """Whether an item is still suspect since then: only a pass with a flex test on every lane ends that."""
    return not all_pass(history, [event for event in history if event.flexed and event.at >= since])
