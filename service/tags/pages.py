"""Pages of tags: what waits to be printed, the sheets as preview and PDF, a new code, a worn tag, tags of places."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated

from fastapi import Query
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from service.crew.context import CrewContext, LeadContext, RequestContext, page_router
from service.gear.core import item_name, item_title
from service.kit.codes import read_code
from service.kit.problems import Invalid, invalid
from service.kit.quantities import Unit
from service.kit.text import id_in_address
from service.tags import actions, printing, queries
from service.tags.core.layout import Style
from service.tags.core.pages import Setup, SymbolFacts, symbol_facts
from service.tags.core.sheets import PaperSheet
from service.tags.core.symbols import CannotPrint, tag_url
from service.tags.forms import read_setup
from service.tags.queries import OnTag
from service.web.forms import Form, Posted, read_op, typed

router = page_router()

_NO_PLACE = "There is no such place. Go back to the places and look from there."

AT_ONCE = 200
"""The most tags on one page of the list and in one PDF: for more, the printer takes longer than the service."""
STYLES = [
    ("", "As it suits each"),
    (Style.FLAG, "Flags"),
    (Style.WRAP, "Wraps"),
    (Style.PLATE, "Plates"),
]
SETUP = ("sheet", "style", "start", "around", "channels")
"""The fields that say how tags are printed."""
Codes = Annotated[tuple[str, ...], Query()]


@router.get("/tags")
def tags_to_print(
    context: LeadContext,
    code: Codes = (),
    sheet: str = "",
    style: str = "",
    start: str = "",
    around: str = "",
    channels: str = "",
    printed: int | None = None,
    added: int | None = None,
) -> Response:
    """Show the tags that wait to be printed, or those with these codes, and how to print them."""
    values = {"sheet": sheet, "style": style, "start": start, "around": around, "channels": channels}
    with context.reading() as db:
        return _to_print(context, db, Form(values=values), code, printed=printed, added=added)


@router.get("/tags/preview")
def preview(
    context: LeadContext,
    code: Codes = (),
    sheet: str = "",
    style: str = "",
    start: str = "",
    around: str = "",
    channels: str = "",
    page: int = 1,
) -> Response:
    """Show a page of the sheets as it will be printed, and the link to the PDF."""
    values = {"sheet": sheet, "style": style, "start": start, "around": around, "channels": channels}
    with context.reading() as db:
        try:
            _refuse_count(code)
            setup = read_setup(sheet or _usual(context), style, start, around, channels)
            words = _channels(context, db, setup)
            pages = printing.tag_pages(db, code, context.settings.base_url, setup, words)
        except (Invalid, CannotPrint) as refusal:
            return _to_print(context, db, Form(values=values).refused(refusal, "sheet"), code)
        on_sheet, at = printing.sheet_called(db, setup.sheet), min(max(page, 1), len(pages))
    from service.tags.preview import page_svg

    return context.page(
        "tags/preview.html",
        svg=page_svg(pages[at - 1], on_sheet, f"Page {at} of {len(pages)}"),
        at=at,
        of=len(pages),
        sheet=on_sheet,
        codes=code,
        values=values,
    )


@router.get("/tags/sheet.pdf")
def sheet_pdf(
    context: LeadContext,
    code: Codes = (),
    sheet: str = "",
    style: str = "",
    start: str = "",
    around: str = "",
    channels: str = "",
) -> Response:
    """Download the tags with these codes on sheets, as PDF."""
    with context.reading() as db:
        _refuse_count(code)
        setup = read_setup(sheet or _usual(context), style, start, around, channels)
        words = _channels(context, db, setup)
        pdf = printing.tag_sheet(db, code, context.settings.base_url, setup, words)
    headers = {"Content-Disposition": 'attachment; filename="coilbook-tags.pdf"', "Cache-Control": "no-store"}
    return Response(pdf, 200, headers, "application/pdf")


@router.post("/tags/printed")
def printed_tags(context: LeadContext, posted: Posted) -> Response:
    """Remove the printed tags from the list."""
    form, codes = typed(posted, *SETUP), [str(code) for code in posted.getlist("code")]

    def note() -> str:
        ended = context.once(form.id, "tags.printed", codes, lambda db: actions.mark_printed(db, codes, context.now))
        return f"/tags?printed={ended}"

    def again(db: Session, form: Form) -> Response:
        in_use = tuple(tag.code for tag in queries.tags_on(db, codes) if tag.until is None)
        return _to_print(context, db, form, in_use)

    return context.submit(form, note, again)


@router.get("/tags/places")
def places(context: LeadContext) -> Response:
    """Show which places have a tag, with the form for giving tags to others."""
    with context.reading() as db:
        return _places(context, db, Form())


@router.post("/tags/places")
def tag_places(context: LeadContext, posted: Posted) -> Response:
    """Give these places tags, which wait to be printed."""
    form = typed(posted)

    def tag() -> str:
        ids = [id_in_address(str(each), _NO_PLACE) for each in posted.getlist("place")]
        content = [str(each) for each in ids]
        context.once(form.id, "tags.places", content, lambda db: len(actions.tag_places(db, ids, context.now)))
        return "/tags"

    return context.submit(form, tag, lambda db, form: _places(context, db, form))


@router.get("/t/{code}/retag")
def retag_page(context: LeadContext, code: str) -> Response:
    """Say what a new tag means before it is issued."""
    with context.reading() as db:
        item = queries.item_with(db, code)
        name = item_name(item.kind, item.length_mm, Unit(context.program.unit))
        return context.page("tags/retag.html", item=item, name=name, code=queries.code_of(db, item.id))


@router.post("/t/{code}/retag")
def retag(context: LeadContext, code: str, posted: Posted) -> Response:
    """End this code and give the item a new one."""
    op = read_op(posted.get("op"))
    new = context.once(op, "tag.replace", code, lambda db: actions.retag(db, code, context.actor))
    return RedirectResponse(f"/gear/{new}?said=retagged", 303)


@router.post("/t/{code}/worn")
def replace_worn_tag(context: CrewContext, code: str, posted: Posted) -> Response:
    """Put a worn tag on the list to be printed again; its code stays."""
    op = read_op(posted.get("op"))
    same = context.once(op, "tag.worn", code, lambda db: actions.ask_print(db, code, "worn", context.actor))
    return RedirectResponse(f"/t/{same}?worn=1", 303)


def _usual(context: RequestContext) -> str:
    return printing.usual_sheet(Unit(context.program.unit))


def _refuse_count(codes: Codes) -> None:
    if not 1 <= len(codes) <= AT_ONCE:
        raise invalid("code", f"Tick 1 to {AT_ONCE} tags to print; {len(codes)} are ticked.")


def _to_print(
    context: RequestContext,
    db: Session,
    form: Form,
    codes: Codes,
    printed: int | None = None,
    added: int | None = None,
) -> Response:
    """The list and the form. After a refusal it shows all waiting tags, and ticked ones are still ticked."""
    named = codes if codes and not form.errors else ()
    tags = _tags_by_code(db, named) if named else queries.waiting(db, AT_ONCE)
    listed = {tag.code for tag in tags}
    tags += _tags_by_code(db, tuple(code for code in codes if code not in listed)) if "code" not in form.errors else []
    unit, offered = Unit(context.program.unit), printing.sheets(db)
    sheet = form.values["sheet"] if form.values["sheet"] in offered else _usual(context)
    return context.page(
        "tags/waiting.html",
        form=replace(form, values={**form.values, "sheet": sheet}),
        codes=codes,
        rows=[(tag, item_title(tag, unit)) for tag in tags],
        named=bool(named),
        total=queries.how_many_wait(db),
        sheets=[(key, f"{each.name} ({each.paper})") for key, each in offered.items()],
        styles=STYLES,
        facts=_facts(context, offered[sheet]),
        printed=printed,
        added=added,
        base_url=context.settings.base_url,
    )


def _channels(context: RequestContext, db: Session, setup: Setup) -> Mapping[str, str]:
    """What the tags say of channels, by code; nothing unless that was chosen."""
    if not setup.channels:
        return {}
    words: printing.ChannelWords = context.request.app.state.channel_words
    return words(db, context.today, context.now)


def _tags_by_code(db: Session, codes: Codes) -> list[OnTag]:
    read = [read_code(code) for code in codes]
    for code in read:
        queries.refuse_ended(queries.tag_on(db, code))
    return queries.to_draw(db, read) if read else []


def _facts(context: RequestContext, sheet: PaperSheet) -> dict[str, SymbolFacts | str]:
    """For each kind of tag with a QR, its size on this sheet, or why it cannot be printed on it."""
    facts_of: dict[str, SymbolFacts | str] = {}
    for style in (Style.FLAG, Style.PLATE):
        try:
            facts = symbol_facts(tag_url(context.settings.base_url, "7K3M9U"), sheet, style)
        except CannotPrint as refusal:
            facts_of[style] = refusal.detail
        else:
            if facts is not None:
                facts_of[style] = facts
    return facts_of


def _places(context: RequestContext, db: Session, form: Form) -> Response:
    return context.page("tags/places.html", form=form, places=queries.places_with_tags(db))
