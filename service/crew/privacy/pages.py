"""What is kept of people, told to everybody."""

from fastapi import APIRouter
from fastapi.responses import Response

from service.crew.context import AnyoneContext
from service.crew.privacy import core

router = APIRouter(include_in_schema=False)


@router.get("/kept")
def kept_page(context: AnyoneContext) -> Response:
    """What is kept, why, and until when."""
    with context.reading():
        return context.page("crew/kept.html", days=core.AFTER_SEASON.days)
