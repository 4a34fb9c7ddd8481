"""The page of phantom volts at the far end: enter them, see what they may mean, and log what they prove."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fastapi.responses import Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import CrewContext, RequestContext, page_router
from service.diagnosis.ambiguity import Consensus, agree
from service.gear.wirings import find_wiring
from service.kit.problems import Invalid, invalid
from service.testers.about import about
from service.testers.core import (
    UNSURE,
    TestOrigin,
    as_evidence,
    as_test,
    choices,
    chosen,
    outcome,
    outcome_of_resistance,
    resisting,
)
from service.testers.volts import (
    LABELS,
    START,
    carries_phantom,
    diagnosed,
    possible,
    resistance_words,
    second_reading,
    values_text,
)
from service.testlog import form_reader
from service.testlog.core import Method, NewTest
from service.testlog.logging_tests import log_test
from service.web.forms import Form, Posted, text, typed
from service.wiring.phantom import PhantomDiagnosis

router = page_router()


@dataclass(frozen=True)
class VoltsForm(Form):
    """The state of the page: what was typed, and what it may mean."""

    values: Mapping[str, Any] = field(default_factory=lambda: dict(START), kw_only=True)
    which: str = UNSURE
    note: str = ""
    power: bool = False
    agreed: Consensus | None = None
    diagnosis: PhantomDiagnosis | None = None

    @property
    def as_text(self) -> str:
        """The volts in one line, to check that those to be logged are those whose meaning was shown."""
        return " ".join(f"{name}={value}" for name, value in self.values.items() if value)

    @property
    def resistances(self) -> list[str]:
        """The leaks and joints that the volts may mean, in words."""
        return [resistance_words(one) for one in self.diagnosis.resistances] if self.diagnosis else []

    @property
    def asks_power(self) -> bool:
        """Whether phantom power that is off or weak would read like this too."""
        return self.diagnosis is not None and (self.diagnosis.no_power or self.diagnosis.weak_power)


@router.get("/t/{code}/phantom")
def phantom_page(context: CrewContext, code: str) -> Response:
    """The form: where to measure, and fields for the volts."""
    with context.reading() as db:
        return _page(context, db, code, VoltsForm())


@router.post("/t/{code}/phantom")
def enter_volts(context: CrewContext, code: str, posted: Posted) -> Response:
    """Show what the volts may mean; log them once that was shown."""
    form = typed(posted)

    def log() -> str | Response:
        op = form.id
        with context.reading() as db:
            entry = _read(db, context, code, posted)
            seen = posted.get("do") == "log" and posted.get("seen") == entry.as_text
            if entry.errors or entry.diagnosis is None or not seen:
                return _page(context, db, code, entry)
            new = _test(context, db, code, entry, posted)
        content = [code, entry.values, entry.which, entry.note, entry.power, str(posted.get("flexed"))]
        context.once(op, "test.phantom", content, lambda db: log_test(db, new, context.me, context.now, context.zone))
        return f"/tests/{new.id}"

    def again(db: Session, form: Form) -> Response:
        return _page(context, db, code, _read(db, context, code, posted).wrong(form.errors, form.status))

    return context.submit(form, log, again)


def _read(db: Session, context: RequestContext, code: str, posted: FormData) -> VoltsForm:
    values = {name: text(posted, name) or start for name, start in START.items()}
    form = VoltsForm(
        str(posted.get("which") or UNSURE),
        str(posted.get("note") or ""),
        posted.get("power") == "yes",
        values=values,
        op=text(posted, "op"),
    )
    wiring = find_wiring(db, about(context, db, code).wiring)
    if not carries_phantom(wiring):
        return form
    try:
        diagnosis = diagnosed(values)
    except Invalid as refusal:
        return form.refused(refusal)
    agreed = agree(wiring, possible(wiring, diagnosis)) if diagnosis.states else None
    return replace(form, agreed=agreed, diagnosis=diagnosis)


def _test(context: RequestContext, db: Session, code: str, entry: VoltsForm, posted: FormData) -> NewTest:
    """The test to log.

    It is never a pass: a cable with 2 and 3 swapped shows the same volts as a good one, so at best it is partial. No
    volts anywhere, or too little everywhere, is a test only if phantom power was on and right.
    """
    if entry.asks_power and not entry.power:
        raise invalid(
            "power",
            "Phantom power that is off or weak reads like this too. Check it with a good cable first.",
        )
    item = about(context, db, code)
    wiring = find_wiring(db, item.wiring)
    origin = TestOrigin(
        entry.id,
        code,
        Method.PHANTOM,
        values_text(entry.values),
        form_reader.note(posted, "note"),
        posted.get("flexed") == "yes",
        session=item.session,
    )
    if entry.agreed is None:
        return as_evidence(origin, entry.resistances, entry.which)
    return as_test(wiring, origin, chosen(wiring, entry.agreed, entry.which))


def _page(context: RequestContext, db: Session, code: str, entry: VoltsForm) -> Response:
    item = about(context, db, code)
    wiring = find_wiring(db, item.wiring)
    agreed, maybe = entry.agreed, entry.resistances
    named = choices(wiring, agreed) if agreed else resisting(wiring, maybe)
    words = outcome(wiring, agreed) if agreed else outcome_of_resistance(maybe)
    return context.page(
        "testers/phantom.html",
        form=entry,
        item=item,
        fits=carries_phantom(wiring),
        labels=LABELS,
        choices=named,
        outcome=words,
        ask=second_reading(entry.values, entry.diagnosis) if entry.diagnosis else "",
    )
