"""What is kept of people, told to everybody; and erasing one of them."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from service.crew.desk import AnyoneDesk, LeadDesk
from service.crew.keeping import actions, core
from service.crew.models import Person
from service.kit.problems import NotFound
from service.web.forms import Posted
from service.web.ops import new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/kept")
def kept_page(desk: AnyoneDesk) -> Response:
    """What is kept, why, and until when."""
    with desk.reading():
        return desk.page("crew/kept.html", days=core.AFTER_SEASON.days)


@router.get("/crew/people/{person_id}/erase")
def erase_page(desk: LeadDesk, person_id: str) -> Response:
    """What erasing does, before it is done: it cannot be taken back."""
    with desk.reading() as db:
        person = db.get(Person, read_op(person_id))
        if person is None:
            raise NotFound("There is no such person here.")
        return desk.page("crew/erase.html", person=person, op=new_op())


@router.post("/crew/people/{person_id}/erase")
def erase(desk: LeadDesk, person_id: str, posted: Posted) -> Response:
    """Let a name go at once."""
    op, key = read_op(posted.get("op")), read_op(person_id)
    desk.once(op, "person.erase", str(key), lambda db: actions.erase(db, key, desk.me, desk.now))
    return RedirectResponse("/crew", 303)
