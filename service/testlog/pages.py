"""Pages of tests: the form at the truck, the result with what to do next, a void."""

from dataclasses import dataclass, field, replace
from uuid import UUID

from fastapi import APIRouter, Query
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.desk import CrewDesk, Desk
from service.gear.core import item_name
from service.gear.queries import item_facts
from service.gear.wirings import find_wiring, wiring_name
from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.kit.typed import as_id
from service.tags.actions import item_with
from service.tags.queries import code_of
from service.testlog import actions, entering
from service.testlog.asking import named_item
from service.testlog.bench.queries import testers_for
from service.testlog.core import Method
from service.testlog.phone import form_facts
from service.testlog.plugging import Chain, plugged
from service.testlog.sessions import queries as session_queries
from service.testlog.sheet import Entered, sheet
from service.web.forms import Posted
from service.web.ops import new_op

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Form:
    """The form as it stands: what it is opened for, what was entered, what is wrong with it."""

    code: str
    through: tuple[str, ...] = ()
    lanes: tuple[str, ...] = ()
    session: UUID | None = None
    entered: Entered = field(default_factory=Entered)
    posted: FormData = field(default_factory=FormData)
    errors: dict[str, str] = field(default_factory=dict)
    op: str = field(default_factory=new_op)
    typed: str = ""


@router.get("/t/{code}/test")
def form_page(
    desk: CrewDesk, code: str, lane: tuple[str, ...] = Query(()), through: str = "", session: str = ""
) -> Response:
    """The form of one test. `lane` shows lanes with trouble, `through` names items tested in one go with this one."""
    opened = Form(code, entering.codes(through), lane, as_id(session))
    with desk.reading() as db:
        try:
            return _form(desk, db, opened)
        except Invalid as refusal:
            if "through" not in refusal.errors:
                raise
            return _form(desk, db, Form(code, (), lane, opened.session, errors=refusal.errors, typed=through))


@router.post("/t/{code}/test")
def log_test(desk: CrewDesk, code: str, posted: Posted) -> Response:
    """Log what was entered; the result is a page of its own."""
    through = entering.codes(str(posted.get("through") or ""))
    try:
        with desk.reading() as db:
            chain = _chain(db, code, through)
            wiring = find_wiring(db, chain.key)
        new = entering.new_test(code, through, wiring, posted)
        if chain.asks_for_lane(wiring):
            new = replace(new, lane=entering.through_lane(chain.lanes, posted))
        content = [[name, str(value)] for name, value in posted.multi_items()]
        desk.once(
            new.id, "test.form", [code, *content],
            lambda db: actions.log_test(db, new, desk.me, desk.now, desk.zone),
        )  # fmt: skip
    except Invalid as refusal:
        return _refused(desk, code, posted, refusal)
    return RedirectResponse(f"/tests/{new.id}", 303)


def _refused(desk: Desk, code: str, posted: FormData, refusal: Invalid) -> Response:
    """The form again, as it was sent, with what is wrong beside it."""
    typed = str(posted.get("through") or "")
    through = entering.codes(typed) if "through" not in refusal.errors else ()
    with desk.reading() as db:
        wiring = find_wiring(db, _chain(db, code, through).key)
        lanes = tuple(str(lane) for lane in posted.getlist("lane"))
        entered = entering.entered(wiring, posted) if "touch" not in refusal.errors else Entered()
        again = Form(
            code, through, lanes, as_id(posted.get("session")), entered, posted, refusal.errors,
            str(posted.get("op") or new_op()), "" if through else typed,
        )  # fmt: skip
        return _form(desk, db, again)


def _form(desk: Desk, db: Session, form: Form) -> Response:
    item_id = item_with(db, form.code).id
    item = item_facts(db, [item_id])[item_id]
    chain = _chain(db, form.code, form.through)
    key, wiring = chain.key, find_wiring(db, chain.key)
    session = session_queries.session(db, form.session) if form.session else None
    session = session or session_queries.open_session_with(db, item_id, desk.today)
    code = code_of(db, item_id)
    name = item.label or item_name(item.kind, item.length_mm, Unit(desk.program.unit))
    test = {
        "code": code, "name": name, "through": form.through, "session": session and str(session.id), "wiring": key,
        "next": f"/sessions/{session.id}/next?after={code}" if session else f"/t/{code}",
        "claim": session and f"/sessions/{session.id}/next", "facts": form_facts(wiring),
    }  # fmt: skip
    return desk.page(
        "testlog/test.html", 422 if form.errors else 200, form=form, item=item, code=code, test=test,
        name=name, wiring=wiring,
        wiring_name=wiring_name(db, key), sheet=sheet(wiring, form.lanes), evidence=entering.EVIDENCE,
        session=session, lane_word="lane" if len(wiring.lanes) > 1 else "pair",
        testers=[] if form.through else testers_for(db, key),
        through_lanes=[(lane, lane) for lane in chain.lanes] if form.through and chain.asks_for_lane(wiring) else [],
        method=form.posted.get("method") or Method.TWO_ENDED,
        repaired=desk.request.query_params.get("repaired") == "1",
    )  # fmt: skip


def _chain(db: Session, code: str, through: tuple[str, ...]) -> Chain:
    """The pieces by which the form is filled in; each code that the test went through must be one of ours, and fit."""
    return plugged(db, [item_with(db, code), *(named_item(db, each, "through") for each in through)])
