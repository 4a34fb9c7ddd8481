"""Pages of the crew: its passes, its people with what distinguishes them, ending somebody's access, erasing a name."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew import access, actions, queries
from service.crew.context import LeadContext, RequestContext, page_router
from service.crew.core import Role, spelled, unnamed
from service.crew.models import Person
from service.crew.pages import join_link
from service.crew.privacy import actions as privacy
from service.crew.privacy.queries import list_former
from service.kit.problems import NotFound, invalid
from service.kit.text import as_id, id_in_address
from service.testlog.queries import last_logged
from service.web.forms import Form, Posted, read_op, typed
from service.web.qr import qr_svg

router = page_router()

_JUST = timedelta(minutes=5)
"""For how long the lead who ended somebody's access is shown what ended with it."""
_NO_PERSON = "There is no such person here."


@router.get("/crew")
def crew_page(context: LeadContext, ended: str = "") -> Response:
    """Show who has access, by which passes, and the tokens; and what ended with the access of `ended`, if this lead has
    just ended it.
    """
    with context.reading() as db:
        key = as_id(ended)
        at = queries.find_ended_by(db, context.me.id, key, context.now - _JUST) if key else None
        return _crew(context, db, Form(), db.get(Person, key) if at else None, at)


@router.post("/crew/passes")
def make_pass(context: LeadContext, posted: Posted) -> Response:
    """Make a pass and show its QR code once."""
    form = typed(posted, "role", "label")

    def make() -> Response:
        role = _role(form.values["role"])
        label = " ".join(form.values["label"].split())[:60] or unnamed(role)
        with context.writing() as db:
            made = actions.make_pass(db, role, label, context.me, context.now)
        link = join_link(context, made.secret)
        return context.page(
            "home/people/new_pass.html",
            made=made,
            role=role,
            label=label,
            link=link,
            qr=qr_svg(link),
            secret=spelled(made.secret),
        )

    return context.submit(form, make, lambda db, form: _crew(context, db, form))


@router.get("/crew/passes/{pass_id}/end")
def end_pass_page(context: LeadContext, pass_id: str) -> Response:
    """Ask before a pass is ended, since that may sign out everybody who is working."""
    with context.reading() as db:
        crew_pass = actions.get_pass(db, _pass_id(pass_id))
        phones = queries.signed_in_by_pass(db, crew_pass.id, context.now)
        return context.page("home/people/end_pass.html", crew_pass=crew_pass, phones=phones)


@router.post("/crew/passes/{pass_id}/end")
def end_pass(context: LeadContext, pass_id: str) -> Response:
    """End a pass."""
    with context.writing() as db:
        actions.end_pass(db, _pass_id(pass_id), context.actor)
    return RedirectResponse("/crew", 303)


@router.get("/crew/people/{person_id}/end")
def end_person_page(context: LeadContext, person_id: str) -> Response:
    """Ask before somebody's access ends, with what distinguishes the person from others of that name."""
    with context.reading() as db:
        person = _person(db, person_id)
        if person.ended_at:
            raise NotFound("There is no such person here any more.")
        return context.page("home/people/end_person.html", **_ways(context, db, person))


@router.post("/crew/people/{person_id}/end")
def end_person(context: LeadContext, person_id: str, posted: Posted) -> Response:
    """End somebody's access and the selected links; what they logged stays."""
    key, also = _person_id(person_id), [str(each) for each in posted.getlist("also")]
    with context.writing() as db:
        actions.end_person(db, key, context.actor, also)
    return RedirectResponse(f"/crew?ended={key}", 303)


@router.get("/crew/people/{person_id}/erase")
def erase_page(context: LeadContext, person_id: str) -> Response:
    """Say what erasing does before it is done, since it cannot be undone."""
    with context.reading() as db:
        person = _person(db, person_id)
        return context.page("home/people/erase.html", **_ways(context, db, person))


@router.post("/crew/people/{person_id}/erase")
def erase(context: LeadContext, person_id: str, posted: Posted) -> Response:
    """Anonymize somebody at once."""
    op, key = read_op(posted.get("op")), _person_id(person_id)
    context.once(op, "person.erase", str(key), lambda db: privacy.erase(db, key, context.actor))
    return RedirectResponse(f"/crew?ended={key}", 303)


def _ways(context: RequestContext, db: Session, person: Person) -> dict[str, Any]:
    """What the pages show before somebody's access ends: who it is, and by which links they could get in again."""
    known = access.may_know(db, person, context.now)
    return {
        "person": person,
        "logged": last_logged(db, [person.id]),
        "ending": access.ends_with(db, person, context.now),
        "known": known,
        "phones": {link.id: queries.signed_in_by_pass(db, link.id, context.now) for link in known},
        "came_by": set(queries.passes_of(db, person.id)),
        "let_in": queries.people_by_passes_of(db, person.id),
        "tokens": queries.tokens(db) if person.role == Role.LEAD else [],
    }


def _crew(
    context: RequestContext, db: Session, form: Form, gone: Person | None = None, at: datetime | None = None
) -> Response:
    people, former = queries.people(db), list_former(db)
    return context.page(
        "home/people/crew.html",
        form=form,
        gone=gone,
        ended=access.ended_with(db, gone) if gone is not None and gone.ended_at == at else [],
        people=people,
        former=former,
        passes=queries.open_passes(db, context.now),
        logged=last_logged(db, [person.id for person in (*people, *former)]),
        tokens=queries.tokens(db),
    )


def _person(db: Session, person_id: str) -> Person:
    person = db.get(Person, _person_id(person_id))
    if person is None:
        raise NotFound(_NO_PERSON)
    return person


def _pass_id(text: str) -> UUID:
    return id_in_address(text, "There is no such pass.")


def _person_id(text: str) -> UUID:
    return id_in_address(text, _NO_PERSON)


def _role(word: str) -> Role:
    if word not in (Role.VIEWER, Role.CREW, Role.LEAD):
        raise invalid("role", "Choose what the pass is for: crew, a viewer, or another lead.")
    return Role(word)
