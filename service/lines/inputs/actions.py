"""Making and changing input lists, in one transaction each."""

from collections.abc import Collection, Sequence
from dataclasses import asdict
from datetime import datetime
from uuid import UUID, uuid4

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.crew.queries import note_in_audit
from service.gear.actions import place_for
from service.kit.problems import Conflict, Invalid, invalid
from service.lines.inputs import queries
from service.lines.inputs.core import (
    MOST_CHANNELS,
    Line,
    LineItem,
    NewChannel,
    SheetChannel,
    joined_again,
    lanes_taken,
    lay,
)
from service.lines.inputs.models import Channel, InputList, LineItemRow, LineRow
from service.season.models import Event, SeasonRow
from service.store.sessions import locked
from service.tags.queries import named_id


def make_list(db: Session, list_id: UUID, of: SeasonRow | Event, actor: Actor) -> InputList:
    """Make the input list of a season or an event, empty at first.

    Raises:
        Conflict: there is one already.
    """
    is_season = isinstance(of, SeasonRow)
    there = queries.input_list_of_season(db, of.id) if is_season else queries.own_input_list_of(db, of.id)
    if there is not None:
        raise Conflict(f"{of.name} has an input list already. Open it, and change that one.")
    made = InputList(
        id=list_id,
        season_id=of.id if is_season else None,
        event_id=None if is_season else of.id,
        created_at=actor.now,
        made_by=actor.who.id,
    )
    db.add(made)
    db.flush()
    note_in_audit(db, actor.now, actor.who.id, "input_list.made", str(list_id), {"of": of.name})
    return made


def copy_list(db: Session, list_id: UUID, of: SeasonRow | Event, source_id: UUID, actor: Actor) -> int:
    """Make the input list of a season or an event with the channels and lines of another one as they are now. Items
    that were retired or lost since are left out of their lines; how many channels it has.

    Raises:
        NotFound: there is no list to copy.
        Conflict: there is one already.
    """
    old = queries.get_input_list(db, source_id)
    made = make_list(db, list_id, of, actor)
    facts = queries.channels(db, old.id, actor.now)
    pieces = queries.pieces(db, {item.item_id for each in facts if each.line for item in each.line.items})
    for each in facts:
        channel = _add_channel(db, uuid4(), made.id, each, each.place_id, actor.now)
        if each.line is not None:
            items = [item for item in each.line.items if pieces[item.item_id].is_in_use]
            if items:
                _add_line(db, channel.id, items, each.line.mixer_stays, actor)
    return len(facts)


def add_channel(db: Session, channel_id: UUID, list_id: UUID, entry: NewChannel, actor: Actor) -> None:
    """Add a channel to a list.

    Raises:
        NotFound: there is no such list.
        Invalid: its number is taken, or there is no room.
    """
    _locked_list(db, list_id)
    _refuse_taken(db, list_id, entry.number, actor.now)
    _add_channel(db, channel_id, list_id, entry, _place_id(db, entry.place, actor), actor.now)
    note_in_audit(db, actor.now, actor.who.id, "channel.added", str(channel_id), asdict(entry))


def change_channel(db: Session, channel_id: UUID, entry: NewChannel, actor: Actor) -> None:
    """Change a channel's number, source, microphone, phantom power or place.

    Raises:
        NotFound: there is no such channel.
        Invalid: its number is taken.
    """
    channel = queries.get_channel(db, channel_id)
    _locked_list(db, channel.input_list_id)
    if entry.number != channel.number:
        _refuse_taken(db, channel.input_list_id, entry.number, actor.now)
    channel.number, channel.source, channel.microphone = entry.number, entry.source, entry.microphone
    channel.phantom, channel.place_id = entry.phantom, _place_id(db, entry.place, actor)
    note_in_audit(db, actor.now, actor.who.id, "channel.changed", str(channel_id), asdict(entry))


def end_channel(db: Session, channel_id: UUID, actor: Actor) -> Channel:
    """Take a channel off its list; as of earlier days it stays on it.

    Raises:
        NotFound: there is no such channel.
    """
    channel = queries.get_channel(db, channel_id)
    _locked_list(db, channel.input_list_id)
    _end_line(db, channel_id, actor.now)
    channel.ended_at = actor.now
    note_in_audit(db, actor.now, actor.who.id, "channel.ended", str(channel_id), {"number": channel.number})
    return channel


def set_line(db: Session, channel_id: UUID, codes: Sequence[str], lane: str, actor: Actor) -> None:
    """Lay the line of a channel through the items with these codes, from the source to the mixer; without codes it has
    none. Joints between items that were beside each other before stay as they were.

    Raises:
        NotFound: there is no such channel.
        Invalid: for `items` or `lane`, with the item at fault.
    """
    channel = queries.get_channel(db, channel_id)
    _locked_list(db, channel.input_list_id)
    before = queries.lines_of(db, [channel_id], actor.now).get(channel_id)
    _end_line(db, channel_id, actor.now)
    if codes:
        _lay(db, channel_id, codes, lane, before, actor)
    else:
        note_in_audit(db, actor.now, actor.who.id, "line.taken_up", str(channel_id))


def _lay(db: Session, channel_id: UUID, codes: Sequence[str], lane: str, before: Line | None, actor: Actor) -> None:
    """Lay a line through these items, with the joints that the one before it had, too."""
    list_id = queries.get_channel(db, channel_id).input_list_id
    lines = {each.number: each.line for each in queries.channels(db, list_id, actor.now) if each.line is not None}
    named = [named_id(db, code, "items") for code in codes]
    pieces = queries.pieces(db, named)
    laid = lay([pieces[item_id] for item_id in named], lane, lanes_taken(lines))
    _add_line(db, channel_id, *as_before(laid, before), actor)
    note_in_audit(db, actor.now, actor.who.id, "line.laid", str(channel_id), {"items": list(codes), "lane": lane})


