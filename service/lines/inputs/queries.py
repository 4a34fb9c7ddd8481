"""Every query about input lists."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import ColumnElement, Uuid, and_, literal, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.gear.core import ItemState
from service.gear.models import IS_PRESENT_PLACEMENT, Item, Place, Placement
from service.gear.queries import ports_of_items
from service.gear.wirings import find_wiring
from service.kit.problems import NotFound
from service.lines.inputs.core import Line, LineItem, LinePiece, SwappedIn, with_swaps
from service.lines.inputs.models import CHANNEL_IN_USE, Channel, InputList, LineItemRow, LineRow
from service.season.models import Event, SeasonRow
from service.tags.queries import codes_of
from service.testlog.chains import piece_of
from service.testlog.models import Swap
from service.testlog.reach import ONE_LINE, lane_names


@dataclass(frozen=True, slots=True)
class ChannelFacts:
    """A channel as lists show it, and its line as of the moment that was asked for, None if it has none."""

    id: UUID
    number: int
    source: str
    microphone: str
    phantom: bool
    place_id: UUID | None
    place: str
    line: Line | None


def get_input_list(db: Session, list_id: UUID | None) -> InputList:
    """The input list with this id.

    Raises:
        NotFound: there is none.
    """
    input_list = db.get(InputList, list_id) if list_id else None
    if input_list is None:
        raise NotFound("There is no such input list. Go to the season and look from there.")
    return input_list


def input_list_of_season(db: Session, season_id: UUID) -> InputList | None:
    """The input list of a season; None if it has none."""
    return db.scalar(select(InputList).where(InputList.season_id == season_id))


def own_input_list_of(db: Session, event_id: UUID) -> InputList | None:
    """The input list that an event has of its own; None if it goes by its season's."""
    return db.scalar(select(InputList).where(InputList.event_id == event_id))


def input_list_for(db: Session, event: Event) -> InputList | None:
    """The input list that holds at an event: its own, else that of its season; None if there is neither."""
    return own_input_list_of(db, event.id) or input_list_of_season(db, event.season_id)


def season_or_event(db: Session, input_list: InputList) -> SeasonRow | Event:
    """The season or the event whose list it is."""
    if input_list.season_id is not None:
        return db.get_one(SeasonRow, input_list.season_id)
    return db.get_one(Event, input_list.event_id)


def name_of(db: Session, input_list: InputList) -> str:
    """The name of the season or the event whose list it is."""
    return season_or_event(db, input_list).name


def channels(db: Session, list_id: UUID, at: datetime, only: Collection[UUID] | None = None) -> list[ChannelFacts]:
    """The channels of a list as of a moment, by number, each with its line as it was then; or `only` these of them."""
    query = (
        select(Channel, Place.name)
        .outerjoin(Place, Place.id == Channel.place_id)
        .where(Channel.input_list_id == list_id, Channel.created_at <= at, _open_at(Channel.ended_at, at))
        .order_by(Channel.number)
    )
    rows = db.execute(query if only is None else query.where(Channel.id.in_(only))).all()
    lines = lines_of(db, [channel.id for channel, _ in rows], at)
    return [
        ChannelFacts(
            channel.id,
            channel.number,
            channel.source,
            channel.microphone,
            channel.phantom,
            channel.place_id,
            place or "",
            lines.get(channel.id),
        )
        for channel, place in rows
    ]


def get_channel(db: Session, channel_id: UUID | None) -> Channel:
    """The channel with this id, if it was not taken off its list.

    Raises:
        NotFound: there is none.
    """
    channel = db.scalar(select(Channel).where(Channel.id == channel_id, CHANNEL_IN_USE)) if channel_id else None
    if channel is None:
        raise NotFound("There is no such channel, or it was taken off its list. Look at the input list again.")
    return channel


def present_line(db: Session, channel_id: UUID) -> LineRow | None:
    """The row of a channel's present line; None if it has none."""
    return db.scalar(select(LineRow).where(LineRow.channel_id == channel_id, LineRow.until.is_(None)))


def lines_of(db: Session, channel_ids: Collection[UUID], at: datetime) -> dict[UUID, Line]:
    """The line of each of these channels as of a moment, with the spares that went in by then."""
    query = select(LineRow).where(LineRow.channel_id.in_(channel_ids), LineRow.since <= at, _open_at(LineRow.until, at))
    rows = db.scalars(query).all()
    items: dict[UUID, list[LineItem]] = defaultdict(list)
    query_items = select(LineItemRow).where(LineItemRow.line_id.in_([row.id for row in rows]))
    for each in db.scalars(query_items.order_by(LineItemRow.line_id, LineItemRow.position)):
        items[each.line_id].append(LineItem(each.item_id, each.lane, each.stays))
    stored = {row.channel_id: Line(row.since, tuple(items[row.id]), row.mixer_stays) for row in rows}
    swaps = _swaps_of(db, {item.item_id for line in stored.values() for item in line.items}, at)
    return {channel_id: with_swaps(line, swaps, at) for channel_id, line in stored.items()}


