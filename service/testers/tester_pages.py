"""Pages of a program's own testers: the list, one tester, describing one."""

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.diagnosis.diagnosis import diagnose
from service.gear.wirings import wiring_choices, wiring_name
from service.kit.problems import NotFound
from service.kit.text import as_id
from service.testers import actions, queries
from service.testers.actions import NewTester
from service.testers.core import in_words
from service.testlog.models import OwnTester
from service.web.forms import Form, Message, Posted, read_op, typed
from service.wiring.coverage import pass_words
from service.wiring.tester import Tester
from service.wiring.visibility import Visibility
from service.wiring.wirings import ALL

router = page_router()

LABELS = {
    "name": "Name",
    "wiring": "For the wiring",
    "sees": "It sees",
    "reaches": "Contacts that it reaches",
    "patterns": "What its lamps mean",
}
SEES = {
    Visibility.STRAIGHT: "Straight through only: whether each conductor reaches its own contact",
    Visibility.CROSS: "Cross connections too: which contact reaches which",
    Visibility.METER: "Everything, contact to contact, like a meter",
}
"""What a tester can see, with the labels of the form."""
EXAMPLE = "1 2 3 = good\n- 2 3 = A2-B2 A3-B3\n1 - 3 = A1-B1 A3-B3\n1 2 - = A1-B1 A2-B2"
"""The form's initial value: what three lamps show of a good cable and of each open; no tester in particular."""
START = {"name": "", "wiring": "xlr3", "sees": Visibility.STRAIGHT, "reaches": "", "patterns": EXAMPLE}


@router.get("/testers")
def testers_page(context: ViewerContext) -> Response:
    """Every tester that the program described."""
    with context.reading() as db:
        testers = queries.testers(db)
        names = {own.wiring: wiring_name(db, own.wiring) for own in testers}
        return context.page("testers/testers.html", testers=testers, names=names)


@router.get("/testers/new")
def new_tester(context: LeadContext, wiring: str = "") -> Response:
    """Describe a tester, from an example."""
    with context.reading() as db:
        known = wiring in dict(wiring_choices(db))
        return _form(context, db, Form(values=START | ({"wiring": wiring} if known else {})))


@router.post("/testers/new")
def make_tester(context: LeadContext, posted: Posted) -> Response:
    """Add the tester that was described."""
    form = typed(posted, *LABELS)

    def make() -> str:
        new = NewTester(id=form.id, **form.values)
        context.once(new.id, "tester.make", form.values, lambda db: actions.make_tester_of(db, new, context.actor))
        return f"/testers/{new.id}?said=made"

    return context.submit(form, make, lambda db, form: _form(context, db, form))


@router.get("/testers/{tester_id}")
def one_tester(context: ViewerContext, tester_id: str, message: Message = "") -> Response:
    """A tester: what its patterns mean, and what its good pattern does not prove."""
    with context.reading() as db:
        own = get_tester(db, tester_id)
        lamps = queries.described(db, own)
        return context.page(
            "testers/tester.html",
            own=own,
            message=message,
            wiring=wiring_name(db, own.wiring),
            sees=SEES[lamps.sees],
            reaches="all contacts" if own.probed == ALL else ", ".join(own.probed),
            patterns=meanings(lamps),
            blind=pass_words(lamps.wiring, lamps.sees, lamps.mistaken),
        )


@router.post("/testers/{tester_id}/end")
def end_tester(context: LeadContext, tester_id: str, posted: Posted) -> Response:
    """End a tester."""
    with context.reading() as db:
        key = get_tester(db, tester_id).id
    op = read_op(posted.get("op"))
    context.once(op, "tester.end", [tester_id], lambda db: actions.end_tester(db, key, context.actor))
    return RedirectResponse(f"/testers/{tester_id}?said=ended", 303)


def get_tester(db: Session, tester_id: str) -> OwnTester:
    """The tester of this id.

    Raises:
        NotFound: there is none.
    """
    key = as_id(tester_id)
    own = queries.tester(db, key) if key else None
    if own is None:
        raise NotFound("There is no such tester. The list of testers has them all.")
    return own


def meanings(lamps: Tester) -> list[tuple[str, list[str]]]:
    """Each pattern with what it may mean, in words."""
    return [
        (pattern, [in_words(lamps.wiring, diagnose(lamps.wiring, reading)) for reading in readings])
        for pattern, readings in lamps.patterns.items()
    ]


def _form(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page(
        "testers/new_tester.html",
        form=form,
        labels=LABELS,
        wirings=wiring_choices(db),
        sees=[(visibility, words, "scan") for visibility, words in SEES.items()],
    )
