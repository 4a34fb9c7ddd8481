"""This was wrong, over the API, as a phone sends it."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.crew.context import CrewContext, api_router
from service.testlog.forms import Instant, Text
from service.testlog.marks.actions import mark

router = api_router("/marks", "marks")


class MarkIn(BaseModel):
    """A test of one's own that was wrong. Its `id` is made by the client: the same again gives the same answer."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    test: UUID
    note: Annotated[Text, Field(max_length=200)] = ""
    sent_at: Instant | None = None


class MarkOut(BaseModel):
    """The receipt: whether the test is marked; a test that never came is taken back, and is taken no more. `stands`
    says how its items are shown from then on, by code."""

    id: UUID
    test: UUID
    marked: bool
    stands: dict[str, str] = {}
    received_at: str


@router.post("", status_code=201, response_model=MarkOut)
def mark_wrong(context: CrewContext, body: MarkIn) -> Any:
    """Mark a test as wrong: it proves nothing until a lead voids it, or says that it stands."""
    return context.once(
        body.id,
        "test.mark",
        [str(body.test), body.note],
        lambda db: mark(db, body.id, body.test, body.note, context.me, context.now, context.zone),
    )
