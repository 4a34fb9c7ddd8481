"""What to do about an item before an event, and why, in words and figures. Pure.

Nothing is retired automatically: a decision is advice by the program's thresholds, and a lead may overrule it. If there
are several reasons, the most pressing determines the action.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from itertools import islice
from uuid import UUID

from service.gear.core import KINDS, End
from service.kit.dates import format_date
from service.kit.quantities import Unit, format_chance, format_length
from service.retire.repair_or_replace.core import Choice, ComparedCosts, choice_in_words
from service.season.core import Due, DueState, What
from service.swaps.core import SPARE_DAYS
from service.testlog.core import FaultStatus, LogEntry

YEAR = 365.25
"""Days."""
BENT_REMEMBERED = timedelta(days=365)
"""How long a straightened contact is watched (common practice, no source)."""


class Action(StrEnum):
    """What to do about an item, in order of priority."""

    RETIRE = "retire"
    REPAIR_FIRST = "repair_first"
    TEST_FIRST = "test_first"
    WATCH = "watch"


COMES_OUT = (Action.RETIRE, Action.REPAIR_FIRST)
"""The actions that take an item out, so that a spare has to go in."""


@dataclass(frozen=True)
class NewLeadDecision:
    """A lead's decision on an item: what to do instead of what is advised (None: the advice counts again), why, and the
    first day on which it no longer holds.
    """

    action: Action | None
    reason: str
    until: date


class Reason(StrEnum):
    """Why an item is on the list."""

    BLOCKED = "blocked"
    REPEATED = "repeated"
    BENT_CONTACT = "bent_contact"
    SHORTENED = "shortened"
    NOT_WORTH_IT = "not_worth_it"
    REPAIR_OR_REPLACE = "repair_or_replace"
    OLD = "old"
    UNTESTED = "untested"
    OVERDUE = "overdue"
    SUSPECT = "suspect"
    AT_RISK = "at_risk"


@dataclass(frozen=True)
class Limits:
    """A program's thresholds; `service.retire.decisions.forms` has their bounds. All defaults are common practice.

    Retire an item that failed at one end in `repeat_fails` of its last `repeat_tests` tests; one that lost more than
    `shortened_percent` of its length; and one that a new one is the better choice for (`retire.repair_or_replace`),
    where a repair costs `repair_cents` unless the log has enough repairs. Look over an item older than `life_years`
    before it is repaired. Test an item whose chance of an undetected failure is `risk_percent` or more. A spare's pass
    may be `spare_days` old, and has to be of the current round, if there is one.
    """

    repeat_fails: int = 3
    repeat_tests: int = 8
    shortened_percent: int = 8
    life_years: int = 8
    repair_cents: int = 600
    risk_percent: int = 10
    spare_days: int = SPARE_DAYS


@dataclass(frozen=True)
class PastTest:
    """A test of an item alone: whether it failed, and at which ends, according to the test or the repair after it."""

    failed: bool
    ends: frozenset[End] = frozenset()


@dataclass(frozen=True)
class Gear:
    """What an item is judged by: its due state today and on the event's day, its open fault, and its record.

    `suspect` is the note with which it was marked suspect (may be ""), None if it is not. `tests` are its last tests,
    the oldest first. `bent_on` is when a contact of a multi-pin connector was last found bent, `still_bent` whether no
    repair has straightened it since. `bought_mm` is its length as bought. `comparison` is set while its fault is open.
    `risk` is the chance of an undetected failure by the event. Lengths in millimeters, 0 if the kind has none.
    """

    id: UUID
    kind: str
    wiring: str
    length_mm: int
    today: Due
    then: Due
    fault: FaultStatus = FaultStatus.NONE
    suspect: str | None = None
    tests: tuple[PastTest, ...] = ()
    bent_on: date | None = None
    still_bent: bool = False
    bought_mm: int = 0
    bought_on: date | None = None
    comparison: ComparedCosts | None = None
    risk: float | None = None


@dataclass(frozen=True)
class RetireReason:
    """One reason: its sentence, and the action that it asks for by itself."""

    reason: Reason
    why: str
    action: Action


def reasons_for(gear: Gear, limits: Limits, today: date, unit: Unit = Unit.FEET) -> list[RetireReason]:
    """Every reason to do something about an item before the event except its risk, the most pressing first."""
    possible = [
        _blocked(gear),
        _repeated(gear, limits),
        _bent(gear, today),
        _shortened(gear, limits, unit),
        _compared(gear, today),
        _old(gear, limits, today),
        *_not_proven(gear, today),
    ]
    reasons = [one for one in possible if one]
    if any(one.action is Action.RETIRE for one in reasons):  # a retired item is not repaired
        reasons = [one for one in reasons if one.reason not in (Reason.REPAIR_OR_REPLACE, Reason.OLD)]
    return sorted(reasons, key=lambda one: list(Action).index(one.action))


def reasons_of_broken(
    items: Iterable[Gear], limits: Limits, today: date, unit: Unit = Unit.FEET
) -> dict[UUID, list[RetireReason]]:
    """The reasons for each of these items with an open fault, in the order given."""
    return {one.id: reasons_for(one, limits, today, unit) for one in items if one.fault is FaultStatus.OPEN}


def action_of(reasons: Sequence[RetireReason]) -> Action:
    """The action of the most pressing reason."""
    return min((one.action for one in reasons), key=list(Action).index)


def at_risk(gear: Gear, limits: Limits, spare: str | None, is_tested: bool = True) -> RetireReason | None:
    """The reason that its risk reaches the limit, None if it does not; `spare` is the code of the spare that goes in.

    Without `is_tested`, by a lead's decision, the sentence only gives the chance.
    """
    if not is_at_risk(gear, limits) or gear.risk is None:
        return None
    chance = format_chance(gear.risk, limit=limits.risk_percent / 100)
    why = f"{chance} chance that it is bad by the event (limit {limits.risk_percent} %)."
    if is_tested:
        why += f" If it is, {spare} goes in." if spare else " Test first, nothing to put in."
    return RetireReason(Reason.AT_RISK, why, Action.TEST_FIRST)


def is_at_risk(gear: Gear, limits: Limits) -> bool:
    """Whether its risk reaches the program's limit."""
    return gear.risk is not None and gear.risk >= limits.risk_percent / 100


