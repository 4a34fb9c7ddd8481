"""JSON of the test log, in and out, and the types of its fields, which refuse a wrong value with a sentence."""

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from service.gear.core import End, ItemState
from service.kit.dates import parse_instant
from service.kit.problems import Problem, invalid
from service.kit.text import readable
from service.testlog.core import Evidence, Method, NewTest, Verdict
from service.web import schema
from service.web.forms import read_by
from service.web.schema import shown_as
from service.wiring.faults import EVIDENCE_CLASSES, EvidenceClass, FaultClass, as_evidence

THROUGH_MOST = 8
CONTACTS_MOST = 200


def _readable(text: str) -> str:
    try:
        return readable(text)
    except Problem as problem:
        raise PydanticCustomError("refused", "{why}", {"why": problem.detail}) from problem


Text = Annotated[str, AfterValidator(_readable), shown_as(schema.TEXT)]
Code = Annotated[str, AfterValidator(_readable), shown_as(schema.CODE)]
"""A code as on a tag or as typed; it is checked when the item is looked up."""
Instant = Annotated[datetime, read_by(parse_instant), Field(strict=True), shown_as(schema.MOMENT)]
Contacts = Annotated[list[Text], Field(max_length=CONTACTS_MOST)]


def _evidence_class(word: str) -> EvidenceClass:
    evidence_class = as_evidence(FaultClass(word)) if word in list(FaultClass) else None
    if evidence_class is None:
        raise invalid("class", f"“{word[:40]}” is no class of evidence; it is one of {', '.join(EVIDENCE_CLASSES)}.")
    return evidence_class


class EvidenceIn(BaseModel):
    """A finding by other means than readings: `class`, the `end` where it can be told, a note."""

    model_config = ConfigDict(extra="forbid")

    kind: Annotated[EvidenceClass, read_by(_evidence_class)] = Field(alias="class")
    end: End | None = None
    note: Annotated[Text, Field(max_length=200)] = ""


class TestIn(BaseModel):
    """A test to log. Its `id` is made by the client: the same again gives the same answer.

    `lane` is the one that a single line took through a hub or a trunk; where it is not told, nothing of that is proven.
    """

    __test__ = False
    model_config = ConfigDict(extra="forbid")

    id: UUID
    item: Code
    session: UUID | None = None
    tested_at: Instant | None = None
    sent_at: Instant | None = None
    method: Method = Method.TWO_ENDED
    joined: Annotated[list[Contacts], Field(max_length=CONTACTS_MOST)] | None = None
    probed: Literal["all"] | Contacts = "all"
    evidence: Annotated[list[EvidenceIn], Field(max_length=20)] = []
    note: Annotated[Text, Field(max_length=1000)] = ""
    through: Annotated[list[Code], Field(max_length=THROUGH_MOST)] = []
    wiring: Text | None = None
    lane: Text | None = None

    def entry(self, here_at: datetime) -> NewTest:
        """The test as the log takes it; `here_at` is when its request began to arrive."""
        return NewTest(
            id=self.id,
            item=self.item,
            through=tuple(self.through),
            wiring=self.wiring,
            method=self.method,
            joined=self.joined,
            probed=self.probed,
            note=self.note,
            tested_at=self.tested_at,
            sent_at=self.sent_at,
            here_at=here_at,
            session=self.session,
            lane=self.lane,
            evidence=tuple(Evidence(one.kind, one.end, one.note) for one in self.evidence),
        )


class TestReceipt(BaseModel):
    """The receipt of a test: its verdict, what was found, and the state that the item is in now."""

    id: UUID
    item: str
    verdict: Verdict
    faults: list[dict[str, Any]]
    received_at: str
    state: ItemState


class VoidOut(BaseModel):
    """When and why a lead said that a test does not stand."""

    at: datetime
    reason: str


class MarkedOut(BaseModel):
    """When its tester said that a test was wrong; `stands` says that a lead let it stand."""

    at: datetime
    by: str
    note: str
    stands: bool


class TestOut(BaseModel):
    """A test of the log. `items` are the codes, now, of what it went through; `told_at` is the client's own time."""

    __test__ = False

    id: UUID
    items: list[str]
    lane: str | None
    wiring: str
    method: Method
    verdict: Verdict
    faults: list[dict[str, Any]]
    unproven: list[str]
    joined: list[list[str]]
    probed: Literal["all"] | list[str]
    evidence: list[dict[str, Any]]
    note: str
    tested_at: datetime
    told_at: datetime
    received_at: datetime
    by: str | None
    session: UUID | None
    voided: VoidOut | None
    marked: MarkedOut | None


class TestsOut(BaseModel):
    """A page of the log, the newest first; `next` is the cursor of the page after it."""

    __test__ = False

    items: list[TestOut]
    next: str | None
