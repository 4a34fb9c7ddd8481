"""The page of the digest, for people who get no mail."""

from fastapi.responses import Response

from service.crew.context import ViewerContext, page_router
from service.schedule.reminders import queries
from service.testlog.housekeeping import ensure_today

router = page_router()


@router.get("/digest")
def digest_page(context: ViewerContext) -> Response:
    """The state of the gear, what was done in the last seven days, and what comes next."""
    ensure_today(context)
    with context.reading() as db:
        return context.page("schedule/digest.html", digest=queries.digest(db, context.today, context.zone))
