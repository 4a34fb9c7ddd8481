"""Which channels run through an item today and at events to come, and what each of its ends plugs into."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import End
from service.gear.queries import ItemFacts, item_facts, ports_of_items
from service.lines.inputs import queries
from service.lines.inputs.core import Line, LineItem, entered_ends
from service.lines.inputs.queries import ChannelFacts
from service.tags.queries import codes_of
from service.testlog.chains import piece_of


@dataclass(frozen=True, slots=True)
class PlugsInto:
    """What is at one end of an item: another item of the line with its code and the lane that it takes there, else the
    microphone before the first one or the mixer after the last one. `stays` tells whether the joint stays plugged.
    """

    item: ItemFacts | None
    code: str
    lane: str | None
    stays: bool


@dataclass(frozen=True, slots=True)
class ChannelThrough:
    """A channel that runs through an item: the lane that it takes there, and what is at each end, the one towards the
    source first. `event` is the name and `on` the day of the event at which it does so, if not all season.
    """

    channel: ChannelFacts
    lane: str | None
    source_end: End
    source: PlugsInto
    mixer: PlugsInto
    event: str = ""
    on: date | None = None


def channels_through(db: Session, item_id: UUID, today: date, now: datetime) -> list[ChannelThrough]:
    """The channels that go through an item by the running seasons' input lists, and by those that events from today on
    have of their own where that is otherwise; by list and number. None of most items.
    """
    carried = [
        (channel, channel.line, each)
        for each in queries.lists_now_through(db, item_id, today)
        for channel in queries.channels(db, each.id, now, each.channels)
        if channel.line is not None and any(item.item_id == item_id for item in channel.line.items)
    ]
    if not carried:
        return []
    ids = {item.item_id for _, line, _ in carried for item in line.items}
    items, codes, ports = item_facts(db, ids), codes_of(db, ids), ports_of_items(db, ids)
    pieces = {key: piece_of(codes.get(key, ""), item.kind, ports[key]) for key, item in items.items()}
    through_it: list[ChannelThrough] = []
    known: set[tuple[object, ...]] = set()
    for channel, line, of in carried:
        ends = entered_ends([pieces[item.item_id] for item in line.items])
        through = _through(channel, line, item_id, items, codes, ends)
        facts = (channel.number, channel.source, through.lane, through.source_end, through.source, through.mixer)
        if of.on is None:
            known.add(facts)
        if of.on is None or facts not in known:
            through_it.append(replace(through, event=of.event, on=of.on))
    return through_it


def channel_words(db: Session, today: date, now: datetime) -> dict[str, str]:
    """Of each item in a line of a running season's input list, by code: the channels that it carries, as a tag says
    them: "Ch 7 Marimba 1 low", "Ch 1-8, 12".
    """
    carried: defaultdict[UUID, dict[int, str]] = defaultdict(dict)
    for list_id in queries.running_lists(db, today):
        for channel in queries.channels(db, list_id, now):
            for item in channel.line.items if channel.line else ():
                carried[item.item_id][channel.number] = channel.source
    codes = codes_of(db, carried)
    return {codes[key]: _in_words(channels) for key, channels in carried.items() if key in codes}


def _in_words(channels: Mapping[int, str]) -> str:
    if len(channels) == 1:
        ((number, source),) = channels.items()
        return f"Ch {number} {source}"
    runs: list[list[int]] = []
    for number in sorted(channels):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return "Ch " + ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)


def _through(
    channel: ChannelFacts,
    line: Line,
    item_id: UUID,
    items: Mapping[UUID, ItemFacts],
    codes: Mapping[UUID, str],
    source_ends: Sequence[End],
) -> ChannelThrough:
    at = next(number for number, item in enumerate(line.items) if item.item_id == item_id)

    def plugs(beside: LineItem | None, stays: bool) -> PlugsInto:
        if beside is None:
            return PlugsInto(None, "", None, stays)
        return PlugsInto(items[beside.item_id], codes.get(beside.item_id, ""), beside.lane, stays)

    before = line.items[at - 1] if at else None
    after = line.items[at + 1] if at + 1 < len(line.items) else None
    return ChannelThrough(
        channel,
        line.items[at].lane,
        source_ends[at],
        plugs(before, line.items[at].stays),
        plugs(after, after.stays if after else line.mixer_stays),
    )
