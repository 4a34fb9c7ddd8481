"""Pages of tests: the form at the truck, the result with what to do next, a void."""

from collections.abc import Mapping
from dataclasses import replace

from fastapi import Query
from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, RequestContext, page_router
from service.gear.queries import item_facts, item_namer
from service.gear.wirings import connectors, find_wiring, wiring_name
from service.home.test.forms import TestForm
from service.kit.problems import Invalid
from service.kit.text import as_id
from service.sessions import queries as session_queries
from service.tags.queries import code_of, item_with, named_item
from service.testers.queries import testers_for
from service.testlog import form_reader, logging_tests
from service.testlog.chains import plugged
from service.testlog.confirmation import content, too_soon
from service.testlog.core import SCANNED, Method, Verdict
from service.testlog.phone import form_facts
from service.testlog.queries import open_session_with
from service.testlog.reach import PluggedChain
from service.testlog.sheet import Entered, is_good, sheet
from service.web.forms import Form, Posted, text, typed
from service.web.render import new_op

router = page_router()

PIECES = "pieces"
"""The value of `show` if the form has to be shown for a test through the named items."""


@router.get("/t/{code}/test")
def form_page(
    context: CrewContext,
    code: str,
    lane: tuple[str, ...] = Query(()),
    through: str = "",
    through_lane: str = "",
    session: str = "",
    scanned: str = "",
) -> Response:
    """Show the form of one test. `lane` names lanes to show, `through` further items of the test, and `through_lane`
    the lane that it goes through; `scanned` says that the item's tag was scanned.
    """
    posted = FormData({"through_lane": through_lane} if through_lane else {})
    opened = TestForm(code, form_reader.codes(through), lane, as_id(session), scanned=bool(scanned), posted=posted)
    with context.reading() as db:
        try:
            return _form(context, db, opened)
        except Invalid as refusal:
            if "through" not in refusal.errors:
                raise
            return _form(context, db, replace(opened, through=(), pieces=through).wrong(_of_pieces(refusal.errors)))


@router.post("/t/{code}/test")
def log_test(context: CrewContext, code: str, posted: Posted) -> Response:
    """Log a test and redirect to its result. With `show`, only show the form in another view."""
    through = form_reader.codes(text(posted, "through"))

    def log() -> str | Response:
        if "show" in posted:
            return _shown(context, code, posted)
        with context.reading() as db:
            chain = _chain(db, code, through)
            wiring = find_wiring(db, chain.key)
        new = form_reader.new_test(code, through, wiring, posted)
        if chain.asks_for_lane(wiring):
            new = replace(new, lane=form_reader.through_lane(chain.lanes, posted))
        if too_soon(posted, context.now):
            return _ask(context, code, posted)
        context.once(
            new.id,
            "test.form",
            [code, *content(posted)],
            lambda db: logging_tests.log_test(db, new, context.me, context.now, context.zone),
        )
        return f"/tests/{new.id}"

    return context.submit(typed(posted), log, lambda db, form: _form(context, db, _refused(db, code, posted, form)))


def _shown(context: RequestContext, code: str, posted: FormData) -> Response:
    """The form in another view, with everything that was entered: with one more lane, or through the named items.

    Marks on contacts belong to a wiring, and are dropped if other items result in another one.
    """
    was, show = form_reader.codes(text(posted, "through")), str(posted["show"])
    with context.reading() as db:
        through = form_reader.codes(text(posted, PIECES)) if show == PIECES else was
        errors: dict[str, str] = {}
        key = _chain(db, code, was).key
        try:
            changed = _chain(db, code, through).key != key
        except Invalid as refusal:
            through, changed, errors = was, False, _of_pieces(refusal.errors)
        wiring = find_wiring(db, key)
        entered = form_reader.entered(wiring, posted)
        lanes = tuple(str(lane) for lane in (*posted.getlist("lane"), show))
        again = _as_posted(code, through, lanes, entered, posted).wrong(errors)
        if changed:
            marked = bool(entered.skipped) or not is_good(wiring, entered)
            others = form_reader.without_contacts(posted)
            again = replace(again, lanes=(), entered=Entered(), posted=others, not_carried=marked)
        return _form(context, db, again)


