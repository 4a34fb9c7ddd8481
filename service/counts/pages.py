"""Pages of a count: place by place, item by item; what is missing at the end, and what was found again."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.counts import actions, queries
from service.counts.core import Outcome, Seen
from service.crew.context import CrewContext, LeadContext, RequestContext, ViewerContext, page_router
from service.crew.core import Role
from service.gear import queries as gear
from service.gear.queries import item_facts, item_namer
from service.kit.problems import Conflict, NotFound, Problem, invalid
from service.kit.text import as_id
from service.sessions import queries as session_queries
from service.sessions.actions import get_session
from service.sessions.code_input import read_codes
from service.sessions.core import by_place
from service.sessions.queries import WorklistRow, place_name
from service.tags.queries import codes_of, refuse_ended, tag_on
from service.testlog import form_reader
from service.testlog.models import SessionKind, WorkSession
from service.web.forms import Form, Posted, read_id, read_op, text

router = page_router()

NOWHERE = "none"
"""What stands in an address for the items that have no place."""


@dataclass(frozen=True)
class Count:
    """A count as its pages show it."""

    session: WorkSession
    lines: Sequence[WorklistRow]
    seen: Mapping[UUID, Seen]
    comes_to: Outcome
    walked: Collection[str]

    @property
    def places(self) -> list[tuple[str, str, int, int]]:
        """The places of the walk: what stands for each in an address, its name, how many were seen, of how many."""
        keys = {_key(line): line.item.place or "No place" for line in self.lines}
        counted = by_place([_key(line) for line in self.lines], [line.item.id in self.seen for line in self.lines])
        return [(key, name, *counted[key]) for key, name in keys.items()]

    def at(self, key: str) -> list[WorklistRow]:
        """The lines of one place."""
        return [line for line in self.lines if _key(line) == key]


@router.get("/sessions/{session_id}/count")
def count_page(context: ViewerContext, session_id: str, code: str = "", at: str = "") -> Response:
    """How a count stands, place by place; once closed, what it came to.

    `code` was scanned or typed at place `at`: the page shows its item and asks for confirmation.
    """
    with context.reading() as db:
        try:
            named = [_item_and_place(db, each)[0] for each in read_codes(code)]
        except Problem as refusal:
            return _count_page(context, db, session_id, _code_form(code, refusal))
        return _count_page(context, db, session_id, _code_form(code), [one for one in named if one], at)


@router.get("/sessions/{session_id}/count/close")
def close_form(context: LeadContext, session_id: str) -> Response:
    """What is missing, to be ticked where it is lost, and what was found again."""
    with context.reading() as db:
        count = _count(db, session_id)
        if count.session.closed_at is not None:
            return RedirectResponse(f"/sessions/{count.session.id}/count", 303)
        return _close(context, db, session_id, Form())


@router.post("/sessions/{session_id}/count/close")
def close_count(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """Close the count with what was ticked."""
    ids = {name: _ids(posted.getlist(name)) for name in ("lost", "found", "moved")}
    ticked = {name: list(map(str, each)) for name, each in ids.items()}
    form = Form(values={"note": text(posted, "note"), **ticked}, op=text(posted, "op"))
    with context.reading() as db:
        key = _count(db, session_id).session.id

    def close() -> str:
        note = form_reader.note(posted, "note")
        context.once(
            form.id,
            "count.close",
            [str(key), *ticked.values(), note],
            lambda db: actions.close_count(db, key, ids["lost"], ids["found"], ids["moved"], note, context.actor),
        )
        return f"/sessions/{key}/count"

    return context.submit(form, close, lambda db, form: _close(context, db, session_id, form))


@router.get("/sessions/{session_id}/count/{place}")
def count_place(context: ViewerContext, session_id: str, place: str) -> Response:
    """What should be at one place, item by item."""
    with context.reading() as db:
        count = _count(db, session_id)
        lines = count.at(place)
        if not lines:
            raise NotFound("Nothing on this count lives there. Go back to the count.")
        keys = [each[0] for each in count.places if each[2] < each[3] and each[0] != place]
        return context.page(
            "counts/count_place.html",
            count=count,
            here=place,
            lines=lines,
            next_place=next(iter(keys), None),
            left=[line for line in lines if line.item.id not in count.seen],
            acts=_acts(context, count.session),
            title=item_namer(context.program),
            names={key: name for key, name, _, _ in count.places},
        )


@router.post("/sessions/{session_id}/seen")
def seen(context: CrewContext, session_id: str, posted: Posted) -> Response:
    """Something was seen: by a tap, or all that lives at a place except what was ticked.

    A code says what it is on first: a typed one may be a neighbor's.
    """
    op, code = read_op(posted.get("op")), text(posted, "code")
    place, tapped = str(posted.get("place") or ""), _ids(posted.getlist("item"))
    with context.reading() as db:
        count = _count(db, session_id)
        back = f"/sessions/{count.session.id}/count" + (f"/{place}" if place else "")
        if posted.get("all") == "yes":
            missing = set(_ids(posted.getlist("missing")))
            tapped = [line.item.id for line in count.at(place) if line.item.id not in missing]
        try:
            named = [_item_and_place(db, each) for each in read_codes(code)]
        except Problem as refusal:
            return _count_page(context, db, session_id, _code_form(code, refusal))
    if count.session.closed_at is not None:
        raise Conflict("This count was closed before. Nothing was changed.")
    place_ids = [place_id for _, place_id in named if place_id is not None]
    if any(item_id for item_id, _ in named):
        query = urlencode({"code": code, "at": place})
        return RedirectResponse(f"/sessions/{count.session.id}/count?{query}#named", 303)
    if place_ids:  # the tag of a place: on to what should be there
        return RedirectResponse(f"/sessions/{count.session.id}/count/{place_ids[0]}", 303)
    everything = posted.get("all") == "yes"
    if tapped or everything:
        context.once(
            op,
            "count.seen",
            [str(count.session.id), place, list(map(str, tapped)), everything],
            lambda db: _seen(db, context, count.session.id, tapped, as_id(place), through=everything),
        )
    return RedirectResponse(back, 303)


def _seen(
    db: Session, context: RequestContext, key: UUID, items: Collection[UUID], place: UUID | None, *, through: bool
) -> None:
    """Keep what was seen at a place; `through`: and nothing else is there."""
    actions.see(db, key, items, place, context.actor)
    if through and place is not None:
        actions.walk(db, key, place, context.actor)


@router.post("/sessions/{session_id}/walked")
def walked(context: CrewContext, session_id: str, posted: Posted) -> Response:
    """Somebody went through a place to its end."""
    place = as_id(posted.get("place"))
    if place is None:
        raise invalid("place", "This page is out of date. Open it again and send it once more.")
    return _write(
        context, session_id, posted, "count.walked", place, lambda db, key: actions.walk(db, key, place, context.actor)
    )


@router.post("/sessions/{session_id}/moved")
def moved(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """What was found elsewhere lives there from now on."""
    item = read_id(posted.get("item"), "item")
    return _write(
        context, session_id, posted, "count.moved", item, lambda db, key: actions.settle(db, key, item, context.actor)
    )


@router.post("/sessions/{session_id}/unseen")
def unseen(context: CrewContext, session_id: str, posted: Posted) -> Response:
    """Take back that an item was seen."""
    item, place = read_id(posted.get("item"), "item"), text(posted, "place")
    return _write(
        context, session_id, posted, "count.unseen", item, lambda db, key: actions.take_back(db, key, item), place
    )


@router.post("/sessions/{session_id}/found")
def mark_found(context: LeadContext, session_id: str, posted: Posted) -> Response:
    """A lost item that was seen goes back to where it was before, at once."""
    item = read_id(posted.get("item"), "item")
    return _write(
        context,
        session_id,
        posted,
        "count.found",
        item,
        lambda db, key: actions.bring_back(db, key, item, context.actor),
    )


def _write(
    context: RequestContext,
    session_id: str,
    posted: FormData,
    action: str,
    about: UUID,
    do: Callable[[Session, UUID], object],
    place: str = "",
) -> Response:
    """Write one thing about an item or a place into a count, once, and go back to its page or to that of a place."""
    op = read_op(posted.get("op"))
    with context.reading() as db:
        key = get_session(db, session_id).id
    context.once(op, action, [str(key), str(about)], lambda db: do(db, key))
    return RedirectResponse(f"/sessions/{key}/count" + (f"/{place}" if place else ""), 303)


def _item_and_place(db: Session, code: str) -> tuple[UUID | None, UUID | None]:
    """The item, or the place, that a code is on."""
    tag = tag_on(db, code)
    refuse_ended(tag)
    return tag.item_id, tag.place_id


def _count(db: Session, session_id: str) -> Count:
    session = get_session(db, session_id)
    if session.kind != SessionKind.COUNT:
        raise Conflict("This is a session of tests, not a count. Open a count to check what is there.")
    return Count(
        session,
        session_queries.worklist(db, session.id),
        queries.seen(db, session.id),
        actions.comes_to(db, session),
        {str(place) for place in queries.walked(db, session.id)},
    )


def _code_form(code: str, refusal: Problem | None = None) -> Form:
    form = Form(values={"code": code})
    return form.wrong({"code": refusal.detail}, refusal.status) if refusal else form


def _count_page(
    context: RequestContext, db: Session, session_id: str, form: Form, named: Sequence[UUID] = (), at: str = ""
) -> Response:
    count = _count(db, session_id)
    outcome = count.comes_to
    ids = [*outcome.found_again, *outcome.besides, *outcome.missing, *outcome.not_walked, *outcome.elsewhere, *named]
    here = as_id(at) or queries.last_place(db, count.session.id, context.me.id) or count.session.place_id
    closed = count.session.closed_at is not None
    return context.page(
        "counts/closed_count.html" if closed else "counts/count.html",
        form=form,
        count=count,
        items=item_facts(db, ids),
        codes=codes_of(db, ids),
        title=item_namer(context.program),
        acts=_acts(context, count.session),
        leads=context.me.role.reaches(Role.LEAD),
        place=place_name(db, count.session),
        late=count.session.on < context.today,
        helpers=session_queries.helpers(db, count.session.id),
        closed_by=session_queries.name_of(db, count.session.closed_by),
        named=named,
        here=str(here or next((one for one, _ in queries.homes(db, named).values() if one), "")),
        everywhere=[(str(place.id), place.name) for place in gear.places(db)],
    )


def _close(context: RequestContext, db: Session, session_id: str, form: Form) -> Response:
    count = _count(db, session_id)
    outcome = count.comes_to
    ids = [*outcome.found_again, *outcome.missing, *outcome.elsewhere]
    return context.page(
        "counts/close_count.html",
        form=form,
        count=count,
        items=item_facts(db, ids),
        codes=codes_of(db, ids),
        title=item_namer(context.program),
    )


def _acts(context: RequestContext, session: WorkSession) -> bool:
    return context.me.role.reaches(Role.CREW) and session.closed_at is None


def _key(line: WorklistRow) -> str:
    return str(line.item.place_id or NOWHERE)


def _ids(posted: Sequence[object]) -> list[UUID]:
    return sorted({key for each in posted if (key := as_id(each))})
