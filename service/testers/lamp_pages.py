"""The page of lamps: a pattern of the program's own tester, what it may mean, and logging it as a test."""

from dataclasses import dataclass, replace

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, RequestContext, page_router
from service.diagnosis.ambiguity import agree
from service.kit.problems import Conflict, Invalid, invalid
from service.tags.queries import item_with
from service.testers import queries
from service.testers.about import about
from service.testers.core import UNSURE, TestOrigin, as_test, choices, chosen, outcome
from service.testers.tester_pages import get_tester, meanings
from service.testlog import form_reader
from service.testlog.confirmation import ABOUT_THE_FORM, content, too_soon
from service.testlog.core import SCANNED, Method, NewTest
from service.testlog.logging_tests import log_test
from service.testlog.models import OwnTester
from service.web.forms import Form, Posted, read_op, text
from service.web.render import new_op
from service.wiring.coverage import pass_words

router = page_router()
_OWN = (*ABOUT_THE_FORM, "op", "tester", "pattern", "which", "note", form_reader.FLEXED, "verdict")


@dataclass(frozen=True)
class LampForm(Form):
    """The state of the page: the tester, the pattern, and the other fields."""

    tester: str = ""
    pattern: str | None = None
    which: str = UNSURE
    flexed: bool = False
    note: str = ""
    made: str = ""
    scanned: bool = False
    carried: tuple[tuple[str, str], ...] = ()
    """The other fields of the test form from which this page was opened."""


@router.get("/t/{code}/lamps")
def lamps_page(context: CrewContext, code: str, tester: str = "", pattern: str | None = None) -> Response:
    """Choose the tester if there are several, then the pattern, then see what it may mean."""
    with context.reading() as db:
        return _page(context, db, code, LampForm(tester, pattern))


@router.post("/t/{code}/lamps")
def log_lamps(context: CrewContext, code: str, posted: Posted) -> Response:
    """Log what the pattern means; with `show` only show that, or all patterns of the tester."""
    if "show" in posted:
        with context.reading() as db:
            return _page(context, db, code, _read_form(context, posted))

    def log() -> str | Response:
        with context.reading() as db:
            new = _test(context, db, code, posted)
            if too_soon(posted, context.now):
                item = about(context, db, code)
                return context.page(
                    "testlog/sure.html",
                    code=item.code,
                    name=item.name,
                    action=f"/t/{item.code}/lamps",
                    carried=posted.multi_items(),
                    yes="I tested it: log it",
                )
        context.once(
            new.id,
            "test.lamps",
            [code, *content(posted)],
            lambda db: log_test(db, new, context.me, context.now, context.zone),
        )
        return f"/tests/{new.id}"

    return context.submit(_read_form(context, posted), log, lambda db, form: _page(context, db, code, form))


def _read_form(context: RequestContext, posted: FormData) -> LampForm:
    """The page as it was sent, by its own form or from the test form; an address that names a tester goes first."""
    which, note, made = (text(posted, name) for name in ("which", "note", "made"))
    lamps = context.request.query_params if "tester" in context.request.query_params else posted
    pattern = lamps.get("pattern")
    carried = tuple((name, str(value)) for name, value in posted.multi_items() if name not in _OWN)
    return LampForm(
        str(lamps.get("tester") or ""),
        None if pattern is None else str(pattern),
        which or UNSURE,
        posted.get(form_reader.FLEXED) == "yes",
        note,
        made,
        bool(posted.get(SCANNED)),
        carried,
        op=text(posted, "op") or new_op(),
    )


def _test(context: RequestContext, db: Session, code: str, posted: FormData) -> NewTest:
    item = item_with(db, code)
    own = _tester(db, text(posted, "tester"), item.wiring)
    lamps, pattern = queries.described(db, own), str(posted.get("pattern") or "")
    agreed = agree(lamps.wiring, lamps.readings_for(pattern))
    agreed = chosen(lamps.wiring, agreed, text(posted, "which") or UNSURE)
    origin = TestOrigin(
        read_op(posted.get("op")),
        code,
        Method.TWO_ENDED,
        f"{lamps.name}, lamps “{pattern}”.",
        form_reader.note(posted, "note"),
        posted.get("flexed") == "yes",
        own.id,
        about(context, db, code).session,
    )
    return as_test(lamps.wiring, origin, agreed)


def _tester(db: Session, tester_id: str, wiring: str) -> OwnTester:
    own = get_tester(db, tester_id)
    if own.ended_at is not None:
        raise Conflict(f"{own.name} was put away. Choose another tester, or enter the test contact by contact.")
    if own.wiring != wiring:
        raise invalid("tester", f"{own.name} is described for another wiring than this item has. Choose another.")
    return own


def _page(context: RequestContext, db: Session, code: str, form: LampForm) -> Response:
    item = about(context, db, code)
    testers = queries.testers_for(db, item.wiring)
    if len(testers) == 1 and not form.tester:
        form = replace(form, tester=str(testers[0].id))
    made = form.made or context.now.isoformat()
    if not form.tester or "tester" in form.errors:
        return context.page(
            "testers/lamps.html", form=form, item=item, testers=testers, tester=None, agreed=None, made=made
        )
    own = _tester(db, form.tester, item.wiring)
    lamps = queries.described(db, own)
    agreed = None
    if form.pattern is not None and "pattern" not in form.errors:
        try:
            agreed = agree(lamps.wiring, lamps.readings_for(form.pattern))
        except Invalid as unknown:
            form = form.refused(unknown)
    return context.page(
        "testers/lamps.html",
        form=form,
        item=item,
        testers=testers,
        tester=own,
        lamps=lamps,
        patterns=meanings(lamps),
        agreed=agreed,
        choices=choices(lamps.wiring, agreed) if agreed else [],
        outcome=outcome(lamps.wiring, agreed) if agreed else "",
        blind=pass_words(lamps.wiring, lamps.sees, lamps.mistaken),
        made=made,
    )
