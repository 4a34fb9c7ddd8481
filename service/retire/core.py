"""The pull list: what to take out or see to before an event, why, and what goes in instead. Pure.

An item in use is judged as of today and as of the event's day, since a round may close in between. A spare goes in
for it when kind and wiring are the same, it is as long or longer, and it has itself passed; the shortest that fits
is taken, and none twice.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from service.kit.dates import show_date
from service.season.core import Due, DueState
from service.testlog.core import Fault


class Reason(StrEnum):
    """Why an item is on the list."""

    BLOCKED = "blocked"
    OVERDUE = "overdue"
    UNTESTED = "untested"
    SUSPECT = "suspect"


class Action(StrEnum):
    """What to do about it, the most pressing first."""

    PULL = "pull"
    REPAIR_FIRST = "repair_first"
    TEST_FIRST = "test_first"


@dataclass(frozen=True)
class Gear:
    """An item as the list judges it: its due state today and on the event's day, and its open fault.

    `suspect` is what was said when it was suspected ("" where nothing was), None where nobody did. Length in
    millimeters, 0 where the kind has none.
    """

    id: UUID
    kind: str
    wiring: str
    length_mm: int
    today: Due
    then: Due
    fault: Fault = Fault.NONE
    suspect: str | None = None


@dataclass(frozen=True)
class Line:
    """One line of the list: `why` has a sentence for each reason; `spare` is an item that fits in its place."""

    item: Gear
    reasons: tuple[Reason, ...]
    why: tuple[str, ...]
    action: Action
    spare: UUID | None = None


def pull_list(in_use: Sequence[Gear], spares: Sequence[Gear], today: date) -> list[Line]:
    """The lines for the items in use that need something, in the order given, each spare named once.

    Items that cannot stay, since a fault is open, get their spare before those that a test may clear.
    """
    judged = [(item, found) for item in in_use if (found := reasons(item, today))]
    free = sorted((spare for spare in spares if not reasons(spare, today)), key=lambda spare: spare.length_mm)
    named: dict[UUID, UUID] = {}
    for item, _ in sorted(judged, key=lambda one: one[0].fault is not Fault.OPEN):
        spare = next((spare for spare in free if fits(spare, item)), None)
        if spare is not None:
            free.remove(spare)
            named[item.id] = spare.id
    return [
        Line(item, tuple(found), tuple(found.values()), action(item, item.id in named), named.get(item.id))
        for item, found in judged
    ]


def reasons(item: Gear, today: date) -> dict[Reason, str]:
    """Why an item needs something before the event, a sentence each; empty where it needs nothing."""
    found: dict[Reason, str] = {}
    if DueState.BLOCKED in (item.today.state, item.then.state):
        repaired = item.fault is Fault.REPAIRED
        found[Reason.BLOCKED] = (
            "Repaired, but no pass proves it yet." if repaired else "It failed and is not repaired."
        )
    if DueState.UNTESTED in (item.today.state, item.then.state):
        found[Reason.UNTESTED] = "It never passed a test."
    if item.today.state is DueState.OVERDUE:
        found[Reason.OVERDUE] = f"Overdue: it had to pass by {_shown(item.today.last_day, today)}."
    elif item.then.state is DueState.OVERDUE:
        found[Reason.OVERDUE] = (
            f"Overdue at the event, unless it passes by {_shown(item.then.last_day, today)}."
        )
    if item.suspect is not None:
        found[Reason.SUSPECT] = (
            f"Suspect: {item.suspect.rstrip('.')}." if item.suspect else "Suspect: it crackled."
        )
    return found


def action(item: Gear, has_spare: bool) -> Action:
    """What to do about an item on the list: an open fault comes out, or is repaired where nothing can go in."""
    if item.fault is Fault.OPEN:
        return Action.PULL if has_spare else Action.REPAIR_FIRST
    return Action.TEST_FIRST


def fits(spare: Gear, item: Gear) -> bool:
    """Whether a spare can go in for an item: the same kind and wiring, and as long or longer."""
    same = (spare.kind, spare.wiring) == (item.kind, item.wiring)
    return same and spare.length_mm >= item.length_mm


def _shown(day: date | None, today: date) -> str:
    return show_date(day, today) if day else "its last day"
