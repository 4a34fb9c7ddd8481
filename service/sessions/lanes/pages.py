"""A multicore lane by lane: its pieces named once, then pass or fail, one tap a lane, logged as one test."""

from dataclasses import dataclass, replace
from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, RequestContext, page_router
from service.gear.queries import ItemFacts, item_facts, item_namer
from service.gear.wirings import find_wiring
from service.kit.problems import Invalid, invalid
from service.kit.text import as_id
from service.sessions.actions import get_session
from service.sessions.code_input import read_codes
from service.sessions.lanes.core import CONTACTS, TOUCHES, Lane, LaneReading, is_lane_by_lane, readings
from service.tags.queries import code_of, codes_of, item_with, named_id, named_item
from service.testlog import form_reader
from service.testlog.chains import plugged
from service.testlog.confirmation import too_soon
from service.testlog.core import Evidence, NewTest
from service.testlog.logging_tests import log_test
from service.testlog.models import WorkSession
from service.testlog.queries import open_session_with
from service.testlog.reach import lane_names
from service.web.forms import Form, Posted, text, typed
from service.wiring.faults import FaultClass
from service.wiring.wirings import Wiring

router = page_router()


@dataclass(frozen=True)
class LanesChain:
    """What the tester's signal goes through: the items in order, and the wiring they make together."""

    items: list[ItemFacts]
    key: str
    wiring: Wiring


@dataclass(frozen=True)
class LaneForm(Form):
    """The lanes as they stand: through what they go, and what was found so far."""

    through: str = ""
    session: UUID | None = None
    lanes: tuple[Lane, ...] = ()
    note: str = ""
    flexed: bool = False
    made: str = ""
    pieces: str | None = None
    """What was typed as the other pieces, where the form is not shown through those."""


@router.get("/sessions/{session_id}/line")
def name_pieces(context: CrewContext, session_id: str, codes: str = "") -> Response:
    """Name the pieces of a multicore line once: hub, multicore, fan-out."""
    with context.reading() as db:
        session = get_session(db, session_id)
        form = Form(values={"codes": codes})
        named = read_codes(codes)
        if named:
            try:
                items = [named_item(db, code, "codes") for code in named]
                code_of = codes_of(db, [item.id for item in items])
                first, *others = [code_of[item.id] for item in items]
                there = f"/t/{first}/lanes?session={session.id}"
                return RedirectResponse(f"{there}&through={'+'.join(others)}" if others else there, 303)
            except Invalid as refusal:
                form = form.refused(refusal)
        return context.page("sessions/line.html", form=form, session=session)


@router.get("/t/{code}/lanes")
def lanes_form(context: CrewContext, code: str, through: str = "", session: str = "") -> Response:
    """A row for each lane, once it is known what they go through."""
    with context.reading() as db:
        try:
            return _page(context, db, code, LaneForm(through, as_id(session)))
        except Invalid as refusal:
            if "through" not in refusal.errors:
                raise
            return _refused(context, db, code, through, as_id(session), refusal)


@router.post("/t/{code}/lanes")
def log_lanes(context: CrewContext, code: str, posted: Posted) -> Response:
    """Log what was found as one test through all pieces. With `show`, show the same lanes through others."""
    through = str(posted.get("through") or "")

    def log() -> str | Response:
        with context.reading() as db:
            if "show" in posted:
                return _through(context, db, code, posted)
            chain = _chain(db, code, through)
            _check(chain)
            form = _form(chain, through, posted)
            joined, probed = readings(chain.wiring, form.lanes)
            new = NewTest(
                form.id,
                code,
                read_codes(through),
                chain.key,
                joined=joined,
                probed=probed,
                evidence=(Evidence(FaultClass.FLEXED),) if form.flexed else (),
                note=form_reader.note(posted, "note"),
                session=form.session,
            )
            if too_soon(posted, context.now):
                return context.page(
                    "testlog/sure.html",
                    code=code_of(db, chain.items[0].id),
                    name=item_namer(context.program)(chain.items[0]),
                    action=f"/t/{code}/lanes",
                    carried=posted.multi_items(),
                    yes="I tested them: log these lanes",
                )
        context.once(
            new.id,
            "test.lanes",
            [code, through, joined, probed, form.flexed, new.note, str(form.session)],
            lambda db: log_test(db, new, context.me, context.now, context.zone),
        )
        return f"/tests/{new.id}"

    return context.submit(typed(posted), log, lambda db, form: _again(context, db, code, posted, form))