def _open_at(ended: InstrumentedAttribute[datetime | None], at: datetime) -> ColumnElement[bool]:
    return or_(ended.is_(None), ended > at)


def _swaps_of(db: Session, item_ids: Collection[UUID], at: datetime) -> list[SwappedIn]:
    """Every swap of these items, and of the spares that went in for them, in order of time."""
    swaps: dict[UUID, tuple[datetime, SwappedIn]] = {}
    seen, ask = set(item_ids), set(item_ids)
    while ask:
        query = select(Swap).where(Swap.bad_id.in_(ask), Swap.at <= at)
        new = {row.id: (row.received_at, SwappedIn(row.bad_id, row.spare_id, row.at)) for row in db.scalars(query)}
        swaps |= new
        ask = {swap.spare for _, swap in new.values()} - seen
        seen |= ask
    in_order = sorted(swaps.items(), key=lambda entry: (entry[1][1].at, entry[1][0], entry[0]))
    return [swap for _, (_, swap) in in_order]


def pieces(db: Session, item_ids: Collection[UUID]) -> dict[UUID, LinePiece]:
    """These items as lines need them."""
    codes, ports = codes_of(db, item_ids), ports_of_items(db, item_ids)
    query = select(Item.id, Item.kind, Item.wiring, Item.state).where(Item.id.in_(item_ids))
    places = _places_of(db, item_ids)
    return {
        item_id: LinePiece(
            item_id,
            codes.get(item_id, ""),
            piece_of(codes.get(item_id, ""), kind, ports[item_id]),
            () if (names := lane_names(find_wiring(db, wiring))) == ONE_LINE else names,
            places[item_id],
            ItemState(state),
        )
        for item_id, kind, wiring, state in db.execute(query)
    }


def _places_of(db: Session, item_ids: Collection[UUID]) -> Mapping[UUID, frozenset[UUID]]:
    places: defaultdict[UUID, frozenset[UUID]] = defaultdict(frozenset)
    query = select(Placement.item_id, Placement.place_a_id, Placement.place_b_id)
    for item_id, *lives in db.execute(query.where(Placement.item_id.in_(item_ids), IS_PRESENT_PLACEMENT)):
        places[item_id] = frozenset(place for place in lives if place)
    return places


def every_input_list(db: Session) -> Sequence[InputList]:
    """Every input list, the newest first."""
    return db.scalars(select(InputList).order_by(InputList.created_at.desc(), InputList.id)).all()


def running_lists(db: Session, today: date) -> list[UUID]:
    """The input lists of the seasons that run today, those of events left out."""
    query = (
        select(InputList.id)
        .join(SeasonRow, SeasonRow.id == InputList.season_id)
        .where(SeasonRow.starts <= today, SeasonRow.ends >= today, InputList.event_id.is_(None))
        .order_by(InputList.id)
    )
    return list(db.scalars(query))


@dataclass(frozen=True, slots=True)
class CarryingList:
    """An input list of which some channels may go through an item: its id, the name and the day of its event, which are
    empty and None for the list of a season, and those channels.
    """

    id: UUID
    event: str
    on: date | None
    channels: set[UUID]


def lists_now_through(db: Session, item_id: UUID, today: date) -> list[CarryingList]:
    """The lists of running seasons, then of events from today on, with the channels whose line may go through an item
    now: it is in the line, or it went in for an item that is, or was. Empty for most items.
    """
    itself = select(literal(item_id, Uuid()).label("id")).cte("stood_for", recursive=True)
    stood_for = itself.union(select(Swap.bad_id).join(itself, Swap.spare_id == itself.c.id))
    query = (
        select(Channel.input_list_id, Event.name, Event.on, Channel.id)
        .join(LineRow, LineRow.channel_id == Channel.id)
        .join(LineItemRow, LineItemRow.line_id == LineRow.id)
        .join(InputList, InputList.id == Channel.input_list_id)
        .outerjoin(SeasonRow, SeasonRow.id == InputList.season_id)
        .outerjoin(Event, Event.id == InputList.event_id)
        .where(LineItemRow.item_id.in_(select(stood_for.c.id)), LineRow.until.is_(None), CHANNEL_IN_USE)
        .where(or_(and_(SeasonRow.starts <= today, SeasonRow.ends >= today), Event.on >= today))
    )
    lists: dict[UUID, CarryingList] = {}
    for list_id, event, on, channel_id in db.execute(query):
        lists.setdefault(list_id, CarryingList(list_id, event or "", on, set())).channels.add(channel_id)
    return sorted(lists.values(), key=lambda each: (each.on or date.min, each.event, each.id))
