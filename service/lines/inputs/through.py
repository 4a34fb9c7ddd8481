"""Which channels run through an item today, and what each of its ends plugs into."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import End
from service.lines.inputs import queries
from service.lines.inputs.queries import ChannelFacts
from service.lines.inputs.shown import ChannelShown, LineStep, shown


@dataclass(frozen=True, slots=True)
class PlugsInto:
    """What is at one end of an item: another item of the line with the lane that it takes there, else the microphone
    before the first one or the mixer after the last one. `stays` tells whether the joint stays plugged.
    """

    step: LineStep | None
    stays: bool


@dataclass(frozen=True, slots=True)
class ChannelThrough:
    """A channel that runs through an item: the lane that it takes there, and what is at each end, the one towards the
    source first.
    """

    channel: ChannelFacts
    lane: str | None
    source_end: End
    source: PlugsInto
    mixer: PlugsInto


def channels_through(db: Session, item_id: UUID, today: date, now: datetime) -> list[ChannelThrough]:
    """The channels of the running seasons' input lists that go through an item, by number; none of most items."""
    carried = [
        each
        for list_id, may_be in queries.channels_now_through(db, item_id, today).items()
        for each in queries.channels(db, list_id, now, may_be)
        if each.line is not None and any(item.item_id == item_id for item in each.line.items)
    ]
    return [_through(row, item_id) for row in shown(db, carried)]


def _through(row: ChannelShown, item_id: UUID) -> ChannelThrough:
    steps: Sequence[LineStep] = row.steps
    at = next(number for number, step in enumerate(steps) if step.item.id == item_id)
    is_last = at == len(steps) - 1
    mixer_stays = row.channel.line.mixer_stays if row.channel.line else False
    return ChannelThrough(
        row.channel,
        steps[at].lane,
        steps[at].entered,
        PlugsInto(steps[at - 1] if at else None, steps[at].stays),
        PlugsInto(None if is_last else steps[at + 1], mixer_stays if is_last else steps[at + 1].stays),
    )
