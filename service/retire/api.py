"""The pull list as JSON."""

from datetime import date
from uuid import UUID

from fastapi import APIRouter
from pydantic import BaseModel

from service.crew.desk import ViewerDesk
from service.kit.problems import NotFound
from service.retire import actions
from service.retire.actions import PullList
from service.retire.core import Action, Reason
from service.season.core import DueState
from service.season.models import EventKind
from service.testlog.housekeeping import ensure_today

router = APIRouter(prefix="/api/v1", tags=["pull list"])


class EventOut(BaseModel):
    """An event."""

    id: UUID
    name: str
    kind: EventKind
    on: date


class PullOut(BaseModel):
    """A line: `due` is the state today, `due_at_event` on the event's day; `spare` the code of one that fits."""

    code: str
    label: str
    kind: str
    wiring: str
    length_mm: int
    place: str
    place_b: str
    state: str
    due: DueState
    due_at_event: DueState
    reasons: list[Reason]
    why: list[str]
    action: Action
    spare: str | None


class PullListOut(BaseModel):
    """A pull list; `judged` is how many items in use were looked at, `items` are in walking order."""

    event: EventOut
    judged: int
    counts: dict[Action, int]
    items: list[PullOut]


@router.get("/pull")
def pull_list(desk: ViewerDesk, event: str | None = None) -> PullListOut:
    """What to pull before an event, by its id; without one, before the next event."""
    ensure_today(desk)
    with desk.reading() as db:
        found = actions.event_for(db, event, desk.today)
        if found is None:
            raise NotFound("No event is coming. Add one to the season, or name one with event=.")
        return _as_json(actions.pull_list(db, found, desk.today, desk.zone))


def _as_json(found: PullList) -> PullListOut:
    event = found.event
    return PullListOut(
        event=EventOut(id=event.id, name=event.name, kind=EventKind(event.kind), on=event.on),
        judged=found.judged,
        counts=found.counts,
        items=[
            PullOut(
                code=pull.code, label=pull.item.label, kind=pull.item.kind, wiring=pull.item.wiring,
                length_mm=pull.item.length_mm, place=pull.item.place, place_b=pull.item.place_b,
                state=pull.item.state, due=pull.line.item.today.state, due_at_event=pull.line.item.then.state,
                reasons=list(pull.line.reasons), why=list(pull.line.why), action=pull.line.action,
                spare=pull.spare,
            )
            for pull in found.pulls
        ],
    )  # fmt: skip
