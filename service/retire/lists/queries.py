"""Look-ups of pull lists and their prints; each table is read once, however many items there are."""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any
from uuid import UUID

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from service.crew.core import Actor
from service.crew.models import Person
from service.gear.core import FlagKind, ItemState
from service.gear.models import FLAG_IS_OPEN, Flag, Place, Port
from service.gear.queries import NOWHERE, ItemFacts
from service.kit.problems import NotFound
from service.retire.decisions.core import COMES_OUT, Action, Gear, Limits, Price, Sort
from service.retire.decisions.models import Overrule
from service.retire.decisions.queries import LeadDecision
from service.retire.lists.core import Changes, Decided, FittingPiece, Ports, Printed, changes
from service.retire.lists.models import PullPrint, PullTick, PullUntick
from service.retire.standings.core import Basis, Standing
from service.retire.standings.queries import ItemStanding
from service.season.models import Event
from service.store.sessions import cached, chunks
from service.wear.core.risk import Chance


@dataclass(frozen=True)
class Ticked:
    """A tick that was not taken back: the item, what was done and why, the spare, the place, when and by whom."""

    id: UUID
    item_id: UUID
    action: Action
    why: tuple[str, ...]
    spare_id: UUID | None
    place: str
    place_b: str
    walk_order: int
    at: datetime
    by: str


def suspects(db: Session) -> dict[UUID, str]:
    """The note of each item that is suspect now."""
    query = select(Flag.item_id, Flag.note).where(Flag.flag == FlagKind.SUSPECT, FLAG_IS_OPEN)
    return {row.item_id: row.note for row in db.execute(query.order_by(Flag.id))}


def ports(db: Session, item_ids: Collection[UUID]) -> dict[UUID, Ports]:
    """The connectors of each of these items, which a spare has to match; cached, as they never change."""
    memory: dict[UUID, Ports] = cached(db, "ports")
    known = {item_id: memory[item_id] for item_id in item_ids if item_id in memory}
    ports_of: dict[UUID, list[tuple[str, int, str, str]]] = defaultdict(list)
    for ids in chunks(item_id for item_id in item_ids if item_id not in known):
        query = select(Port.item_id, Port.end, Port.connector, Port.type, Port.gender)
        for item_id, *port in db.execute(query.where(Port.item_id.in_(ids)).order_by(Port.end, Port.connector)):
            ports_of[item_id].append(tuple(port))  # type: ignore[arg-type]
    fresh = {item_id: tuple(each) for item_id, each in ports_of.items()}
    memory.update(fresh)
    return known | fresh


def ticked(db: Session, event_id: UUID) -> list[Ticked]:
    """The ticks of an event's list that were not taken back, the last first."""
    return [_as_ticked(row) for row in db.execute(_standing().where(PullTick.event_id == event_id))]


def tick_of(db: Session, event_id: UUID, item_id: UUID) -> Ticked | None:
    """The tick of one item, None if it has none or that was taken back."""
    query = _standing().where(PullTick.event_id == event_id, PullTick.item_id == item_id)
    row = db.execute(query.limit(1)).first()
    return _as_ticked(row) if row else None


def _standing() -> Select[*tuple[object, ...]]:
    place_a, place_b = aliased(Place), aliased(Place)
    return (
        select(PullTick, place_a.name, place_b.name, place_a.walk_order, Person.display_name)
        .outerjoin(PullUntick, PullUntick.tick_id == PullTick.id)
        .outerjoin(place_a, place_a.id == PullTick.place_a_id)
        .outerjoin(place_b, place_b.id == PullTick.place_b_id)
        .outerjoin(Person, Person.id == PullTick.person_id)
        .where(PullUntick.tick_id.is_(None))
        .order_by(PullTick.at.desc(), PullTick.id)
    )


def _as_ticked(row: Sequence[Any]) -> Ticked:
    tick, place, place_b, order, by = row
    return Ticked(
        tick.id,
        tick.item_id,
        Action(tick.action),
        tuple(tick.why),
        tick.spare_id,
        place or "",
        place_b or "",
        order if order is not None else NOWHERE,
        tick.at,
        by or "",
    )


