"""Channels as pages and the API show them: each item of a line with how it stands today, and what is wrong."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy.orm import Session

from service.gear.core import USABLE, End, FlagKind
from service.gear.queries import ItemFacts, item_facts, open_flags
from service.lines.inputs import queries
from service.lines.inputs.core import LinePiece, entered_ends, why_broken
from service.lines.inputs.queries import ChannelFacts
from service.season.core import DueState
from service.season.queries import due_rows

WRONG = frozenset({DueState.BLOCKED, DueState.OVERDUE, DueState.UNTESTED})
"""Due states in which an item does not belong in a line on a day that counts."""


@dataclass(frozen=True, slots=True)
class LineStep:
    """An item of a line: the lane that it takes, whether the joint before it stays plugged, its due state if it is one
    of `WRONG`, and whether it is suspect. `entered` is the end towards the source.
    """

    item: ItemFacts
    code: str
    lane: str | None
    stays: bool
    entered: End
    due: DueState | None
    suspect: bool

    @property
    def is_good(self) -> bool:
        """Whether nothing speaks against it today."""
        return self.due is None and not self.suspect and self.item.state in USABLE


@dataclass(frozen=True, slots=True)
class ChannelShown:
    """A channel with the steps of its line, and why its line cannot carry it; empty if it can."""

    channel: ChannelFacts
    steps: Sequence[LineStep]
    broken: str

    @property
    def is_good(self) -> bool:
        """Whether its line is complete and nothing speaks against any item of it."""
        return bool(self.steps) and not self.broken and all(step.is_good for step in self.steps)


def shown(db: Session, channels: Sequence[ChannelFacts]) -> list[ChannelShown]:
    """These channels with their lines, and how each item stands today."""
    ids = {item.item_id for each in channels if each.line for item in each.line.items}
    pieces, items, due, flags = queries.pieces(db, ids), item_facts(db, ids), due_rows(db, ids), open_flags(db, ids)
    states = {item_id: DueState(row.state) for item_id, row in due.items()}
    suspect = {item_id for item_id, raised in flags.items() if any(each.flag == FlagKind.SUSPECT for each in raised)}
    return [_shown(each, pieces, items, states, suspect) for each in channels]


def _shown(
    channel: ChannelFacts,
    pieces: Mapping[UUID, LinePiece],
    items: Mapping[UUID, ItemFacts],
    due: Mapping[UUID, DueState],
    suspect: set[UUID],
) -> ChannelShown:
    if channel.line is None:
        return ChannelShown(channel, (), "It has no line yet.")
    broken = why_broken(channel.line, pieces)
    ends = entered_ends([pieces[item.item_id].piece for item in channel.line.items])
    steps = [
        LineStep(
            items[item.item_id],
            pieces[item.item_id].code,
            item.lane,
            item.stays,
            end,
            state if (state := due.get(item.item_id)) in WRONG else None,
            item.item_id in suspect,
        )
        for item, end in zip(channel.line.items, ends, strict=True)
    ]
    return ChannelShown(channel, steps, broken)
