"""Actions on seasons. What is due depends on them, so housekeeping computes the due states of their items again, and
pages make it do so at once.
"""

from collections.abc import Collection
from datetime import date
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear.queries import item_facts
from service.home.seasons.queries import is_name_taken, usable_items
from service.kit.problems import Conflict, invalid
from service.lines.checks.queries import was_checked
from service.lines.inputs.queries import own_input_list_of
from service.retire.lists.queries import has_history
from service.season import actions as season
from service.season.core import shifted
from service.season.forms import EventEntry, SeasonEntry
from service.season.models import SeasonRow
from service.season.queries import enlisted, get_event, get_season, rules
from service.testlog.due_states import let_run_out


def make(db: Session, actor: Actor, season_id: UUID, entry: SeasonEntry, everything: bool) -> str:
    """Add a season; with `everything`, all items in service and all spares belong to it."""
    items = usable_items(db) if everything else []
    season.add_season(db, season_id, entry.name, entry.rule, items, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "season.made", entry.name)
    _reckon(db, actor, items)
    return str(season_id)


def copy(db: Session, actor: Actor, season_id: UUID, like: SeasonRow, name: str, starts: date) -> str:
    """Add a season like another one: as long, with the same rounds, for those of its items that are still used.

    Its events are not copied: their days differ from year to year, and guessed ones would appear in calendars.

    Raises:
        Invalid: another season has the name.
    """
    if is_name_taken(db, name):
        raise invalid("name", f"There is a season called {name} already. Give this one a name of its own.")
    rule = shifted(rules(db, [like.id])[like.id], starts)
    items = enlisted(db, like.id) & set(usable_items(db))
    season.add_season(db, season_id, name, rule, items, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "season.copied", name, {"like": like.name})
    _reckon(db, actor, items)
    return str(season_id)


def change(db: Session, actor: Actor, season_id: str, entry: SeasonEntry) -> None:
    """Change a season's name, days and rounds."""
    row = get_season(db, season_id)
    season.change_season(db, row, entry.name, entry.rule, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "season.changed", entry.name)
    _reckon(db, actor, enlisted(db, row.id))


def choose(db: Session, actor: Actor, season_id: str, shown: Collection[UUID], chosen: Collection[UUID]) -> None:
    """Of the items `shown`, put the `chosen` into a season, and take the others out of it.

    Raises:
        Invalid: one of them is not an item.
    """
    row = get_season(db, season_id)
    if set(shown) - item_facts(db, shown).keys():
        raise invalid("shown", "This page is out of date. Open it again, and choose the items there.")
    others = set(shown) - set(chosen)
    season.enlist(db, chosen, [row.id])
    season.delist(db, others, row.id)
    note_in_audit(db, actor.now, actor.who.id, "season.items", row.name, {"in": len(set(chosen)), "out": len(others)})
    _reckon(db, actor, shown)


def add_event(db: Session, actor: Actor, season_id: str, entry: EventEntry) -> None:
    """Add an event to a season; if there is a similar one, a confirmation is asked for first."""
    row = get_season(db, season_id)
    if not entry.sure:
        season.refuse_double(db, row.id, entry.name, entry.on)
    season.add_event(db, row.id, entry.name, entry.kind, entry.on, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "event.made", entry.name)


def change_event(db: Session, actor: Actor, event_id: str, entry: EventEntry) -> None:
    """Change an event."""
    event = get_event(db, event_id)
    if not entry.sure:
        season.refuse_double(db, event.season_id, entry.name, entry.on, event)
    season.change_event(db, event, entry.name, entry.kind, entry.on, actor.now)
    note_in_audit(db, actor.now, actor.who.id, "event.changed", entry.name)


def drop_event(db: Session, actor: Actor, event_id: str) -> None:
    """Remove an event from its season.

    Raises:
        Conflict: its pull list was used or printed, or it has an input list or had a line check: history has to stay.
    """
    row = get_event(db, event_id)
    if own_input_list_of(db, row.id) is not None:
        raise Conflict(
            f"{row.name} has an input list of its own, and that stays in the book. Change its day or name instead."
        )
    if was_checked(db, row.id):
        raise Conflict(f"{row.name} had a line check, and that stays in the book. Change its day or name instead.")
    if has_history(db, row.id):
        raise Conflict(
            f"The pull list of {row.name} was worked with, and that stays in the book. Change its day or name instead."
        )
    note_in_audit(db, actor.now, actor.who.id, "event.dropped", row.name)
    db.delete(row)


def _reckon(db: Session, actor: Actor, item_ids: Collection[UUID]) -> None:
    let_run_out(db, item_ids, actor.today)