def is_taken_back(db: Session, tick_id: UUID) -> bool:
    """Whether a tick was taken back."""
    return db.get(PullUntick, tick_id) is not None


def worked_since(db: Session, since: datetime) -> UUID | None:
    """The event whose list was ticked last, if it was since then."""
    query = select(PullTick.event_id).where(PullTick.received_at >= since)
    return db.scalar(query.order_by(PullTick.received_at.desc()).limit(1))


def has_history(db: Session, event_id: UUID) -> bool:
    """Whether an event's list has ticks, leads' decisions or prints."""
    return any(
        db.scalar(select(func.count()).select_from(table).where(table.event_id == event_id))
        for table in (PullTick, PullPrint, Overrule)
    )


@dataclass(frozen=True)
class PullRow:
    """A row of a pull list: the item, its code, what is advised, and what has been done.

    `decided` is None if nothing is left to do, since it was ticked; `bought_mm` is the item's length as bought. `spare`
    is the one that goes in, or that goes in if the item fails; once ticked, the one that went in. `would_fit` are
    spares with their codes that could go in once they pass, if none is proven.
    """

    item: ItemFacts
    code: str
    decided: Decided | None
    bought_mm: int
    spare: ItemFacts | None = None
    spare_code: str | None = None
    lead_decision: LeadDecision | None = None
    done: Ticked | None = None
    would_fit: tuple[tuple[ItemFacts, str], ...] = ()

    @property
    def action(self) -> Action:
        """What to do, or what was done."""
        if self.done is not None:
            return self.done.action
        return self.decided.action if self.decided else Action.WATCH

    @property
    def why(self) -> tuple[str, ...]:
        """Why, a sentence each."""
        if self.done is not None:
            return self.done.why
        return self.decided.why if self.decided else ()

    @property
    def comes_out(self) -> bool:
        """Whether the item is to be taken out, or was."""
        return self.action in COMES_OUT

    @property
    def unfilled(self) -> bool:
        """Whether the item comes out, or came out, without a spare."""
        return self.comes_out and self.spare is None

    @property
    def waits(self) -> bool:
        """Whether it was taken out for repair and is not yet repaired, or has not yet passed since."""
        waiting = self.item.state in (ItemState.QUARANTINED, ItemState.IN_REPAIR)
        return self.done is not None and self.action is Action.REPAIR_FIRST and waiting

    @property
    def place(self) -> tuple[int, str, str]:
        """Its position on the walk: the place's turn, and the places of its two ends."""
        if self.done is not None:
            return self.done.walk_order, self.done.place, self.done.place_b
        return self.item.walk_order, self.item.place, self.item.place_b


@dataclass(frozen=True)
class JudgedGear:
    """Items in use, spare or in repair by a day, with the inputs and results of judging them: all that a list has to
    look at, or all there are.

    `bought` are lengths as bought in millimeters, `chances` the chances of an undetected failure by the day. `basis` is
    what the standings rest on, and `worked_out` are those that were not stored.
    """

    standings: list[ItemStanding]
    gear: dict[UUID, Gear]
    limits: Limits
    bought: dict[UUID, int]
    chances: Mapping[UUID, Chance]
    prices: dict[Sort, Price]
    basis: Basis
    worked_out: Mapping[UUID, Standing]


