"""Making the plug cards of an input list from its lines as they are now."""

from collections import Counter
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import KINDS, End, item_title
from service.gear.queries import places, ports_of_items
from service.kit.quantities import Unit
from service.lines.cards.core import CardItem, CardLine, PlugCard, plug_cards
from service.lines.inputs import queries
from service.lines.inputs.shown import ChannelShown, LineStep, shown


def cards_of(db: Session, list_id: UUID, unit: Unit, now: datetime) -> list[PlugCard]:
    """The cards of a list, in walking order; lines that are broken are left out."""
    rows = [row for row in shown(db, queries.channels(db, list_id, now)) if row.steps and not row.broken]
    ports = ports_of_items(db, {step.item.id for row in rows for step in row.steps})
    connectors = {item_id: Counter(End(port.end) for port in of_item) for item_id, of_item in ports.items()}
    walk = [place.name for place in places(db)]
    return plug_cards([_line(row, connectors, unit) for row in rows], walk)


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
