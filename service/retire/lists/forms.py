"""Pull lists and ticks as JSON."""

from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.gear.core import ItemState
from service.retire.decisions.core import Action, Reason
from service.retire.lists.ticking import WHY_LONGEST, WHY_MOST, NewTick
from service.season.core import DueState
from service.season.models import EventKind
from service.testlog.forms import Code, Instant, Text


class EventOut(BaseModel):
    """An event."""

    id: UUID
    name: str
    kind: EventKind
    on: date


class LeadDecisionOut(BaseModel):
    """A lead's word on a row; `until` is the first day on which it no longer holds, None: after its event."""

    action: Action
    reason: str
    by: str
    until: date | None


class UnprovenOut(BaseModel):
    """A spare that could go in once it passes a test."""

    code: str
    place: str
    length_mm: int


class PullOut(BaseModel):
    """A row: `due` is the state today, `due_at_event` on the event's day; `spare` the code of what goes in.

    `spare_place` is where that lies; where none goes in, `unproven` are spares that could, once they pass a test.
    `risk` is the chance that it has failed unseen by the event, where wear can tell. `done_at` is when it was ticked.
    """

    code: str
    name: str
    label: str
    kind: str
    wiring: str
    length_mm: int
    place: str
    place_b: str
    state: str
    due: DueState | None
    due_at_event: DueState | None
    reasons: list[Reason]
    why: list[str]
    action: Action
    comes_out: bool
    spare: str | None
    spare_length_mm: int | None
    spare_place: str
    unproven: list[UnprovenOut]
    risk: float | None
    overruled: LeadDecisionOut | None
    done_at: datetime | None


class BuyOut(BaseModel):
    """What is missing in the case."""

    kind: str
    wiring: str
    length_mm: int
    count: int


class PullListOut(BaseModel):
    """A pull list; `judged` is how many items in use were looked at, `items` are in walking order.

    `counts` are of the rows that are open, by action; `done` how many were ticked.
    """

    event: EventOut
    judged: int
    done: int
    counts: dict[Action, int]
    items: list[PullOut]
    buy: list[BuyOut]


class TickIn(BaseModel):
    """A tick. Its `id` is made by the client: the same again gives the same answer."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    event: UUID
    item: Code
    action: Action
    spare: Code | None = None
    why: Annotated[list[Annotated[Text, Field(max_length=WHY_LONGEST)]], Field(max_length=WHY_MOST)] = []
    at: Instant | None = None
    sent_at: Instant | None = None
    anyway: bool = False

    def entry(self) -> NewTick:
        """The tick as `ticking` takes it."""
        return NewTick(
            self.id,
            str(self.event),
            self.item,
            self.action,
            self.spare,
            tuple(self.why),
            self.at,
            self.sent_at,
            self.anyway,
        )

    def content(self) -> dict[str, Any]:
        """What a retry has to repeat to be the same tick: all but the time of sending."""
        return self.model_dump(mode="json", exclude={"id", "sent_at"})


class TickOut(BaseModel):
    """The receipt of a tick: both codes and states now, and whether somebody had ticked it before."""

    id: UUID
    item: str
    action: Action
    item_state: ItemState
    spare: str | None
    spare_state: ItemState | None
    already: bool
    received_at: str