def _again(context: RequestContext, db: Session, code: str, posted: FormData, refused: Form) -> Response:
    """The lanes as they were sent, with what is wrong; the question what they go through, where that cannot be."""
    through = str(posted.get("through") or "")
    try:
        chain = _chain(db, code, through)
    except Invalid as refusal:
        return _refused(context, db, code, through, as_id(posted.get("session")), refusal)
    field = "pieces" if is_lane_by_lane(chain.wiring) else "through"  # beside the lanes they are typed into another
    errors = {field if name == "through" else name: sentence for name, sentence in refused.errors.items()}
    return _page(context, db, code, _form(chain, through, posted).wrong(errors, refused.status))


def _through(context: RequestContext, db: Session, code: str, posted: FormData) -> Response:
    """The lanes as they were marked, through the pieces that were named."""
    was = text(posted, "through")
    pieces = text(posted, "pieces") if "pieces" in posted else was
    try:
        chain = _chain(db, code, pieces)
        _check(chain)
        return _page(context, db, code, _form(chain, pieces, posted))
    except Invalid as refusal:
        form = replace(_form(_chain(db, code, was), was, posted), pieces=pieces)
        return _page(context, db, code, form.wrong({"pieces": refusal.detail}))


def _check(chain: LanesChain) -> None:
    if not is_lane_by_lane(chain.wiring):
        raise invalid("through", "Name the hub and the fan-out that it was tested through.")


def _form(chain: LanesChain, through: str, posted: FormData) -> LaneForm:
    lanes = tuple(_lane(name, posted) for name in chain.wiring.lanes)
    return LaneForm(
        through,
        as_id(posted.get("session")),
        lanes,
        text(posted, "note"),
        posted.get(form_reader.FLEXED) == "yes",
        op=text(posted, "op"),
        made=text(posted, "made"),
    )


def _lane(name: str, posted: FormData) -> Lane:
    shown = text(posted, f"lane-{name}")
    touching = set(posted.getlist(f"touch-{name}"))
    return Lane(
        name,
        LaneReading(shown) if shown in list(LaneReading) else LaneReading.LEFT_OUT,
        frozenset(contact for contact in CONTACTS if contact in posted.getlist(f"open-{name}")),
        tuple(pair for pair in TOUCHES if "-".join(pair) in touching),
        posted.get(f"reversed-{name}") == "yes",
    )


def _chain(db: Session, code: str, through: str) -> LanesChain:
    """The items named, and how they look to a tester at both ends.

    Raises:
        Invalid: for `through`, where a code is none of ours, or two of the pieces do not mate.
    """
    first = item_with(db, code)
    others = [named_id(db, each, "through") for each in read_codes(through)]
    facts = item_facts(db, [first.id, *others])
    items = [facts[item_id] for item_id in (first.id, *others)]
    key = plugged(db, items).key
    return LanesChain(items, key, find_wiring(db, key))


def _refused(
    context: RequestContext, db: Session, code: str, through: str, session: UUID | None, refusal: Invalid
) -> Response:
    """The question what it is tested through, with what was typed and why that cannot be."""
    return _page(context, db, code, LaneForm("", session, pieces=through).refused(refusal))


def _page(context: RequestContext, db: Session, code: str, form: LaneForm) -> Response:
    chain = _chain(db, code, form.through)
    lanes = form.lanes or tuple(Lane(name) for name in chain.wiring.lanes)
    session = db.get(WorkSession, form.session) if form.session else None
    session = session or open_session_with(db, chain.items[0].id, context.today)
    codes = codes_of(db, [item.id for item in chain.items])
    first, *others = [codes[item.id] for item in chain.items]
    ready = "through" not in form.errors and is_lane_by_lane(chain.wiring)
    facts = {
        "item": first,
        "through": others,
        "session": session and str(session.id),
        "wiring": chain.key,
        "lanes": {
            name: [[wire.a for wire in wires], [wire.b for wire in wires]] for name, wires in chain.wiring.lanes.items()
        },
    }
    return context.page(
        "sessions/lanes.html",
        form=form,
        items=chain.items,
        lanes=lanes,
        codes=codes,
        ready=ready,
        typed=" ".join(others) if form.pieces is None else form.pieces,
        single=len(others) > 0 and len(lane_names(chain.wiring)) == 1,
        session=session,
        facts=facts,
        touches=["-".join(pair) for pair in TOUCHES],
        title=item_namer(context.program),
        made=form.made or context.now.isoformat(),
    )
