"""The page that locates a break or a short along a cable, and checks the resistance of a loop."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, RequestContext, page_router
from service.kit.problems import Conflict, Invalid
from service.kit.quantities import Unit
from service.testers.about import TestedItem, about
from service.testers.meter import LABELS, START, loop_judged, open_place, short_place
from service.testlog.core import Evidence, Method, NewTest
from service.testlog.logging_tests import log_test
from service.web.forms import Form, Posted, text, typed
from service.wiring.copper import LoopCheck
from service.wiring.location import FaultLocation

router = page_router()

PLACES: Final[Mapping[str, Callable[[int, Mapping[str, str]], FaultLocation]]] = {
    "open": open_place,
    "short": short_place,
}
"""The function that locates each kind of fault."""
LOOP: Final = "loop"


@dataclass(frozen=True)
class MeasuredAnswer(Form):
    """The answer to one of the page's three questions (`about`)."""

    about: str = ""
    values: Mapping[str, Any] = field(default_factory=lambda: START, kw_only=True)
    place: FaultLocation | None = None
    loop: LoopCheck | None = None


@router.get("/t/{code}/where")
def where_page(context: CrewContext, code: str) -> Response:
    """The page with its three questions: where is the break, where is the short, is a joint too high."""
    with context.reading() as db:
        return _page(context, db, code, MeasuredAnswer())


@router.post("/t/{code}/where")
def answer(context: CrewContext, code: str, posted: Posted) -> Response:
    """Answer a question; log a loop that is too high after somebody saw the answer and confirmed it."""
    form = typed(posted)

    def log() -> str | Response:
        op = form.id
        with context.reading() as db:
            item = about(context, db, code)
            answered = _answered(item, posted)
            if posted.get("do") != "log" or answered.loop is None:
                return _page(context, db, code, answered)
        new = _test(item, answered)
        content = [code, dict(answered.values)]
        context.once(op, "test.loop", content, lambda db: log_test(db, new, context.me, context.now, context.zone))
        return f"/tests/{new.id}"

    def again(db: Session, form: Form) -> Response:
        answered = _answered(about(context, db, code), posted)
        return _page(context, db, code, answered.wrong(form.errors, form.status))

    return context.submit(form, log, again)


def _answered(item: TestedItem, posted: FormData) -> MeasuredAnswer:
    question, op = text(posted, "about"), text(posted, "op")
    values = dict(START) | {name: text(posted, name) for name in LABELS if name in posted}
    try:
        if question == LOOP:
            return MeasuredAnswer(question, values=values, loop=loop_judged(item.length_mm, values), op=op)
        if question in PLACES:
            return MeasuredAnswer(question, values=values, place=PLACES[question](item.length_mm, values), op=op)
    except Invalid as refusal:
        return MeasuredAnswer(question, values=values, op=op).refused(refusal)
    return MeasuredAnswer(values=values, op=op)


def _test(item: TestedItem, answered: MeasuredAnswer) -> NewTest:
    """A loop that is too high as a test without readings, which fails by its evidence.

    Raises:
        Conflict: the loop is not too high, which proves nothing but itself.
    """
    loop = answered.loop
    if loop is None or loop.evidence is None:
        raise Conflict("This loop is not too high, so there is no fault to log.")
    evidence = Evidence(loop.evidence, None, f"{loop.reading:.0f} milliohms, {loop.excess:.0f} too many")
    return NewTest(
        id=answered.id,
        item=item.code,
        method=Method.METER,
        evidence=(evidence,),
        note=loop.sentence,
        session=item.session,
    )


def _page(context: RequestContext, db: Session, code: str, shown: MeasuredAnswer) -> Response:
    item = about(context, db, code)
    unit = Unit(context.program.unit)
    return context.page(
        "testers/where.html",
        form=shown,
        item=item,
        labels=LABELS,
        values=_filled_in(item, unit, shown),
        sentence=shown.place.sentence(unit) if shown.place else "",
    )


def _filled_in(item: TestedItem, unit: Unit, shown: MeasuredAnswer) -> dict[str, str]:
    """The values of the fields: as typed, else a usual gauge and temperature."""
    usual = {"gauge": str(item.gauge_awg or ""), "warmth": "68 F" if unit is Unit.FEET else "20 C"}
    return {
        name: value if name.startswith(f"{shown.about}_") else value or usual.get(name.partition("_")[2], "")
        for name, value in shown.values.items()
    }
