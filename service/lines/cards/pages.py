"""Plug cards of an input list: as a page for phones, and as a PDF to tape to the frames."""

from fastapi.responses import Response

from service.crew.context import RequestContext, ViewerContext, page_router
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.kit.text import as_id
from service.lines.cards.actions import cards_of
from service.lines.cards.core import PlugCard
from service.lines.cards.drawing import cards_pdf, channels_in_words, end_in_words, heading
from service.lines.inputs.queries import get_input_list, name_of

router = page_router()


@router.get("/inputs/{list_id}/cards")
def cards_page(context: ViewerContext, list_id: str) -> Response:
    """Show for each place the plugs to make there at set-up."""
    cards, name = _cards(context, list_id)
    return context.page(
        "lines/cards.html",
        cards=cards,
        of=name,
        list_id=list_id,
        heading=heading,
        end_in_words=end_in_words,
        channels_in_words=channels_in_words,
    )


@router.get("/inputs/{list_id}/cards.pdf")
def cards_as_pdf(context: ViewerContext, list_id: str) -> Response:
    """The cards as a PDF, a page for each place."""
    cards, name = _cards(context, list_id)
    if not cards:
        raise NotFound("There is nothing to plug at set-up yet. Lay the lines of the input list first.")
    headers = {"Content-Disposition": 'inline; filename="plug-cards.pdf"'}
    content = cards_pdf(cards, name, Unit(context.program.unit))
    return Response(content, media_type="application/pdf", headers=headers)


def _cards(context: RequestContext, list_id: str) -> tuple[list[PlugCard], str]:
    with context.reading() as db:
        input_list = get_input_list(db, as_id(list_id))
        return cards_of(db, input_list.id, Unit(context.program.unit), context.now), name_of(db, input_list)