@dataclass(frozen=True)
class PullList:
    """The pull list of an event, in walking order; `judged` is how many items in use were judged.

    `judged_gear` are the items that it looks at, the spares with them, and `states` their states. `in_use` are those
    that are no spares; of ticked ones those that stay in service. `ready` are the spares that may go in, `waiting`
    those that may once they pass. `pieces` has the shape and length of each item. `lead_decisions` are the leads'
    decisions in force. `advised` is what to do about each item with an open fault, spares and ticked items included.
    """

    event: Event
    judged_gear: JudgedGear
    judged: int
    rows: list[PullRow]
    states: dict[UUID, ItemState]
    in_use: set[UUID]
    ready: list[FittingPiece]
    waiting: list[FittingPiece]
    pieces: dict[UUID, FittingPiece]
    lead_decisions: dict[UUID, LeadDecision]
    advised: dict[UUID, Action]

    @property
    def open(self) -> list[PullRow]:
        """The rows still to be done."""
        return [row for row in self.rows if row.done is None]

    @property
    def counts(self) -> dict[Action, int]:
        """How many open rows ask for each action."""
        return {action: sum(row.action is action for row in self.open) for action in Action}

    @property
    def places(self) -> list[tuple[str, list[PullRow]]]:
        """The rows, place by place."""
        return [(place, list(rows)) for place, rows in groupby(self.rows, key=lambda row: row.place[1])]

    @property
    def shopping(self) -> dict[Sort, int]:
        """How many of each sort are missing in the case and have to be bought.

        Items that come out for repair are not counted: each fills its own gap.
        """
        missing: dict[Sort, int] = {}
        for row in self.rows:
            if self.is_bought(row):
                sort = Sort(row.item.kind, row.item.wiring, row.bought_mm)
                missing[sort] = missing.get(sort, 0) + 1
        return dict(sorted(missing.items(), key=lambda one: one[0].order))

    def is_bought(self, row: PullRow) -> bool:
        """Whether a new item is to be bought for a row: it has no spare, and its item does not come back."""
        return row.unfilled and self.advised.get(row.item.id, row.action) is Action.RETIRE

    @property
    def gaps_until_repaired(self) -> int:
        """How many items come out for repair without a spare."""
        waiting = (row for row in self.rows if row.unfilled and (row.done is None or row.waits))
        return sum(not self.is_bought(row) for row in waiting)

    def of(self, item_id: UUID) -> PullRow | None:
        """The row of an item, or the row whose spare it is."""
        mine = (row for row in self.rows if row.item.id == item_id)
        theirs = (row for row in self.rows if row.spare and row.spare.id == item_id and row.done is None)
        return next(mine, None) or next(theirs, None)


ItemNamer = Callable[[ItemFacts], str]
"""The name of an item on pages."""


def add_print(db: Session, print_id: UUID, pull: PullList, name: ItemNamer, actor: Actor) -> None:
    """Save the open rows as a print."""
    rows = [as_saved(printed(row, name)) for row in pull.open]
    db.add(PullPrint(id=print_id, event_id=pull.event.id, at=actor.now, person_id=actor.who.id, lines=rows))
    db.flush()


def get_print(db: Session, event_id: UUID, print_id: UUID) -> PullPrint:
    """The print with this id.

    Raises:
        NotFound: there is none of this event's list.
    """
    saved = db.get(PullPrint, print_id)
    if saved is None or saved.event_id != event_id:
        raise NotFound("There is no such print of this list. Open the list and print it again.")
    return saved


def since_print(db: Session, pull: PullList, name: ItemNamer) -> tuple[PullPrint, Changes] | None:
    """The last print, and what changed since; None if the list was never printed."""
    query = select(PullPrint).where(PullPrint.event_id == pull.event.id)
    last = db.scalar(query.order_by(PullPrint.at.desc(), PullPrint.id).limit(1))
    if last is None:
        return None
    done = [row.code for row in pull.rows if row.done is not None]
    return last, changes(lines_of(last), [printed(row, name) for row in pull.open], done)


def printed(row: PullRow, name: ItemNamer) -> Printed:
    """A row as it is printed."""
    _, place, place_b = row.place
    title = name(row.item)
    if place_b:
        title += f", to {place_b}"
    would_fit = ", ".join(f"{code} from {spare.place}" if spare.place else code for spare, code in row.would_fit)
    return Printed(
        row.code,
        title,
        place,
        row.action,
        row.spare_code or "",
        row.why,
        row.spare.place if row.spare else "",
        would_fit,
    )


def lines_of(saved: PullPrint) -> list[Printed]:
    """The rows of a print."""
    return [
        Printed(
            one["code"],
            one["name"],
            one["place"],
            Action(one["action"]),
            one["spare"],
            tuple(one["why"]),
            one.get("spare_place", ""),
            one.get("would_fit", ""),
        )
        for one in saved.lines
    ]


def as_saved(row: Printed) -> dict[str, Any]:
    """A printed row as JSON, as it is stored."""
    return {
        "code": row.code,
        "name": row.name,
        "place": row.place,
        "action": row.action,
        "spare": row.spare,
        "why": list(row.why),
        "spare_place": row.spare_place,
        "would_fit": row.would_fit,
    }
