"""A swap as JSON."""

from typing import Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict

from service.gear.core import ItemState
from service.swaps.core import NewSwap
from service.testlog.forms import Code, Instant


class SwapIn(BaseModel):
    """A swap to do. Its `id` is made by the client: the same again gives the same answer.

    A phone that sends later what was done without a signal says `anyway`, since it is done.
    """

    model_config = ConfigDict(extra="forbid")

    id: UUID
    bad: Code
    spare: Code
    at: Instant | None = None
    sent_at: Instant | None = None
    anyway: bool = False

    def entry(self) -> NewSwap:
        """The same as the log takes it."""
        return NewSwap(self.id, self.bad, self.spare, self.at, self.sent_at, self.anyway)

    def content(self) -> dict[str, Any]:
        """What makes it this swap: when it was sent differs from try to try."""
        return self.model_dump(mode="json", exclude={"id", "sent_at"})


class SwapOut(BaseModel):
    """The receipt of a swap: both codes and states now, the place, and what spoke against it."""

    id: UUID
    bad: str
    spare: str
    bad_state: ItemState
    spare_state: ItemState
    place: str
    against: list[str]
    received_at: str
