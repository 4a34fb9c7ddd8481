"""The pull list as a page, to walk with or to print."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.desk import ViewerDesk
from service.gear.core import item_name
from service.gear.queries import ItemFacts
from service.kit.lengths import Unit
from service.retire import actions
from service.retire.core import Action
from service.season.actions import event_with
from service.testlog.housekeeping import ensure_today

router = APIRouter(include_in_schema=False)

ACTION_WORDS = {
    Action.PULL: "Pull it",
    Action.REPAIR_FIRST: "Repair it first",
    Action.TEST_FIRST: "Test it first",
}


@router.get("/pull")
def next_pull_list(desk: ViewerDesk) -> Response:
    """On to the pull list of the next event."""
    with desk.reading() as db:
        event = actions.event_for(db, None, desk.today)
        if event is None:
            return desk.page("retire/no_event.html")
    return RedirectResponse(f"/pull/{event.id}", 303)


@router.get("/pull/{event_id}")
def pull_list(desk: ViewerDesk, event_id: str) -> Response:
    """What to pull before an event, place by place in walking order."""
    ensure_today(desk)
    with desk.reading() as db:
        event = event_with(db, event_id)
        found = actions.pull_list(db, event, desk.today, desk.zone)
        unit = Unit(desk.program.unit)

        def name(item: ItemFacts) -> str:
            return item_name(item.kind, item.length_mm, unit)

        return desk.page(
            "retire/pull.html", event=event, pull=found, counts=found.counts, words=ACTION_WORDS, name=name,
        )  # fmt: skip
