"""Pages of the setup for printing tags: the program's own sheets, and its printer."""

from uuid import UUID

from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, page_router
from service.kit.quantities import Unit
from service.tags import printing, queries
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS, WORDS
from service.tags.forms import COUNTS, PRINTER_WORDS, read_printer, read_sheet
from service.web.forms import Form, Posted, read_op, typed

router = page_router()


@router.get("/tags/sheets")
def sheets(context: LeadContext) -> Response:
    """Show the sheets, with the form for adding one by its dimensions."""
    with context.reading() as db:
        return _sheets(context, db, Form())


@router.post("/tags/sheets")
def add_sheet(context: LeadContext, posted: Posted) -> Response:
    """Add a sheet of the program's own."""
    form = typed(posted, *WORDS)

    def add() -> str:
        op, sheet = form.id, read_sheet(posted)
        context.once(op, "sheet.add", form.values, lambda db: printing.add_sheet(db, op, sheet, context.actor))
        return "/tags/sheets"

    return context.submit(form, add, lambda db, form: _sheets(context, db, form))


@router.post("/tags/sheets/{sheet_id}/end")
def end_sheet(context: LeadContext, sheet_id: UUID, posted: Posted) -> Response:
    """Stop offering a sheet."""
    context.once(
        read_op(posted.get("op")),
        "sheet.end",
        str(sheet_id),
        lambda db: printing.end_sheet(db, sheet_id, context.now),
    )
    return RedirectResponse("/tags/sheets", 303)


@router.get("/tags/printer")
def printer(context: LeadContext, kept: int = 0) -> Response:
    """Show the measurements of the printer, with the form for them."""
    with context.reading() as db:
        return _printer(context, db, Form(), kept=bool(kept))


@router.post("/tags/printer")
def measure_printer(context: LeadContext, posted: Posted) -> Response:
    """Save what was measured on the printed page."""
    form = typed(posted, *PRINTER_WORDS)

    def measure() -> str:
        read = read_printer(posted)
        context.once(form.id, "printer.measure", form.values, lambda db: printing.measured(db, read, context.actor))
        return "/tags/printer?kept=1"

    return context.submit(form, measure, lambda db, form: _printer(context, db, form))


@router.get("/tags/printer.pdf")
def printer_check(context: LeadContext, sheet: str = "", corrected: int = 0) -> Response:
    """Download the page with rulers for measuring a printer; with `corrected`, corrected by the last measurements, as a
    check."""
    with context.reading() as db:
        on_sheet = printing.sheet_called(db, sheet or printing.usual_sheet(Unit(context.program.unit)))
        as_it_is = printing.printer(db) if corrected else Printer()
    from service.tags.drawing import calibration_pdf  # the PDF library is loaded where it is used

    headers = {
        "Content-Disposition": 'attachment; filename="coilbook-printer.pdf"',
        "Cache-Control": "no-store",
    }
    return Response(calibration_pdf(on_sheet, as_it_is), 200, headers, "application/pdf")


def _sheets(context: RequestContext, db: Session, form: Form) -> Response:
    usual = (
        {"width": "215.9", "height": "279.4"}
        if context.program.unit == Unit.FEET
        else {"width": "210", "height": "297"}
    )
    return context.page(
        "tags/sheets.html",
        form=form.starting_with(usual),
        built_in=SHEETS,
        own=queries.label_sheets(db),
        sheets=printing.sheets(db),
        words=WORDS,
        counts=COUNTS,
    )


def _printer(context: RequestContext, db: Session, form: Form, kept: bool = False) -> Response:
    known = printing.printer(db)
    return context.page(
        "tags/printer.html",
        form=form.starting_with({name: f"{getattr(known, name) / 1000:g}" for name in PRINTER_WORDS}),
        words=PRINTER_WORDS,
        known=queries.printer(db),
        kept=kept,
        sheets=[(key, f"{each.name} ({each.paper})") for key, each in printing.sheets(db).items()],
        usual=printing.usual_sheet(Unit(context.program.unit)),
    )
