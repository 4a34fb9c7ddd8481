"""What the next lead has to know: the gear, what is open, and what to do first."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.exchange.handover import queries
from service.gear.core import KINDS, ItemState
from service.gear.queries import ItemFacts
from service.retire.lists.actions import event_for, pull_list
from service.retire.lists.queries import PullList
from service.season import queries as season
from service.season.core import DueState, RoundProgress
from service.season.models import Event, SeasonRow
from service.store.backup import last_backup
from service.tags.queries import how_many_wait
from service.testlog.rounds import progress

LISTED = 40
"""The most items in each list on the page; of the rest it says how many there are."""


@dataclass(frozen=True)
class HandoverFacts:
    """What the next lead has to know, as of today. It has no student's name."""

    counts: list[tuple[str, dict[ItemState, int]]]
    open: list[tuple[ItemFacts, str]]
    faults: dict[UUID, str]
    overdue: list[tuple[ItemFacts, str]]
    due: dict[DueState, int]
    season: SeasonRow | None
    rounds: list[RoundProgress]
    events: list[Event]
    pull: PullList | None
    waiting: int
    backup: datetime | None
    backups: Path

    def total(self, *states: ItemState) -> int:
        """How many items are in these states."""
        return sum(by_state.get(state, 0) for _, by_state in self.counts for state in states)


def handover_facts(db: Session, today: date, zone: ZoneInfo, backups: Path) -> HandoverFacts:
    """All facts as of today. `backups` is the folder of backups."""
    row = season.current(season.seasons(db), today)
    event = event_for(db, None, today)
    in_repair = queries.in_states(db, (ItemState.QUARANTINED, ItemState.IN_REPAIR), LISTED)
    return HandoverFacts(
        counts=[(KINDS[kind].plural, states) for kind, states in queries.counts(db).items()],
        open=in_repair,
        faults=queries.last_faults(db, [item.id for item, _ in in_repair]),
        overdue=queries.overdue(db, LISTED),
        due=season.due_counts(db),
        season=row,
        rounds=progress(db, row.id, zone) if row else [],
        events=list(season.next_events(db, today, 3)),
        pull=pull_list(db, event, today, zone) if event else None,
        waiting=how_many_wait(db),
        backup=last_backup(db),
        backups=backups,
    )
