"""Plug cards of an input list: as a page for phones, and as a PDF to tape to the frames."""

from fastapi.responses import RedirectResponse, Response

from service.crew.context import RequestContext, ViewerContext, page_router
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.kit.text import as_id
from service.lines.cards.actions import CardsOfList, cards_of
from service.lines.cards.drawing import cards_pdf, channels_in_words, end_in_words, heading
from service.lines.inputs.queries import get_input_list, input_list_of_season, name_of
from service.season.queries import current, seasons

router = page_router()


@router.get("/cards")
def cards_now(context: ViewerContext) -> Response:
    """Go to the cards of the present season, or to its input list if there is none yet."""
    with context.reading() as db:
        season = current(seasons(db), context.today)
        input_list = input_list_of_season(db, season.id) if season else None
        return RedirectResponse(f"/inputs/{input_list.id}/cards" if input_list else "/inputs", 303)


@router.get("/inputs/{list_id}/cards")
def cards_page(context: ViewerContext, list_id: str) -> Response:
    """Show for each place the plugs to make there at set-up."""
    made, name = _cards(context, list_id)
    return context.page(
        "lines/cards.html",
        cards=made.cards,
        left_out=made.left_out,
        of=name,
        list_id=list_id,
        heading=heading,
        end_in_words=end_in_words,
        channels_in_words=channels_in_words,
    )


@router.get("/inputs/{list_id}/cards.pdf")
def cards_as_pdf(context: ViewerContext, list_id: str) -> Response:
    """The cards as a PDF, a page for each place."""
    made, name = _cards(context, list_id)
    if not made.cards:
        raise NotFound("There is nothing to plug at set-up yet. Lay the lines of the input list first.")
    headers = {"Content-Disposition": 'inline; filename="plug-cards.pdf"'}
    missing = [row.channel.number for row in made.left_out]
    content = cards_pdf(made.cards, name, missing, Unit(context.program.unit), context.program.end)
    return Response(content, media_type="application/pdf", headers=headers)


def _cards(context: RequestContext, list_id: str) -> tuple[CardsOfList, str]:
    with context.reading() as db:
        input_list = get_input_list(db, as_id(list_id))
        return cards_of(db, input_list.id, Unit(context.program.unit), context.now), name_of(db, input_list)
