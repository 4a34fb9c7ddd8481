"""Set-up drills as JSON, and the fields of their forms."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.lines.drills.core import NewDone
from service.testlog.forms import Instant, Text

Station = Annotated[Text, Field(min_length=1, max_length=200)]


class DoneIn(BaseModel):
    """What was done at a station: all of it, or one `plug` of it; with `done` false it is not in after all. Its `id` is
    made by the client: the same again gives the same answer.
    """

    model_config = ConfigDict(extra="forbid")

    id: UUID
    drill: UUID
    station: Station
    plug: UUID | None = None
    done: bool = True
    at: Instant | None = None
    sent_at: Instant | None = None

    def entry(self) -> NewDone:
        """The same as the log takes it."""
        return NewDone(self.id, self.drill, self.station, self.plug, self.done, self.at, self.sent_at)

    def content(self) -> dict[str, Any]:
        """What makes it this entry: when it was sent differs from try to try."""
        return self.model_dump(mode="json", exclude={"id", "sent_at"})


class DoneOut(BaseModel):
    """The receipt of an entry."""

    id: UUID
    drill: UUID
    station: str
    plug: UUID | None
    done: bool
    received_at: str


class DoneFields(BaseModel):
    """The form behind a key of a drill."""

    station: Station
    plug: UUID | None = None
    done: bool
