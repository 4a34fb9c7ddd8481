"""An input list as a sheet: taken out as CSV, and brought in all at once or not at all."""

from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.crew.context import LeadContext, RequestContext, ViewerContext, page_router
from service.kit.text import as_id
from service.lines.inputs import actions, queries
from service.lines.inputs.sheet import COLUMNS, read_sheet, sheet_of
from service.lines.inputs.shown import shown
from service.web.forms import Form
from service.web.upload import Upload, UploadedSheet

router = page_router()


@router.get("/inputs/{list_id}/sheet.csv")
def sheet_out(context: ViewerContext, list_id: str) -> Response:
    """The list as it is now as CSV."""
    with context.reading() as db:
        input_list = queries.get_input_list(db, as_id(list_id))
        text = sheet_of(shown(db, queries.channels(db, input_list.id, context.now)))
    headers = {"Content-Disposition": f'attachment; filename="input-list-{context.today}.csv"'}
    return Response(text.encode(), media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/inputs/{list_id}/sheet")
def sheet_page(context: LeadContext, list_id: str) -> Response:
    """Show the form that brings a sheet in."""
    with context.reading() as db:
        return _page(context, db, list_id, Form())


@router.post("/inputs/{list_id}/sheet")
def import_sheet(context: LeadContext, list_id: str, sent: UploadedSheet) -> Response:
    """Bring a sheet in: channels that are on the list are changed, the others added, none is taken off."""
    text = _text(sent)
    form = Form(values={"sheet": text}, op=sent.fields.get("op", ""))

    def do() -> str:
        op, channels = form.id, read_sheet(text)
        with context.reading() as db:
            input_list = queries.get_input_list(db, as_id(list_id)).id
        context.once(
            op,
            "input_list.sheet",
            [str(input_list), text],
            lambda db: actions.import_sheet(db, input_list, channels, context.actor),
        )
        return f"/inputs/{input_list}"

    return context.submit(form, do, lambda db, form: _page(context, db, list_id, form))


def _text(sent: Upload) -> str:
    if not sent.file:
        return sent.fields.get("sheet", "")
    try:
        return sent.file.decode("utf-8-sig")
    except UnicodeDecodeError:
        return sent.file.decode("cp1252", errors="replace")  # what spreadsheets on Windows write


def _page(context: RequestContext, db: Session, list_id: str, form: Form) -> Response:
    input_list = queries.get_input_list(db, as_id(list_id))
    return context.page("lines/sheet.html", form=form, input_list=input_list, columns=COLUMNS)
