"""Judging items by the program's thresholds, setting those, and a lead's word against a decision."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from itertools import islice
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.gear.core import End
from service.gear.wirings import find_wiring
from service.kit.dates import local_date
from service.retire.decisions import queries
from service.retire.decisions.core import Action, Limits, Tried
from service.retire.decisions.models import Overrule, PullLimits
from service.retire.decisions.queries import Failure
from service.season.core import What
from service.testlog.core import LogEntry
from service.testlog.history_cache import histories
from service.wiring.wirings import connector_of

FEW_CONTACTS = 4
"""Contacts that a connector of single lines has, with its shell; one with more counts as one with many."""


@dataclass(frozen=True)
class RetireRecord:
    """What an item's log says against it: its last tests, and when a contact of many was last found bent."""

    tests: tuple[Tried, ...] = ()
    bent_on: date | None = None


def limits(db: Session) -> Limits:
    """The program's thresholds."""
    row = queries.limits(db)
    return Limits(**{name: getattr(row, name) for name in asdict(Limits())}) if row else Limits()


def set_limits(db: Session, new: Limits, who: Who, now: datetime) -> None:
    """Keep the program's thresholds."""
    db.merge(PullLimits(id=1, **asdict(new)))
    note_in_audit(db, now, who.id, "pull.limits", "thresholds of the pull list", asdict(new))


def overrule(
    db: Session, event_id: UUID, item_id: UUID, action: Action | None, reason: str, who: Who, now: datetime
) -> None:
    """Keep a lead's word on one line; without an action the decision counts again."""
    db.add(Overrule(event_id=event_id, item_id=item_id, action=action, reason=reason, at=now, person_id=who.id))
    note_in_audit(db, now, who.id, "pull.overruled", str(item_id), {"action": action, "reason": reason})


def records(db: Session, wirings: Mapping[UUID, str], zone: ZoneInfo, most: int) -> dict[UUID, RetireRecord]:
    """What the log says against each item that ever failed; `wirings` are those of the items that are judged.

    Histories are looked at only of what failed more than once: nothing else can fail repeatedly. `most` is how many
    tests back are looked at.
    """
    failed = {item_id: found for item_id, found in queries.failures(db).items() if item_id in wirings}
    again = [item_id for item_id, found in failed.items() if len(found) > 1]
    known = histories(db) if again else {}
    repairs = queries.repaired_ends(db) if again else {}
    told = {}
    for item_id, found in failed.items():
        tests = tried(known[item_id], found, repairs.get(item_id, []), most) if len(found) > 1 else ()
        told[item_id] = RetireRecord(tests, _bent_on(db, wirings[item_id], found, zone))
    return told


def tried(
    history: Sequence[LogEntry], failed: Sequence[Failure], repairs: Sequence[tuple[datetime, End]], most: int
) -> tuple[Tried, ...]:
    """The last tests of an item alone; a failure that told no end is at the end of the repair that came next."""
    told = {failure.at: failure.ends for failure in failed}
    alone = (event for event in reversed(history) if event.what in (What.PASS, What.FAIL) and event.alone)
    tests = [*islice(alone, most)][::-1]
    found = []
    for position, event in enumerate(tests):
        if event.what is What.PASS:
            found.append(Tried(failed=False))
            continue
        until = tests[position + 1].at if position + 1 < len(tests) else None
        ends = told.get(event.at) or _next_repair(event.at, until, repairs)
        found.append(Tried(failed=True, ends=frozenset(ends)))
    return tuple(found)


def _next_repair(after: datetime, until: datetime | None, repairs: Iterable[tuple[datetime, End]]) -> set[End]:
    between = (end for at, end in repairs if at >= after and (until is None or at <= until))
    first = next(between, None)
    return {first} if first else set()


def _bent_on(db: Session, wiring: str, failed: Sequence[Failure], zone: ZoneInfo) -> date | None:
    if not any(failure.bent for failure in failed):
        return None
    many = [end for end in End if _contacts(db, wiring, end) > FEW_CONTACTS]
    for failure in reversed(failed):
        if any(end in many or (end is None and many) for end in failure.bent):
            return local_date(failure.at, zone)
    return None


def _contacts(db: Session, wiring: str, end: End) -> int:
    """The contacts of the largest connector at an end."""
    counted = Counter(connector_of(contact) for contact in find_wiring(db, wiring).contacts(end))
    return max(counted.values(), default=0)
