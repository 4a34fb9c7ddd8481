"""Pages of what tags are printed with: the program's own sheets, and its printer."""

from uuid import UUID

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import FormData

from service.crew.context import LeadContext, RequestContext
from service.kit.lengths import Unit
from service.kit.problems import Invalid
from service.tags import printing, queries
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS, WORDS
from service.tags.forms import COUNTS, PRINTER_WORDS, read_printer, read_sheet
from service.web.forms import Posted, new_op, read_op

router = APIRouter(include_in_schema=False)


@router.get("/tags/sheets")
def sheets(context: LeadContext) -> Response:
    """The sheets that there are, and adding one by its dimensions."""
    with context.reading() as db:
        return _sheets(context, db, {})


@router.post("/tags/sheets")
def add_sheet(context: LeadContext, posted: Posted) -> Response:
    """Keep a sheet of the program's own."""
    try:
        op, sheet = read_op(posted.get("op")), read_sheet(posted)
        context.once(
            op,
            "sheet.add",
            _typed(posted, *WORDS),
            lambda db: printing.add_sheet(db, op, sheet, context.me, context.now),
        )
    except Invalid as refusal:
        with context.reading() as db:
            return _sheets(context, db, _typed(posted, *WORDS), refusal)
    return RedirectResponse("/tags/sheets", 303)


@router.post("/tags/sheets/{sheet_id}/end")
def end_sheet(context: LeadContext, sheet_id: UUID, posted: Posted) -> Response:
    """Offer a sheet no longer."""
    context.once(
        read_op(posted.get("op")),
        "sheet.end",
        str(sheet_id),
        lambda db: printing.end_sheet(db, sheet_id, context.now),
    )
    return RedirectResponse("/tags/sheets", 303)


@router.get("/tags/printer")
def printer(context: LeadContext, kept: int = 0) -> Response:
    """How the printer prints, and measuring it."""
    with context.reading() as db:
        return _printer(context, db, None, kept=bool(kept))


@router.post("/tags/printer")
def measure_printer(context: LeadContext, posted: Posted) -> Response:
    """Keep what was measured on the printed page."""
    values = _typed(posted, *PRINTER_WORDS)
    try:
        op, found = read_op(posted.get("op")), read_printer(posted)
        context.once(op, "printer.measure", values, lambda db: printing.measured(db, found, context.me, context.now))
    except Invalid as refusal:
        with context.reading() as db:
            return _printer(context, db, values, refusal)
    return RedirectResponse("/tags/printer?kept=1", 303)


@router.get("/tags/printer.pdf")
def printer_check(context: LeadContext, sheet: str = "", corrected: int = 0) -> Response:
    """The page with rulers to measure a printer by; `corrected`: by what was measured before, to see that it helps."""
    with context.reading() as db:
        on_sheet = printing.sheet_called(db, sheet or printing.usual_sheet(Unit(context.program.unit)))
        as_it_is = printing.printer(db) if corrected else Printer()
    from service.tags.drawing import calibration_pdf  # the PDF library is loaded where it is used

    headers = {
        "Content-Disposition": 'attachment; filename="coilbook-printer.pdf"',
        "Cache-Control": "no-store",
    }
    return Response(calibration_pdf(on_sheet, as_it_is), 200, headers, "application/pdf")


def _sheets(context: RequestContext, db: Session, values: dict[str, str], refusal: Invalid | None = None) -> Response:
    usual = (
        {"width": "215.9", "height": "279.4"}
        if context.program.unit == Unit.FEET
        else {"width": "210", "height": "297"}
    )
    return context.page(
        "tags/sheets.html",
        refusal.status if refusal else 200,
        built_in=SHEETS,
        own=queries.label_sheets(db),
        sheets=printing.sheets(db),
        words=WORDS,
        counts=COUNTS,
        values=values or usual,
        errors=refusal.errors if refusal else {},
        op=new_op,
    )


def _printer(
    context: RequestContext,
    db: Session,
    values: dict[str, str] | None,
    refusal: Invalid | None = None,
    kept: bool = False,
) -> Response:
    known = printing.printer(db)
    as_kept = {name: f"{getattr(known, name) / 1000:g}" for name in PRINTER_WORDS}
    return context.page(
        "tags/printer.html",
        refusal.status if refusal else 200,
        values=values or as_kept,
        words=PRINTER_WORDS,
        known=queries.printer(db),
        errors=refusal.errors if refusal else {},
        kept=kept,
        op=new_op(),
        sheets=[(key, f"{each.name} ({each.paper})") for key, each in printing.sheets(db).items()],
        usual=printing.usual_sheet(Unit(context.program.unit)),
    )


def _typed(posted: FormData, *names: str) -> dict[str, str]:
    return {name: str(posted.get(name) or "").strip() for name in names}
