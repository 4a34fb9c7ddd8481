"""What is kept of people, told to everybody."""

from fastapi import APIRouter
from fastapi.responses import Response

from service.crew.desk import AnyoneDesk
from service.crew.keeping import core

router = APIRouter(include_in_schema=False)


@router.get("/kept")
def kept_page(desk: AnyoneDesk) -> Response:
    """What is kept, why, and until when."""
    with desk.reading():
        return desk.page("crew/kept.html", days=core.AFTER_SEASON.days)
