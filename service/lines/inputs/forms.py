"""What is typed or sent about a channel and its line."""

from typing import Annotated
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, field_validator
from pydantic.config import JsonDict

from service.gear.forms import Line as TextLine
from service.gear.forms import refused, whole_number
from service.lines.inputs.core import MOST_ITEMS, NewChannel
from service.testlog.forms import Code
from service.web.schema import shown_as

NUMBER_MOST = 999


class ChannelFields(BaseModel):
    """A channel: its number at the mixer, its source ("Marimba 1 low"), its microphone, whether it needs phantom power,
    and the place where the source stands.
    """

    number: Annotated[
        int,
        whole_number(1, NUMBER_MOST, "a channel's number"),
        shown_as({"minimum": 1, "maximum": NUMBER_MOST}),
    ]
    source: Annotated[TextLine, Field(validate_default=True), shown_as({"minLength": 1})] = ""
    microphone: TextLine = ""
    phantom: bool = False
    place: TextLine = ""

    @field_validator("source")
    @classmethod
    def _has_source(cls, value: str) -> str:
        if not value:
            raise refused("Say what stands there, like Marimba 1 low.")
        return value

    def entry(self) -> NewChannel:
        """The same as actions take it."""
        return NewChannel(self.number, self.source, self.microphone, self.phantom, self.place)


_OF_ONE: JsonDict = {
    "oneOf": [
        {"required": ["season"], "properties": {"season": {"type": "string"}, "event": {"type": "null"}}},
        {"required": ["event"], "properties": {"event": {"type": "string"}, "season": {"type": "null"}}},
    ]
}


class NewListBody(BaseModel):
    """The input list to make of a season, or of an event that needs one of its own; `copy_of` is the list whose
    channels and lines it begins with. Its `id` is made by the client: the same again gives the same answer.
    """

    model_config = ConfigDict(extra="forbid", json_schema_extra=_OF_ONE)

    id: UUID
    season: UUID | None = None
    event: UUID | None = None
    copy_of: UUID | None = None


class ChannelBody(ChannelFields):
    """A channel to add or to change, with the operation id and, if given, its line: the codes of its items in order
    from the source to the mixer, the lane that it takes of each item with several, and the joints that stay plugged
    (0 is the microphone's, 1 the one between the first two items).
    """

    model_config = ConfigDict(extra="forbid")

    id: UUID
    items: Annotated[list[Code], Field(max_length=MOST_ITEMS)] | None = None
    lane: Annotated[str, Field(max_length=40)] = ""
    stays: Annotated[list[Annotated[int, Field(ge=0, le=MOST_ITEMS)]], Field(max_length=MOST_ITEMS + 1)] | None = None


class EndBody(BaseModel):
    """The operation id of taking something off a list."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
