"""The full record of an item for its page."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import Row
from sqlalchemy.orm import Session

from service.crew.queries import names_of
from service.gear import queries as gear
from service.gear.core import End, item_name
from service.gear.models import Flag, ItemLength, Note, Placement, Port, StateChange
from service.gear.wirings import connectors_in_words, wiring_name
from service.home.items.queries import ItemRow, item_rows
from service.kit.quantities import Unit


@dataclass(frozen=True)
class ItemRecord:
    """Everything about an item except its tests; its history has the names of people."""

    row: ItemRow
    name: str
    wiring: str
    connectors: dict[str, str]
    ports: Sequence[Port]
    placements: Sequence[Row[Placement, str, str | None]]
    states: Sequence[StateChange]
    lengths: Sequence[ItemLength]
    flags: Sequence[Flag]
    notes: Sequence[Note]
    names: dict[UUID | None, str]


def record(db: Session, item_id: UUID, unit: Unit) -> ItemRecord:
    """The record of this item."""
    row = item_rows(db, [item_id])[item_id]
    ports, states = gear.ports(db, item_id), gear.states(db, item_id)
    flags, notes = gear.flags(db, item_id), gear.notes(db, item_id)
    people = [step.person_id for step in states] + [note.person_id for note in notes]
    people += [person for flag in flags for person in (flag.raised_by, flag.cleared_by)]
    return ItemRecord(
        row=row,
        name=item_name(row.facts.kind, row.facts.length_mm, unit),
        wiring=wiring_name(db, row.facts.wiring),
        connectors={end: connectors_in_words(ports, end) for end in End},
        ports=ports,
        placements=gear.placements(db, item_id),
        states=states,
        lengths=gear.lengths(db, item_id),
        flags=flags,
        notes=notes,
        names=names_of(db, people),
    )