def import_sheet(db: Session, list_id: UUID, channels: Sequence[SheetChannel], actor: Actor) -> int:
    """Take the channels of a sheet over: those that are on the list are changed, the others added; how many they are.
    All lines that the sheet names are taken up first, so that channels may exchange lanes.

    Raises:
        NotFound: there is no such list.
        Invalid: for `sheet`, with every row that is wrong and why; nothing is to be committed then.
    """
    _locked_list(db, list_id)
    known = {each.number: each.id for each in queries.channels(db, list_id, actor.now)}
    before = queries.lines_of(db, known.values(), actor.now)
    ids, wrong = {}, []
    for each in channels:
        ids[each.row] = channel_id = known.get(each.entry.number) or uuid4()
        if each.entry.number in known:
            change_channel(db, channel_id, each.entry, actor)
        else:
            add_channel(db, channel_id, list_id, each.entry, actor)
        if each.codes is not None:
            _end_line(db, channel_id, actor.now)
    for each in channels:
        channel_id = ids[each.row]
        try:
            if each.codes:
                _lay(db, channel_id, each.codes, each.lane, before.get(channel_id), actor)
            if each.stays is not None:
                set_joints(db, channel_id, each.stays, actor)
        except Invalid as refusal:
            wrong.append(f"Row {each.row}: {refusal.detail}")
    if wrong:
        raise invalid("sheet", " ".join(wrong))
    return len(channels)


def as_before(laid: Sequence[LineItem], before: Line | None) -> tuple[Sequence[LineItem], bool]:
    """A new line with the joints that the one before it had, too; they are known by the two items that they join."""
    if before is None:
        return laid, False
    known = dict(zip(_joints(before.items), before.items, strict=True))
    items = [
        LineItem(item.item_id, item.lane, known[joint].stays if joint in known else item.stays)
        for joint, item in zip(_joints(laid), laid, strict=True)
    ]
    same_end = before.items[-1].item_id == laid[-1].item_id
    return items, before.mixer_stays and same_end


def _joints(items: Sequence[LineItem]) -> list[tuple[UUID | None, UUID]]:
    ids = [item.item_id for item in items]
    return list(zip([None, *ids], ids, strict=False))


def set_joints(db: Session, channel_id: UUID, stays: Collection[int], actor: Actor) -> None:
    """Say which joints of a channel's line stay plugged; the others are made at set-up. See `joined_again`.

    Raises:
        NotFound: there is no such channel.
        Invalid: it has no line.
    """
    channel = queries.get_channel(db, channel_id)
    _locked_list(db, channel.input_list_id)
    line = queries.lines_of(db, [channel_id], actor.now).get(channel_id)
    if line is None:
        raise invalid("items", f"Channel {channel.number} has no line yet. Name its items first.")
    items, mixer_stays = joined_again(line.items, stays)
    if (items, mixer_stays) != (line.items, line.mixer_stays):
        _end_line(db, channel_id, actor.now)
        _add_line(db, channel_id, items, mixer_stays, actor)
        note_in_audit(db, actor.now, actor.who.id, "line.joints", str(channel_id), {"stays": sorted(stays)})


def _locked_list(db: Session, list_id: UUID) -> InputList:
    """The list, locked, so that two changes at a time do not take one lane or one number twice."""
    queries.get_input_list(db, list_id)
    input_list: InputList = locked(db, InputList, list_id)
    return input_list


def _refuse_taken(db: Session, list_id: UUID, number: int, now: datetime) -> None:
    there = queries.channels(db, list_id, now)
    if len(there) >= MOST_CHANNELS:
        raise invalid("number", f"A list has at most {MOST_CHANNELS} channels. Take one off it first.")
    for each in there:
        if each.number == number:
            raise invalid(
                "number", f"Channel {number} is {each.source}. Take another number, or change that one first."
            )


def _place_id(db: Session, name: str, actor: Actor) -> UUID | None:
    return place_for(db, name, actor.who, actor.now).id if name else None


def _add_channel(
    db: Session,
    channel_id: UUID,
    list_id: UUID,
    facts: NewChannel | queries.ChannelFacts,
    place_id: UUID | None,
    now: datetime,
) -> Channel:
    channel = Channel(
        id=channel_id,
        input_list_id=list_id,
        number=facts.number,
        source=facts.source,
        microphone=facts.microphone,
        phantom=facts.phantom,
        place_id=place_id,
        created_at=now,
        ended_at=None,
    )
    db.add(channel)
    db.flush()
    return channel


def _end_line(db: Session, channel_id: UUID, now: datetime) -> None:
    line = queries.present_line(db, channel_id)
    if line is not None:
        line.until = now
        db.flush()


def _add_line(db: Session, channel_id: UUID, items: Sequence[LineItem], mixer_stays: bool, actor: Actor) -> None:
    line = LineRow(
        id=uuid4(),
        channel_id=channel_id,
        since=actor.now,
        until=None,
        mixer_stays=mixer_stays,
        made_by=actor.who.id,
    )
    db.add(line)
    db.flush()
    db.add_all(
        LineItemRow(line_id=line.id, position=position, item_id=item.item_id, lane=item.lane, stays=item.stays)
        for position, item in enumerate(items)
    )
    db.flush()
