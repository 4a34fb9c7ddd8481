"""Pages that import sheets and export everything: choose a file, check its columns, see the plan, import. A hidden
field takes the sheet from page to page, so that the server stores nothing of an import that nobody finishes.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from fastapi.responses import Response

from service.crew.context import LeadContext, RequestContext, page_router
from service.exchange.downloads import download
from service.exchange.sheets import actions
from service.exchange.sheets.actions import ImportResult, Setting, WrongRows
from service.exchange.sheets.core.days import Order
from service.exchange.sheets.core.import_options import (
    BlankPlace,
    ImportRequest,
    SheetKind,
    SheetPreview,
    fields,
    preview_sheet,
    read_asked,
)
from service.exchange.sheets.core.row_status import PlannedRow, RowStatus, counted, errors_first, plan_digest
from service.exchange.sheets.core.sheet import BYTES_MOST, ROWS_MOST, pack, read_bytes, tidy, unpack
from service.exchange.sheets.importing import work_out_import
from service.exchange.sheets.messages import in_words
from service.exchange.sheets.runs import ImportRuns
from service.gear.core import kind_choices
from service.kit.problems import Invalid, NotFound, invalid
from service.kit.quantities import Unit
from service.kit.text import id_in_address
from service.store.drafts import OnProgress
from service.store.receipts import answer_to, digest
from service.web.forms import Form
from service.web.upload import Upload, UploadedSheet

router = page_router()

ACTION = "sheet.import"
UNKNOWN = (
    "Nothing is known of this import here. If the service was started anew meanwhile, nothing of the sheet was brought "
    "in: bring it in once more. Where the service has several workers, look again: another one may know."
)
PAGE = 200
"""Rows of a dry run on one page."""
UNITS = [(Unit.FEET, "Feet"), (Unit.METERS, "Meters")]
KINDS_OF_SHEET = [(SheetKind.GEAR, "Gear"), (SheetKind.TESTS, "Tests")]
ORDERS = [
    (Order.MONTH_FIRST, "Month first: 10/6 is October 6"),
    (Order.DAY_FIRST, "Day first: 10/6 is June 10"),
    (Order.YEAR_FIRST, "Year first: 26/10/06 is October 6, 2026"),
]
ABOVES = [
    (BlankPlace.SAME, "It lives at the place above: merged cells"),
    (BlankPlace.NONE, "Its place is not known"),
]
BETWEENS = [("yes", "It was repaired in between"), ("no", "It was not: it stays quarantined")]


@router.get("/exchange")
def exchange_page(context: LeadContext) -> Response:
    """Show the page for importing a sheet and exporting everything."""
    with context.reading():
        return _start(context, Form())


@router.post("/exchange/sheet")
def see_sheet(context: LeadContext, sent: UploadedSheet) -> Response:
    """Show the field that is guessed for each column of a sheet."""
    with context.reading():
        pass  # only leads may have sheets read
    pasted = sent.fields.get("text", "")

    def see() -> Response:
        text = _text(sent, pasted)
        return _columns(context, text, preview_sheet(text), Form())

    return context.submit(Form(values={"text": pasted[:BYTES_MOST]}), see, lambda _, form: _start(context, form))


@router.post("/exchange/columns")
def see_columns(context: LeadContext, sent: UploadedSheet) -> Response:
    """Show the columns again, as they were chosen, or guessed again for another kind of sheet."""
    with context.reading():
        pass
    text = unpack(sent.fields.get("sheet", ""))
    return _columns_again(context, text, Form(values=sent.fields))


@router.post("/exchange/check")
def try_sheet(context: LeadContext, sent: UploadedSheet) -> Response:
    """Show what becomes of each row; nothing is written."""
    with context.reading():
        pass
    text, form = unpack(sent.fields.get("sheet", "")), Form(values=sent.fields)

    def check() -> Response:
        with context.reading() as db:
            request = read_asked(text, sent.fields)
            plan = actions.planned(db, request, _setting(context))
            return _plan_page(context, request, plan.rows, form, actions.ends_in_words(plan))

    return context.submit(form, check, lambda _, form: _columns_again(context, text, form))


@router.post("/exchange/import")
def import_sheet(context: LeadContext, sent: UploadedSheet) -> Response:
    """Import the sheet in one transaction and show what was done; if it takes long, show the progress."""
    with context.reading():
        pass
    text = unpack(sent.fields.get("sheet", ""))
    form = Form(values=sent.fields, op=sent.fields.get("op", ""))

    def wait_for_import() -> str | Response:
        request, op = read_asked(text, sent.fields), form.id
        setting = _setting(context)
        content = [
            text,
            request.kind,
            request.mapping,
            request.unit,
            request.order,
            request.item_kind,
            request.between,
            request.bad,
            request.above,
        ]

        def answer(result: ImportResult) -> dict[str, Any]:
            left = pack(actions.left_as_csv(text, result.answer["left"]))
            return {**result.answer, "kind": request.kind, "sheet": left}

        def work(on_progress: OnProgress) -> Any:
            seen = sent.fields.get("seen", "")
            return context.once_worked_out(
                op,
                ACTION,
                content,
                lambda: work_out_import(context.store, request, context.me, setting, seen, on_progress=on_progress),
                answer,
            )

        runs = _runs(context)
        run = runs.start(op, digest(ACTION, content), sent.fields, work)
        try:
            done = run.answer.result(runs.timeout)
        except TimeoutError:
            return f"/exchange/imports/{op}"
        except WrongRows as refusal:  # the rows could be read, so their plan is shown again
            return _plan_page(context, request, refusal.rows, form.refused(refusal), refusal.ends)
        return _done(context, done)

    return context.submit(form, wait_for_import, lambda _, form: _columns_again(context, text, form))


@router.get("/exchange/imports/{op}")
def import_page(context: LeadContext, op: str) -> Response:
    """Show the progress of an import, and then its result."""
    with context.reading() as db:
        run = _runs(context).find(op_id := id_in_address(op, UNKNOWN))
        done = answer_to(db, op_id, ACTION)
        if done is not None:
            return _done(context, done)
        if run is None:
            raise NotFound(UNKNOWN)
        if not run.answer.done():
            return context.page("exchange/running.html", run=run, here=f"/exchange/imports/{op}", over=False)
        refusal, text = run.answer.exception(), unpack(run.fields.get("sheet", ""))
        form = Form(values=run.fields, op=run.fields.get("op", ""))
        if isinstance(refusal, WrongRows):
            request = read_asked(text, run.fields)
            return _plan_page(context, request, refusal.rows, form.refused(refusal), refusal.ends)
        if isinstance(refusal, Invalid):
            return _columns_again(context, text, form.refused(refusal))
        return _done(context, run.answer.result())


@router.get("/exchange/imports/{op}/progress")
def import_progress(context: LeadContext, op: str) -> Response:
    """The progress as the part of its page that a script replaces."""
    with context.reading():
        run = _runs(context).find(id_in_address(op, UNKNOWN))
        return context.page("exchange/running_part.html", run=run, over=run is None or run.answer.done())


@router.post("/exchange/left")
def download_left_out(context: LeadContext, sent: UploadedSheet) -> Response:
    """Download the rows that stayed out."""
    with context.reading():
        pass
    return download([unpack(sent.fields.get("sheet", ""))], "stayed-out.csv", "text/csv")


def _text(sent: Upload, pasted: str) -> str:
    if sent.file:
        return read_bytes(sent.file)
    if not pasted.strip():
        raise invalid("file", "Choose a file, or paste the rows.")
    return tidy(pasted)


def _runs(context: RequestContext) -> ImportRuns:
    runs: ImportRuns = context.request.app.state.imports
    return runs


def _done(context: RequestContext, done: dict[str, Any]) -> Response:
    return context.page(
        "exchange/done.html",
        kind=done.get("kind", SheetKind.GEAR),
        counts={RowStatus(status): count for status, count in done["counts"].items()},
        codes=done["codes"],
        left=done["left"],
        after=done.get("after", []),
        sheet=done.get("sheet", ""),
    )


def _setting(context: RequestContext) -> Setting:
    return Setting(context.now, context.zone, Unit(context.program.unit))


def _start(context: RequestContext, form: Form) -> Response:
    return context.page(
        "exchange/start.html",
        form=form,
        megabytes=BYTES_MOST // 1_000_000,
        most_bytes=BYTES_MOST,
        most=f"{ROWS_MOST:,}",
        running=_runs(context).running(),
    )


def _columns_again(context: RequestContext, text: str, form: Form) -> Response:
    """The columns as they were chosen; if the kind of sheet was changed, guessed again and without errors."""
    typed = form.values
    kind = SheetKind.TESTS if typed.get("kind") == SheetKind.TESTS else SheetKind.GEAR
    known = {field.key for field in fields(kind)}
    width = len(preview_sheet(text).columns)
    mapping = [typed.get(f"column{at}", "") for at in range(width)]
    mapping = [key if key in known else "" for key in mapping]
    if typed.get("guessed") not in (None, kind.value):
        return _columns(context, text, preview_sheet(text, kind, None), Form(values=typed))
    return _columns(context, text, preview_sheet(text, kind, mapping), form)


def _columns(context: RequestContext, text: str, seen: SheetPreview, form: Form) -> Response:
    typed = form.values
    words = [("", "Leave it out"), *((field.key, field.words) for field in fields(seen.kind))]
    values: dict[str, Any] = {
        "unit": seen.unit,
        "order": seen.order,
        "item_kind": typed.get("item_kind", seen.usual_kind),
    } | {name: typed[name] for name in ("unit", "order", "between", "above") if typed.get(name)}
    return context.page(
        "exchange/columns.html",
        form=replace(form, values=values),
        seen=seen,
        sheet=pack(text),
        words=words,
        kinds=KINDS_OF_SHEET,
        units=UNITS,
        orders=ORDERS,
        item_kinds=[("", "Not taken: it may be anything"), *kind_choices()],
        aboves=ABOVES,
        betweens=BETWEENS,
    )


def _plan_page(
    context: RequestContext, request: ImportRequest, rows: Sequence[PlannedRow], form: Form, ends: str
) -> Response:
    listed = errors_first(rows)
    start = form.values.get("from", "")
    begin = int(start) if start.isascii() and start.isdigit() and len(start) < 6 else 0
    columns = preview_sheet(request.text, request.kind, request.mapping).columns
    unused = [column.name for column in columns if column.cells and not column.key]
    return context.page(
        "exchange/tried.html",
        form=form,
        asked=request,
        counts=counted(rows),
        unused=unused,
        rows=[in_words(row, Unit(context.program.unit)) for row in listed[begin : begin + PAGE]],
        begin=begin,
        end=min(begin + PAGE, len(listed)),
        total=len(listed),
        page_size=PAGE,
        ends=ends,
        sheet=pack(request.text),
        seen=plan_digest(rows),
    )
