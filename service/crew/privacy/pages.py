"""What is kept of people, told to everybody."""

from fastapi.responses import Response

from service.crew.context import AnyoneContext, page_router
from service.crew.privacy import core

router = page_router()


@router.get("/kept")
def kept_page(context: AnyoneContext) -> Response:
    """What is kept, why, and until when."""
    with context.reading():
        return context.page("crew/kept.html", days=core.AFTER_SEASON.days)