def _ask(context: RequestContext, code: str, posted: FormData) -> Response:
    """Ask whether the item was tested at all."""
    with context.reading() as db:
        item_id = item_with(db, code).id
        item = item_facts(db, [item_id])[item_id]
        return context.page(
            "testlog/sure.html",
            code=code_of(db, item_id),
            name=item_namer(context.program)(item),
            action=f"/t/{code}/test",
            carried=posted.multi_items(),
            yes=f"I tested it: log the {posted['verdict']}",
        )


def _refused(db: Session, code: str, posted: FormData, refused: Form) -> TestForm:
    """The form as it was sent, with its errors.

    If the items are wrong, there is no wiring by which to read the contacts, so these are dropped.
    """
    if "through" in refused.errors:
        again = _as_posted(code, (), (), Entered(), form_reader.without_contacts(posted))
        marked = posted.get("verdict") == Verdict.FAIL
        again = replace(again, pieces=text(posted, "through"), not_carried=marked)
    else:
        through = form_reader.codes(text(posted, "through"))
        wiring = find_wiring(db, _chain(db, code, through).key)
        entered = form_reader.entered(wiring, posted) if "touch" not in refused.errors else Entered()
        lanes = tuple(str(lane) for lane in posted.getlist("lane"))
        again = _as_posted(code, through, lanes, entered, posted)
    return again.wrong(_of_pieces(refused.errors))


def _as_posted(
    code: str, through: tuple[str, ...], lanes: tuple[str, ...], entered: Entered, posted: FormData
) -> TestForm:
    pieces = posted.get(PIECES)
    return TestForm(
        code,
        through,
        lanes,
        as_id(posted.get("session")),
        entered,
        posted,
        bool(posted.get(SCANNED)),
        pieces if isinstance(pieces, str) else None,
        op=text(posted, "op") or new_op(),
    )


def _of_pieces(errors: Mapping[str, str]) -> dict[str, str]:
    """The errors by the fields of the page, which has a single field for all items of the test."""
    return {PIECES if name == "through" else name: sentence for name, sentence in errors.items()}


def _form(context: RequestContext, db: Session, form: TestForm) -> Response:
    item_id = item_with(db, form.code).id
    item = item_facts(db, [item_id])[item_id]
    chain = _chain(db, form.code, form.through)
    key, wiring = chain.key, find_wiring(db, chain.key)
    session = session_queries.session(db, form.session) if form.session else None
    session = session or open_session_with(db, item_id, context.today)
    code = code_of(db, item_id)
    name = item_namer(context.program)(item)
    test = {
        "code": code,
        "name": name,
        "through": form.through,
        "session": session and str(session.id),
        "wiring": key,
        "next": f"/sessions/{session.id}/next?after={code}" if session else f"/t/{code}",
        "claim": session and f"/sessions/{session.id}/next",
        "facts": form_facts(wiring),
    }
    return context.page(
        "testlog/test.html",
        form=form,
        item=item,
        code=code,
        test=test,
        name=name,
        wiring=wiring,
        wiring_name=wiring_name(db, key),
        sheet=sheet(wiring, form.lanes, form.entered.touching),
        evidence=form_reader.EVIDENCE,
        session=session,
        lane_word="lane" if len(wiring.lanes) > 1 else "pair",
        testers=[] if form.through or PIECES in form.errors else testers_for(db, key),
        through_lanes=[(lane, lane) for lane in chain.lanes] if form.through and chain.asks_for_lane(wiring) else [],
        method=form.posted.get("method") or Method.TWO_ENDED,
        made=form.posted.get("made") or context.now.isoformat(),
        ends_of=connectors(db, item),
        repaired=context.request.query_params.get("repaired") == "1",
    )


def _chain(db: Session, code: str, through: tuple[str, ...]) -> PluggedChain:
    """The items of the test in the form; each code must be on an item, and the items must fit together."""
    return plugged(db, [item_with(db, code), *(named_item(db, each, "through") for each in through)])