def _blocked(gear: Gear) -> RetireReason | None:
    if DueState.BLOCKED not in (gear.today.state, gear.then.state):
        return None
    if gear.fault is FaultStatus.REPAIRED:
        return RetireReason(Reason.BLOCKED, "Repaired, but no pass proves it yet.", Action.TEST_FIRST)
    if gear.fault is FaultStatus.NONE:
        return RetireReason(Reason.BLOCKED, "It may be the bad one of several that failed together.", Action.TEST_FIRST)
    return RetireReason(Reason.BLOCKED, "It failed and is not repaired.", Action.REPAIR_FIRST)


def _repeated(gear: Gear, limits: Limits) -> RetireReason | None:
    last = gear.tests[-limits.repeat_tests :]
    fails = Counter(end for test in last if test.failed for end in sorted(test.ends))
    if not fails:
        return None
    end, count = max(fails.items(), key=lambda one: (one[1], one[0]))
    count_text = f"Failed at end {end} in {count} of its last {len(last)} tests"
    if count >= limits.repeat_fails:
        return RetireReason(Reason.REPEATED, f"{count_text} (limit {limits.repeat_fails}).", Action.RETIRE)
    if count == limits.repeat_fails - 1 and count > 1:
        return RetireReason(
            Reason.REPEATED, f"{count_text}; at {limits.repeat_fails} it is to be retired.", Action.WATCH
        )
    return None


def _bent(gear: Gear, today: date) -> RetireReason | None:
    if gear.bent_on is None:
        return None
    on = format_date(gear.bent_on, today)
    if gear.still_bent and gear.fault is FaultStatus.OPEN:
        why = f"A contact was bent on {on}. Plug it in nowhere: it spoils what it is plugged into."
        return RetireReason(Reason.BENT_CONTACT, why, Action.REPAIR_FIRST)
    if gear.fault is not FaultStatus.REPAIRED and today - gear.bent_on <= BENT_REMEMBERED:
        why = f"A contact was bent on {on} and straightened; such contacts break. Look into the connector."
        return RetireReason(Reason.BENT_CONTACT, why, Action.WATCH)
    return None


def _shortened(gear: Gear, limits: Limits, unit: Unit) -> RetireReason | None:
    if not is_shortened(gear.length_mm, gear.bought_mm, limits):
        return None
    limit = limits.shortened_percent / 100
    lost = format_chance((gear.bought_mm - gear.length_mm) / gear.bought_mm, limit=limit)
    now, bought = format_length(gear.length_mm, unit), format_length(gear.bought_mm, unit)
    why = f"Cut down to {now} from {bought}: {lost} of its length is lost (limit {limits.shortened_percent} %)."
    return RetireReason(Reason.SHORTENED, why, Action.RETIRE)


def is_shortened(length_mm: int, bought_mm: int, limits: Limits) -> bool:
    """Whether a cable has lost so much of its length that it no longer counts as one of its length as bought."""
    return 100 * (bought_mm - length_mm) > limits.shortened_percent * bought_mm


def _compared(gear: Gear, today: date) -> RetireReason | None:
    if gear.fault is not FaultStatus.OPEN or gear.comparison is None:
        return None
    why = choice_in_words(gear.comparison, today)
    if gear.comparison.better is Choice.REPLACE:
        return RetireReason(Reason.NOT_WORTH_IT, why, Action.RETIRE)
    return RetireReason(Reason.REPAIR_OR_REPLACE, why, Action.REPAIR_FIRST)


