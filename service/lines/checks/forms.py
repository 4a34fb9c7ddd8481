"""Line checks as JSON, and the fields of their forms."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.lines.checks.core.listening import NewHeard, Sound
from service.testlog.forms import Instant, Text

MOST_MINUTES = 240


class HeardIn(BaseModel):
    """What was heard on a channel. Its `id` is made by the client: the same again gives the same answer.

    `sounds_as` is the channel that it sounded as, where they are crossed.
    """

    model_config = ConfigDict(extra="forbid")

    id: UUID
    check: UUID
    channel: UUID
    heard: Sound
    sounds_as: UUID | None = None
    at: Instant | None = None
    sent_at: Instant | None = None

    def entry(self) -> NewHeard:
        """The same as the log takes it."""
        return NewHeard(self.id, self.check, self.channel, self.heard, self.sounds_as, self.at, self.sent_at)

    def content(self) -> dict[str, Any]:
        """What makes it this entry: when it was sent differs from try to try."""
        return self.model_dump(mode="json", exclude={"id", "sent_at"})


class HeardOut(BaseModel):
    """The receipt of an entry."""

    id: UUID
    check: UUID
    channel: UUID
    heard: Sound
    received_at: str


class StartFields(BaseModel):
    """The form that starts a line check: of which input list, and how many minutes there are."""

    input_list: UUID
    minutes: Annotated[float, Field(gt=0, le=MOST_MINUTES)] = 3


class HeardFields(BaseModel):
    """The form behind a key of the wall."""

    channel: UUID
    heard: Sound
    sounds_as: UUID | None = None


class CauseFields(BaseModel):
    """The form that logs a cause: the key of a component of the line, or "unknown"."""

    what: Annotated[Text, Field(max_length=200)]
    note: Annotated[Text, Field(max_length=200)] = ""
