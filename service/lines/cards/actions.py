"""Making the plug cards of an input list from its lines as they are now."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import KINDS, End, item_title
from service.gear.queries import places, ports_of_items
from service.kit.quantities import Unit
from service.lines.cards.core import CardItem, CardLine, PlugCard, plug_cards
from service.lines.inputs import queries
from service.lines.inputs.shown import ChannelShown, LineStep, shown


@dataclass(frozen=True)
class CardsOfList:
    """The cards of an input list in walking order, and the channels that are on none, since their line is missing or
    broken.
    """

    cards: Sequence[PlugCard]
    left_out: Sequence[ChannelShown]


def cards_of(db: Session, list_id: UUID, unit: Unit, now: datetime) -> CardsOfList:
    """The cards of an input list as its lines are now."""
    channels = shown(db, queries.channels(db, list_id, now))
    rows = [row for row in channels if not row.broken]
    ports = ports_of_items(db, {step.item.id for row in rows for step in row.steps})
    connectors = {item_id: Counter(End(port.end) for port in of_item) for item_id, of_item in ports.items()}
    walk = [place.name for place in places(db)]
    cards = plug_cards([_line(row, connectors, unit) for row in rows], walk)
    return CardsOfList(cards, [row for row in channels if row.broken])


def _line(row: ChannelShown, connectors: dict[UUID, Counter[End]], unit: Unit) -> CardLine:
    channel, line = row.channel, row.channel.line
    items = [_item(step, connectors[step.item.id], unit) for step in row.steps]
    return CardLine(channel.number, channel.source, channel.place, items, line.mixer_stays if line else False)


def _item(step: LineStep, connectors: Counter[End], unit: Unit) -> CardItem:
    item = step.item
    return CardItem(
        item_title(item, unit),
        step.code,
        KINDS[item.kind].is_box,
        {End.A: item.place, End.B: item.place_b or item.place},
        dict(connectors),
        step.entered,
        step.lane,
        step.stays,
    )