def _old(gear: Gear, limits: Limits, today: date) -> RetireReason | None:
    if gear.fault is not FaultStatus.OPEN or gear.bought_on is None:
        return None
    years = (today - gear.bought_on).days / YEAR
    if years < limits.life_years:
        return None
    why = (
        f"It is {int(years)} years old, and your limit is {limits.life_years}: look over its jacket and connectors "
        "before it is repaired. Age alone retires nothing."
    )
    return RetireReason(Reason.OLD, why, Action.WATCH)


def _not_proven(gear: Gear, today: date) -> list[RetireReason]:
    reasons = []
    if DueState.UNTESTED in (gear.today.state, gear.then.state):
        reasons.append((Reason.UNTESTED, "It never passed a test."))
    if gear.today.state is DueState.OVERDUE:
        reasons.append((Reason.OVERDUE, f"Overdue: it had to pass by {_format_day(gear.today.last_day, today)}."))
    elif gear.then.state is DueState.OVERDUE:
        last = _format_day(gear.then.last_day, today)
        reasons.append((Reason.OVERDUE, f"Overdue at the event, unless it passes by {last}."))
    if gear.suspect is not None:
        note = gear.suspect.rstrip(".") or "it crackled"
        reasons.append((Reason.SUSPECT, f"Suspect: {note}. It is likelier bad than its chance says."))
    return [RetireReason(reason, why, Action.TEST_FIRST) for reason, why in reasons]


def _format_day(day: date | None, today: date) -> str:
    return format_date(day, today) if day else "its last day"


@dataclass(frozen=True)
class Sort:
    """Items that are bought as the same article. Length in millimeters, 0 if the kind has none."""

    kind: str
    wiring: str
    length_mm: int

    @property
    def order(self) -> tuple[int, str, int]:
        """The sort key of lists: by kind, wiring, length."""
        return list(KINDS).index(self.kind), self.wiring, self.length_mm

    @property
    def key(self) -> str:
        """Its name in a form."""
        return f"{self.kind}.{self.wiring}.{self.length_mm}"


def sort_of(gear: Gear) -> Sort:
    """The sort to buy in place of an item."""
    return Sort(gear.kind, gear.wiring, gear.bought_mm)


@dataclass(frozen=True)
class Price:
    """The price of one in cents: as a lead set it (`by_lead`), else as paid last, on `paid_on`."""

    cents: int
    paid_on: date | None = None
    by_lead: bool = False


@dataclass(frozen=True)
class Purchase:
    """The purchase of an item: its sort, the day and the price in cents, each None if nobody entered it."""

    sort: Sort
    on: date | None
    cents: int | None


@dataclass
class Failure:
    """A failed test of one item alone: when, the ends that it named, and the ends with a bent contact.

    `bent` contains None for a bent contact whose end was not entered.
    """

    at: datetime
    ends: set[End] = field(default_factory=set)
    bent: set[End | None] = field(default_factory=set)


@dataclass(frozen=True)
class RetireRecord:
    """The part of an item's log by which it is judged; the fields are those of `Gear`."""

    tests: tuple[PastTest, ...] = ()
    bent_on: date | None = None
    still_bent: bool = False


def last_tests(
    history: Sequence[LogEntry], failed: Sequence[Failure], repairs: Sequence[tuple[datetime, End | None]], most: int
) -> tuple[PastTest, ...]:
    """The last `most` tests of an item alone; a failure that named no end gets the end of the next repair."""
    ends_of = {failure.at: failure.ends for failure in failed}
    alone = (event for event in reversed(history) if event.what in (What.PASS, What.FAIL) and event.alone)
    tests = [*islice(alone, most)][::-1]
    outcomes = []
    for position, event in enumerate(tests):
        if event.what is What.PASS:
            outcomes.append(PastTest(failed=False))
            continue
        until = tests[position + 1].at if position + 1 < len(tests) else None
        ends = ends_of.get(event.at) or _next_repair(event.at, until, repairs)
        outcomes.append(PastTest(failed=True, ends=frozenset(ends)))
    return tuple(outcomes)


def is_still_bent(failure: Failure, repairs: Iterable[tuple[datetime, End | None]]) -> bool:
    """Whether no repair since then can have straightened the contact: one at that end, or without a named end."""
    ends = failure.bent - {None}
    since = {end for at, end in repairs if at >= failure.at}
    return not since if not ends else None not in since and not ends <= since


def _next_repair(after: datetime, until: datetime | None, repairs: Iterable[tuple[datetime, End | None]]) -> set[End]:
    between = (end for at, end in repairs if end and at >= after and (until is None or at <= until))
    first = next(between, None)
    return {first} if first else set()
