"""It crackled, over the API, as a phone sends it."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.crew.context import CrewContext, api_router
from service.suspects.actions import Suspicion, report
from service.testlog.forms import Code, Instant, Text

router = api_router("/suspects", "suspects")


class SuspectIn(BaseModel):
    """Somebody heard an item crackle. Its `id` is made by the client: the same again gives the same answer."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    item: Code
    note: Annotated[Text, Field(max_length=200)] = ""
    at: Instant | None = None
    sent_at: Instant | None = None

    def entry(self) -> Suspicion:
        """The same as the log takes it."""
        return Suspicion(self.id, self.item, self.note, self.at, self.sent_at)


class SuspectOut(BaseModel):
    """The receipt: the item's code now, and whether it is suspect (a flex test since may have cleared it)."""

    id: UUID
    item: str
    suspect: bool
    received_at: str


@router.post("", status_code=201, response_model=SuspectOut)
def report_suspect(context: CrewContext, body: SuspectIn) -> Any:
    """Call an item suspect until a pass with both ends flexed; the same id again gives the same answer."""
    content = body.model_dump(mode="json", exclude={"id", "sent_at"})
    return context.once(body.id, "suspect.report", content, lambda db: report(db, body.entry(), context.actor))
