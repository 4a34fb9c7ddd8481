"""Line checks as JSON, and the fields of their forms."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.gear.core import End
from service.kit.problems import invalid
from service.lines.checks.core.components import CauseKind, NewCause
from service.lines.checks.core.listening import NewHeard, Sound
from service.testlog.form_reader import EVIDENCE
from service.testlog.forms import Instant, Text
from service.web import schema
from service.web.forms import read_by
from service.web.schema import shown_as

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


def _evidence(name: str) -> str:
    """The name of what can be found on an item; empty if nothing was.

    Raises:
        Invalid: there is no such evidence.
    """
    if name and name not in EVIDENCE:
        raise invalid("evidence", f"What was found is one of {', '.join(EVIDENCE)}, or nothing.")
    return name


def evidence_options() -> list[tuple[str, str]]:
    """What can be seen on an item: the name and the words of each choice, the first one for nothing."""
    return [("", "Nothing yet"), *((name, words) for name, (words, _) in EVIDENCE.items())]


EvidenceName = Annotated[str, read_by(_evidence), shown_as(schema.one_of(["", *EVIDENCE]))]


class CauseIn(BaseModel):
    """What silenced a channel: the key of a component of its line, or "unknown". Its `id` is made by the client.

    `evidence` is what was found on an item, at `end`: then a failed test of it is logged.
    """

    model_config = ConfigDict(extra="forbid")

    id: UUID
    check: UUID
    channel: UUID
    what: Annotated[Text, Field(max_length=200)]
    evidence: EvidenceName = ""
    end: End | None = None
    note: Annotated[Text, Field(max_length=200)] = ""
    at: Instant | None = None
    sent_at: Instant | None = None

    def entry(self) -> NewCause:
        """The same as the log takes it."""
        return NewCause(
            self.id,
            self.check,
            self.channel,
            self.what,
            self.evidence,
            self.end,
            self.note,
            self.at,
            self.sent_at,
        )

    def content(self) -> dict[str, Any]:
        """What makes it this entry: when it was sent differs from try to try."""
        return self.model_dump(mode="json", exclude={"id", "sent_at"})


class CauseOut(BaseModel):
    """The receipt of a cause; `stands` says how its item stands now, by its code."""

    id: UUID
    check: UUID
    channel: UUID
    kind: CauseKind
    stands: dict[str, str]
    received_at: str


class StartFields(BaseModel):
    """The form that starts a line check or a set-up drill: of which input list, and how many minutes there are."""

    input_list: UUID
    minutes: Annotated[float, Field(gt=0, le=MOST_MINUTES)] = 3


class HeardFields(BaseModel):
    """The form behind a key of the wall."""

    channel: UUID
    heard: Sound
    sounds_as: UUID | None = None


class CauseFields(BaseModel):
    """The form that logs a cause: the key of a component of the line, or "unknown", and what was found on an item."""

    what: Annotated[Text, Field(max_length=200)]
    evidence: EvidenceName = ""
    end: End | None = None
    note: Annotated[Text, Field(max_length=200)] = ""
